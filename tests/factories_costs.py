"""Prices, rates and quotes for tests: the figures are round, so that sums can be made by hand."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from fittings import tables
from fittings.models import Order
from tests.factories import NOW, OFFICE_ACTOR, order
from travelers.models import Quote

BY_HAND = "figures of the test"


def table(name: str, *rows: dict[str, Any]) -> None:
    """A new version of a shop table."""
    tables.save(
        name=name,
        new_rows=[{"source": BY_HAND, **row} for row in rows],
        seen=None,
        note="",
        actor=OFFICE_ACTOR,
        now=NOW,
    )


def metal(per_lb: str | None = "0.90", yield_pct: str = "75", **changes: Any) -> dict[str, Any]:
    return {
        "material": "*",
        "gauge_from": 1,
        "gauge_to": 40,
        "yield_pct": yield_pct,
        "per_lb": per_lb,
        **changes,
    }


def rate(per_hour: str | None, overhead_pct: str = "0", operation: str = "*") -> dict[str, Any]:
    return {"operation": operation, "per_hour": per_hour, "overhead_pct": overhead_pct}


def price(basis: str, amount: str, **changes: Any) -> dict[str, Any]:
    return {
        "price_list": "standard",
        "kind": "*",
        "material": "*",
        "gauge_from": 1,
        "gauge_to": 40,
        "basis": basis,
        "amount": amount,
        **changes,
    }


def priced_shop() -> None:
    """Metal at 0.90 a pound and 75 % yield, 30.00 an hour with 50 % overhead, sold at cost plus 20 %."""
    table("yields", metal())
    table("rates", rate("30.00", "50"))
    table("prices", price("cost plus %", "20"))


def by_hand(
    made: Order, amount: str, line: int = 1, reason: str = "Agreed on the phone", now: datetime = NOW
) -> None:
    from travelers.prices import price_set

    price_set(
        number=made.number,
        line=line,
        unit_price=Decimal(amount),
        reason=reason,
        actor=OFFICE_ACTOR,
        now=now,
    )


def quote(made: Order | None = None, **changes: Any) -> Quote:
    """A quote of a draft whose lines have a price; of a fresh one where none is given."""
    from travelers.quotes import quote_make

    if made is None:
        made = order()
        by_hand(made, "48.50")
    return quote_make(number=made.number, actor=OFFICE_ACTOR, now=NOW, **changes)
