"""Deliveries: finished fittings that leave together, received with a signature or taken back before."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Count, Max, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from fittings.events import ORDER_SHIPPED, event_keep
from fittings.models import Fitting, Order, PieceState
from fittings.selectors import order_by_number
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.texts import is_unprintable
from shared.turn import write_turn
from travelers.documents.delivery_note import BOX
from travelers.models import DeliveredFitting, Delivery

LONGEST_NAME, LONGEST_NOTES = 80, 400
MOST_STROKES, MOST_POINTS, LEAST_LENGTH = 100, 4000, 60.0


# -- reading ----------------------------------------------------------------


@dataclass(frozen=True)
class Shipped:
    """How much of an order left. `ready` is finished and on no delivery yet."""

    fittings: int
    delivered: int
    received: int
    ready: int

    @property
    def is_whole(self) -> bool:
        return 0 < self.fittings == self.received

    @property
    def words(self) -> str:
        if not self.delivered:
            return "nothing yet"
        waiting = self.delivered - self.received
        text = f"{self.received} of {self.fittings}"
        return f"{text}, {waiting} on the way" if waiting else text


@dataclass(frozen=True)
class LineToGo:
    """A line of an order with what of it left and what could."""

    pk: int
    line: int
    tag: str
    quantity: int
    delivered: int
    ready: int


_COUNTS = {
    "all": Count("pk"),
    "gone": Count("delivered"),
    "taken": Count("pk", filter=Q(delivered__delivery__received_at__isnull=False)),
    "here": Count("pk", filter=Q(state=PieceState.DONE, delivered=None)),
}


def shipped(order: Order) -> Shipped:
    """One query."""
    live = ~Q(state__in=(PieceState.SCRAPPED, PieceState.VOID))
    found = Fitting.objects.filter(live, order=order, taken_out_at=None).aggregate(**_COUNTS)
    return Shipped(*(found[name] for name in ("all", "gone", "taken", "here")))


def lines_to_go(order: Order) -> list[LineToGo]:
    """Lines of which a fitting was made, in order. One query."""
    rows = (
        Fitting.objects.filter(order=order)
        .exclude(state__in=(PieceState.SCRAPPED, PieceState.VOID))
        .values("line_id", "line__position", "line__tag")
        .annotate(**_COUNTS)
        .order_by("line__position", "line_id")
        .values_list("line_id", "line__position", "line__tag", "all", "gone", "here")
    )
    return [LineToGo(*row) for row in rows]


def deliveries_of(order: Order) -> QuerySet[Delivery]:
    return order.deliveries.annotate(count=Count("fittings")).order_by("number")


def deliveries_open() -> QuerySet[Delivery]:
    """What waits to be received, the oldest first."""
    open_ones = Delivery.objects.filter(received_at=None, taken_back_at=None)
    return (
        open_ones.select_related("order__customer")
        .annotate(count=Count("fittings"))
        .order_by("made_at", "pk")
    )


def deliveries_received() -> QuerySet[Delivery]:
    """What was received, the newest first."""
    received = Delivery.objects.filter(received_at__isnull=False).select_related("order__customer")
    own = DeliveredFitting.objects.filter(delivery=OuterRef("pk")).order_by().values("delivery")
    count = Coalesce(Subquery(own.annotate(n=Count("pk")).values("n")), 0)
    return received.annotate(count=count).order_by("-received_at", "-pk")


def delivery_get(pk: int) -> Delivery:
    """raises NotFound"""
    found = Delivery.objects.select_related("order__customer").filter(pk=pk).first()
    if found is None:
        raise NotFound("There is no such delivery.")
    return found


def delivery_by_number(order_number: str, number: int) -> Delivery:
    """raises NotFound"""
    rows = Delivery.objects.select_related("order__customer")
    found = rows.filter(order__number=order_number, number=number).first()
    if found is None:
        raise NotFound(f"Order {order_number[:30]} has no delivery {number}.")
    return found


def delivery_answer(delivery: Delivery) -> dict[str, Any]:
    """A delivery as programs read it."""
    rows = delivery.fittings.order_by("fitting__line__position", "fitting__number")
    lines: dict[int, list[str]] = defaultdict(list)
    for position, code in rows.values_list("fitting__line__position", "fitting__code"):
        lines[position].append(code)
    return {
        "order": delivery.order.number,
        "number": delivery.number,
        "made_at": delivery.made_at,
        "made_by": delivery.made_by,
        "notes": delivery.notes,
        "lines": [
            {"line": position, "quantity": len(codes), "fittings": codes} for position, codes in lines.items()
        ],
        "received_at": delivery.received_at,
        "received_by": delivery.received_by,
        "handed_over_by": delivery.handed_over_by,
        "is_signed_here": bool(delivery.strokes),
        "taken_back_at": delivery.taken_back_at,
    }


# -- changing ---------------------------------------------------------------


def delivery_make(
    *, number: str, wanted: Mapping[int, int] | None, notes: str = "", actor: Actor, now: datetime
) -> Delivery:
    """Put finished fittings of an order on a delivery, the lowest numbers of each line first.

    wanted  how many of each line, by its number in the order; None: all that is finished
    raises  NotFound; Conflict where nothing is finished; WrongInput naming the line that has less than was asked for
    """
    notes = _text("notes", notes, LONGEST_NOTES)
    try:
        with write_turn(), transaction.atomic():
            order = Order.objects.select_for_update().get(pk=order_by_number(number).pk)
            chosen = _chosen(order, wanted)
            last = order.deliveries.aggregate(last=Max("number"))["last"] or 0
            made = Delivery.objects.create(
                order=order, number=last + 1, made_at=now, made_by=actor.name, notes=notes
            )
            DeliveredFitting.objects.bulk_create(
                (DeliveredFitting(delivery=made, fitting_id=pk) for pk in chosen), batch_size=500
            )
    except IntegrityError:
        raise Conflict(
            f"Fittings of order {number} were put on another delivery at this moment. Look again."
        ) from None
    return made


def _chosen(order: Order, wanted: Mapping[int, int] | None) -> list[int]:
    ready: dict[int, list[int]] = defaultdict(list)
    rows = Fitting.objects.filter(order=order, state=PieceState.DONE, delivered=None, taken_out_at=None)
    for position, pk in rows.order_by("number", "pk").values_list("line__position", "pk"):
        ready[position].append(pk)
    if not ready:
        raise Conflict(f"Nothing of order {order.number} is finished and still here.")
    if wanted is None:
        return [pk for position in sorted(ready) for pk in ready[position]]
    errors, chosen = [], []
    for position, count in sorted(wanted.items()):
        here = ready.get(position, [])
        if not 0 <= count <= len(here):
            message = f"Line {position}: {count} asked for, {len(here)} finished and still here."
            errors.append(FieldError(f"line-{position}", count, f"0 to {len(here)}", message))
        chosen += here[: max(0, count)]
    if errors:
        raise WrongInput(errors)
    if not chosen:
        message = "Enter how many fittings leave, at least one."
        raise WrongInput([FieldError("lines", None, "at least one fitting", message)])
    return chosen


def delivery_receive(
    *, pk: int, name: str, strokes: Any = (), station: str = "", actor: Actor, now: datetime
) -> Delivery:
    """The customer took a delivery over.

    name     of the person who did, as typed
    strokes  the signature, as `Delivery.strokes`; none where it was signed on paper
    raises   NotFound; WrongInput; Conflict where it was received or taken back before
    """
    name = _text("name", name, LONGEST_NAME, is_needed="Enter the name of the person who takes it over.")
    drawn = strokes_read(strokes) if strokes else []
    with write_turn(), transaction.atomic():
        delivery = _open_one(pk)
        delivery.received_at, delivery.received_by, delivery.strokes = now, name, drawn
        delivery.station, delivery.handed_over_by = station, actor.name
        delivery.save(update_fields=["received_at", "received_by", "strokes", "station", "handed_over_by"])
        count = delivery.fittings.count()
        facts = {
            "delivery": delivery.number,
            "fittings": count,
            "is_complete": shipped(delivery.order).is_whole,
        }
        event_keep(kind=ORDER_SHIPPED, order_id=delivery.order_id, at=now, facts=facts)
    return delivery


def delivery_take_back(*, pk: int, actor: Actor, now: datetime) -> Delivery:
    """A delivery that did not leave: its fittings can go on another one; its number is not given again.

    raises  NotFound; Conflict where it was received or taken back before
    """
    with write_turn(), transaction.atomic():
        delivery = _open_one(pk)
        delivery.taken_back_at, delivery.taken_back_by = now, actor.name
        delivery.save(update_fields=["taken_back_at", "taken_back_by"])
        delivery.fittings.all().delete()
    return delivery


def _open_one(pk: int) -> Delivery:
    delivery = Delivery.objects.select_for_update(of=("self",)).select_related("order").filter(pk=pk).first()
    if delivery is None:
        raise NotFound("There is no such delivery.")
    name = f"Delivery {delivery.order.number}-{delivery.number}"
    if delivery.received_at:
        raise Conflict(f"{name} was received by {delivery.received_by} before.")
    if delivery.taken_back_at:
        raise Conflict(f"{name} was taken back by {delivery.taken_back_by}.")
    return delivery


def counts_read(typed: Mapping[str, str]) -> dict[int, int]:
    """How many of each line, as they were typed; nothing typed is none.

    raises  WrongInput naming each that is no number
    """
    found, errors = {}, []
    for line, text in typed.items():
        count = text.strip() or "0"
        if line.isdecimal() and len(line) < 8 and count.isdecimal() and len(count) < 8:
            found[int(line)] = int(count)
        else:
            message = f"Line {line[:8]}: enter how many leave, a whole number from 0."
            errors.append(FieldError(f"line-{line}", text[:20], "a whole number from 0", message))
    if errors:
        raise WrongInput(errors)
    return found


# -- checking ---------------------------------------------------------------


def _text(field: str, value: Any, longest: int, is_needed: str = "") -> str:
    text = " ".join(value.split()) if isinstance(value, str) else ""
    limit = f"at most {longest} characters"
    if not isinstance(value, str) or any(map(is_unprintable, text)):
        raise WrongInput([FieldError(field, str(value)[:40], limit, f"The {field} is no text to print.")])
    if is_needed and not text:
        raise WrongInput([FieldError(field, "", f"1 to {longest} characters", is_needed)])
    if len(text) > longest:
        message = f"The {field} has {len(text)} characters; it can have {limit}."
        raise WrongInput([FieldError(field, text[:40], limit, message)])
    return text


def strokes_read(value: Any) -> list[list[list[int]]]:
    """Strokes as they are kept: whole numbers in the box.

    raises  WrongInput where it is no list of strokes, leaves the box, is too much, or too little for a signature
    """
    width, height = BOX
    limit = f"1 to {MOST_STROKES} strokes of [x, y], {MOST_POINTS:,} points in all, in a box of {width:g} × {height:g}"

    def refuse(message: str):
        raise WrongInput([FieldError("strokes", None, limit, message)])

    if not isinstance(value, Sequence) or isinstance(value, str) or len(value) > MOST_STROKES:
        refuse(f"The signature can have 1 to {MOST_STROKES} strokes.")
    found, points, length = [], 0, 0.0
    for stroke in value:
        if not isinstance(stroke, Sequence) or isinstance(stroke, str) or not stroke:
            refuse("A stroke of the signature is no list of points.")
        points += len(stroke)
        if points > MOST_POINTS:
            refuse(f"The signature has more than {MOST_POINTS:,} points.")
        kept: list[list[int]] = []
        for point in stroke:
            is_pair = isinstance(point, Sequence) and not isinstance(point, str) and len(point) == 2
            if not is_pair or not all(type(one) in (int, float) for one in point):
                refuse("A point of the signature is no pair of numbers.")
            x, y = point
            if not (0 <= x <= width and 0 <= y <= height):
                refuse(f"A point of the signature lies outside of {width:g} × {height:g}.")
            if kept:
                length += abs(x - kept[-1][0]) + abs(y - kept[-1][1])
            kept.append([round(x), round(y)])
        found.append(kept)
    if length < LEAST_LENGTH:
        refuse("The signature is too short. Sign in the box.")
    return found


__all__ = [
    "delivery_answer",
    "delivery_make",
    "delivery_receive",
    "delivery_take_back",
    "deliveries_of",
    "deliveries_open",
    "lines_to_go",
    "shipped",
    "strokes_read",
]
