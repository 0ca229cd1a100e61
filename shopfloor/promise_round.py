"""Orders at risk get their promises without being asked: all from one simulation, by the worker, once an hour."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from django.db import transaction

from fittings.models import Order
from shared.jobs import Run, job_enqueue, job_of
from shared.problems import Conflict
from shared.turn import write_turn
from shopfloor.attention import late_risk
from shopfloor.floor_now import floor_now
from shopfloor.flow.promises import expected
from shopfloor.models import Promise
from shopfloor.order_promises import simulated
from shopfloor.working_time import shop_calendar

PROMISES, AT_RISK = "promises", "at risk"
"""The kind of the job, and its subject."""
EVERY = timedelta(hours=1)
ASKED_BY = "worker"


def round_request(*, now: datetime) -> bool:
    """Ask for the promises of the orders at risk, where the shop works and did not ask within the last hour."""
    calendar = shop_calendar()
    newest = job_of(PROMISES, AT_RISK)
    if calendar.hours_left(now) is None or (newest and newest.queued_at > now - EVERY):
        return False
    if not late_risk(now=now, calendar=calendar)[0]:
        return False
    try:
        job_enqueue(kind=PROMISES, subject=AT_RISK, asked_by=ASKED_BY, now=now)
    except Conflict:
        return False
    return True


def round_make(run: Run) -> None:
    """Work out when the orders at risk will be finished. One without an end in the simulation gets no promise."""
    now = run.now()
    calendar = shop_calendar()
    numbers = {one.order for one in late_risk(now=now, calendar=calendar)[0]}
    there = floor_now(calendar, now=now)
    runs = simulated(there, run)
    found = expected(runs, [job for job in there.jobs if job.order in numbers])
    orders = Order.objects.in_bulk(list(found), field_name="number")
    promises = [
        Promise(
            order=orders[number],
            state=Promise.State.MADE,
            asked_by=ASKED_BY,
            asked_at=now,
            likely_at=calendar.ahead(now, one.likely),
            sure_at=calendar.ahead(now, one.sure),
            runs=len(runs),
        )
        for number, one in found.items()
        if math.isfinite(one.sure)
    ]
    with write_turn(), transaction.atomic():
        Promise.objects.bulk_create(promises)
        run.finish(f"{len(promises)} orders, {len(runs)} runs.")
