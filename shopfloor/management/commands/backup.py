"""Back the shop up while it works."""

import os
import sys
from pathlib import Path

from django.core.management.base import BaseCommand
from django.utils import timezone

from shared.problems import Problem
from shopfloor.backups.services import backup_make


class Command(BaseCommand):
    help = "Writes a checked backup of everything that the database holds; scans go on meanwhile."
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument(
            "file", nargs="?", type=Path, help="a new file or a folder (backups in the data folder)"
        )
        parser.add_argument(
            "--keep", type=int, help="how many backups stay in the folder; older ones are deleted"
        )

    def handle(self, *args, file: Path | None, keep: int | None, **options):
        os.umask(0o077)
        try:
            made = backup_make(to=file and file.absolute(), keep=keep, now=timezone.now())
        except Problem as problem:
            self.stderr.write(problem.detail)
            sys.exit(1)
        self.stdout.write(f"{made.path}: {made.scans} scans, {made.size / 1e6:.1f} MB, checked.")
        for one in made.deleted:
            self.stdout.write(f"Deleted the old backup {one.name}.")
