"""A released order is cancelled, and what is started of it is kept or scrapped by choice."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction

from fittings.models import KeptPiece, Order
from fittings.orders import order_changed
from fittings.selectors import order_by_number
from shared.problems import Conflict, FieldError, WrongInput
from shared.roles import Actor
from shared.texts import said_value
from shared.turn import write_turn
from travelers import release
from travelers.amend import order_count, order_lock
from travelers.amend_leaving import fittings_leave, sheets_clear
from travelers.amend_meaning import sheets_of
from travelers.amend_reading import KEEP, SCRAP
from travelers.amend_started import fittings_in
from travelers.amend_travelers import travelers_renew
from travelers.pulse import pulse_beat

AS_IT_IS = ""
CHOICES = (AS_IT_IS, KEEP, SCRAP)


def order_cancel(*, number: str, started: Any = AS_IT_IS, actor: Actor, now: datetime) -> Order:
    """Cancel a draft or a released order.

    started  what becomes of started work, finished fittings too: keep or scrap. Blank: what is not finished becomes
             void, finished fittings stay as they are, and pieces lie where they lie
    raises   NotFound; WrongInput naming `started`; Conflict where the order is done or cancelled already
    """
    if started not in CHOICES:
        message = f"Started is {said_value(started)}; it can be keep or scrap."
        raise WrongInput([FieldError("started", None, "keep, scrap", message)])
    order = order_by_number(number)
    if started == AS_IT_IS or order.state != Order.State.RELEASED:
        return release.order_cancel(number=order.number, actor=actor, now=now)
    with write_turn(), transaction.atomic():
        order_lock(order.number)
        order = Order.objects.select_for_update().get(pk=order.pk)
        if order.state != Order.State.RELEASED:
            raise Conflict(f"Order {order.number} is {order.state}. Only a released order can be cancelled.")
        order.state, order.ended_at = Order.State.CANCELLED, now
        order.save(update_fields=["state", "ended_at"])
        said = {"state": ["released", "cancelled"], "started work": ["", f"{started}"]}
        order_changed(order=order, changes=said, actor=actor, now=now)
        _all_leave(order, started, actor, now)
        order_count(order, now)
        pulse_beat()
    return order


def _all_leave(order: Order, started: str, actor: Actor, now: datetime) -> None:
    lines = list(order.all_lines.order_by("position", "pk"))
    fittings = fittings_in(lines)
    why = f"Order {order.number} was cancelled"
    for line in lines:
        go = [one for one in fittings[line.pk] if not one.is_delivered]
        if not go:
            continue
        sheets_clear(sheets_of(go), why=why, actor=actor, now=now)
        fittings_leave(
            go,
            fate=started,
            version=order.version,
            successors=(),
            why=KeptPiece.Why.CANCELLED,
            note=f"Order {order.number}, line {line.position}",
            actor=actor,
            now=now,
        )
        codes = sorted({one.traveler for one in go})
        travelers_renew(codes, version=order.version, successors=(), now=now)
