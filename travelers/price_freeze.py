"""Prices as they were settled: the newest of each fitting of an order, and freezing them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal

from fittings.cost_tables import COST_TABLES, cost_rows
from fittings.models import Order, OrderLine
from shared.roles import Actor
from travelers.line_costs import Expected, Offer, Work, expected, offer, what_of
from travelers.models import LinePrice

KEPT_TABLES = (*COST_TABLES, "gauges", "times", "routes")
"""Of a price the versions of these tables are kept."""


def settled(order: Order) -> dict[str, LinePrice]:
    """By digest of the fitting: what was settled last. One query."""
    return {row.what: row for row in LinePrice.objects.filter(order=order).order_by("pk")}


def price_of(stands: LinePrice | None, offered: Offer) -> tuple[Decimal | None, str, str]:
    """The price that stands, where it comes from, and the reason given: a settled one before the list's."""
    if stands is None or stands.unit_price is None:
        return offered.unit_price, offered.how, ""
    return stands.unit_price, stands.how, stands.reason


def priced_row(
    order: Order,
    what: str,
    *,
    why: str,
    price: tuple[Decimal | None, str, str],
    one: Expected,
    offered: Offer,
    numbers: Mapping[str, int],
    actor: Actor,
    now: datetime,
) -> LinePrice:
    """A row as it will be kept, not saved."""
    unit_price, how, reason = price
    return LinePrice(
        order=order,
        what=what,
        why=why,
        unit_price=unit_price,
        list_price=offered.unit_price,
        how=how,
        reason=reason,
        metal=one.cost.metal,
        labor=one.cost.labor,
        overhead=one.cost.overhead,
        tables={name: numbers[name] for name in KEPT_TABLES if name in numbers},
        made_by=actor.name,
        made_at=now,
    )


def prices_freeze(
    *,
    order: Order,
    works: Iterable[tuple[OrderLine, Work]],
    numbers: Mapping[str, int],
    actor: Actor,
    now: datetime,
) -> None:
    """Freeze price and expected cost of lines, in the caller's transaction: at release, and of lines added later.

    A price that was set by hand or accepted in a quote stays; else it is the list's. What is frozen already stays as
    it is. A few queries, whatever the lines.

    numbers  versions of the shop tables that it is released with
    """
    rows, before = cost_rows(numbers), settled(order)
    frozen = set(
        LinePrice.objects.filter(order=order, why=LinePrice.Why.RELEASE).values_list("what", flat=True)
    )
    made: dict[str, LinePrice] = {}
    for line, work in works:
        what = what_of(line)
        if what in made or what in frozen:
            continue
        metal = {"material": line.material, "gauge": line.gauge}
        one = expected(work, rows, **metal)
        offered = offer(one, rows, kind=line.kind, customer=order.customer.name, **metal)
        made[what] = priced_row(
            order,
            what,
            why=LinePrice.Why.RELEASE,
            price=price_of(before.get(what), offered),
            one=one,
            offered=offered,
            numbers=numbers,
            actor=actor,
            now=now,
        )
    LinePrice.objects.bulk_create(made.values(), batch_size=200)
