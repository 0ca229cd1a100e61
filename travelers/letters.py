"""Papers to customers: rows from the database to the plain data of `travelers.documents`, and PDF bytes back."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime

from django.utils import timezone

from fittings.drawing import fitting_text
from fittings.ends import ends_of
from fittings.models import Order, OrderLine
from fittings.preview import line_drawing
from fittings.selectors import order_by_number
from fittings.tables import rows as table_rows
from fittings.tables import versions_in_force
from shared.codes import grouped
from shared.problems import Conflict
from shared.units import NO_BREAK
from travelers import documents
from travelers.documents import Confirmation, ConfirmedLine, DeliveredLine, DeliveryNote
from travelers.documents.delivery_note import Strokes
from travelers.forms import finishes_of
from travelers.letterhead import shop_head
from travelers.models import Delivery
from travelers.papers import printed_text
from travelers.shipping import shipped

DRAFT = "Draft: not on the floor yet. Sizes follow the shop's tables of the day of release."


def letterhead_sample(*, now: datetime) -> bytes:
    return documents.letterhead_pdf(shop=shop_head(), printed_at_text=printed_text(now))


def confirmation(*, number: str, now: datetime) -> bytes:
    """The confirmation of an order as it stands, also of a draft. raises NotFound; Conflict"""
    order = order_by_number(number)
    if order.state == Order.State.CANCELLED:
        raise Conflict(f"Order {order.number} is cancelled. There is nothing to confirm.")
    lines = list(order.lines.defer("development").order_by("position"))
    if not lines:
        raise Conflict(f"Order {order.number} has no lines. Add one, then confirm it.")
    titles = {row["name"]: row["title"] for row in table_rows("ends", order.tables.get("ends"))}
    versions = order.tables or versions_in_force()
    data = Confirmation(
        order_number=order.number,
        customer=order.customer.name,
        lines=tuple(_confirmed(line, line.tables or versions, titles) for line in lines),
        ordered_on=timezone.localtime(order.created_at).date(),
        purchase_order=order.purchase_order,
        contact=order.customer.contact,
        address=order.customer.address,
        due_on=order.due_on,
        notes=order.notes,
        stamp=DRAFT if order.released_at is None else "",
        version=order.version,
    )
    return documents.confirmation_pdf(data, shop=shop_head(), printed_at_text=printed_text(now))


def _confirmed(line: OrderLine, versions: dict, titles: dict[str, str]) -> ConfirmedLine:
    drawing = line_drawing(line, versions)
    finishes = finishes_of(line, [letter for letter, _ in ends_of(line.kind)])
    return ConfirmedLine(
        line=line.position,
        quantity=line.quantity,
        description=drawing.text,
        material=f"{line.material.replace('_', ' ')}, {line.gauge}{NO_BREAK}ga",
        ends=", ".join(f"{letter.upper()} {titles.get(name, name)}" for letter, name in finishes.items()),
        tag=line.tag,
        weight_each_lb=drawing.weight_lb,
    )


def delivery_note(delivery: Delivery, *, now: datetime) -> bytes:
    """raises Conflict where the delivery was taken back: nothing left with it."""
    if delivery.taken_back_at:
        name = f"{delivery.order.number}-{delivery.number}"
        raise Conflict(f"Delivery {name} was taken back by {delivery.taken_back_by}. Nothing left with it.")
    data = note_data(delivery)
    return documents.delivery_note_pdf(data, shop=shop_head(), printed_at_text=printed_text(now))


def note_data(delivery: Delivery) -> DeliveryNote:
    order = delivery.order
    codes: dict[int, list[str]] = defaultdict(list)
    rows = delivery.fittings.order_by("fitting__number", "pk").values_list(
        "fitting__line_id", "fitting__code"
    )
    for line_id, code in rows:
        codes[line_id].append(grouped(code))
    lines = [
        DeliveredLine(
            line=line.position,
            quantity=len(codes[line.pk]),
            ordered=line.quantity,
            description=f"{fitting_text(line.development)}, {line.material.replace('_', ' ')}, "
            f"{line.gauge}{NO_BREAK}ga",
            tag=line.tag,
            weight_each_lb=line.development["weight"],
            codes=tuple(codes[line.pk]),
        )
        for line in OrderLine.objects.filter(pk__in=codes).order_by("position", "pk")
    ]
    so_far = shipped(order)
    return DeliveryNote(
        order_number=order.number,
        number=delivery.number,
        customer=order.customer.name,
        lines=tuple(lines),
        left_on=timezone.localtime(delivery.received_at or delivery.made_at).date(),
        purchase_order=order.purchase_order,
        contact=order.customer.contact,
        address=order.customer.address,
        notes=delivery.notes,
        left_to_come=so_far.fittings - so_far.delivered,
        received_by=delivery.received_by,
        received_text=printed_text(delivery.received_at) if delivery.received_at else "",
        strokes=delivery.strokes,
    )


def signature_path(strokes: Strokes) -> str:
    """The strokes as the path of an SVG in their box.

    >>> signature_path([[[1, 2], [3, 4]], [[5, 6]]])
    'M1 2 3 4M5 6 5 6'
    """
    return "".join(
        "M" + " ".join(f"{x:g} {y:g}" for x, y in (stroke if len(stroke) > 1 else [*stroke, *stroke]))
        for stroke in strokes
    )
