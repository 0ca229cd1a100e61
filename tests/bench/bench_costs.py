"""What the pages of costs take in a shop with many orders behind it.

    .venv/bin/python -m tests.bench.bench_costs [orders]

Prints the month's page by customer and by order, the month as CSV, and one order's part [ms, median of 15, the slowest,
and what of it is this process's own work]: the page at most 200; and what adding up one order takes, and looking what
changed. Orders and what is kept of them are written straight into the tables, a year of them.
"""

from __future__ import annotations

import random
import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from tests.bench import harness

ROUNDS = 15
CUSTOMERS = 120
MONTHS = 12
FITTINGS = 12


def main(orders: int = 20_000) -> None:
    harness.django_set_up()
    from django.utils import timezone

    from shopfloor.models import MonthCost
    from shopfloor.order_costs import add_up, costs_look
    from tests import factories, factories_costs
    from tests.pages import browser_of
    from travelers.release import order_release

    now = timezone.now()
    month = _filled(orders, timezone.localdate(now))
    factories_costs.priced_shop()
    made = factories.order(lines=[factories.line(quantity=FITTINGS)])
    order = order_release(number=made.number, actor=factories.OFFICE_ACTOR, now=now)
    page = browser_of("office")
    asked = f"?month={month:%Y-%m}"
    own = MonthCost.objects.filter(month=month).count()
    print(f"{orders} orders in {MONTHS} months, {own} of them in the month, {CUSTOMERS} customers")
    for name, act, bound in (
        ("the month by customer, ms", lambda: page.get(f"/costs/{asked}"), "at most 200"),
        ("the month by order, ms", lambda: page.get(f"/costs/{asked}&by=order"), "at most 200"),
        ("the month as CSV, ms", lambda: page.get(f"/costs/month.csv{asked}&by=order"), ""),
        ("one order's part, ms", lambda: page.get(f"/orders/{order.number}/costs/part/"), ""),
        (f"adding up an order of {FITTINGS} fittings, ms", lambda: add_up(order), ""),
        ("looking what changed, ms", lambda: costs_look(now=timezone.now()), ""),
    ):
        middle, slowest, work = _timed(act)
        harness.report(name, middle, f"{bound} (slowest {slowest:.1f}, of its own work {work:.1f})".strip())


def _timed(act: Callable) -> tuple[float, float, float]:
    """Milliseconds: the median and the slowest, after one that is not counted; and the median of its own work."""
    answer = act()
    assert getattr(answer, "status_code", 200) == 200, answer
    took, worked = [], []
    for _ in range(ROUNDS):
        began, at_work = time.perf_counter(), time.process_time()
        act()
        took.append(1000 * (time.perf_counter() - began))
        worked.append(1000 * (time.process_time() - at_work))
    return statistics.median(took), max(took), statistics.median(worked)


def _filled(orders: int, today: date) -> date:
    """Orders done over the last year, with what is kept of them; returns the month before this one."""

    from fittings.models import Customer, Order
    from shopfloor.models import MonthCost

    chance = random.Random(5)
    customers = Customer.objects.bulk_create(
        Customer(name=f"Invented Customer {at:03d}") for at in range(CUSTOMERS)
    )
    days = [today - timedelta(days=chance.randrange(365)) for _ in range(orders)]
    rows = Order.objects.bulk_create(
        (
            Order(
                number=f"B{at}",
                customer=chance.choice(customers),
                state=Order.State.DONE,
                created_at=_noon(day),
                released_at=_noon(day),
                ended_at=_noon(day),
                fittings_total=FITTINGS,
                fittings_done=FITTINGS,
            )
            for at, day in enumerate(days)
        ),
        batch_size=1000,
    )
    MonthCost.objects.bulk_create(
        (
            MonthCost(
                order=order,
                month=day.replace(day=1),
                order_month=day.replace(day=1),
                fittings=FITTINGS,
                **{
                    name: Decimal(chance.randrange(100_000)).scaleb(-2)
                    for name in ("price", "metal", "labor", "overhead", "expected", "expected_price")
                },
            )
            for order, day in zip(rows, days, strict=True)
        ),
        batch_size=1000,
    )
    return (today.replace(day=1) - timedelta(days=1)).replace(day=1)


def _noon(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 18, tzinfo=UTC)


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
