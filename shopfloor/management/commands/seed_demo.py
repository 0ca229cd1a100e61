"""Fill an empty database with the demo shop."""

import sys

from django.core.management.base import BaseCommand
from django.utils import timezone

from shared.problems import Conflict
from shopfloor.demo import SEED, demo_fill, demo_sign_ins


class Command(BaseCommand):
    help = (
        "Fills a database without orders with the demo shop: invented people, orders and two weeks of work."
    )

    def add_arguments(self, parser):
        parser.add_argument("--seed", type=int, default=SEED, help="another seed is another fortnight")

    def handle(self, *args, seed: int, **options):
        try:
            made = demo_fill(now=timezone.now(), seed=seed)
        except Conflict as problem:
            self.stderr.write(problem.detail)
            sys.exit(1)
        self.stdout.write(
            f"{made.orders} orders, {made.fittings} fittings, {made.scans} scans, {made.unfinished} unfinished."
        )
        for one in demo_sign_ins():
            self.stdout.write(f"Sign in as {one.name} with {one.password}")
