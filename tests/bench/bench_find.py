"""Searches and lists over 20,000 orders of five lines, a million fittings.

    python -m tests.bench.bench_find [orders]

Prints p50 and p95 [ms] of 200 varied searches and of each list page, asked through the whole stack of views (at most
100), and how many times those of the same shop with 40 orders. Fifty fittings an order; 3 % of the orders are open.
"""

from __future__ import annotations

import random
import statistics
import sys
import time
from collections.abc import Sequence
from datetime import timedelta

from tests.bench import harness

ORDERS, SMALL = 20_000, 40
LINES, QUANTITY = 5, 10
OPEN_PART = 0.03
SEARCHES, LISTS = 200, 10
AT_MOST = "at most 100"
CUSTOMERS = 400
NAMES = ("North", "South", "River", "Lake", "Hill", "Stone", "Field", "Wood", "Bridge", "Mill")
TRADES = ("Mechanical", "Air", "Ventilation", "Sheet Metal", "Contracting")
PAGES = (
    "/orders/",
    "/orders/?state=open",
    "/orders/?state=done",
    "/orders/?q=ahu-31",
    "/customers/",
    "/stock/",
    "/cut-plans/",
)


def main(orders: int = ORDERS) -> None:
    harness.django_set_up()
    words = made(0, SMALL)
    small = measured(words)
    began = time.perf_counter()
    words += made(SMALL, orders)
    print(f"made in {time.perf_counter() - began:.0f} s: {counted()}")
    for name, times in measured(words).items():
        before = statistics.median(own for _, own in small[name])
        walls, own = zip(*times, strict=True)
        ratio = statistics.median(own) / before
        print(f"{name}: p50 {statistics.median(walls):.1f} ms, {ratio:.1f} times the small shop's work")
        harness.report(f"  {name}, p95 [ms]", p95(walls), AT_MOST)
        harness.report(f"  {name}, p95 of its processor time [ms]", p95(own), "")


def p95(times: Sequence[float]) -> float:
    return statistics.quantiles(times, n=100, method="inclusive")[94]


def counted() -> str:
    from fittings.models import Fitting, Order, OrderLine, SearchPlace

    counts = {model: model.objects.count() for model in (Order, OrderLine, Fitting, SearchPlace)}
    return ", ".join(f"{count:,} {model._meta.verbose_name_plural}" for model, count in counts.items())


def measured(words: list[str]) -> dict[str, list[tuple[float, float]]]:
    """The times of searches and lists, each page asked once before it counts."""
    from django.db import connection

    from tests.pages import browser_of

    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    client = browser_of("office")
    luck = random.Random(7)
    asked = luck.choices(words, k=SEARCHES)
    times = {"search": [], "search, page": []}
    for name, path in (("search", "/find/first/"), ("search, page", "/find/")):
        times[name] = [timed(client, path, {"q": q}) for q in ["warm", *asked]][1:]
    slow = sorted(zip(times["search"], asked, strict=True), reverse=True)[:3]
    print(
        "slowest: " + "; ".join(f"{q} {wall:.0f} ms ({own:.0f} of work)" for (wall, own), q in slow),
        flush=True,
    )
    for path in PAGES:
        times[path] = [timed(client, path, {}) for _ in range(LISTS + 1)][1:]
    return times


def timed(client, path: str, query: dict) -> tuple[float, float]:
    """By the clock, and in time of this thread's processor: SQLite's work is in it, a PostgreSQL server's is not."""
    began, own = time.perf_counter(), time.thread_time()
    answer = client.get(path, query) if query else client.get(path)
    took = (time.perf_counter() - began) * 1000, (time.thread_time() - own) * 1000
    assert answer.status_code in (200, 404), (path, query, answer.status_code)
    return took


