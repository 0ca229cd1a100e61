"""What one fitting of a line is expected to cost, and its price by the customer's list: from how it is made.

Metal by net area and the metal's usual yield, segment by segment; labor by the standard minutes of its operations.
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Protocol

from fittings.cost_tables import CUSTOMER_PRICES, PRICES, RATES, YIELDS, terms_of
from fittings.costing import (
    CENT,
    HUNDRED,
    MARGIN,
    Cost,
    Priced,
    Row,
    Terms,
    amount_of,
    discounted,
    list_price,
    metal_row,
    net_metal,
    price_row,
    summed,
    taken,
    work_cost,
)
from fittings.developing import words_of
from fittings.models import OrderLine
from shared.units import NO_BREAK

LONGEST_HOW = 200
CostRows = Mapping[str, Sequence[Row]]


class Work(Protocol):
    """How a fitting is made, as a release works it out."""

    development: dict[str, Any]
    segment_steps: tuple
    fitting_steps: tuple


@dataclass(frozen=True)
class Expected:
    """One fitting of a line. `minutes` are standard, by operation; `cost` is of one fitting."""

    cost: Cost
    minutes: Mapping[str, Decimal]
    pieces: int
    weight_lb: float
    area_in2: float
    size_in: float | None


@dataclass(frozen=True)
class Offer:
    """The price of one fitting by a price list: before and after the discount, and in words where it comes from."""

    list_price: Decimal | None
    unit_price: Decimal | None
    how: str


def what_of(line: OrderLine) -> str:
    """The digest of all words of a line that its fitting depends on."""
    return hashlib.sha256(json.dumps(words_of(line), sort_keys=True).encode()).hexdigest()


def minutes_of(work: Work) -> dict[str, Decimal]:
    """Standard minutes of one fitting by operation, in flow order."""
    found: dict[tuple[int, str], Decimal] = defaultdict(Decimal)
    for timed in (*work.segment_steps, work.fitting_steps):
        for step, minutes in timed:
            found[step.position, step.operation] += taken(minutes)
    return {operation: found[position, operation] for position, operation in sorted(found)}


def expected(work: Work, rows: CostRows, *, material: str, gauge: int) -> Expected:
    """What one fitting is expected to cost by the tables."""
    development = work.development
    metal = metal_row(rows[YIELDS], material=material, gauge=gauge)
    minutes = minutes_of(work)
    cost = summed(segment_metal(metal, one) for one in development["segments"])
    cost += labor(minutes, rows)
    return Expected(
        cost,
        minutes,
        len(development["segments"]),
        development["weight"],
        development["net_area"],
        size_of(development),
    )


def segment_metal(metal: Row | None, segment: Mapping[str, Any]) -> Cost:
    return Cost(net_metal(metal, area_in2=segment["net_area"], weight_lb=segment["weight"]))


def labor(minutes: Mapping[str, Decimal], rows: CostRows) -> Cost:
    """The work on one fitting, operation by operation."""
    return summed(
        work_cost(rows[RATES], operation=operation, minutes=amount) for operation, amount in minutes.items()
    )


def size_of(development: Mapping[str, Any]) -> float | None:
    """The largest inside size of a free end [in]."""
    sizes = [
        end[name]
        for end in development.get("free_ends") or ()
        for name in ("diameter", "width", "height")
        if end.get(name)
    ]
    return max(sizes, default=None)


def offer(one: Expected, rows: CostRows, *, kind: str, material: str, gauge: int, customer: str) -> Offer:
    """The price of one fitting by the customer's list and discount."""
    terms = terms_of(customer, rows[CUSTOMER_PRICES])
    what = Priced(kind, material, gauge, one.size_in, one.pieces, one.weight_lb, one.cost)
    row = price_row(rows[PRICES], terms.price_list, what)
    before = list_price(row, what)
    return Offer(before, discounted(before, terms.discount_pct), _how(row, terms)[:LONGEST_HOW])


def _how(row: Row | None, terms: Terms) -> str:
    """Where a price comes from: "standard list, cost plus 30 %, less 5 %"."""
    if row is None:
        return f"{terms.price_list} list has no row for it"
    amount = amount_of(row["amount"])
    if row["basis"].endswith("%"):
        by = f"{row['basis'][:-2]} {amount}{NO_BREAK}%"
        if row["basis"] == MARGIN and amount >= HUNDRED:
            by += ", which no price can keep"
    else:
        by = f"{max(amount, amount.quantize(CENT), key=_places)} {row['basis']}"
    less = f", less {terms.discount_pct}{NO_BREAK}%" if terms.discount_pct else ""
    return f"{terms.price_list} list, {by}{less}"


def _places(amount: Decimal) -> int:
    return -amount.as_tuple().exponent
