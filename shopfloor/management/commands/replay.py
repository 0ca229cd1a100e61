"""Derives the state of every fitting again from the record and compares it with what is stored."""

from __future__ import annotations

import sys

from django.core.management.base import BaseCommand
from django.db import transaction
from django.utils import timezone

from shared.rows import one_moment
from shopfloor.flow_days import flow_days_drop
from travelers.replay import replay


class Command(BaseCommand):
    help = (
        "Rebuild the state of all tasks from the record. --check only compares: exit 0 where equal, else 1."
    )

    def add_arguments(self, parser):
        parser.add_argument("--check", action="store_true", help="change nothing, report the differences")

    def handle(self, *args, check: bool, **options):
        with one_moment() if check else transaction.atomic():
            found = replay(write=not check)
        if found.differences and not check:
            flow_days_drop(now=timezone.now())  # they were added up from what was wrong
        for line in found.differences:
            self.stdout.write(line)
        if check and found.differences:
            self.stdout.write(f"{len(found.differences)} differences in {found.fittings} fittings.")
            sys.exit(1)
        word = "equal" if check or not found.differences else "rebuilt"
        self.stdout.write(f"{found.fittings} fittings, {found.scans} scans: {word}.")
