"""Starts and finishes to measured times: whose work a station's time was, nights and breaks left out.

A station works on one thing at a time: each of its working moments belongs to the started work that it finishes next.
So a lot that is started at once and finished piece by piece gives each piece the time since the one before, what was
put aside for a quick piece does not count that piece's time, and no moment counts twice. What is finished by one scan
is one timing, which its pieces share.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from statistics import fmean

from .calendar import Calendar

NO_START = "without a start of their own"
MEANWHILE = "with something else finished there meanwhile whose time is not known"
OUTSIDE = "begun or ended outside of the shop’s hours"
MIXED = "of several methods or operations in one scan"
NO_FEET = "whose standard time cannot be told by its feet"
BEYOND = "begun before what was read"


@dataclass(frozen=True)
class Piece:
    """A piece finished at an operation, as the record has it.

    standard     its standard time now [min]; None where its feet are not known
    feet         of what the standard time goes by, None where not known or by nothing
    size         inside diameter of its fitting, the largest [in]
    why          why its time cannot be used; blank where it can
    key          of who asks: the number of its task
    """

    operation: str
    method: str
    station: str
    started_at: datetime | None
    finished_at: datetime
    standard: float | None
    feet: float | None = None
    gauge: int | None = None
    size: float | None = None
    why: str = ""
    key: int = 0


@dataclass(frozen=True)
class Timing:
    """One start to finish: so many pieces, and what one of them has on the average.

    standard, minutes  as planned and as measured [min]
    gauge, size        None where the pieces differ
    """

    operation: str
    method: str
    pieces: int
    standard: float
    minutes: float
    feet: float | None
    gauge: int | None
    size: float | None
    finished_at: datetime


def timings(
    pieces: Sequence[Piece], calendar: Calendar, *, read_since: Mapping[str, datetime] | None = None
) -> tuple[list[Timing], dict[str, Counter[str]]]:
    """What was measured, and by operation how many pieces were left out for which reason.

    read_since  of these operations nothing that finished before is among the pieces: work that began earlier at a
                station that does them is left out, since what came between is not known
    """
    found: list[Timing] = []
    left_out: dict[str, Counter[str]] = defaultdict(Counter)
    by_station: dict[str, list[Piece]] = defaultdict(list)
    for piece in pieces:
        by_station[piece.station].append(piece)
    for own in by_station.values():
        known = [read_since[code] for code in {one.operation for one in own} if code in (read_since or {})]
        for group, timed in _of_station(own, calendar, max(known, default=None)):
            if isinstance(timed, Timing):
                found.append(timed)
            else:
                for one in group:
                    left_out[one.operation][one.why or timed] += 1
    return found, left_out


def piece_minutes(pieces: Sequence[Piece], calendar: Calendar) -> dict[int, float]:
    """By key, the minutes of work on a piece, of those whose time is known; pieces of one scan share it equally."""
    by_station: dict[str, list[Piece]] = defaultdict(list)
    for piece in pieces:
        by_station[piece.station].append(piece)
    found: dict[int, float] = {}
    for own in by_station.values():
        for group, timed in _of_station(own, calendar, None):
            if isinstance(timed, Timing):
                found |= dict.fromkeys((one.key for one in group), timed.minutes)
    return found


def _of_station(own: list[Piece], calendar: Calendar, since: datetime | None):
    """Each scan's pieces with their timing, or with why there is none."""
    own.sort(key=lambda one: one.finished_at)
    groups = [list(group) for _, group in groupby(own, key=lambda one: one.finished_at)]
    unknown = [group[0].finished_at for group in groups if _spoilt(group)]
    busy: list[tuple[datetime, datetime]] = []
    for group in groups:
        end = group[0].finished_at
        starts = [one.started_at for one in group if one.started_at is not None]
        hours = _take(busy, min(starts), end, calendar) if starts else 0.0
        yield group, _spoilt(group) or _timed(group, min(starts), end, hours, calendar, unknown, since)


def _spoilt(group: Sequence[Piece]) -> str:
    """Why the time of pieces that one scan finished is not known; blank where it is."""
    if len({(one.operation, one.method) for one in group}) > 1:
        return MIXED
    if any(one.started_at is None for one in group):
        return NO_START
    return next((one.why for one in group if one.why), "")


def _timed(
    group: Sequence[Piece],
    start: datetime,
    end: datetime,
    hours: float,
    calendar: Calendar,
    unknown: Sequence[datetime],
    since: datetime | None,
) -> Timing | str:
    first = group[0]
    if since is not None and start < since:
        return BEYOND
    at = bisect_right(unknown, start)
    if at < len(unknown) and unknown[at] < end:
        return MEANWHILE
    is_inside = all(calendar.hours_left(one) is not None for one in (start, end - timedelta(seconds=1)))
    if not is_inside or hours <= 0:
        return OUTSIDE
    if any(one.standard is None for one in group):
        return NO_FEET
    return Timing(
        first.operation,
        first.method,
        len(group),
        fmean(one.standard for one in group),
        hours * 60 / len(group),
        None if any(one.feet is None for one in group) else fmean(one.feet for one in group),
        _same(one.gauge for one in group),
        _same(one.size for one in group),
        end,
    )


def _take(busy: list[tuple[datetime, datetime]], start: datetime, end: datetime, calendar: Calendar) -> float:
    """Working hours from start to end that no work finished before has taken; they are taken now."""
    hours, at, begin = 0.0, end, start
    while busy and busy[-1][1] > start:
        before, after = busy.pop()
        hours += calendar.hours_between(after, at)
        at, begin = before, min(begin, before)
    hours += calendar.hours_between(start, at)
    busy.append((begin, end))
    return hours


def _same(values):
    found = set(values)
    return found.pop() if len(found) == 1 else None
