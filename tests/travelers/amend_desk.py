"""Changes of a released order, for their tests: asked for, applied, and what must always hold afterwards."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from fittings.models import Fitting, KeptPiece, Order, Segment
from tests import factories
from travelers.amend import change_show, order_change
from travelers.amend_meaning import Shown
from travelers.models import Task
from travelers.replay import replay

NOW = factories.NOW
ACTOR = factories.OFFICE_ACTOR


def at(minutes: float) -> datetime:
    return NOW + timedelta(minutes=minutes)


def body(order: Order, *lines: dict[str, Any], **changes: Any) -> dict[str, Any]:
    return {"version": Order.objects.get(pk=order.pk).version, "lines": list(lines), **changes}


def shown(order: Order, *lines: dict[str, Any], now: datetime, **changes: Any) -> Shown:
    return change_show(number=order.number, data=body(order, *lines, **changes), now=now)


def changed(order: Order, *lines: dict[str, Any], now: datetime, **changes: Any) -> Shown:
    """The change made; the record must agree with what is stored."""
    made = order_change(number=order.number, data=body(order, *lines, **changes), actor=ACTOR, now=now)
    assert replay(write=False).differences == []
    return made


def states(order: Order) -> list[str]:
    """The fittings of an order in the order in which they were made: state, and what it was taken out as."""
    rows = Fitting.objects.filter(order=order).order_by("pk").values_list("state", "taken_out_as")
    return [f"{state} {taken}".strip() for state, taken in rows]


def segments(order: Order, fitting: int) -> list[str]:
    """The segments' states of the n-th fitting that was made of an order."""
    one = Fitting.objects.filter(order=order).order_by("pk")[fitting - 1]
    return list(
        Segment.objects.filter(fitting=one).order_by("position", "generation").values_list("state", flat=True)
    )


def kept() -> list[str]:
    """The codes of what is kept now."""
    live = KeptPiece.objects.filter(used_at=None, ended_at=None).select_related("fitting", "segment")
    return sorted(str(piece) for piece in live)


def open_tasks(fitting: Fitting) -> int:
    return Task.objects.filter(fitting=fitting).exclude(state__in=("done", "void")).count()
