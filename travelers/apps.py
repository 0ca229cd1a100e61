from django.apps import AppConfig


class TravelersConfig(AppConfig):
    name = "travelers"

    def ready(self) -> None:
        from travelers import tables  # noqa: F401  registers the tables of this package
