"""A small floor for the board's tests: the usual stations, and an order of four elbows on them."""

from __future__ import annotations

import uuid
from datetime import datetime

from fittings.models import Order, Segment
from fittings.numbering import take
from fittings.orders import order_create
from shared.roles import OPERATOR, Actor
from shopfloor.models import Station
from tests.factories import OFFICE_ACTOR, order_body
from travelers.models import Operation, Operator
from travelers.record import scan_record
from travelers.release import order_release

SHOP = (
    ("CUT-1", "cut"),
    ("ROLL-1", "roll"),
    ("SEAM-1", "seam"),
    ("SEAM-2", "seam"),
    ("ASSEMBLE-1", "assemble"),
    ("ENDS-1", "ends"),
    ("WRAP-1", "wrap"),
)


def stations() -> None:
    for position, (code, operation) in enumerate(SHOP):
        Station.objects.create(code=code, name=code.title(), operations=[operation], position=position)
    Operator.objects.create(code=take(1)[0], name="Ana Ruiz")


def released(*, now: datetime, **changes) -> Order:
    """A released order; see `factories.order_body` for what may change."""
    made = order_create(data=order_body(**changes), actor=OFFICE_ACTOR, now=now)
    return order_release(number=made.number, actor=OFFICE_ACTOR, now=now)


def scan(code: str, operation: str, *, now: datetime, action: str = "finish", **more) -> None:
    """A scan at the first station that does an operation. It must be recorded."""
    station = next(code for code, done in SHOP if done == operation)
    result = scan_record(
        delivery={"id": str(uuid.uuid4()), "code": code, "action": action}
        | {"badge": Operator.objects.first().code, "scanned_at": now.isoformat()}
        | more,
        actor=Actor(station, OPERATOR, station, (operation,)),
        now=now,
    )
    assert result.outcome == "recorded", result.message


def segments(order: Order, fitting: int = 1) -> list[Segment]:
    return list(Segment.objects.filter(fitting__order=order, fitting__number=fitting).order_by("position"))


def operation_codes() -> list[str]:
    return list(Operation.objects.order_by("position").values_list("code", flat=True))
