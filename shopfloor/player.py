"""Plays a day in the shop: operators who take what is next, scan, and now and then forget to.

Every change goes through the HTTP API, as from tablets; the database is only read (standard times, badges), besides the
keys that the player makes for its stations and takes back at the end.
"""

from __future__ import annotations

import heapq
import json
import random
import time
import urllib.error
import urllib.request
import uuid
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Q, Sum

from fittings.models import CutPiece
from shared.roles import OFFICE
from shopfloor.access import key_revoke
from shopfloor.keys import actor_of_person, key_make
from shopfloor.models import Key, Person, Station
from travelers.models import Operator, Task

REPORT_MINUTES = 15.0
LOOK_AGAIN_MINUTES = 4.0
FORGETS, SCRAPS, HOLDS, STARTS = 0.02, 0.006, 0.015, 0.5
ORDER_MINUTES = (30.0, 60.0)
HOLD_MINUTES = (15.0, 45.0)
TRIES = 6
HOLD_REASONS = ("Waits for a drawing", "Coil stain on the sheet", "Customer asks for a change")
SCRAP_REASONS = ("Rolled the wrong way", "Seam split", "Cut short")
LABEL = "play_shift"

Call = Callable[[str, str, str, Any], tuple[int, dict]]


class Unreachable(Exception):
    """The app did not answer, again and again."""


def http_call(url: str) -> Call:
    """Calls the API at a base address: (method, path, key, body) to (status, answer). Status 0: no answer."""

    def call(method: str, path: str, key: str, body: Any) -> tuple[int, dict]:
        request = urllib.request.Request(
            f"{url.rstrip('/')}/api/v1/{path}",
            data=None if body is None else json.dumps(body).encode(),
            method=method,
            headers={"Authorization": f"Token {key}", "Content-Type": "application/json"},
        )
        try:
            with urllib.request.urlopen(request, timeout=10) as response:
                return response.status, json.load(response)
        except urllib.error.HTTPError as error:
            with error:
                return error.code, {}
        except (OSError, ValueError):
            return 0, {}

    return call


@dataclass
class Bench:
    """A station with the key and the badges of who works there."""

    code: str
    key: str
    badges: Sequence[str]


@dataclass
class Played:
    """What was done: results of scans by outcome, scans that were forgotten, orders released."""

    outcomes: Counter = field(default_factory=Counter)
    actions: Counter = field(default_factory=Counter)
    forgotten: int = 0
    released: int = 0

    def line(self) -> str:
        outcomes = ", ".join(f"{count} {name}" for name, count in sorted(self.outcomes.items())) or "no scans"
        orders = "1 order" if self.released == 1 else f"{self.released} orders"
        return f"{outcomes}; {self.forgotten} forgotten, {orders} released"


