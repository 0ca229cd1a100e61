"""The costs of a month, by customer, order or kind of count, from what is kept. Only reads; a few queries, whatever
the number of orders before it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import date
from decimal import Decimal
from functools import cached_property

from django.db.models import Max, Min

from fittings.costing import NOTHING, share_pct
from shared.problems import FieldError, WrongInput
from shared.texts import printable
from shopfloor.models import CostDue, MonthCost

CUSTOMER, ORDER = "customer", "order"
BY = ((CUSTOMER, "Customer"), (ORDER, "Order"))
FITTINGS, ORDERS = "fittings", "orders"
COUNTS = ((FITTINGS, "Fittings finished in it"), (ORDERS, "Orders that ended in it"))
_MONTH = re.compile(r"(\d{4})-(\d{2})")


@dataclass(frozen=True)
class Sums:
    """Amounts of fittings whose price and cost are known; `unknown` counts the others.

    lost              part of the cost: scrapped, cancelled, put into stock
    expected          at release, of fittings that are sold for `expected_price`
    measured, standard  minutes of labor by what they are known
    """

    fittings: int = 0
    unknown: int = 0
    price: Decimal = NOTHING
    metal: Decimal = NOTHING
    labor: Decimal = NOTHING
    overhead: Decimal = NOTHING
    lost: Decimal = NOTHING
    expected: Decimal = NOTHING
    expected_price: Decimal = NOTHING
    measured_minutes: Decimal = Decimal("0.000")
    standard_minutes: Decimal = Decimal("0.000")
    by_plan: int = 0
    by_area: int = 0

    @property
    def cost(self) -> Decimal:
        return self.metal + self.labor + self.overhead

    @property
    def margin(self) -> Decimal:
        return self.price - self.cost

    @property
    def margin_pct(self) -> Decimal | None:
        return share_pct(self.margin, self.price)

    @property
    def expected_margin(self) -> Decimal:
        return self.expected_price - self.expected

    @property
    def expected_pct(self) -> Decimal | None:
        return share_pct(self.expected_margin, self.expected_price)

    @property
    def measured_pct(self) -> Decimal | None:
        """How much of the labor is measured."""
        return share_pct(self.measured_minutes, self.measured_minutes + self.standard_minutes)


_NAMES = tuple(one.name for one in fields(Sums))


_PRICE = _NAMES.index("price")
Values = tuple
"""The columns of `Sums` of one kept row."""


@dataclass(frozen=True)
class Kept:
    """An order's kept row of the month; its amounts are added up column by column, as fast as a thousand need it."""

    number: str
    customer: str
    values: Values


@dataclass(frozen=True)
class Group:
    """Rows of one customer, or one order. `orders` counts the orders."""

    name: str
    customer: str
    orders: int
    values: tuple[Values, ...]

    @cached_property
    def sums(self) -> Sums:
        return summed(self.values)

    @property
    def price(self) -> Decimal:
        return sum((one[_PRICE] for one in self.values), NOTHING)


@dataclass(frozen=True)
class MonthCosts:
    """due  orders whose costs are being added up again"""

    month: date
    count: str
    rows: tuple[Kept, ...]
    due: int

    @cached_property
    def whole(self) -> Group:
        orders = len({one.number for one in self.rows})
        return Group("All", "", orders, tuple(one.values for one in self.rows))

    def grouped(self, by: str) -> list[Group]:
        """The one with the highest price first."""
        found: dict[str, list[Kept]] = {}
        for one in self.rows:
            found.setdefault(one.number if by == ORDER else one.customer, []).append(one)
        groups = [
            Group(
                name,
                own[0].customer,
                len({one.number for one in own}),
                tuple(one.values for one in own),
            )
            for name, own in found.items()
        ]
        return sorted(groups, key=lambda one: (-one.price, one.name))


def summed(rows: Iterable[Values]) -> Sums:
    """Kept rows added up."""
    columns = list(zip(*rows, strict=True))
    return Sums(*(sum(column[1:], column[0]) for column in columns)) if columns else Sums()


def month_costs(month: date, *, count: str = FITTINGS) -> MonthCosts:
    """What is kept of a month. Two queries.

    count  `fittings`: of what was finished in the month; `orders`: all of the orders that ended in it
    """
    found = MonthCost.objects.filter(**{"month" if count == FITTINGS else "order_month": month})
    rows = found.order_by("order").values_list("order__number", "order__customer__name", *_NAMES)
    return MonthCosts(
        month,
        count,
        tuple(Kept(row[0], row[1], row[2:]) for row in rows),
        CostDue.objects.count(),
    )


def months_there(today: date) -> list[date]:
    """The months that can be chosen, the newest first: from the first with costs to the running one."""
    ends = MonthCost.objects.aggregate(first=Min("month"), last=Max("month"))
    last = max(today.replace(day=1), ends["last"] or date.min)
    first = min(ends["first"] or last, last)
    found = [last]
    while found[-1] > first:
        year, month = found[-1].year, found[-1].month
        found.append(date(year - (month == 1), 12 if month == 1 else month - 1, 1))
    return found


def month_read(text: str | None, today: date) -> date:
    """A month as programs write it, "2026-11"; the running one where nothing is given.

    raises  WrongInput
    """
    if not text:
        return today.replace(day=1)
    found = _MONTH.fullmatch(text.strip())
    if not found or not 1 <= int(found[2]) <= 12 or not 2000 <= int(found[1]) <= 2999:
        shown = printable(text)[:20]
        limit = "a month such as 2026-11"
        raise WrongInput([FieldError("month", shown, limit, f"Month is “{shown}”; it can be {limit}.")])
    return date(int(found[1]), int(found[2]), 1)


def one_of(value: str | None, choices: Sequence[tuple[str, str]], field: str) -> str:
    """One of the choices, the first where nothing is given. raises WrongInput"""
    if not value:
        return choices[0][0]
    if value not in dict(choices):
        limit = ", ".join(name for name, _ in choices)
        shown = printable(value)[:20]
        raise WrongInput(
            [FieldError(field, shown, limit, f"{field.capitalize()} is “{shown}”; it can be {limit}.")]
        )
    return value
