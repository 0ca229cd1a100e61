"""Costs of orders, kept by month: which orders are due, adding them up, and the worker's part.

A fitting counts in the month in which it was finished, by the shop's clock; what was scrapped, cancelled or put into
stock is lost to its order, and counts in the month in which that ended. A kept order is a copy: due again, it is
added up anew with the same figures. What makes it due is a scan of its fittings, a piece of it taken off a sheet or
planned, a price, its end. Finished orders go first; one that is still open is added up again after a while.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max, Q

from fittings.costing import NOTHING, Cost
from fittings.models import CutPiece, CutPlan, Fitting, KeptPiece, Order, PieceState
from shared.jobs import Run, Work, job_enqueue
from shared.portions import in_portions
from shared.problems import Conflict
from shared.turn import write_turn
from shopfloor.models import CostDue, CostMark, MonthCost, OrderCost
from shopfloor.real_costs import FittingCost, fitting_costs
from travelers.cut_figures import month_of
from travelers.models import LinePrice, ScanTarget
from travelers.prices import OrderPrices, order_prices

ORDER_COSTS, DUE = "order_costs", "due"
"""The kind of the job, and its subject."""
AGAIN_AFTER = timedelta(minutes=15)
"""An open order is added up again at most so often: each scan makes it due."""
OVERLAP = timedelta(minutes=2)
"""Looked at twice, so that what was under way at the last look is seen."""
TARGETS_AT_A_TIME = 20_000
_AT_A_TIME = 500
ENDED = (Order.State.DONE, Order.State.CANCELLED)


@dataclass
class LineCost:
    """What a line came to: done fittings of known price and cost, those not known, and what is still open."""

    line: int
    done: int = 0
    unknown: int = 0
    price: Decimal = NOTHING
    cost: Cost = Cost()
    lost: Decimal = NOTHING
    so_far: Cost = Cost()
    measured: Decimal = Decimal("0.000")
    standard: Decimal = Decimal("0.000")
    by_plan: int = 0
    by_area: int = 0

    def row(self) -> dict[str, Any]:
        """As it is kept: amounts as digits."""
        texts = {name: _digits(part) for name, part in zip(_PARTS, self.cost.parts, strict=True)}
        so_far = {f"open_{name}": _digits(part) for name, part in zip(_PARTS, self.so_far.parts, strict=True)}
        return {
            "line": self.line,
            "done": self.done,
            "unknown": self.unknown,
            "price": _digits(self.price),
            "lost": _digits(self.lost),
            "measured": _digits(self.measured),
            "standard": _digits(self.standard),
            "by_plan": self.by_plan,
            "by_area": self.by_area,
            **texts,
            **so_far,
        }

    @classmethod
    def of_row(cls, row: dict[str, Any]) -> LineCost:
        cost = Cost(*(_amount(row[name]) for name in _PARTS))
        so_far = Cost(*(_amount(row[f"open_{name}"]) for name in _PARTS))
        return cls(
            row["line"],
            row["done"],
            row["unknown"],
            Decimal(row["price"]),
            cost,
            Decimal(row["lost"]),
            so_far,
            Decimal(row["measured"]),
            Decimal(row["standard"]),
            row["by_plan"],
            row["by_area"],
        )


_PARTS = ("metal", "labor", "overhead")


def _digits(amount: Decimal | None) -> str | None:
    return None if amount is None else str(amount)


def _amount(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)


@dataclass(frozen=True)
class AddedUp:
    """An order's costs, not saved."""

    lines: tuple[LineCost, ...]
    months: tuple[MonthCost, ...]