class Player:
    """One day. Simulated minutes from the start; `speed` of them pass in one real minute."""

    def __init__(
        self,
        *,
        call: Call,
        now: datetime,
        speed: float,
        seed: int,
        say: Callable[[str], None],
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ):
        self.call = call
        self.now = now
        self.speed = speed
        self.random = random.Random(seed)
        self.say = say
        self.clock = clock
        self.sleep = sleep
        self.began = clock()
        self.heap: list[tuple[float, int, Callable[[], None]]] = []
        self.pushed = 0
        self.minute = 0.0
        self.taken: set[str] = set()
        self.done = Played()
        self.keys: list[Key] = []
        self.office = ""

    # -- setting up and clearing away --------------------------------------

    def open(self) -> None:
        """Keys for every station in use and for the office; everyone to their bench."""
        badges = list(Operator.objects.filter(is_active=True).order_by("pk").values_list("code", flat=True))
        if not badges:
            raise Unreachable("There are no operators with a badge. Add some, or fill the demo shop.")
        for at, station in enumerate(Station.objects.filter(is_active=True).order_by("position", "code")):
            key, secret = key_make(now=self.now, station=station, label=LABEL)
            self.keys.append(key)
            bench = Bench(station.code, secret, badges[at :: max(1, len(badges) // 2)] or badges)
            self.after(self.random.uniform(0, 2), lambda bench=bench: self.look(bench))
        person = Person.objects.filter(role=OFFICE, is_active=True).order_by("pk").first()
        if person:
            key, self.office = key_make(now=self.now, person=person, label=LABEL)
            self.keys.append(key)
            self.after(self.random.uniform(*ORDER_MINUTES), self.new_order)
        self.after(REPORT_MINUTES, self.report)

    def close(self) -> None:
        """The keys are taken back; nothing is left that could scan."""
        for key in self.keys:
            holder = key.person
            actor = actor_of_person(holder) if holder else actor_of_person(Person(username=LABEL))
            key_revoke(key=key, actor=actor, now=self.now)
        self.keys = []

    def play(self, minutes: float) -> Played:
        """Play so many simulated minutes."""
        while self.heap and self.heap[0][0] <= minutes:
            self.minute, _, act = heapq.heappop(self.heap)
            early = self.minute * 60 / self.speed - (self.clock() - self.began)
            if early > 0:
                self.sleep(early)
            act()
        return self.done

    def after(self, minutes: float, act: Callable[[], None]) -> None:
        self.pushed += 1
        heapq.heappush(self.heap, (self.minute + minutes, self.pushed, act))

    # -- at a bench -----------------------------------------------------------

    def look(self, bench: Bench) -> None:
        """Take the next sheet or piece that is ready and that nobody has in hand, sheets first."""
        status, answer = self.ask("GET", "station/queue/", bench.key)
        rows = [*answer.get("sheets", []), *answer.get("queue", [])] if status == 200 else []
        mine = next(
            (
                row
                for row in rows
                if row["state"] in ("ready", "running") and self.hand(row) not in self.taken
            ),
            None,
        )
        if mine is None:
            self.after(LOOK_AGAIN_MINUTES, lambda: self.look(bench))
            return
        self.taken.add(self.hand(mine))
        minutes = self.minutes_of(mine["code"], mine["operation"]) * self.random.uniform(0.8, 1.25)
        if mine["state"] == "ready" and self.random.random() < STARTS:
            self.scan(bench, mine["code"], "start")
        self.after(minutes, lambda: self.end(bench, mine))

    @staticmethod
    def hand(row: dict) -> str:
        return f"{row['code']} {row['operation']}"

    def end(self, bench: Bench, row: dict) -> None:
        """The work is done, spoiled, or cannot go on; then the next piece."""
        chance = self.random.random()
        if chance < FORGETS:
            self.done.forgotten += 1
        elif chance < FORGETS + SCRAPS and row["operation"] in ("roll", "seam"):
            self.scan(bench, row["code"], "scrap", self.random.choice(SCRAP_REASONS))
        elif chance < FORGETS + SCRAPS + HOLDS:
            self.scan(bench, row["code"], "hold", self.random.choice(HOLD_REASONS))
            self.after(self.random.uniform(*HOLD_MINUTES), lambda: self.resume(bench, row))
        else:
            self.scan(bench, row["code"], "finish")
        self.look(bench)

    def resume(self, bench: Bench, row: dict) -> None:
        self.scan(bench, row["code"], "resume")
        self.after(
            self.minutes_of(row["code"], row["operation"]), lambda: self.scan(bench, row["code"], "finish")
        )

    def minutes_of(self, code: str, operation: str) -> float:
        """The standard time of the work, of a sheet that of all its pieces; at least a quarter of a minute."""
        pieces = CutPiece.objects.filter(sheet__code=code, is_live=True).values("segment_id")
        tasks = Task.objects.filter(operation=operation).filter(
            Q(segment__code=code) | Q(segment=None, fitting__code=code) | Q(segment_id__in=pieces)
        )
        return max(0.25, tasks.aggregate(total=Sum("minutes"))["total"] or 0.0)

    def scan(self, bench: Bench, code: str, action: str, reason: str = "") -> None:
        """One scan; without an answer the same id goes again, as a tablet's would."""
        body = {
            "id": str(uuid.uuid4()),  # not of the seed: a second shift would repeat the first one's ids
            "code": code,
            "action": action,
            "badge": self.random.choice(bench.badges),
            "reason": reason,
            "scanned_at": self.moment().isoformat(),
        }
        status, answer = self.ask("POST", "scans/", bench.key, {"scans": [body]})
        outcome = answer["results"][0]["outcome"] if status == 200 else f"answered {status}"
        self.done.outcomes[outcome] += 1
        self.done.actions[action] += 1

    def moment(self) -> datetime:
        """The real time: what is played fast is scanned fast."""
        return self.now + timedelta(seconds=self.clock() - self.began)

    # -- in the office ----------------------------------------------------------

    def new_order(self) -> None:
        """An order comes in and is released."""
        diameter = self.random.choice((8, 10, 12, 14, 16, 20, 24))
        angle = self.random.choice((45, 90, 90))
        order = {
            "customer": "Example Mechanical",
            "purchase_order": f"PLAY-{self.random.randrange(1000, 9999)}",
            "due": self.due().isoformat(),
            "priority": self.random.choice((3, 5, 5, 6)),
            "lines": [
                {
                    "quantity": self.random.randint(2, 8),
                    "kind": "gored_elbow",
                    "material": "galvanized",
                    "gauge": self.random.choice((22, 24, 26)),
                    "params": {"diameter": diameter, "angle": angle, "radius_ratio": 1.5},
                    "end_b": self.random.choice(("raw", "swage", "flange")),
                    "tag": f"PLAY-{self.random.randrange(10, 99)}",
                }
            ],
        }
        status, made = self.ask("POST", "orders/", self.office, order)
        if status in (200, 201):
            status, _ = self.ask("POST", f"orders/{made['number']}/release/", self.office, {})
            self.done.released += status == 200
        self.after(self.random.uniform(*ORDER_MINUTES), self.new_order)

    def due(self) -> date:
        return (self.now + timedelta(days=self.random.randint(1, 10))).date()

    # -- telling ------------------------------------------------------------------

    def report(self) -> None:
        """One line a simulated quarter of an hour."""
        hours, minutes = divmod(round(self.minute), 60)
        status, board = self.ask("GET", "board/", self.office) if self.office else (0, {})
        piles = [
            f"{one['operation']} {one['hours_queued']} h"
            for one in board.get("operations", ())
            if one["piling_up"]
        ]
        told = f"; piling up: {', '.join(piles)}" if piles else ""
        self.say(f"{hours:d}:{minutes:02d}  {self.done.line()}{told}")
        self.after(REPORT_MINUTES, self.report)

    def ask(self, method: str, path: str, key: str, body: Any = None) -> tuple[int, dict]:
        """Ask, and ask again where there is no answer or the app is busy.

        raises  Unreachable
        """
        for attempt in range(TRIES):
            status, answer = self.call(method, path, key, body)
            if status and status < 500:
                return status, answer
            self.sleep(0.5 * 2**attempt)
        raise Unreachable(f"The app did not answer {method} {path} ({status or 'no connection'}).")