def made(first: int, last: int) -> list[str]:
    """Orders first to last with lines, fittings and words; gives searches of all sorts about them."""
    from django.utils import timezone

    from fittings import numbering
    from fittings.models import Customer, Fitting, Order, OrderLine
    from fittings.search_index import index_rebuild
    from fittings.tables import versions_in_force
    from travelers.release_rows import insert_rows

    luck = random.Random(first)
    now, tables = timezone.now(), versions_in_force()
    customers = [Customer.objects.get_or_create(name=name)[0] for name in names(CUSTOMERS if first else 10)]
    asked: list[str] = []
    for start in range(first, last, 1000):
        orders, lines = [], []
        for at in range(start, min(start + 1000, last)):
            is_open = at >= last * (1 - OPEN_PART)
            day = now - timedelta(days=(last - at) // 20)
            orders.append(
                Order(
                    number=str(1001 + at), customer=luck.choice(customers), purchase_order=f"PO-{30_000 + at}",
                    state="released" if is_open else "done", created_at=day, created_by="bench", tables=tables,
                    due_on=day.date() + timedelta(days=14), released_at=day, ended_at=None if is_open else day,
                    fittings_total=LINES * QUANTITY, fittings_done=0 if is_open else LINES * QUANTITY,
                )
            )  # fmt: skip
        orders = Order.objects.bulk_create(orders)
        for order in orders:
            lines += [
                OrderLine(order=order, position=n + 1, quantity=QUANTITY, **line(luck)) for n in range(LINES)
            ]
        lines = OrderLine.objects.bulk_create(lines, batch_size=1000)
        codes = iter(numbering.take(len(lines) * QUANTITY))
        fittings = [
            (
                one.order_id,
                one.pk,
                n + 1,
                next(codes),
                "",
                "open" if one.order.state == "released" else "done",
            )
            for one in lines
            for n in range(QUANTITY)
        ]
        insert_rows(Fitting, ("order_id", "line_id", "number", "code", "traveler_code", "state"), fittings)
        for one in luck.sample(lines, 20):
            asked += searches(luck, one, luck.choice(fittings)[3])
    index_rebuild()
    return asked


def names(count: int) -> list[str]:
    every = [f"{a}{b.lower()} {trade}" for a in NAMES for b in NAMES for trade in TRADES if a != b]
    return every[:count]


def line(luck: random.Random) -> dict:
    size = luck.choice(range(6, 49, 2))
    elbow = {"angle": 90, "pieces": 5, "radius_ratio": 1.5}
    kind, params = luck.choice(
        (
            ("gored_elbow", elbow | {"diameter": size, "angle": luck.choice((90, 90, 45, 30))}),
            ("gored_elbow", elbow | {"diameter": size + 0.5}),
            ("reducer", {"diameter_a": size + 4, "diameter_b": size, "length": 24}),
            ("pipe", {"diameter": size, "length": 60}),
        )
    )
    return {
        "kind": kind, "params": params, "material": luck.choice(("galvanized", "galvanized", "stainless")),
        "gauge": luck.choice((26, 24, 24, 22, 20)),
        "tag": f"{luck.choice(('AHU', 'EF', 'L2'))}-{luck.randrange(1, 400)}",
    }  # fmt: skip


def searches(luck: random.Random, one, code: str) -> list[str]:
    """What somebody who looks for this line may type, a word that is nowhere among it."""
    params, kind = one.params, one.kind.split("_")[-1]
    size = params.get("diameter") or params["diameter_a"]
    return [
        f"{size:g} {params.get('angle', kind)} {kind} {one.gauge}",
        f"{kind} {one.material[:4]}",
        f"{one.gauge}ga {size:g}in {one.material}",
        one.order.number,
        one.order.purchase_order,
        one.tag,
        f"{one.order.customer.name} {kind}",
        f"{one.order.customer.name.split()[0][:4]} {size:g}",
        code,
        f"elbwo {size:g} {one.tag}",
        "elbow",
        f"{size * 25.4:.0f}mm {kind}",
        "galvanized 24",
        f"{luck.choice('aerg')}",
        "elbow 47",
    ]


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
