"""What the pages of costs show: amounts as texts in the shop's currency."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.core.paginator import Page, Paginator

from fittings.cost_tables import COST_TABLES
from fittings.costing import Cost, amount_of, plus, share_pct
from fittings.models import Order
from fittings.money import currency_sign, money_text
from fittings.preview import LineDrawing, line_drawing
from fittings.tables import SCHEMAS, rows, versions_in_force
from shared.sheets import Sheet
from shared.units import NO_BREAK
from shopfloor import month_costs
from shopfloor.month_costs import BY, COUNTS, Group, MonthCosts, Sums
from shopfloor.order_costs import LineCost, OrderFigures, order_figures
from travelers.models import LinePrice, Quote
from travelers.prices import PricedLine
from travelers.quotes import is_over, quotes_of, usual_days

ROWS_ON_A_PAGE = 50
HISTORY_SHOWN = 30
QUOTE_MARKS = {"made": "waiting", "sent": "running", "accepted": "done", "declined": "void"}


def pct_text(value: Decimal | None) -> str:
    return "—" if value is None else f"{value}{NO_BREAK}%"


# -- a month ---------------------------------------------------------------------


@dataclass(frozen=True)
class SumsRow:
    """`is_loss`: it cost more than it is sold for. `note` says what the amounts leave out."""

    name: str
    customer: str
    orders: int
    fittings: str
    price: str
    metal: str
    labor: str
    overhead: str
    cost: str
    margin: str
    margin_pct: str
    expected_pct: str
    lost: str
    is_loss: bool
    note: str


@dataclass(frozen=True)
class MonthPage:
    month: date
    months: Sequence[date]
    by: str
    count: str
    whole: SumsRow
    rows: tuple[SumsRow, ...]
    page: Page
    measured: str
    by_plan: str
    due: int
    missing: tuple[tuple[str, str], ...]

    @property
    def by_choices(self) -> Sequence[tuple[str, str]]:
        return BY

    @property
    def count_choices(self) -> Sequence[tuple[str, str]]:
        return COUNTS


def month_page(query: Mapping[str, str], *, today: date) -> MonthPage:
    """raises WrongInput for a month, a grouping or a count that there is not"""
    month = month_costs.month_read(query.get("month"), today)
    by = month_costs.one_of(query.get("by"), BY, "by")
    found = month_costs.month_costs(month, count=month_costs.one_of(query.get("count"), COUNTS, "count"))
    groups, whole, sign = found.grouped(by), found.whole.sums, currency_sign()
    page = Paginator(groups, ROWS_ON_A_PAGE).get_page(query.get("page"))
    months = month_costs.months_there(today)
    segments = Decimal(whole.by_plan + whole.by_area)
    return MonthPage(
        month,
        months if month in months else [*months, month],
        by,
        found.count,
        _row("All", "", found.whole.orders, whole, sign),
        tuple(_row(one.name, one.customer, one.orders, one.sums, sign) for one in page.object_list),
        page,
        pct_text(whole.measured_pct),
        pct_text(share_pct(Decimal(whole.by_plan), segments)),
        found.due,
        not_set(),
    )


def _row(name: str, customer: str, orders: int, sums: Sums, sign: str) -> SumsRow:
    amounts = (sums.price, sums.metal, sums.labor, sums.overhead, sums.cost, sums.margin)
    unknown = f"without {sums.unknown} whose price or cost is not known" if sums.unknown else ""
    return SumsRow(
        name,
        customer,
        orders,
        f"{sums.fittings:,}",
        *(money_text(amount, sign) for amount in amounts),
        pct_text(sums.margin_pct),
        pct_text(sums.expected_pct),
        money_text(sums.lost, sign) if sums.lost else "",
        sums.margin < 0,
        unknown,
    )


def not_set() -> tuple[tuple[str, str], ...]:
    """Tables without any price or rate, as (name, title): until then costs are not known."""
    in_force = versions_in_force()
    wanted = {"yields": ("per_lb", "per_ft2"), "rates": ("per_hour",)}
    return tuple(
        (name, SCHEMAS[name].title)
        for name, columns in wanted.items()
        if name in in_force
        and not any(amount_of(row[column]) is not None for row in rows(name) for column in columns)
    )


HEADS = (
    "orders",
    "fittings",
    "price",
    "metal",
    "labor",
    "overhead",
    "cost",
    "margin",
    "margin_pct",
    "expected_margin_pct",
    "lost",
    "fittings_not_known",
)


def month_sheet(found: MonthCosts, by: str) -> Sheet:
    """The whole month as a table for spreadsheets: amounts as numbers."""
    first = ("order", "customer") if by == month_costs.ORDER else ("customer",)
    return Sheet(f"{found.month:%Y-%m} by {by}", (*first, *HEADS), _sheet_rows(found.grouped(by), by))


def _sheet_rows(groups: Iterable[Group], by: str) -> Iterable[Sequence[Any]]:
    for one in groups:
        sums = one.sums
        yield (
            *((one.name, one.customer) if by == month_costs.ORDER else (one.name,)),
            one.orders,
            sums.fittings,
            *(sums.price, sums.metal, sums.labor, sums.overhead, sums.cost, sums.margin),
            sums.margin_pct,
            sums.expected_pct,
            sums.lost,
            sums.unknown,
        )


# -- one order ---------------------------------------------------------------------


@dataclass(frozen=True)
class LineShown:
    """A line as the pages show it. `expected` and `real` are of the whole line; None where nothing is finished."""

    one: PricedLine
    drawing: LineDrawing
    unit_price: str
    price: str
    how: str
    each: tuple[str, str, str, str]
    cost: str
    margin: str
    margin_pct: str
    is_loss: bool
    real: RealShown | None


@dataclass(frozen=True)
class RealShown:
    done: str
    price: str
    parts: tuple[str, str, str]
    cost: str
    margin: str
    margin_pct: str
    is_loss: bool
    so_far: str
    known_by: str
    lost: str
    note: str

    @property
    def is_any_done(self) -> bool:
        return self.done != "0"


@dataclass(frozen=True)
class OrderCostPage:
    order: Order
    lines: tuple[LineShown, ...]
    price: str
    cost: Cost
    parts: tuple[str, str, str, str]
    margin: str
    margin_pct: str
    is_loss: bool
    real: RealShown | None
    as_of: datetime | None
    is_frozen: bool
    quotes: tuple[tuple[Quote, str, str, str], ...]
    history: tuple[LinePrice, ...]
    days: int
    missing: tuple[tuple[str, str], ...]
    sign: str

    @property
    def tables(self) -> Sequence[tuple[str, str]]:
        return [(name, SCHEMAS[name].title) for name in COST_TABLES]


def order_cost_page(order: Order, *, today: date, is_whole: bool = True) -> OrderCostPage:
    """Expected and real costs, prices, quotes of an order.

    is_whole  False: what the order's own page shows of it, without quotes and history
    """
    figures: OrderFigures = order_figures(order)
    prices, sign = figures.prices, currency_sign()
    versions = order.tables or versions_in_force()
    by_line = {one.line: one for one in figures.real or ()}
    total = prices.cost
    real = _whole(figures.real)
    history = LinePrice.objects.filter(order=order, why=LinePrice.Why.HAND).order_by("-pk")
    return OrderCostPage(
        order,
        tuple(_line(one, by_line.get(one.line.position), versions, sign) for one in prices.lines),
        money_text(prices.price, sign),
        total,
        tuple(money_text(part, sign) for part in (*total.parts, total.total)),
        money_text(prices.margin, sign),
        pct_text(prices.margin_pct),
        bool(prices.margin is not None and prices.margin < 0),
        real and _real(real, sign),
        figures.as_of,
        bool(order.released_at),
        _quotes(order, today, sign) if is_whole else (),
        tuple(history[:HISTORY_SHOWN]) if is_whole else (),
        usual_days(),
        not_set(),
        sign,
    )


def _line(one: PricedLine, real: LineCost | None, versions: Mapping[str, int], sign: str) -> LineShown:
    each = (*one.cost.parts, one.cost.total)
    return LineShown(
        one,
        line_drawing(one.line, versions),
        money_text(one.unit_price, sign),
        money_text(one.price, sign),
        one.problem or one.how,
        tuple(money_text(part, sign) for part in each),
        money_text(one.whole_cost.total, sign),
        money_text(one.margin, sign),
        pct_text(one.margin_pct),
        bool(one.margin is not None and one.margin < 0),
        _real(real, sign) if real else None,
    )


def _whole(lines: Sequence[LineCost] | None) -> LineCost | None:
    """All lines together; None where nothing is done or begun."""
    if not lines:
        return None
    whole = LineCost(0)
    for one in lines:
        whole.done += one.done
        whole.unknown += one.unknown
        whole.price += one.price
        whole.cost += one.cost
        whole.lost += one.lost
        whole.so_far += one.so_far
        whole.measured += one.measured
        whole.standard += one.standard
        whole.by_plan += one.by_plan
        whole.by_area += one.by_area
    return whole


def _real(one: LineCost, sign: str) -> RealShown:
    total = one.cost.total
    margin = plus(one.price, None if total is None else -total)
    minutes = share_pct(one.measured, one.measured + one.standard)
    segments = one.by_plan + one.by_area
    known = []
    if minutes is not None:
        known.append(f"{minutes}{NO_BREAK}% of the labor measured, the rest standard")
    if segments:
        known.append(f"{one.by_plan} of {segments} segments by cut plan, the rest by net area")
    unknown = f"without {one.unknown} whose price or cost is not known" if one.unknown else ""
    return RealShown(
        f"{one.done:,}",
        money_text(one.price, sign),
        tuple(money_text(part, sign) for part in one.cost.parts),
        money_text(total, sign),
        money_text(margin, sign),
        pct_text(share_pct(margin, one.price)),
        bool(margin is not None and margin < 0),
        money_text(one.so_far.total, sign),
        "; ".join(known),
        money_text(one.lost, sign) if one.lost else "",
        unknown,
    )


def _quotes(order: Order, today: date, sign: str) -> tuple[tuple[Quote, str, str, str], ...]:
    """Each quote with its mark, its word, and its total."""
    found = []
    for quote in quotes_of(order):
        is_late = is_over(quote, today)
        word = "No longer valid" if is_late else quote.get_state_display()
        found.append(
            (
                quote,
                "void" if is_late else QUOTE_MARKS[quote.state],
                word,
                money_text(quote.total, quote.sign),
            )
        )
    return tuple(found)
