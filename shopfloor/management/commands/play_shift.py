"""Play a working day on a running app, through its HTTP API."""

import signal
import sys

from django.core.management.base import BaseCommand
from django.utils import timezone

from shopfloor.player import Player, Unreachable, http_call
from shopfloor.working_time import shop_calendar


class Command(BaseCommand):
    help = "Plays operators and office on the running app: scans, holds, scrap, new orders. Ctrl-C ends it."

    def add_arguments(self, parser):
        parser.add_argument("--speed", type=float, default=60, help="simulated minutes a real minute (60)")
        parser.add_argument("--minutes", type=float, help="simulated minutes to play (a whole shift)")
        parser.add_argument("--url", default="http://127.0.0.1:8000", help="where the app is served")
        parser.add_argument("--seed", type=int, default=1, help="another seed plays another day")

    def handle(self, *args, speed: float, minutes: float | None, url: str, seed: int, **options):
        if not 0.1 <= speed <= 10_000:
            self.stderr.write(f"--speed is {speed:g}; it can be 0.1 to 10000.")
            sys.exit(2)
        length = shop_calendar().day_length * 60 if minutes is None else minutes
        player = Player(call=http_call(url), now=timezone.now(), speed=speed, seed=seed, say=self._say)
        before = {
            one: signal.signal(one, signal.default_int_handler) for one in (signal.SIGINT, signal.SIGTERM)
        }
        try:
            player.open()
            player.play(length)
        except Unreachable as problem:
            self.stderr.write(str(problem))
            sys.exit(1)
        except KeyboardInterrupt:
            self._say("Stopped.")
        finally:
            player.close()
            for one, handler in before.items():
                signal.signal(one, handler)
        self._say(f"Played: {player.done.line()}.")

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
