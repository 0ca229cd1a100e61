"""Jobs that a supervisor puts first: an order, or one line of it. The tablets' lists begin with them.

A pin is kept with who and when, also after it was taken off. It means nothing once its order has left the floor.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from fittings.models import Order, OrderLine, Pin
from fittings.reading import MOST_LINES
from fittings.selectors import order_by_number
from shared.problems import Conflict, FieldError, NotAllowed, NotFound, WrongInput
from shared.roles import SUPERVISOR, Actor
from shared.texts import said_value
from shared.turn import write_turn
from travelers.pulse import pulse_beat


@dataclass(frozen=True)
class Pinned:
    """What stands first now: whole orders and single lines, by their ids."""

    orders: frozenset[int] = frozenset()
    lines: frozenset[int] = frozenset()

    def has(self, order: int, line: int) -> bool:
        return order in self.orders or line in self.lines

    def __bool__(self) -> bool:
        return bool(self.orders or self.lines)


def pinned_now() -> Pinned:
    """One query; pins are few."""
    found = Pin.objects.filter(ended_at=None, order__state=Order.State.RELEASED).values_list(
        "order_id", "line_id"
    )
    rows = list(found)
    return Pinned(
        frozenset(order for order, line in rows if line is None),
        frozenset(line for _, line in rows if line is not None),
    )


def pins_of(order: Order) -> list[Pin]:
    """Every pin of an order, the newest first, those that were taken off too."""
    return list(Pin.objects.filter(order=order).select_related("line").order_by("-made_at", "-pk"))


def pin_set(*, number: str, line: int | None = None, actor: Actor, now: datetime) -> Order:
    """Put an order, or one line of it, first on the floor. What stands first already stays as it is.

    line    the line's position in the order, None for the whole order
    raises  NotAllowed, NotFound; Conflict where the order is not on the floor; WrongInput for a line that it has not
    """
    with write_turn(), transaction.atomic():
        order, chosen = _job(number, line, actor)
        if order.state != Order.State.RELEASED:
            raise Conflict(
                f"Order {order.number} is {order.state}. Only an order on the floor can be pinned first."
            )
        _, is_new = Pin.objects.get_or_create(
            order=order, line=chosen, ended_at=None, defaults={"made_at": now, "made_by": actor.name}
        )
        if is_new:
            pulse_beat()
    return order


def pin_end(*, number: str, line: int | None = None, actor: Actor, now: datetime) -> Order:
    """Take the pin off an order, or off one line of it. Where there is none nothing changes."""
    with write_turn(), transaction.atomic():
        order, chosen = _job(number, line, actor)
        standing = Pin.objects.filter(order=order, line=chosen, ended_at=None)
        if standing.update(ended_at=now, ended_by=actor.name):
            pulse_beat()
    return order


def _job(number: str, line: int | None, actor: Actor) -> tuple[Order, OrderLine | None]:
    if actor.role != SUPERVISOR:
        raise NotAllowed(role=actor.role, needed=(SUPERVISOR,))
    order = Order.objects.select_for_update().filter(number=number).first()
    if order is None:
        raise NotFound(f"There is no order {number[:30]}.")
    if line is None:
        return order, None
    lines = {one.position: one for one in order.lines.defer("development")}
    if line not in lines:
        limit = ", ".join(map(str, sorted(lines)))
        message = f"Line is {line}; order {order.number} has {limit}."
        raise WrongInput([FieldError("line", line, limit, message)])
    return order, lines[line]


def line_read(body: Mapping[str, Any]) -> int | None:
    """The line that a request names, None for the whole order. raises WrongInput"""
    line = body.get("line")
    if line is not None and (
        isinstance(line, bool) or not isinstance(line, int) or not 1 <= line <= MOST_LINES
    ):
        limit = f"a whole number from 1 to {MOST_LINES}"
        raise WrongInput([FieldError("line", line, limit, f"Line is {said_value(line)}; it can be {limit}.")])
    return line


def pins_answer(number: str) -> dict[str, Any]:
    """The pins of an order as the API gives them: those that stand, and those that were taken off."""
    order = order_by_number(number)
    pins = pins_of(order)
    return {
        "order": order.number,
        "pins": _rows(pin for pin in pins if pin.ended_at is None),
        "ended": _rows(pin for pin in pins if pin.ended_at is not None),
    }


def _rows(pins: Iterable[Pin]) -> list[dict[str, Any]]:
    return [
        {
            "line": pin.line.position if pin.line else None,
            "made_at": pin.made_at,
            "made_by": pin.made_by,
            "ended_at": pin.ended_at,
            "ended_by": pin.ended_by,
        }
        for pin in pins
    ]
