"""A released order and the scans of its pieces, for the tests of the record."""

from __future__ import annotations

import re
import uuid
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import count
from typing import Any

from fittings import numbering
from fittings.models import Fitting, Order, Segment
from shared.roles import OPERATOR, SUPERVISOR, Actor
from tests import factories
from travelers.models import Operator, ScanTarget, Task
from travelers.record import ScanResult, scan_record
from travelers.release import order_release

NOW = factories.NOW
LATER = NOW + timedelta(hours=8)
ONE_OPERATION = {
    "CUT-1": ("cut",),
    "ROLL-1": ("roll",),
    "SEAM-1": ("seam",),
    "ASSEMBLE-1": ("assemble",),
    "ENDS-1": ("ends",),
    "WRAP-1": ("wrap",),
}
_names = count(1)


def station(operation: str, code: str = "") -> Actor:
    """The tablet of a station that does one operation."""
    code = code or f"{operation.upper()}-1"
    return Actor(code, OPERATOR, code, (operation,))


SUPERVISOR_HAND = Actor("supervisor", SUPERVISOR)


def badge(name: str = "Sam Invented", *, is_active: bool = True) -> str:
    return Operator.objects.create(code=numbering.take(1)[0], name=name, is_active=is_active).code


@dataclass
class Floor:
    """One released order, somebody's badge, and a clock that goes on by a minute a scan."""

    order: Order
    badge: str
    minutes: int = field(default=0)

    @property
    def fitting(self) -> Fitting:
        return self.fittings[0]

    @property
    def fittings(self) -> list[Fitting]:
        return list(Fitting.objects.filter(order=self.order).order_by("number"))

    @property
    def traveler(self) -> str:
        return self.fitting.traveler_code

    def segment(self, position: int = 1, fitting: int = 1, generation: int = 1) -> Segment:
        return Segment.objects.get(
            fitting=self.fittings[fitting - 1], position=position, generation=generation
        )

    def task(
        self, operation: str, position: int | None = None, fitting: int = 1, generation: int = 1
    ) -> Task:
        if position is None:
            return Task.objects.get(fitting=self.fittings[fitting - 1], segment=None, operation=operation)
        return Task.objects.get(segment=self.segment(position, fitting, generation), operation=operation)

    def states(self, operation: str, fitting: int = 1) -> list[str]:
        """The states of an operation's tasks of one fitting, by position and generation."""
        return list(
            Task.objects.filter(fitting=self.fittings[fitting - 1], operation=operation)
            .order_by("segment__position", "segment__generation")
            .values_list("state", flat=True)
        )

    def body(self, code: str, action: str, **changes: Any) -> dict[str, Any]:
        self.minutes += 1
        made = {
            "id": str(uuid.uuid4()),
            "code": code,
            "action": action,
            "count": None,
            "badge": self.badge,
            "reason": "",
            "scanned_at": (NOW + timedelta(minutes=self.minutes)).isoformat(),
        } | changes
        return {name: value for name, value in made.items() if value is not ...}

    def scan(
        self, operation: str, code: str, action: str = "finish", *, now: datetime = LATER, **changes
    ) -> ScanResult:
        return self.send(station(operation), self.body(code, action, **changes), now=now)

    def send(self, actor: Actor, body: Any, *, now: datetime = LATER, stations: Any = None) -> ScanResult:
        known = ONE_OPERATION if stations is None else stations
        return scan_record(delivery=body, actor=actor, now=now, station_operations=known.get)


def floor(*, quantity: int = 2, pieces: int = 3, diameter: float = 14, **line: Any) -> Floor:
    """An order of equal elbows, released; by default two of three pieces."""
    params = {"diameter": diameter, "angle": 90, "pieces": pieces, "radius_ratio": 1.5}
    made = factories.order(lines=[factories.line(quantity=quantity, params=params, **line)])
    order = order_release(number=made.number, actor=factories.OFFICE_ACTOR, now=NOW)
    return Floor(order, badge(f"Sam Invented {next(_names)}"))


def facts() -> tuple:
    """All stored state, to see that nothing changed."""
    return (
        list(Task.objects.order_by("pk").values_list()),
        list(Segment.objects.order_by("pk").values_list()),
        list(Fitting.objects.order_by("pk").values_list()),
        list(Order.objects.order_by("pk").values_list()),
        ScanTarget.objects.count(),
    )


def is_plain(message: str) -> bool:
    """At most 13 words besides what was scanned, who and when; a full stop at the end, nothing left unsaid."""
    core = re.sub(
        r"“.*?”|\(made again, \d+\)| by Sam Invented \d+| at \w{3} \d+ \w{3}, \d\d:\d\d", "", message
    )
    return (
        message.endswith(".")
        and len(core.split()) <= 13
        and not re.search(r"None|\{|\}|  |\.\.|: \.", message)
    )
