"""Do the long work that waits in the database. `up` starts one; more may run, here or on other machines."""

import os

from django.core.management.base import BaseCommand

from shopfloor.rounds import round_request
from shopfloor.worker import HANDLERS, work_until_told

KINDNESS = 5


class Command(BaseCommand):
    help = "Does the long work that waits (cut plans), beside the screens, until Ctrl-C."
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument("--once", action="store_true", help="one job if one waits, then end")
        parser.add_argument("--parent", type=int, help="end when this process, which started it, has ended")

    def handle(self, *args, once: bool, parent: int | None, **options):
        os.nice(KINDNESS)
        work_until_told(HANDLERS, is_once=once, parent=parent, on_round=round_request)
