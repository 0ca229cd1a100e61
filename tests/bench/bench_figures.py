"""What the flow's figures of a year cost: 250 working days of 60 fittings, added up by day.

    .venv/bin/python -m tests.bench.bench_figures [days] [fittings a day]

Prints what a day costs to add up, the page's figures of the year [s] (at most 2), by week and by order, what of it is
this process's own work, and how many times a plain count of the kept rows that is. Fittings, pieces and tasks are
written straight into the tables.
"""

from __future__ import annotations

import random
import statistics
import sys
import time
from collections.abc import Callable
from datetime import date, datetime, timedelta

from tests.bench import harness

KINDS = ("gored_elbow", "reducer", "tee", "offset", "end_cap")
SIZES = (6, 8, 10, 12, 14, 18, 24)
GAUGES = (26, 24, 22, 20)
STEPS = ("cut", "roll", "seam", "assemble", "ends", "wrap")
ON_SEGMENTS = 3
SEGMENTS = 5
MINUTES = {"cut": 1.0, "roll": 1.2, "seam": 2.0, "assemble": 7.0, "ends": 3.0, "wrap": 2.0}
LOT = 6
ROUNDS = 7


def main(days: int = 250, fittings: int = 60) -> None:
    harness.django_set_up()
    from django.utils import timezone

    from shopfloor.flow_days import flow_days_bring_up
    from shopfloor.flow_figures import Asked
    from shopfloor.flow_page import flow_shown
    from shopfloor.models import FlowCell, FlowDay

    now = timezone.now()
    today = timezone.localdate()
    made = year_made(days, fittings, today)
    began = time.perf_counter()
    flow_days_bring_up(now=now, most=2 * days)
    took = time.perf_counter() - began
    cells = FlowCell.objects.count()
    print(f"{days} working days, {made} fittings, {cells} kept rows")
    harness.report("a day added up, ms", 1000 * took / FlowDay.objects.count(), "")
    first = today - timedelta(days=364)
    kept = FlowDay.objects.filter(day__gte=first).count()
    asks = {
        "the year by week": lambda: flow_shown(Asked(first, today), "pieces", asked_by="bench", now=now),
        "the year by order": lambda: flow_shown(
            Asked(first, today, "order"), "hours", asked_by="bench", now=now
        ),
        "one kind of it": lambda: flow_shown(
            Asked(first, today, "size", kind=KINDS[0]), "pieces", asked_by="bench", now=now
        ),
        "four weeks": lambda: flow_shown(
            Asked(today - timedelta(days=27), today), "pieces", asked_by="bench", now=now
        ),
    }
    times: dict[str, list[float]] = {name: [] for name in (*asks, "count")}
    worked: dict[str, list[float]] = {name: [] for name in asks}
    for _ in range(ROUNDS):
        for name, ask in asks.items():
            began = time.process_time()
            times[name].append(seconds(ask))
            worked[name].append(time.process_time() - began)
        times["count"].append(seconds(FlowCell.objects.count))
    count = statistics.median(times["count"])
    for name in asks:
        took = statistics.median(times[name])
        harness.report(f"{name}, s", took, "at most 2" if "year" in name else "")
        harness.report(f"{name}, s of the processor", statistics.median(worked[name]), "")
        harness.report(f"{name} over a count of the kept rows", took / count, "")
    print(f"{kept} kept days in the year; a count takes {1000 * count:.2f} ms")


def seconds(ask: Callable) -> float:
    began = time.perf_counter()
    ask()
    return time.perf_counter() - began


def year_made(days: int, per_day: int, today: date) -> int:
    """Orders of `per_day` fittings on each of the last working days, done some days later. Returns the fittings."""
    from django.utils import timezone

    from fittings.models import Customer
    from shopfloor.models import Station

    chance = random.Random(5)
    zone = timezone.get_default_timezone()
    customer = Customer.objects.get_or_create(name="Bench Mechanical")[0]
    for place, operation in enumerate(STEPS):
        for number in (1, 2):
            Station.objects.get_or_create(
                code=f"{operation.upper()}-{number}",
                defaults={"name": operation.title(), "operations": [operation], "position": place},
            )
    work_days = []
    day = today
    while len(work_days) < days + 10:
        day -= timedelta(days=1)
        if day.weekday() < 5:
            work_days.append(day)
    work_days.reverse()
    made = 0
    for at in range(days):
        began = datetime.combine(work_days[at], datetime.min.time(), zone) + timedelta(hours=8)
        made += day_made(at, began, work_days[at:], per_day, customer, chance)
    return made


def day_made(number: int, began: datetime, ahead: list[date], count: int, customer, chance) -> int:
    """One day's orders: lots of `LOT` fittings, each lot through the steps in one to four days."""
    from fittings.models import Fitting, Order, OrderLine, Segment
    from travelers.models import Task

    order = Order.objects.create(
        number=f"F{number}",
        customer=customer,
        state="done",
        created_at=began,
        created_by="bench",
        released_at=began,
        released_by="bench",
    )
    lines = OrderLine.objects.bulk_create(
        OrderLine(
            order=order,
            position=at + 1,
            quantity=LOT,
            kind=chance.choice(KINDS),
            material="galvanized",
            gauge=chance.choice(GAUGES),
            params={"diameter": chance.choice(SIZES)},
        )
        for at in range(count // LOT)
    )
    ends = {line.pk: moments(began, ahead, chance) for line in lines}
    fittings = Fitting.objects.bulk_create(
        Fitting(
            order=order,
            line=line,
            number=at + 1,
            code=f"{number}-{line.position}-{at}",
            traveler_code=f"{number}-{line.position}",
            state="done",
            done_at=ends[line.pk][-1][1],
        )
        for line in lines
        for at in range(LOT)
    )
    segments = Segment.objects.bulk_create(
        Segment(
            fitting=fitting,
            position=at + 1,
            role="gore",
            pattern="a",
            code=f"{fitting.code}-{at}",
            state="done",
        )
        for fitting in fittings
        for at in range(SEGMENTS)
    )
    pieces = [(one.fitting_id, one.fitting.line_id, one.pk, range(ON_SEGMENTS)) for one in segments]
    pieces += [(one.pk, one.line_id, None, range(ON_SEGMENTS, len(STEPS))) for one in fittings]
    Task.objects.bulk_create(
        Task(
            fitting_id=fitting,
            segment_id=segment,
            operation_id=STEPS[step],
            step=step,
            minutes=MINUTES[STEPS[step]],
            state="done",
            is_implied=is_missed,
            station="" if is_missed else f"{STEPS[step].upper()}-{1 + line % 2}",
            ready_at=came,
            started_at=came + (left - came) * 0.8 if step % 2 and not is_missed else None,
            finished_at=left,
        )
        for fitting, line, segment, steps in pieces
        for step in steps
        for came, left in [ends[line][step]]
        for is_missed in [chance.random() < 0.02]
    )
    return len(fittings)


def moments(began: datetime, ahead: list[date], chance) -> list[tuple[datetime, datetime]]:
    """When a lot comes to each step and leaves it, between 07:00 and 15:30."""
    found, came, at = [], began, 0
    for _ in STEPS:
        left = came + timedelta(hours=chance.expovariate(1 / 2.5))
        if left.hour > 14:
            at += 1
            left = left.replace(year=ahead[at].year, month=ahead[at].month, day=ahead[at].day, hour=8)
        found.append((came, left))
        came = left
    return found


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
