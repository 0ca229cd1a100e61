from django.apps import AppConfig


class ShopfloorConfig(AppConfig):
    name = "shopfloor"

    def ready(self):
        from shopfloor import working_time  # noqa: F401  its tables, found by being imported
        from shopfloor.api import schema  # noqa: F401  the schema of keys, found by being imported
