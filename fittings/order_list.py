"""The list of orders: found by number, customer, PO or tag, with what each is made of."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, OuterRef, Q, QuerySet

from fittings.models import Order, OrderLine
from fittings.preview import LineDrawing, line_drawing
from fittings.tables import versions_in_force
from shared.problems import NotFound

OPEN = "open"
STATES = (
    ("", "All"),
    (OPEN, "Open"),
    ("draft", "Drafts"),
    ("released", "Released"),
    ("late", "Late"),
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
)


def order_list(*, q: str = "", state: str = "", today: date) -> QuerySet[Order]:
    """Orders, open ones by due date, others newest first."""
    found = Order.objects.select_related("customer")
    late = Q(state=Order.State.RELEASED, due_on__lt=today)
    by_state = {
        OPEN: Q(state__in=[Order.State.DRAFT, Order.State.RELEASED]),
        "late": late,
        **{name: Q(state=name) for name in Order.State.values},
    }
    if state in by_state:
        found = found.filter(by_state[state])
    if q:
        tagged = OrderLine.objects.filter(order=OuterRef("pk"), tag__icontains=q)
        found = found.filter(
            Q(number__icontains=q)
            | Q(customer__name__icontains=q)
            | Q(purchase_order__icontains=q)
            | Exists(tagged)
        )
    if state in (OPEN, "released", "late"):
        return found.order_by("due_on", "priority", "id")
    return found.order_by("-id")


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
    stored = OrderLine.objects.filter(order__in=lines).only("id", *LIST_FIELDS)
    for line in stored.order_by("order_id", "position"):
        lines[line.order_id].append(line)
    now = versions_in_force()
    return [_row(order, lines[order.pk], now, today) for order in orders]


def _row(order: Order, lines: list[OrderLine], versions: dict[str, int], today: date) -> OrderRow:
    drawn = tuple(
        LineShown(line.quantity, line.tag, line_drawing(line, order.tables or versions))
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


def order_get(number: str) -> Order:
    found = Order.objects.select_related("customer").filter(number=number).first()
    if found is None:
        raise NotFound(
            f"There is no order {number[:30]}. Look for it by number, customer, PO or tag in Orders."
        )
    return found


def order_line_get(number: str, position: int) -> OrderLine:
    found = (
        OrderLine.objects.select_related("order__customer")
        .filter(order__number=number, position=position)
        .first()
    )
    if found is None:
        raise NotFound(f"There is no line {position} in an order {number[:30]}.")
    return found
