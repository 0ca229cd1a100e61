"""What fittings cost and what they are sold for: the arithmetic, in decimals. Pure: no Django, no clock.

Rounding, stated once: an amount is rounded to the cent, halves away from zero, where it is made: the metal of one
segment, the labor and the overhead of one operation on one fitting, the price of one fitting. Sums are of rounded
amounts and are not rounded again, so they are equal in whatever order they are added up. Minutes, pounds and square
inches come in as floats and are taken at three places, halves away from zero; no amount of money is ever a float.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

CENT = Decimal("0.01")
NOTHING = Decimal("0.00")
THOUSANDTH = Decimal("0.001")
HUNDRED = Decimal(100)
SIXTY = Decimal(60)
IN2_PER_FT2 = Decimal(144)
ANY = "*"

EACH, PIECE, POUND, COST_PLUS, MARGIN = (
    "each",
    "each piece",
    "each pound",
    "cost plus %",
    "margin %",
)
BASES = (EACH, PIECE, POUND, COST_PLUS, MARGIN)
"""What the amount of a price row is: of a fitting, of each of its segments, of each pound of its net weight; or the
per cent that are added to its cost, or that its price keeps above its cost."""

Row = Mapping[str, Any]


def cents(amount: Decimal) -> Decimal:
    """Rounded to the cent, halves away from zero.

    >>> cents(Decimal("2.345")), cents(Decimal("-2.345"))
    (Decimal('2.35'), Decimal('-2.35'))
    """
    return amount.quantize(CENT, ROUND_HALF_UP)


def taken(quantity: float | Decimal) -> Decimal:
    """A measured quantity as the arithmetic takes it, at three places.

    >>> taken(1.0005), taken(0.1 + 0.2)
    (Decimal('1.001'), Decimal('0.300'))
    """
    return Decimal(str(quantity)).quantize(THOUSANDTH, ROUND_HALF_UP)


def amount_of(value: Any) -> Decimal | None:
    """A cell of a shop table; None where it is blank."""
    return None if value in (None, "") else Decimal(str(value))


# -- cost ----------------------------------------------------------------------


@dataclass(frozen=True)
class Cost:
    """What something costs; a part is None where it is not known, and then so is the whole."""

    metal: Decimal | None = NOTHING
    labor: Decimal | None = NOTHING
    overhead: Decimal | None = NOTHING

    @property
    def total(self) -> Decimal | None:
        return plus(plus(self.metal, self.labor), self.overhead)

    def __add__(self, other: Cost) -> Cost:
        return Cost(
            plus(self.metal, other.metal),
            plus(self.labor, other.labor),
            plus(self.overhead, other.overhead),
        )

    def times(self, count: int) -> Cost:
        return Cost(*(None if part is None else part * count for part in self.parts))

    @property
    def parts(self) -> tuple[Decimal | None, Decimal | None, Decimal | None]:
        return self.metal, self.labor, self.overhead


def plus(one: Decimal | None, other: Decimal | None) -> Decimal | None:
    """A sum; not known where one of the two is not.

    >>> plus(Decimal("1.50"), Decimal("2.25")), plus(None, Decimal("1.00"))
    (Decimal('3.75'), None)
    """
    return None if one is None or other is None else one + other


def metal_row(rows: Sequence[Row], *, material: str, gauge: int) -> Row | None:
    """The first row of the table `yields` for a metal; one of its own before one for any."""
    fits = [
        row
        for row in rows
        if row["material"] in (ANY, material) and row["gauge_from"] <= gauge <= row["gauge_to"]
    ]
    return min(fits, key=lambda row: row["material"] == ANY, default=None)


def net_metal(row: Row | None, *, area_in2: float, weight_lb: float) -> Decimal | None:
    """The metal of a segment by its net area: what must be bought for it at the metal's usual yield.

    weight ÷ yield × price of a pound, or area ÷ yield × price of a square foot where no price of a pound is set

    row       of the table `yields`; None where the metal has none
    returns   to the cent; None where no price is set

    >>> row = {"yield_pct": "80", "per_lb": "1.20", "per_ft2": None}
    >>> net_metal(row, area_in2=183.9, weight_lb=1.48)
    Decimal('2.22')
    """
    if row is None:
        return None
    share = amount_of(row["yield_pct"]) / HUNDRED
    per_lb, per_ft2 = amount_of(row["per_lb"]), amount_of(row["per_ft2"])
    if per_lb is not None:
        return cents(taken(weight_lb) * per_lb / share)
    if per_ft2 is not None:
        return cents(taken(area_in2) * per_ft2 / (IN2_PER_FT2 * share))
    return None


def rate_row(rows: Sequence[Row], operation: str) -> Row | None:
    """The row of the table `rates` for an operation: its own before that of any."""
    fits = [row for row in rows if row["operation"] in (ANY, operation)]
    return min(fits, key=lambda row: row["operation"] == ANY, default=None)


def work_cost(rows: Sequence[Row], *, operation: str, minutes: float | Decimal) -> Cost:
    """The work of an operation on a fitting: its labor, and the overhead on it.

    minutes ÷ 60 × rate, to the cent; of that the overhead's per cent, to the cent

    >>> rates = [{"operation": "*", "per_hour": "42.00", "overhead_pct": "35"}]
    >>> work_cost(rates, operation="roll", minutes=7.5)
    Cost(metal=Decimal('0.00'), labor=Decimal('5.25'), overhead=Decimal('1.84'))
    """
    row = rate_row(rows, operation)
    per_hour = None if row is None else amount_of(row["per_hour"])
    if per_hour is None:
        return Cost(NOTHING, None, None) if minutes else Cost()
    labor = cents(taken(minutes) * per_hour / SIXTY)
    return Cost(NOTHING, labor, cents(labor * (amount_of(row["overhead_pct"]) or 0) / HUNDRED))


def summed(costs: Iterable[Cost]) -> Cost:
    return sum(costs, Cost())


# -- price ---------------------------------------------------------------------


@dataclass(frozen=True)
class Priced:
    """What a price goes by. `size_in` is the largest inside size of a free end, None where it has none."""

    kind: str
    material: str
    gauge: int
    size_in: float | None
    pieces: int
    weight_lb: float
    cost: Cost


@dataclass(frozen=True)
class Terms:
    """How a customer buys: by which price list, and the per cent taken off."""

    price_list: str
    discount_pct: Decimal = Decimal(0)


def price_row(rows: Sequence[Row], price_list: str, what: Priced) -> Row | None:
    """The first row of a price list that fits. “Over” leaves its own value out, “to” takes it in."""
    return next((row for row in rows if row["price_list"] == price_list and _fits(row, what)), None)


def _fits(row: Row, what: Priced) -> bool:
    if row["kind"] not in (ANY, what.kind) or row["material"] not in (ANY, what.material):
        return False
    if not row["gauge_from"] <= what.gauge <= row["gauge_to"]:
        return False
    over, to = row["size_over_in"], row["size_to_in"]
    if over is None and to is None:
        return True
    size = what.size_in
    return size is not None and (over is None or size > over) and (to is None or size <= to)


def list_price(row: Row | None, what: Priced) -> Decimal | None:
    """The price of one fitting by a row of a price list, before a discount; None where it is not known.

    >>> what = Priced("pipe", "galvanized", 24, 14.0, 1, 10.0, Cost(Decimal("12.00"), Decimal("6.00"), Decimal("2.00")))
    >>> list_price({"basis": "cost plus %", "amount": "30"}, what)
    Decimal('26.00')
    >>> list_price({"basis": "margin %", "amount": "20"}, what)
    Decimal('25.00')
    """
    if row is None:
        return None
    amount, basis = amount_of(row["amount"]), row["basis"]
    if basis == EACH:
        return cents(amount)
    if basis == PIECE:
        return cents(amount * what.pieces)
    if basis == POUND:
        return cents(amount * taken(what.weight_lb))
    cost = what.cost.total
    if cost is None:
        return None
    if basis == COST_PLUS:
        return cents(cost * (HUNDRED + amount) / HUNDRED)
    return cents(cost * HUNDRED / (HUNDRED - amount)) if amount < HUNDRED else None


def discounted(price: Decimal | None, discount_pct: Decimal) -> Decimal | None:
    """Less a discount, to the cent.

    >>> discounted(Decimal("26.00"), Decimal("7.5"))
    Decimal('24.05')
    """
    return None if price is None else cents(price * (HUNDRED - discount_pct) / HUNDRED)


def share_pct(part: Decimal | None, whole: Decimal | None) -> Decimal | None:
    """A part of a whole in per cent, to a tenth; None where one is not known or the whole is nothing.

    >>> share_pct(Decimal("6.00"), Decimal("26.00"))
    Decimal('23.1')
    """
    if part is None or not whole:
        return None
    return (part * HUNDRED / whole).quantize(Decimal("0.1"), ROUND_HALF_UP)