def add_up(order: Order) -> AddedUp:
    """The costs of an order, by line and by month, from the record as it is. Only reads."""
    prices = order_prices(order)
    priced = {one.line.pk: one for one in prices.lines}
    positions = dict(order.all_lines.values_list("pk", "position"))
    lines = {one.line.position: LineCost(one.line.position) for one in prices.lines}
    into_stock = set(
        KeptPiece.objects.filter(fitting__order=order, segment=None)
        .exclude(why=KeptPiece.Why.RETURNED)
        .values_list("fitting", flat=True)
    )
    months: dict[date, MonthCost] = {}
    ended = month_of(order.ended_at) if order.ended_at and order.state in ENDED else None
    for one in fitting_costs(order):
        position = positions[one.line]
        line = lines.setdefault(position, LineCost(position))
        sold = priced.get(one.line) if one.fitting not in into_stock else None
        if one.state == PieceState.OPEN:
            line.so_far += one.cost
        elif one.state == PieceState.DONE and one.done_at and sold:
            month = _month(months, order, month_of(one.done_at), ended)
            _add_done(line, month, one, sold.unit_price, sold.cost.total)
        elif one.cost.total:
            line.lost += one.cost.total
            line.cost += one.cost
            _count_known_by(line, one)
            if ended:
                _add_lost(_month(months, order, ended, ended), one)
    found = sorted(lines.values(), key=lambda one: one.line)
    return AddedUp(tuple(found), tuple(months[month] for month in sorted(months)))


def _month(months: dict[date, MonthCost], order: Order, month: date, ended: date | None) -> MonthCost:
    if month not in months:
        months[month] = MonthCost(order=order, month=month, order_month=ended)
    return months[month]


def _add_done(
    line: LineCost, month: MonthCost, one: FittingCost, price: Decimal | None, expected: Decimal | None
) -> None:
    line.done += 1
    if price is None or one.cost.total is None:
        line.unknown += 1
        month.unknown += 1
        return
    line.price += price
    line.cost += one.cost
    _count_known_by(line, one)
    month.fittings += 1
    month.price += price
    _add_cost(month, one)
    if expected is not None:
        month.expected += expected
        month.expected_price += price


def _add_lost(month: MonthCost, one: FittingCost) -> None:
    month.lost += one.cost.total
    _add_cost(month, one)


def _add_cost(month: MonthCost, one: FittingCost) -> None:
    month.metal += one.cost.metal
    month.labor += one.cost.labor
    month.overhead += one.cost.overhead
    month.measured_minutes += one.measured
    month.standard_minutes += one.standard
    month.by_plan += one.by_plan
    month.by_area += one.by_area


def _count_known_by(line: LineCost, one: FittingCost) -> None:
    line.measured += one.measured
    line.standard += one.standard
    line.by_plan += one.by_plan
    line.by_area += one.by_area


# -- which orders are due --------------------------------------------------------


def costs_look(*, now: datetime) -> None:
    """Note the orders that something changed for since the last look. What it costs depends on what is new."""
    with write_turn(), transaction.atomic():
        newest = ScanTarget.objects.aggregate(newest=Max("pk"))["newest"] or 0
        mark = CostMark.objects.select_for_update().filter(pk=1).first()
        if mark is None:
            mark = CostMark(pk=1, target=newest, looked_at=now)
            found = set(Order.objects.exclude(released_at=None).values_list("pk", flat=True))
        else:
            newest = min(newest, mark.target + TARGETS_AT_A_TIME)
            found = _changed(mark, newest)
            mark.target, mark.looked_at = newest, now
        mark.save()
        _note(found, now)


def _changed(mark: CostMark, newest: int) -> set[int]:
    since = mark.looked_at - OVERLAP
    fittings = set(
        ScanTarget.objects.filter(pk__gt=mark.target, pk__lte=newest).values_list("fitting", flat=True)
    )
    off = CutPiece.objects.filter(off_at__gt=since)
    sent = CutPiece.objects.filter(plan__state=CutPlan.State.SENT, plan__sent_at__gt=since)
    sheets = {
        sheet
        for pieces in (off, sent)
        for sheet in pieces.values_list("sheet", flat=True)
        if sheet is not None
    }
    for part in in_portions(sorted(sheets), _AT_A_TIME):
        fittings |= set(CutPiece.objects.filter(sheet__in=part).values_list("segment__fitting", flat=True))
    found = set(LinePrice.objects.filter(made_at__gt=since).values_list("order", flat=True))
    found |= set(Order.objects.filter(ended_at__gt=since).values_list("pk", flat=True))
    for part in in_portions(sorted(fittings), _AT_A_TIME):
        found |= set(Fitting.objects.filter(pk__in=part).values_list("order", flat=True))
    return found


