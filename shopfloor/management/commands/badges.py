"""List the badges in use: code, tab, name."""

from django.core.management.base import BaseCommand

from travelers.models import Operator


class Command(BaseCommand):
    help = "Lists the badges in use, a line each: code, tab, name."

    def handle(self, *args, **options):
        for code, name in (
            Operator.objects.filter(is_active=True).order_by("name", "pk").values_list("code", "name")
        ):
            self.stdout.write(f"{code}\t{name}")
