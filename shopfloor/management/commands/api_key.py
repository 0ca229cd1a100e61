"""Print a fresh key of a user or a station, and nothing else."""

import sys

from django.core.management.base import BaseCommand
from django.utils import timezone

from shared.problems import NotFound
from shopfloor.access import key_for


class Command(BaseCommand):
    help = "Prints a fresh key of a user (by name) or a station (by code). It is shown this once."

    def add_arguments(self, parser):
        parser.add_argument("who", help="a user name, or a station's code")

    def handle(self, *args, who: str, **options):
        try:
            secret = key_for(who=who, now=timezone.now())
        except NotFound as problem:
            self.stderr.write(problem.detail)
            sys.exit(1)
        self.stdout.write(secret)
