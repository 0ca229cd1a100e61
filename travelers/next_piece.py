"""Which piece is next at a station, and why: the order of the list, and its reasons in three words. Pure.

What was begun here comes first, then what is ready, then what is on hold. Ready work goes by: pinned by the supervisor,
late or due soonest, the last piece that its fitting lacks, the order's priority, the longest ready.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable
from datetime import UTC, date, datetime
from typing import NamedTuple

from shared.words import mark, say, say_count

RUNNING, READY, HELD = "running", "ready", "held"
_MOMENTS = {RUNNING: 0, READY: 1, HELD: 2}
_NEVER = datetime.max.replace(tzinfo=UTC)
USUAL_PRIORITY = 5

STARTED, ON_HOLD, PINNED, LATE, DUE_TODAY = "started", "held", "pinned", "late", "due_today"
LAST_PIECE, DUE_TOMORROW, DAYS_LEFT, PRIORITY, NO_DATE = (
    "last_piece",
    "due_tomorrow",
    "days_left",
    "priority",
    "no_date",
)


class Waiting(NamedTuple):
    """An open task as the choice sees it.

    is_pinned      the supervisor put its order or its line first
    is_last_piece  the fitting has other pieces, all of them are done, and only this one is lacking
    """

    task: int
    state: str
    due: date | None
    priority: int
    ready_at: datetime | None
    is_pinned: bool = False
    is_last_piece: bool = False


class Reason(NamedTuple):
    """Why a piece stands where it does: a code, the number in its words where there is one, and words."""

    code: str
    number: int | None
    words: str


def rank(state: str, is_pinned: bool, due: date | None) -> tuple:
    """What decides first, and is the same for all the work of a line that is as far."""
    return (_MOMENTS[state], not is_pinned, due or date.max)


def place(one: Waiting) -> tuple:
    """What the list is sorted by; it begins with the rank. No two tasks have the same."""
    return (
        *rank(one.state, one.is_pinned, one.due),
        not one.is_last_piece,
        one.priority,
        one.ready_at or _NEVER,
        one.task,
    )


def in_order(waiting: Iterable[Waiting]) -> list[Waiting]:
    """All of them, the next one first."""
    return sorted(waiting, key=place)


def next_of(waiting: Iterable[Waiting], count: int) -> list[Waiting]:
    """The first `count` of `in_order`, without sorting the rest."""
    return heapq.nsmallest(count, waiting, key=place)


def reason(one: Waiting, *, today: date, word: str = "piece") -> Reason:
    """Why this one is next: the first that is so. Each is true of the piece alone, whatever else is in the list.

    word  what the pieces of its fitting are called

    >>> reason(Waiting(1, READY, date(2026, 3, 2), 5, None), today=date(2026, 3, 4))
    Reason(code='late', number=2, words='Late 2 days')
    """
    days = (one.due - today).days if one.due else None
    if one.state == RUNNING:
        return Reason(STARTED, None, say("Started here"))
    if one.state == HELD:
        return Reason(ON_HOLD, None, say("On hold"))
    if one.is_pinned:
        return Reason(PINNED, None, say("Do this first"))
    if days is not None and days < 0:
        return Reason(LATE, -days, say_count("Late {n} day", "Late {n} days", -days))
    if days == 0:
        return Reason(DUE_TODAY, None, say("Due today"))
    if one.is_last_piece:
        return Reason(LAST_PIECE, None, say(_LAST[word]))
    if days == 1:
        return Reason(DUE_TOMORROW, None, say("Due tomorrow"))
    if days is not None:
        return Reason(DAYS_LEFT, days, say_count("{n} day left", "{n} days left", days))
    if one.priority < USUAL_PRIORITY:
        return Reason(PRIORITY, one.priority, say("Priority {n}", n=one.priority))
    return Reason(NO_DATE, None, say("No due date"))


_LAST = {"piece": mark("Last piece missing"), "gore": mark("Last gore missing")}