def _note(orders: Iterable[int], now: datetime) -> None:
    for part in in_portions(sorted(orders), _AT_A_TIME):
        CostDue.objects.bulk_create(
            [CostDue(order_id=pk, since=now) for pk in part],
            update_conflicts=True,
            unique_fields=["order"],
            update_fields=["since"],
        )


def due_now(now: datetime) -> list[int]:
    """Orders to add up now: those that have ended first, then open ones that were not for a while."""
    waiting = CostDue.objects.filter(
        Q(order__state__in=ENDED)
        | Q(order__kept_cost=None)
        | Q(order__kept_cost__made_at__lte=now - AGAIN_AFTER)
    )
    rows = waiting.values_list("order", "order__state", "since")
    return [pk for pk, *_ in sorted(rows, key=lambda row: (row[1] not in ENDED, row[2], row[0]))]


# -- adding up ---------------------------------------------------------------------


def order_cost_keep(*, pk: int, now: datetime) -> bool:
    """Add an order up and keep it; False where something changed meanwhile, so that it stays due."""
    due = CostDue.objects.filter(order=pk).values_list("since", flat=True).first()
    order = Order.objects.select_related("customer").get(pk=pk)
    made = add_up(order) if order.released_at else AddedUp((), ())
    with write_turn(), transaction.atomic():
        since = CostDue.objects.select_for_update().filter(order=pk).values_list("since", flat=True).first()
        if since != due:
            return False
        MonthCost.objects.filter(order=pk).delete()
        MonthCost.objects.bulk_create(made.months)
        OrderCost.objects.update_or_create(
            order=order, defaults={"made_at": now, "lines": [line.row() for line in made.lines]}
        )
        CostDue.objects.filter(order=pk).delete()
    return True


def costs_bring_up(*, now: datetime) -> int:
    """Look what changed and add up all that is due. How many orders."""
    costs_look(now=now)
    return sum(order_cost_keep(pk=pk, now=now) for pk in due_now(now))


def costs_make(run: Run) -> None:
    """The worker's part."""
    costs_look(now=run.now())
    due, made = due_now(run.now()), 0
    for at, pk in enumerate(due):
        if not run.tell(at / len(due), f"{at} of {len(due)} orders added up"):
            break
        made += order_cost_keep(pk=pk, now=run.now())
    with write_turn(), transaction.atomic():
        run.finish(f"{made} orders added up.")


ORDER_COSTS_WORK = Work(costs_make)


def costs_request(*, now: datetime) -> bool:
    """Let the worker add up what is due; False where nothing is, or it is at it."""
    costs_look(now=now)
    if not due_now(now):
        return False
    try:
        job_enqueue(kind=ORDER_COSTS, subject=DUE, asked_by="worker", now=now)
    except Conflict:
        return False
    return True


# -- one order's page ---------------------------------------------------------------


MOST_AT_ONCE = 200
"""Fittings of an order that are added up while somebody waits; of a larger one what is kept is shown."""


@dataclass(frozen=True)
class OrderFigures:
    """Expected and real, line by line. `real` None where nothing is finished or kept; `as_of` None: as it is now."""

    prices: OrderPrices
    real: tuple[LineCost, ...] | None
    as_of: datetime | None


def order_figures(order: Order) -> OrderFigures:
    prices = order_prices(order)
    if not order.released_at:
        return OrderFigures(prices, None, None)
    if order.fittings_total <= MOST_AT_ONCE:
        return OrderFigures(prices, add_up(order).lines, None)
    kept = OrderCost.objects.filter(order=order).first()
    if kept is None:
        return OrderFigures(prices, None, None)
    return OrderFigures(prices, tuple(LineCost.of_row(row) for row in kept.lines), kept.made_at)
