from django.apps import AppConfig


class FittingsConfig(AppConfig):
    name = "fittings"

    def ready(self) -> None:
        from fittings import cost_tables  # noqa: F401  registers the tables of costs and prices
