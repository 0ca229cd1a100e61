"""Writes the words by which orders' lines are found anew, or compares them with what is stored."""

from __future__ import annotations

import sys

from django.core.management.base import BaseCommand

from fittings.search_index import index_differences, index_rebuild
from shared.turn import write_turn


class Command(BaseCommand):
    help = "Rebuild the index of the search. --check only compares: exit 0 where equal, else 1."

    def add_arguments(self, parser):
        parser.add_argument("--check", action="store_true", help="change nothing, report the differences")

    def handle(self, *args, check: bool, **options):
        if not check:
            with write_turn():
                count = index_rebuild()
            self.stdout.write(f"{count} lines: rebuilt.")
            return
        wrong, count = index_differences()
        for line in wrong:
            self.stdout.write(line)
        if wrong:
            self.stdout.write(f"{len(wrong)} differences in {count} lines.")
            sys.exit(1)
        self.stdout.write(f"{count} lines: equal.")
