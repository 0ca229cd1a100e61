"""The shop tables of costs and prices: what metal, work and fittings come to in money, and which customer pays what.

Amounts and per cents are decimals, kept as digits. The rows that come with the app hold no money: they are examples,
and until the shop sets its own a cost is not known.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from fittings.costing import BASES, MARGIN, Terms
from fittings.tables import GAUGE, SOURCE, Column, TableSchema, register, rows

YIELDS, RATES, PRICES, CUSTOMER_PRICES = "yields", "rates", "prices", "customer_prices"
COST_TABLES = (YIELDS, RATES, PRICES, CUSTOMER_PRICES)
STANDARD = "standard"
"""The price list of every customer that the table does not name."""
MONEY = {"kind": "decimal", "low": 0, "high": 1_000_000}
PER_CENT = {"kind": "decimal", "low": 0, "high": 1000}
SIZE = {"kind": "number", "low": 0, "high": 400, "may_be_empty": True}

register(
    TableSchema(
        YIELDS,
        "Metal prices and yields",
        "What metal costs where no cut plan says it: net weight ÷ yield × price of a pound, or net area ÷ yield × "
        "price of a square foot where no price of a pound is set. Without a price the cost is not known.",
        (
            Column("material", "Material", help="* is any"),
            Column("gauge_from", "Gauge from", **GAUGE),
            Column("gauge_to", "Gauge to", **GAUGE),
            Column(
                "yield_pct",
                "Yield, %",
                kind="decimal",
                low=1,
                high=100,
                help="Of the metal bought, what is in fittings",
            ),
            Column("per_lb", "Price of a pound", may_be_empty=True, **MONEY),
            Column("per_ft2", "Price of a ft²", may_be_empty=True, **MONEY),
            SOURCE,
        ),
        once=("material", "gauge_from"),
    )
)
register(
    TableSchema(
        RATES,
        "Labor rates",
        "What an hour of work costs, by operation, and the overhead that is added to it. Without a rate the cost of "
        "the work is not known.",
        (
            Column("operation", "Operation", help="* is any"),
            Column("per_hour", "An hour", may_be_empty=True, **MONEY),
            Column("overhead_pct", "Overhead, %", help="Added to the labor", **PER_CENT),
            SOURCE,
        ),
        once=("operation",),
    )
)
register(
    TableSchema(
        PRICES,
        "Price lists",
        "What one fitting is sold for. Of the rows of a list the first that fits is taken. The size is the largest "
        "inside size of a free end: “over” leaves its own value out, “to” takes it in.",
        (
            Column("price_list", "Price list"),
            Column("kind", "Kind", help="* is any"),
            Column("material", "Material", help="* is any"),
            Column("gauge_from", "Gauge from", **GAUGE),
            Column("gauge_to", "Gauge to", **GAUGE),
            Column("size_over_in", "Size over, in", **SIZE),
            Column("size_to_in", "Size to, in", **SIZE),
            Column("basis", "Goes by", choices=BASES),
            Column("amount", "Amount, or %", help=f"{MARGIN}: below 100", **MONEY),
            SOURCE,
        ),
        once=("price_list", "kind", "material", "gauge_from", "size_over_in"),
    )
)
register(
    TableSchema(
        CUSTOMER_PRICES,
        "Prices of customers",
        f"Customers with a price list or a discount of their own; all others buy by the list “{STANDARD}”. The name is "
        "written as on the page Customers.",
        (
            Column("customer", "Customer"),
            Column("price_list", "Price list"),
            Column("discount_pct", "Discount, %", kind="decimal", low=0, high=100),
            SOURCE,
        ),
        once=("customer",),
    )
)


def cost_rows(numbers: Mapping[str, int] | None = None) -> dict[str, Sequence[Mapping[str, Any]]]:
    """The four tables, of the versions that an order was released with; of those in force where it has none."""
    numbers = numbers or {}
    return {name: rows(name, numbers.get(name)) for name in COST_TABLES}


def terms_of(customer: str, found: Sequence[Mapping[str, Any]]) -> Terms:
    """How a customer buys, by the table `customer_prices`; capitals make no difference."""
    name = customer.casefold()
    row = next((row for row in found if row["customer"].casefold() == name), None)
    return Terms(row["price_list"], Decimal(row["discount_pct"])) if row else Terms(STANDARD)
