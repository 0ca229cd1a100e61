"""Put a backup in the place of the present record, and check that it replays to the same state."""

import os
import sys
from pathlib import Path

from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import transaction
from django.utils import timezone

from fittings.search_index import index_begin
from shared.problems import Problem
from shopfloor.backups.services import backup_restore
from travelers.replay import replay


class Command(BaseCommand):
    help = "Puts a backup back, all of it or nothing, while the app is stopped. Tablets then send again what they keep."
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path, help="a file that `manage.py backup` made")
        parser.add_argument(
            "--without-backup",
            action="store_true",
            help="do not back up what is there before: for a database that cannot be read",
        )

    def handle(self, *args, file: Path, without_backup: bool, **options):
        os.umask(0o077)
        try:
            done = backup_restore(
                file=file.absolute(), is_present_kept=not without_backup, now=timezone.now()
            )
        except Problem as problem:
            self.stderr.write(problem.detail)
            sys.exit(1)
        for one in done.aside:
            self.stdout.write(f"What could not be read is now {one}.")
        if done.before:
            self.stdout.write(f"What was there before is in {done.before}.")
        self.stdout.write(
            f"Restored: {done.scans} scans, as of {timezone.localtime(done.made_at):%Y-%m-%d %H:%M:%S %Z}."
        )
        call_command("migrate", interactive=False, verbosity=0)
        index_begin()
        with transaction.atomic():
            found = replay(write=False)
        if found.differences:
            for line in found.differences:
                self.stdout.write(line)
            self.stderr.write(
                f"The restored state differs from its record in {len(found.differences)} places. "
                "`manage.py replay` writes it anew from the record."
            )
            sys.exit(1)
        self.stdout.write(
            f"The record replays to the same state: {found.fittings} fittings, {found.scans} scans."
        )
        self.stdout.write("Everybody signs in again. Tablets send again the scans that they keep.")
