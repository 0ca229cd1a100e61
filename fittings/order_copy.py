"""An order once more: a new draft with the lines of another."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from fittings.models import Order
from fittings.orders import order_create
from fittings.reading import Reading
from fittings.selectors import order_answer, order_by_number
from shared.problems import WrongInput
from shared.roles import Actor

HEAD = ("number", "customer", "purchase_order", "due", "priority", "notes")


def order_copy(*, number: str, data: Mapping[str, Any], actor: Actor, now: datetime) -> Order:
    """A new draft with the lines of an order, whatever its state; they are checked by the tables in force.

    data    the head of the new order; the customer left out is the same, all else left out is blank
    raises  NotFound; WrongInput naming every wrong field; Conflict where the number is taken
    """
    reading = Reading(data)
    reading.only(HEAD)
    if reading.errors:
        raise WrongInput(reading.errors)
    copied = order_by_number(number)
    lines = order_answer(copied)["lines"]
    head = {"customer": copied.customer.name, **{name: data[name] for name in HEAD if name in data}}
    return order_create(data={**head, "lines": lines}, actor=actor, now=now)
