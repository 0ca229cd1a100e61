"""Measured times taken over: a new version of the table of standard times. Released orders keep theirs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.utils import timezone

from fittings import tables
from fittings.models import TableVersion
from fittings.services import table_change
from shared.problems import FieldError, WrongInput
from shared.roles import Actor
from shopfloor.measured_times import TIMES, MeasuredTimes, Way, measured_times
from shopfloor.working_time import shop_calendar

LONGEST_NOTE = 300


def times_adopt(
    *, ways: Sequence[Way], seen: int, until: datetime, actor: Actor, now: datetime
) -> TableVersion:
    """Put the measured times of operations and methods into the table, all or none.

    A method that had the time of any method gets a row of its own.

    seen    the version of the table that they were shown beside; another one in force raises Conflict
    until   the moment up to which what was shown was measured: the same is measured again
    raises  WrongInput where none is chosen, or nothing is proposed for one; NotFound for a version that there is not
    """
    if not ways:
        raise WrongInput([FieldError("way", "", "1 or more", "Choose at least one row to adopt.")])
    measured = measured_times(shop_calendar(), until=min(until, now), version=seen)
    errors = [
        FieldError(
            "way",
            " ".join(way),
            "a row with a proposal",
            f"Nothing is proposed for {way[0][:20]}, {way[1][:60]}. Load the page again.",
        )
        for way in ways
        if measured.proposal(way) is None
    ]
    if errors:
        raise WrongInput(errors)
    rows = [dict(row) for row in tables.rows(TIMES, seen)]
    for way in dict.fromkeys(ways):
        _put(rows, way, measured)
    note = "Measured times: " + "; ".join(f"{operation}, {method}" for operation, method in ways)
    data = {"rows": rows, "version": seen, "note": note[:LONGEST_NOTE]}
    return table_change(name=TIMES, data=data, actor=actor, now=now)


def _put(rows: list[dict], way: Way, measured: MeasuredTimes) -> None:
    """The row of the way, in its place or after those of its operation."""
    proposed = measured.proposal(way)
    last = max(one.finished_at for one in measured.timings[way])
    pieces = measured.learned[way].pieces
    new = {
        "operation": way[0],
        "method": way[1],
        "minutes_each": proposed.each,
        "minutes_per_foot": proposed.per_foot,
        "measure": proposed.measure,
        "source": f"Measured, {pieces} pieces, to {timezone.localtime(last).date().isoformat()}",
    }
    ways = [(row["operation"], row["method"]) for row in rows]
    if way in ways:
        rows[ways.index(way)] = new
        return
    own = [at for at, (operation, _) in enumerate(ways) if operation == way[0]]
    rows.insert(own[-1] + 1 if own else len(rows), new)
