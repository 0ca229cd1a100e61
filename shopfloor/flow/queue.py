"""What a queue means: how long the look ahead is, what the stations clear in it, when a queue is piling up."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from shopfloor.flow.calendar import Calendar

ON_AT = 1.0
OFF_BELOW = 0.8
SHORTEST_LOOK = 1.0
"""Hours. In the last minutes of a day every queue is longer than what they clear; nobody can act on that."""


@dataclass(frozen=True)
class Horizon:
    """How far ahead a queue is held against its stations: hours of work at one station, and the words for it."""

    hours: float
    words: str
    until: datetime | None = None


def horizon(calendar: Calendar, now: datetime) -> Horizon:
    """To the end of the working day that is on, at least an hour; outside of one, a whole day."""
    left = calendar.hours_left(now)
    if left is None:
        return Horizon(calendar.day_hours, "in a day")
    if left < SHORTEST_LOOK:
        return Horizon(SHORTEST_LOOK, "in the next hour")
    return Horizon(left, "today")


def stations_by_operation(stations: Iterable[Iterable[str]]) -> dict[str, int]:
    """Active stations by the operation that they do. One that does several counts at each of them in full.

    >>> stations_by_operation([["seam"], ["seam", "ends"]])
    {'seam': 2, 'ends': 1}
    """
    found: dict[str, int] = {}
    for operations in stations:
        for operation in operations:
            found[operation] = found.get(operation, 0) + 1
    return found


def load(queued_hours: float, clears_hours: float) -> float:
    """Hours queued by hours cleared within the horizon; infinite where nobody can do the work.

    >>> load(6.0, 4.0), load(0.0, 0.0), load(1.0, 0.0)
    (1.5, 0.0, inf)
    """
    if queued_hours <= 0:
        return 0.0
    return queued_hours / clears_hours if clears_hours > 0 else float("inf")


def offered(queued_hours: float, finished_hours: float, stations: int) -> float:
    """Hours of work that were there for each station lately: what lies there, and what was finished in that time.

    The operation with the most is the bottleneck. A queue alone says so late: it takes a while to grow. Infinite where
    work lies that nobody can do.

    >>> offered(0.5, 1.5, 1), offered(0.0, 3.0, 2), offered(1.0, 0.0, 0)
    (2.0, 1.5, inf)
    """
    work = queued_hours + finished_hours
    if stations:
        return work / stations
    return float("inf") if queued_hours > 0 else 0.0


def is_piling_up(queued_hours: float, clears_hours: float, was: bool) -> bool:
    """The rule with its dead band: on from a load of 1.0, off below 0.8, in between as it was.

    >>> [is_piling_up(hours, 10, was) for hours, was in ((10, False), (9, True), (9, False), (7.9, True))]
    [True, True, False, False]
    """
    ratio = load(queued_hours, clears_hours)
    return ratio >= ON_AT or (was and ratio >= OFF_BELOW)


def why(
    queued_hours: float,
    clears_hours: float,
    look: Horizon,
    *,
    stations: int,
    pieces: str,
    orders: int,
    at_least: bool = False,
) -> tuple[str, ...]:
    """The sentences behind the state: how much lies there, and of what.

    pieces   the pieces queued, with their noun: "31 gores"
    orders   how many orders they are of; `at_least` where that is only known of the first of a long queue

    >>> why(6.5, 4.4, Horizon(4.4, "today"), stations=1, pieces="31 gores", orders=3)
    ('6.5 h queued, 2.1 h more than it will clear today.', '31 gores of 3 orders.')
    """
    if queued_hours <= 0 and not orders:
        return ("Nothing is queued.",)
    of = f"{orders} or more" if at_least else f"{orders}"
    whose = (f"{pieces} of {of} {'order' if of == '1' else 'orders'}.",) if orders else ()
    queued = f"{queued_hours:.1f} h queued"
    if not stations:
        return (f"{queued}, and no active station does it.", *whose)
    over = queued_hours - clears_hours
    if over >= 0.05:
        return (f"{queued}, {over:.1f} h more than it will clear {look.words}.", *whose)
    return (f"{queued} of the {clears_hours:.1f} h that it will clear {look.words}.", *whose)


def rate(count: int, hours: float) -> float:
    """Pieces an hour, one decimal."""
    return round(count / hours, 1) if hours > 0 else 0.0
