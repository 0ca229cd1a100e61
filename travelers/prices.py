"""What an order's fittings are expected to cost and sold for, line by line; and setting a price by hand.

A released order has it frozen; a draft, and a line that came later, is worked out by the tables.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from typing import Any

from django.db import transaction

from fittings.cost_tables import cost_rows
from fittings.costing import Cost, plus, share_pct, summed
from fittings.developing import words_of
from fittings.models import Order, OrderLine
from fittings.orders import order_locked
from fittings.selectors import order_by_number
from fittings.tables import all_rows, versions_in_force
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.texts import printable
from shared.turn import write_turn
from travelers.line_costs import CostRows, Expected, Offer, expected, offer, what_of
from travelers.models import LinePrice, Operation
from travelers.price_freeze import price_of, priced_row
from travelers.release import line_work

HIGHEST_PRICE = 1_000_000
LONGEST_REASON = 200
BY_HAND = "by hand"
NOT_MADE = Expected(Cost(None, None, None), {}, 0, 0.0, 0.0, None)
Versions = Mapping[str, int]


@dataclass(frozen=True)
class PricedLine:
    """A line with the expected cost and the price of one fitting. `problem` says why there is no cost or price.

    is_frozen  as it was at release; else by the tables as they are now
    stands     what was settled last, None where nothing was
    """

    line: OrderLine
    what: str
    cost: Cost
    offered: Offer
    unit_price: Decimal | None
    how: str
    reason: str
    is_frozen: bool
    stands: LinePrice | None
    problem: str = ""

    @property
    def quantity(self) -> int:
        return self.line.quantity

    @property
    def price(self) -> Decimal | None:
        """Of the whole line."""
        return None if self.unit_price is None else self.unit_price * self.quantity

    @property
    def whole_cost(self) -> Cost:
        return self.cost.times(self.quantity)

    @property
    def margin(self) -> Decimal | None:
        """Of the whole line, expected."""
        total = self.whole_cost.total
        return plus(self.price, None if total is None else -total)

    @property
    def margin_pct(self) -> Decimal | None:
        return share_pct(self.margin, self.price)


@dataclass(frozen=True)
class OrderPrices:
    order: Order
    lines: tuple[PricedLine, ...]

    @property
    def price(self) -> Decimal | None:
        """None where that of a line is not known."""
        found: Decimal | None = Decimal("0.00")
        for one in self.lines:
            found = plus(found, one.price)
        return found

    @property
    def cost(self) -> Cost:
        return summed(one.whole_cost for one in self.lines)

    @property
    def margin(self) -> Decimal | None:
        total = self.cost.total
        return plus(self.price, None if total is None else -total)

    @property
    def margin_pct(self) -> Decimal | None:
        return share_pct(self.margin, self.price)


def order_prices(order: Order | str) -> OrderPrices:
    """Expected cost and price of every line. A few queries where it is frozen; what is not is developed.

    raises  NotFound
    """
    if isinstance(order, str):
        order = order_by_number(order)
    frozen: dict[str, LinePrice] = {}
    newest: dict[str, LinePrice] = {}
    for row in LinePrice.objects.filter(order=order).order_by("pk"):
        newest[row.what] = row
        if row.why == LinePrice.Why.RELEASE:
            frozen[row.what] = row
    worked_out = _WorkedOut(order)
    lines = order.lines.defer("development").order_by("position", "pk")
    return OrderPrices(order, tuple(_priced(line, frozen, newest, worked_out) for line in lines))


def _priced(
    line: OrderLine, frozen: Mapping[str, LinePrice], newest: Mapping[str, LinePrice], worked_out: _WorkedOut
) -> PricedLine:
    what, problem = what_of(line), ""
    was = frozen.get(what) if line.order_id and worked_out.order.released_at else None
    if was is not None:
        cost = Cost(was.metal, was.labor, was.overhead)
        offered = Offer(was.list_price, was.list_price, "price list at release")
    else:
        one, problem = worked_out.of(line)
        cost, offered = one.cost, worked_out.offer(one, line)
    stands = newest.get(what)
    unit_price, how, reason = price_of(stands, offered)
    return PricedLine(line, what, cost, offered, unit_price, how, reason, was is not None, stands, problem)


class _WorkedOut:
    """What lines are expected to cost by the tables that they were released with; by those in force before."""

    def __init__(self, order: Order):
        self.order = order
        self._in_force: Versions | None = None
        self._operations: tuple = ()

    def _versions(self, line: OrderLine) -> Versions:
        if self._in_force is None:
            self._in_force = versions_in_force()
            self._operations = tuple(Operation.objects.order_by("position").values_list("code", "level"))
        return self._in_force | (line.tables or self.order.tables or {})

    def of(self, line: OrderLine) -> tuple[Expected, str]:
        words = json.dumps(words_of(line), sort_keys=True)
        return _expected_once(words, tuple(sorted(self._versions(line).items())), self._operations)

    def offer(self, one: Expected, line: OrderLine) -> Offer:
        if one is NOT_MADE:
            return Offer(None, None, "")
        return offer(
            one,
            _rows_once(tuple(sorted(self._versions(line).items()))),
            kind=line.kind,
            material=line.material,
            gauge=line.gauge,
            customer=self.order.customer.name,
        )


@lru_cache(maxsize=16)
def _rows_once(versions: tuple) -> CostRows:
    return cost_rows(dict(versions))


@lru_cache(maxsize=4096)
def _expected_once(words: str, versions: tuple, operations: tuple) -> tuple[Expected, str]:
    """One fitting by versions of the tables, which never change; or what is wrong with it."""
    line = OrderLine(quantity=1, **json.loads(words))
    numbers = dict(versions)
    try:
        work = line_work(line, all_rows(numbers))
    except WrongInput as wrong:
        return NOT_MADE, " ".join(error.message for error in wrong.errors)
    return expected(work, _rows_once(versions), material=line.material, gauge=line.gauge), ""


# -- setting one by hand ---------------------------------------------------------


def price_set(
    *, number: str, line: int, unit_price: Decimal | None, reason: str, actor: Actor, now: datetime
) -> LinePrice:
    """Set the price of the fittings of a line by hand, or give them back to the price list (None).

    Lines of equal fittings have one price.

    line    its number in the order, from 1
    reason  kept; needed where a price is set
    raises  NotFound; WrongInput; Conflict where the order is cancelled
    """
    reason = " ".join(reason.split())
    _check(unit_price, reason)
    with write_turn(), transaction.atomic():
        order = order_locked(number)
        if order.state == Order.State.CANCELLED:
            raise Conflict(f"Order {order.number} is cancelled. Its prices cannot be changed any more.")
        prices = order_prices(order)
        one = next((one for one in prices.lines if one.line.position == line), None)
        if one is None:
            raise NotFound(f"Order {order.number} has no line {line}.")
        made = priced_row(
            order,
            one.what,
            why=LinePrice.Why.HAND,
            price=(unit_price, BY_HAND if unit_price is not None else "", reason),
            one=Expected(one.cost, {}, 0, 0.0, 0.0, None),
            offered=one.offered,
            numbers=order.tables or versions_in_force(),
            actor=actor,
            now=now,
        )
        made.save()
    return made


def _check(unit_price: Decimal | None, reason: str) -> None:
    errors = []
    if unit_price is not None:
        is_right = unit_price.is_finite() and 0 <= unit_price <= HIGHEST_PRICE
        if not is_right or unit_price != unit_price.quantize(Decimal("0.01")):
            limit = f"an amount from 0 to {HIGHEST_PRICE:,} with at most two digits after the point"
            text = f"Price is {unit_price}; it can be {limit}."
            errors.append(FieldError("unit_price", str(unit_price), limit, text))
        if not reason:
            text = "Reason is empty. Say in a few words why the price is set by hand."
            errors.append(FieldError("reason", "", f"1 to {LONGEST_REASON} characters", text))
    if len(reason) > LONGEST_REASON:
        limit = f"at most {LONGEST_REASON} characters"
        text = f"Reason has {len(reason)} characters; it can have {limit}."
        errors.append(FieldError("reason", reason[:40], limit, text))
    if errors:
        raise WrongInput(errors)


def price_read(value: Any, field: str = "unit_price") -> Decimal | None:
    """An amount as people and programs write it ("1,234.50", 12); None for nothing.

    raises  WrongInput
    """
    text = "" if value is None else str(value).strip().replace(",", "")
    if not text:
        return None
    try:
        number = Decimal(text)
        if isinstance(value, bool) or not number.is_finite() or len(text) > 20:
            raise InvalidOperation
    except InvalidOperation:
        limit = f"an amount from 0 to {HIGHEST_PRICE:,} with at most two digits after the point"
        shown = printable(str(value))[:40]
        raise WrongInput(
            [FieldError(field, shown, limit, f"Price is “{shown}”; it can be {limit}.")]
        ) from None
    return number
