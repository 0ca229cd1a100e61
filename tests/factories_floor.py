"""Work that went over the floor: every fitting of an order scanned at a station of each of its operations."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from fittings.models import Order
from fittings.numbering import take
from shared.roles import OPERATOR, Actor
from shopfloor.models import Station
from travelers.models import Operator, Task
from travelers.record import scan_record


def finished(
    order: Order, *, now: datetime, at: Mapping[str, str] | None = None, skip: Sequence[str] = ()
) -> None:
    """Finish all of a released order, a minute a scan, the last one now.

    at    operation to station, where it is not the first that does it
    skip  operations that nobody scans
    """
    badge = Operator.objects.first() or Operator.objects.create(code=take(1)[0], name="Ana Ruiz")
    rows = Task.objects.filter(fitting__order=order).order_by("step").values_list("operation_id", flat=True)
    doers = {code: row.code for row in Station.objects.order_by("-position") for code in row.operations}
    doers |= at or {}
    scans = [
        (code, one)
        for code in dict.fromkeys(rows)
        if code not in skip
        for one in order.fittings.order_by("number")
    ]
    for left, (operation, fitting) in zip(range(len(scans) - 1, -1, -1), scans, strict=True):
        moment, station = now - timedelta(minutes=left), doers[operation]
        found = scan_record(
            delivery={
                "id": str(uuid.uuid4()),
                "code": fitting.code,
                "action": "finish",
                "badge": badge.code,
                "scanned_at": moment.isoformat(),
            },
            actor=Actor(station, OPERATOR, station, (operation,)),
            now=moment,
        )
        assert found.outcome == "recorded", found.message
