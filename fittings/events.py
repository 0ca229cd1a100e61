"""The feed of events for other systems: kept in the transaction of what they tell of, read in one order by number.

An event is written without a number, in the same transaction as the change, so that it is there exactly if the change
is. Numbers are given afterwards, to events whose transaction has ended, by whoever reads first, one at a time: a
reader that asks for what came after a number never misses one, and no scan waits for another because of the feed.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import BooleanField, QuerySet
from django.db.models.expressions import RawSQL

from fittings.models import EventSeries, OutwardEvent
from shared.turn import write_turn

ORDER_CREATED = "order.created"
ORDER_CHANGED = "order.changed"
ORDER_RELEASED = "order.released"
ORDER_DONE = "order.done"
ORDER_REOPENED = "order.reopened"
ORDER_SHIPPED = "order.shipped"
ORDER_CANCELLED = "order.cancelled"
FITTING_DONE = "fitting.done"
FITTING_REOPENED = "fitting.reopened"
KINDS = {
    ORDER_CREATED: "An order was typed, imported or sent in.",
    ORDER_CHANGED: "An order has another version.",
    ORDER_RELEASED: "An order went to the floor.",
    ORDER_DONE: "The last fitting of an order was finished.",
    ORDER_REOPENED: "An order that was done has open work again.",
    ORDER_SHIPPED: "Fittings of an order left the shop.",
    ORDER_CANCELLED: "An order was cancelled.",
    FITTING_DONE: "A fitting was finished.",
    FITTING_REOPENED: "A fitting that was finished has open work again.",
}
MOST_AT_ONCE = 2000
_UNNUMBERED = RawSQL("number IS NULL", (), BooleanField())


def event_keep(
    *,
    kind: str,
    order_id: int,
    at: datetime,
    fitting_id: int | None = None,
    facts: Mapping[str, Any] | None = None,
) -> None:
    """Keep an event, in the caller's transaction.

    facts  what is true of this moment only, as JSON
    """
    if kind not in KINDS:
        raise ValueError(f"{kind} is no kind of event")
    OutwardEvent.objects.create(
        key=uuid.uuid4().hex, kind=kind, order_id=order_id, fitting_id=fitting_id, facts=dict(facts or {}), at=at
    )  # fmt: skip


def events_number() -> int:
    """Give the next numbers to the events whose transactions have ended, in the order in which they were kept.

    returns  how many there were
    """
    waiting = OutwardEvent.objects.filter(_UNNUMBERED)
    if not waiting.exists():
        return 0
    EventSeries.objects.get_or_create(pk=1)
    with write_turn(), transaction.atomic():
        series = EventSeries.objects.select_for_update().get(pk=1)  # one at a time, to the commit
        events = list(waiting.only("id").order_by("id")[:MOST_AT_ONCE])
        for number, event in enumerate(events, start=series.last + 1):
            event.number = number
        OutwardEvent.objects.bulk_update(events, ["number"], batch_size=200)
        EventSeries.objects.filter(pk=1).update(last=series.last + len(events))
    return len(events)


def events_after(number: int, *, kinds: Iterable[str] = (), most: int) -> list[OutwardEvent]:
    """The next events of the feed after `number`, with their orders, fittings and lines.

    kinds  only these; none is all
    """
    found = _after(number, kinds).select_related("order__customer", "fitting__line")
    return list(found.defer("fitting__line__development").order_by("number")[:most])


def events_count(number: int, *, kinds: Iterable[str] = ()) -> int:
    """How many the feed has after `number`."""
    return _after(number, kinds).count()


def _after(number: int, kinds: Iterable[str]) -> QuerySet[OutwardEvent]:
    found = OutwardEvent.objects.filter(number__gt=number)
    kinds = tuple(kinds)
    return found.filter(kind__in=kinds) if kinds else found


def last_number() -> int:
    return EventSeries.objects.values_list("last", flat=True).filter(pk=1).first() or 0


def event_body(event: OutwardEvent) -> dict[str, Any]:
    """What is told of an event: type, moment, and what it is about."""
    order = event.order
    data: dict[str, Any] = {
        "order": order.number,
        "customer": order.customer.name,
        "purchase_order": order.purchase_order,
    }
    if event.fitting:
        line = event.fitting.line
        data |= {"line": line.position, "tag": line.tag, "kind": line.kind, "fitting": event.fitting.code}
    return {"type": event.kind, "timestamp": event.at.isoformat(), "data": data | event.facts}


def version_kind(changes: Mapping[str, Sequence[str]]) -> str:
    """The kind of event that a new version of an order is, by what was changed."""
    state = changes.get("state")
    kinds = {"released": ORDER_RELEASED, "cancelled": ORDER_CANCELLED}
    return kinds.get(state[1], ORDER_CHANGED) if state else ORDER_CHANGED
