from django.apps import AppConfig


class TravelersConfig(AppConfig):
    name = "travelers"

    def ready(self) -> None:
        from shared.way import give_way
        from travelers import tables  # noqa: F401  registers the tables of this package
        from travelers.documents.page import Paper

        Paper.after_page = staticmethod(give_way)
