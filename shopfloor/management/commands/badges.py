"""List the badges in use: code, tab, name. With `--language` the name is followed by a tab and the badge's language."""

from django.core.management.base import BaseCommand

from travelers.models import Operator


class Command(BaseCommand):
    help = "Lists the badges in use, a line each: code, tab, name."

    def add_arguments(self, parser):
        parser.add_argument("--language", action="store_true", help="add a tab and each badge's language")

    def handle(self, *args, **options):
        columns = ("code", "name", "language") if options["language"] else ("code", "name")
        for row in Operator.objects.filter(is_active=True).order_by("name", "pk").values_list(*columns):
            self.stdout.write("\t".join(row))
