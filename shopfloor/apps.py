from django.apps import AppConfig


class ShopfloorConfig(AppConfig):
    name = "shopfloor"

    def ready(self):
        from shopfloor.api import schema  # noqa: F401  the schema of keys, found by being imported
