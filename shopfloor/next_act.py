"""What follows from a pile and what to do about it, in one sentence each; only what the record supports."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from shopfloor.flow.calendar import Calendar
from shopfloor.flow.starving import runs_dry
from shopfloor.models import Station
from shopfloor.tablet import limits_of
from travelers.limits import Limits

STEP_MINUTES = 10
"""Moments are said to ten minutes: the work does not flow as evenly as the formula has it."""


@dataclass(frozen=True)
class Place:
    """An operation with what lies there. `lying` are pieces that are ready, running or on hold."""

    code: str
    name: str
    stations: int
    hours: float
    waiting: int
    queued: int
    lying: int
    cap: int | None

    @property
    def is_full(self) -> bool:
        return self.cap is not None and self.lying >= self.cap


def starves(at: Place, following: Place | None, *, is_dry: bool, calendar: Calendar, now: datetime) -> str:
    """When the next operation runs out of work, where that is within the day that is on; else nothing.

    Of an hour's work here comes as much there as the pieces that wait for it have to the pieces that are here.

    is_dry  nothing lies here nor before; else it is a pile
    """
    left = calendar.hours_left(now)
    if following is None or left is None or not following.waiting or not following.stations:
        return ""
    if not following.queued:
        return "" if is_dry else f"{following.name} starves now."
    passes_on = 0.0
    if at.hours > 0:
        pieces_an_hour = at.queued / at.hours * min(1.0, following.waiting / (at.waiting + at.lying))
        passes_on = pieces_an_hour * following.hours / following.queued
    hours = runs_dry(
        following.hours, following.stations, fed_hours=at.hours, fed_stations=at.stations, passes_on=passes_on
    )
    if hours is None or hours >= left:
        return ""
    moment = calendar.ahead(now, hours)
    moment -= timedelta(minutes=moment.minute % STEP_MINUTES)
    return f"{following.name} starves {'now' if moment <= now else f'from {moment:%H:%M}'}."


def act(
    at: Place,
    before: Place | None,
    following: Place | None,
    *,
    stations: Sequence[Station],
    idle: Collection[str],
) -> str:
    """The first act that takes something off this pile, or nothing.

    stations  all of them, in their order. Those with limits are left out: they may not take what lies here.
    idle      codes of active ones where nothing was done lately
    """
    if following is not None and following.is_full:
        return f"{following.name} is full: clear it first."
    able = [one for one in stations if at.code in one.operations and limits_of(one) == Limits()]
    for one in able:
        if one.is_active and one.code in idle:
            return f"{one.code} can do it and is idle."
    for one in able:
        if not one.is_active:
            return f"{one.code} can do it and is not in use."
    if at.is_full and before is not None:
        return f"{before.name} is told to hold back."
    return ""
