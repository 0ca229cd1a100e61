"""Print a fresh code that opens a shop in which nobody can sign in yet, and nothing else."""

import sys

from django.core.management.base import BaseCommand
from django.utils import timezone

from shared.problems import Conflict
from shopfloor.first_steps import setup_code_make


class Command(BaseCommand):
    help = "Prints the code with which the first account of an empty shop is made, at /first-steps/."

    def handle(self, *args, **options):
        try:
            code = setup_code_make(now=timezone.now())
        except Conflict as problem:
            self.stderr.write(problem.detail)
            sys.exit(1)
        self.stdout.write(code)
