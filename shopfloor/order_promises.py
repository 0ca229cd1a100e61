"""When an order will be finished: asked for, worked out by the worker, kept; and how such promises came true.

The open work goes through the simulation many times, with new work as it came lately. A draft is taken as if it were
released now: it is, in a transaction that is taken back.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Min

from fittings.models import Order
from fittings.selectors import order_by_number
from shared import jobs
from shared.jobs import Run, Work
from shared.problems import Conflict
from shared.roles import OFFICE, Actor
from shared.turn import write_turn
from shopfloor.floor_now import FloorNow, benches_of, floor_now
from shopfloor.flow.arrivals import coming
from shopfloor.flow.promises import expected
from shopfloor.flow.simulation import Run as SimulatedRun
from shopfloor.flow.simulation import simulate
from shopfloor.models import Promise
from shopfloor.working_time import shop_calendar
from travelers.release import order_release, release_ready

PROMISE = "promise"
"""The kind of the job; its subject is the order's number."""
RUNS = 60
LEAST_HOURS, MOST_HOURS = 40.0, 400.0
"""Hours of work for which new work comes, beside what is there."""
AHEAD = 1.5
SEED = 7
LOOKED_BACK = timedelta(days=180)
State = Promise.State


def promise_request(*, number: str, actor: Actor, now: datetime) -> Promise:
    """Ask when the order will be finished.

    raises  NotFound; Conflict where it is neither a draft nor released, or is being worked out
    """
    order = order_by_number(number)
    if order.state not in (Order.State.DRAFT, Order.State.RELEASED):
        raise Conflict(
            f"Order {order.number} is {order.state}. Only a draft or an open order is still to be finished."
        )
    with write_turn(), transaction.atomic():
        jobs.job_enqueue(kind=PROMISE, subject=order.number, asked_by=actor.name, now=now)
        return Promise.objects.create(
            order=order, is_quote=order.state == Order.State.DRAFT, asked_by=actor.name, asked_at=now
        )


def promise_of(order: Order) -> Promise | None:
    """The newest, whatever its state."""
    return Promise.objects.filter(order=order).order_by("-asked_at", "-pk").first()


def promises_since(numbers: Sequence[str], since: datetime) -> dict[str, Promise]:
    """The newest of each of these orders that was asked for since then and is made. At most one query."""
    if not numbers:
        return {}
    found = Promise.objects.filter(
        order__number__in=numbers, state=State.MADE, is_quote=False, asked_at__gte=since
    ).select_related("order")
    return {one.order.number: one for one in found.order_by("asked_at", "pk")}


def promise_make(run: Run) -> None:
    """Work out when the order that is the job's subject will be finished."""
    order = order_by_number(run.subject)
    now = run.now()
    calendar = shop_calendar()
    there = (
        _with_draft(order, calendar, now)
        if order.state == Order.State.DRAFT
        else floor_now(calendar, now=now)
    )
    own = [job for job in there.jobs if job.order == order.number]
    if not own:
        raise Conflict(f"Order {order.number} has no open work that a station does.")
    found = expected(simulated(there, run), own)[order.number]
    if not math.isfinite(found.sure):
        raise Conflict(
            f"With the caps that there are, the work of order {order.number} stands still in the simulation."
        )
    with write_turn(), transaction.atomic():
        _open(run.subject).update(
            state=State.MADE,
            likely_at=calendar.ahead(now, found.likely),
            sure_at=calendar.ahead(now, found.sure),
            runs=RUNS,
        )
        run.finish(f"{RUNS} runs.")


def simulated(there: FloorNow, run: Run) -> list[SimulatedRun]:
    """The open work with new work as it came lately, `RUNS` times; the job is told how far it is."""
    hours = _hours_of_new_work(there)
    runs = []
    for number in range(RUNS):
        new = coming(there.recipes, per_hour=there.per_hour, hours=hours, seed=SEED + number)
        runs.append(simulate(there.floor, (*there.jobs, *new), seed=SEED + number))
        run.tell((number + 1) / RUNS, f"{number + 1} of {RUNS} runs")
    return runs


def promise_failed(run: Run, sentence: str) -> None:
    _open(run.subject).update(state=State.FAILED, message=sentence[:300])


PROMISE_WORK = Work(promise_make, on_fail=promise_failed)


def _open(number: str):
    return Promise.objects.filter(order__number=number, state=State.MAKING)


def _with_draft(order: Order, calendar, now: datetime) -> FloorNow:
    ready = release_ready(order.number)
    with write_turn(), transaction.atomic():
        order_release(number=order.number, actor=Actor("simulation", OFFICE), now=now, ready=ready)
        found = floor_now(calendar, now=now)
        transaction.set_rollback(True)
    return found


def _hours_of_new_work(there: FloorNow) -> float:
    """As long as the open work takes its busiest benches, and half as long again."""
    benches = benches_of(there.floor)
    longest = max((hours / benches[code] for code, hours in there.open_hours.items()), default=0.0)
    return min(MOST_HOURS, max(LEAST_HOURS, AHEAD * longest))


@dataclass(frozen=True)
class CameTrue:
    """Of orders that were finished lately: how many had a promise, and how many kept the one and the other date."""

    orders: int
    likely: int
    sure: int


def came_true(*, now: datetime) -> CameTrue:
    """The first promise of each order that was made after its release. Two queries."""
    firsts = (
        Promise.objects.filter(
            state=State.MADE,
            is_quote=False,
            order__state=Order.State.DONE,
            order__ended_at__gte=now - LOOKED_BACK,
        )
        .values("order_id")
        .annotate(first=Min("pk"))
        .values_list("first", flat=True)
    )
    found = [
        (likely >= ended, sure >= ended)
        for likely, sure, ended in Promise.objects.filter(pk__in=list(firsts)).values_list(
            "likely_at", "sure_at", "order__ended_at"
        )
    ]
    return CameTrue(len(found), sum(one for one, _ in found), sum(one for _, one in found))
