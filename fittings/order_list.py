"""The list of orders: found by number, customer, PO or tag, with what each is made of."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import F, QuerySet

from fittings.models import Order, OrderLine
from fittings.preview import LineDrawing, line_drawing
from fittings.selectors import orders_found
from fittings.tables import versions_in_force
from shared.problems import NotFound

OPEN, LATE = "open", "late"
STATES = (
    ("", "All"),
    (OPEN, "Open"),
    ("draft", "Drafts"),
    ("released", "Released"),
    (LATE, "Late"),
    ("done", "Done"),
    ("cancelled", "Cancelled"),
)
LINES_SHOWN = 2
LIST_FIELDS = (
    "order_id",
    "position",
    "quantity",
    "kind",
    "material",
    "gauge",
    "params",
    "end_a",
    "end_b",
    "tag",
    "tables",
)


def order_list(*, q: str = "", state: str = "", today: date) -> QuerySet[Order]:
    """Orders found, with `pieces`: what is being worked on by due date, all else newest first."""
    found = orders_found(q=q, state=state if state in Order.State.values else "")
    if state == OPEN:
        found = found.filter(state__in=[Order.State.DRAFT, Order.State.RELEASED])
    elif state == LATE:
        found = found.filter(state=Order.State.RELEASED, due_on__lt=today)
    if state in (OPEN, LATE, Order.State.RELEASED):
        return found.order_by(F("due_on").asc(nulls_last=True), "priority", "id")
    return found


@dataclass(frozen=True)
class LineShown:
    quantity: int
    tag: str
    drawing: LineDrawing


@dataclass(frozen=True)
class OrderRow:
    """One order in the list. `state` is the mark that it carries, `word` its words."""

    order: Order
    state: str
    word: str
    lines: tuple[LineShown, ...]
    more: int


def order_rows(orders: Iterable[Order], *, today: date) -> list[OrderRow]:
    """A page of orders as the list shows them. Two queries, whatever their number."""
    orders = list(orders)
    lines: dict[int, list[OrderLine]] = {order.pk: [] for order in orders}
    stored = OrderLine.objects.filter(order__in=lines, ended_version=None).only("id", *LIST_FIELDS)
    for line in stored.order_by("order_id", "position"):
        lines[line.order_id].append(line)
    now = versions_in_force()
    return [_row(order, lines[order.pk], now, today) for order in orders]


def _row(order: Order, lines: list[OrderLine], versions: dict[str, int], today: date) -> OrderRow:
    drawn = tuple(
        LineShown(line.quantity, line.tag, line_drawing(line, line.tables or order.tables or versions))
        for line in lines[:LINES_SHOWN]
    )
    state, word = order_mark(order, today=today)
    return OrderRow(order, state, word, drawn, len(lines) - len(drawn))


def order_mark(order: Order, *, today: date) -> tuple[str, str]:
    """The state mark of an order and its words: a released order past its day is late."""
    if order.state == Order.State.RELEASED and order.due_on and order.due_on < today:
        days = (today - order.due_on).days
        return "late", f"Late {days} {'day' if days == 1 else 'days'}"
    return str(order.state), ""


def order_line_get(number: str, position: int) -> OrderLine:
    """The line that stands at a position; of one that was cancelled the last that stood there. raises NotFound"""
    found = (
        OrderLine.objects.select_related("order__customer")
        .filter(order__number=number, position=position)
        .order_by(F("ended_version").desc(nulls_first=True), "-pk")
        .first()
    )
    if found is None:
        raise NotFound(f"There is no line {position} in an order {number[:30]}.")
    return found
