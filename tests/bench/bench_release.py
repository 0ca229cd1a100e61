"""Releasing 1,000 five-piece elbows against `bulk_create` of the same rows.

    python -m tests.bench.bench_release [rounds]

Prints the ratio of times (at most 2). Each round releases a fresh order and then writes as many of the same rows
bare, for another order, in turns.
"""

from __future__ import annotations

import statistics
import sys
import time
import uuid

from tests.bench import harness

FITTINGS = 1000


def main(rounds: int = 3) -> None:
    harness.django_set_up()
    harness.shop_with_order(5)
    ratios = []
    for _ in range(rounds):
        shop = harness.shop_with_order(FITTINGS)
        bare = bare_rows(shop["order"])
        ratios.append(shop["release_seconds"] / bare)
        print(f"release {shop['release_seconds']:.2f} s, bulk_create {bare:.2f} s")
    harness.report("release of 1000 elbows against bulk_create", statistics.median(ratios), "at most 2")


def bare_rows(order) -> float:
    """Seconds that bulk_create takes for the same fittings, segments, tasks and traveler under fresh codes."""
    from django.db import transaction

    from fittings.models import Fitting, Order, OrderLine, Segment
    from travelers.models import Task, Traveler

    line = OrderLine.objects.get(order=order)
    fittings = list(Fitting.objects.filter(order=order).order_by("pk"))
    segments = list(Segment.objects.filter(fitting__order=order).order_by("pk"))
    tasks = list(Task.objects.filter(fitting__order=order).order_by("pk"))
    order.pk, order.number = None, f"R{uuid.uuid4().hex[:8]}"
    Order.save(order, force_insert=True)
    line.pk, line.order = None, order
    line.save(force_insert=True)
    began = time.perf_counter()
    with transaction.atomic():
        Traveler.objects.bulk_create(
            [Traveler(code=uuid.uuid4().hex[:10], line=line, first_number=1, last_number=FITTINGS)]
        )
        new = Fitting.objects.bulk_create(
            (
                Fitting(
                    order=order,
                    line=line,
                    number=one.number,
                    code=uuid.uuid4().hex[:10],
                    traveler_code="BARE",
                )
                for one in fittings
            ),
            batch_size=2000,
        )
        of = dict(zip((one.pk for one in fittings), new, strict=True))
        new_segments = Segment.objects.bulk_create(
            (
                Segment(
                    fitting=of[one.fitting_id],
                    position=one.position,
                    role=one.role,
                    pattern=one.pattern,
                    code=uuid.uuid4().hex[:10],
                )
                for one in segments
            ),
            batch_size=2000,
        )
        seg = dict(zip((one.pk for one in segments), new_segments, strict=True))
        Task.objects.bulk_create(
            (
                Task(
                    fitting=of[one.fitting_id],
                    segment=seg.get(one.segment_id),
                    operation_id=one.operation_id,
                    step=one.step,
                    method=one.method,
                    minutes=one.minutes,
                    state=one.state,
                    ready_at=one.ready_at,
                )
                for one in tasks
            ),
            batch_size=2000,
        )
    return time.perf_counter() - began


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
