"""The list of a station with 10,000 pieces ready there: the time of one answer over HTTP, one tablet asking.

    python -m tests.bench.bench_queue [fittings]

Prints the median and the 95th percentile [ms] (at most 100 on SQLite) for stations without limits and with them, and
of the choice alone. All pieces are ready at one operation, in twenty orders, and half of the fittings lack one piece.
"""

from __future__ import annotations

import sys
import time

from tests.bench import harness

ORDERS = 20
EACH = 60


def main(fittings: int = 3400) -> None:
    harness.django_set_up()
    fill(fittings)
    keys = stations()
    from django.db import connection

    from travelers.models import Task
    from travelers.station_work import queue_at

    ready = Task.objects.filter(operation="roll", state="ready").count()
    print(f"{ready} ready at roll, {Task.objects.open().count()} open tasks in all, {connection.vendor}")
    times = []
    for _ in range(20):
        began = time.perf_counter()
        queue_at(["roll"], station="OPEN", limit=8)
        times.append((time.perf_counter() - began) * 1000)
    harness.report("the choice alone, median, ms", sorted(times)[10], "")
    with harness.server() as port:
        for name, key in keys.items():
            headers = {"Authorization": f"Token {key}"}

            def ask(client: int, n: int, headers=headers):
                return "GET", "/api/v1/station/queue/", None, headers

            harness.burst(port, ask, clients=1, requests=10)
            load = harness.burst(port, ask, clients=1, requests=EACH)
            assert load.wrong == 0
            harness.report(f"{name}: list, median, ms", load.percentile(0.5), "at most 100")
            harness.report(f"{name}: list, 95th percentile, ms", load.percentile(0.95), "at most 100")


def fill(fittings: int) -> None:
    """Orders due on different days, of different diameters; what is cut is ready to be rolled."""
    from datetime import timedelta

    from django.utils import timezone

    from fittings.models import Segment
    from tests import factories
    from travelers.models import Task
    from travelers.release import order_release

    now = timezone.now()
    for number in range(ORDERS):
        line = factories.line(
            quantity=fittings // ORDERS, params=factories.elbow_params(diameter=6 + number), gauge=24
        )
        due = timezone.localdate() + timedelta(days=number % 7 - 2)
        order = factories.order(due=due.isoformat(), priority=1 + number % 9, lines=[line])
        order_release(number=order.number, actor=factories.OFFICE_ACTOR, now=now)
    Task.objects.filter(operation="cut").update(state="done", finished_at=now)
    Task.objects.filter(operation="roll").update(state="ready", ready_at=now)
    half = Segment.objects.filter(fitting__number__lte=fittings // ORDERS // 2).exclude(position=1)
    Task.objects.filter(segment__in=half, operation="roll").update(state="done", finished_at=now)
    half.update(state="done")


def stations() -> dict[str, str]:
    from django.utils import timezone

    from shopfloor.keys import key_make
    from shopfloor.models import Station

    limits = {
        "OPEN": {},
        "LIGHT": {"gauge_heaviest": 22},
        "SMALL": {"diameter_most_in": 12},
        "WIDE": {"diameter_least_in": 24, "gauge_heaviest": 16},
    }
    made = {}
    for code, own in limits.items():
        station = Station.objects.create(code=code, name=code, operations=["roll"], **own)
        made[code] = key_make(now=timezone.now(), station=station)[1]
    return made


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
