"""Orders change here and nowhere else: made, changed, cancelled while a draft; every change is a version.

Releasing an order, and cancelling a released one, make and void tasks, so they are in the package above.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction

from fittings.customers import customer_named
from fittings.events import ORDER_CREATED, event_keep, version_kind
from fittings.models import Customer, Order, OrderChange, OrderLine
from fittings.reading import LINE_FIELDS, LineInput, OrderInput, Reading, read_order
from fittings.search_index import order_indexed
from fittings.tables import all_rows
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.texts import search_text

FIRST_NUMBER = 1001
STEPS = 64
MOST_TRIES = 100
CHANGEABLE_WHEN_RELEASED = ("purchase_order", "due", "priority", "notes")


def order_create(*, data: Mapping[str, Any] | OrderInput, actor: Actor, now: datetime) -> Order:
    """A new draft from an order as it came (the fields of the HTTP contract), or as `order_read` made of it.

    raises  WrongInput naming every wrong field; Conflict where the number is taken
    """
    given = data if isinstance(data, OrderInput) else order_read(data)
    with transaction.atomic():
        order = Order(
            customer=_customer_of(given.head["customer"]),
            created_at=now,
            created_by=actor.name,
            **_row_fields({name: given.head[name] for name in CHANGEABLE_WHEN_RELEASED}),
        )
        _save_numbered(order, given.head["number"])
        _write_lines(order, given.lines)
        order_indexed(order)
        event_keep(kind=ORDER_CREATED, order_id=order.pk, at=now)
    return order


def order_read(data: Mapping[str, Any]) -> OrderInput:
    """A new order checked by the tables in force; it takes a while for hundreds of lines, and needs no transaction.

    raises  WrongInput naming every wrong field
    """
    return read_order(data, tables=all_rows())


def order_update(*, number: str, data: Mapping[str, Any], actor: Actor, now: datetime) -> Order:
    """Change fields of an order; `lines`, where given, is the whole new list.

    data    must name the `version` that it saw
    raises  WrongInput; NotFound; Conflict where the order has another version now, naming what changed since,
            or where its state does not allow the change
    """
    seen = _seen_version(data)
    given = read_order(data, tables=all_rows(), is_new=False)
    with transaction.atomic():
        order = order_locked(number)
        if order.version != seen:
            raise stale(order, seen)
        _check_number_kept(order, given)
        changes = _differences(order, given)
        _check_changeable(order, changes)
        if not changes:
            return order
        for name, value in _row_fields(given.head).items():
            setattr(order, name, value)
        if "customer" in changes:
            order.customer = _customer_of(given.head["customer"])
        if "lines" in changes:
            order.lines.all().delete()
            _write_lines(order, given.lines)
        order.save(update_fields=["customer", "purchase_order", "due_on", "priority", "notes"])
        order_changed(order=order, changes=changes, actor=actor, now=now)
    return order


def order_cancel(*, number: str, actor: Actor, now: datetime) -> Order:
    """Cancel a draft. A released order is cancelled where its tasks are.

    raises  NotFound; Conflict where the order is no draft
    """
    with transaction.atomic():
        order = order_locked(number)
        if order.state != Order.State.DRAFT:
            raise _not_in_state(order, "It can be cancelled here only while it is a draft.")
        changes = {"state": [order.state, str(Order.State.CANCELLED)]}
        order.state, order.ended_at = Order.State.CANCELLED, now
        order.save(update_fields=["state", "ended_at"])
        order_changed(order=order, changes=changes, actor=actor, now=now)
    return order


def order_locked(number: str) -> Order:
    """The order, locked to the end of the caller's transaction.

    raises  NotFound
    """
    found = Order.objects.select_for_update(of=("self",), no_key=True).select_related("customer")
    order = found.filter(number=search_text(number)).first()
    if order is None:
        raise NotFound(f"There is no order {search_text(number)[:30]}.")
    return order


def order_changed(
    *, order: Order, changes: Mapping[str, list[str]], actor: Actor, now: datetime
) -> OrderChange:
    """Give a locked order its next version and keep what made it: field to [before, after], as texts."""
    order.version += 1
    order.save(update_fields=["version"])
    order_indexed(order, changes)
    facts = {"version": order.version, "changed": [name for name in changes if name != "state"]}
    event_keep(kind=version_kind(changes), order_id=order.pk, facts=facts, at=now)
    return OrderChange.objects.create(
        order=order, version=order.version, fields=dict(changes), made_by=actor.name, made_at=now
    )


# -- numbers -----------------------------------------------------------------


def next_free_number() -> str:
    """The order number after the highest one of the series from 1001 up, in a few look-ups of the index.

    Doubling steps find a free number, then the gap before it is searched; a number that someone chose far above
    the series does not move it there.
    """
    steps = [FIRST_NUMBER] + [FIRST_NUMBER + 2**power for power in range(40)]
    taken = _taken(steps)
    free_at = next(at for at, number in enumerate(steps) if number not in taken)
    if free_at == 0:
        return str(FIRST_NUMBER)
    low, high = steps[free_at - 1], steps[free_at]  # low is taken, high is free
    while high - low > 1:
        width = max(1, (high - low) // STEPS)
        between = list(range(low + width, high, width))
        taken = _taken(between)
        free = [number for number in between if number not in taken]
        high = free[0] if free else high
        low = max([number for number in between if number < high], default=low)
    return str(high)


def _taken(numbers: list[int]) -> set[int]:
    texts = [str(number) for number in numbers]
    found = Order.objects.filter(number__in=texts).values_list("number", flat=True)
    return {int(text) for text in found}


def _save_numbered(order: Order, wanted: str) -> None:
    """Insert under the wanted number or the next free one; someone else may take it at the same moment."""
    for _ in range(MOST_TRIES):
        order.number = wanted or next_free_number()
        try:
            with transaction.atomic():
                order.save(force_insert=True)
            return
        except IntegrityError:
            order.pk = None
            if not Order.objects.filter(number=order.number).exists():
                raise
            if wanted:
                message = (
                    f"There is an order {wanted} already. Leave the number out to get the next free one."
                )
                raise Conflict(
                    message, [FieldError("number", wanted, "a number not used yet", message)]
                ) from None
    raise Conflict(
        "Many orders are being made at this moment. Nothing was changed; try again.", retry_after=1
    )


# -- parts -------------------------------------------------------------------


def _customer_of(name: str) -> Customer:
    """The customer who has or had this name, whatever its capitals; made if there is none."""
    return customer_named(name) or Customer.objects.get_or_create(name=name)[0]


def _row_fields(head: Mapping[str, Any]) -> dict[str, Any]:
    names = {"purchase_order": "purchase_order", "due": "due_on", "priority": "priority", "notes": "notes"}
    return {names[name]: value for name, value in head.items() if name in names}


def _write_lines(order: Order, lines: tuple[LineInput, ...]) -> None:
    order.line_warnings = [line.warnings for line in lines]
    OrderLine.objects.bulk_create(
        OrderLine(order=order, position=position, **line.values())
        for position, line in enumerate(lines, start=1)
    )


def _seen_version(data: Any) -> int:
    reading = Reading(data if isinstance(data, Mapping) else {})
    version = reading.whole("version", 1, 10**9)
    if reading.errors:
        raise WrongInput(reading.errors)
    return version


def _check_number_kept(order: Order, given: OrderInput) -> None:
    number = given.head.get("number") or order.number
    if number != order.number:
        message = f"The number of an order is kept; this one is {order.number}."
        raise WrongInput([FieldError("number", number, order.number, message)])


def _differences(order: Order, given: OrderInput) -> dict[str, list[str]]:
    """What the change would change: field to [before, after]."""
    now_there = {
        "customer": order.customer.name,
        "purchase_order": order.purchase_order,
        "due": order.due_on,
        "priority": order.priority,
        "notes": order.notes,
    }
    changes = {
        name: [_said(now_there[name]), _said(value)]
        for name, value in given.head.items()
        if name in now_there and value != now_there[name]
    }
    if given.lines is not None:
        before = list(order.lines.order_by("position", "pk").values(*LINE_FIELDS))
        after = [line.values() for line in given.lines]
        if before != after:
            changes["lines"] = [_lines_said(before), _lines_said(after)]
    return changes


def _check_changeable(order: Order, changes: Mapping[str, list[str]]) -> None:
    if order.state == Order.State.DRAFT or not changes:
        return
    fixed = [name for name in changes if name not in CHANGEABLE_WHEN_RELEASED]
    if order.state == Order.State.RELEASED and not fixed:
        return
    if order.state == Order.State.RELEASED:
        allowed = "purchase order, due, priority and notes"
        raise _not_in_state(order, f"Only {allowed} can still be changed, not {', '.join(fixed)}.", fixed)
    raise _not_in_state(order, "It cannot be changed any more.", list(changes))


def _not_in_state(order: Order, sentence: str, fields: list[str] | None = None) -> Conflict:
    detail = f"Order {order.number} is {order.get_state_display().lower()}. {sentence}"
    errors = [FieldError(name, None, "a draft order", detail) for name in fields or ["state"]]
    return Conflict(detail, errors, state=str(order.state))


def stale(order: Order, seen: int) -> Conflict:
    """The refusal of a change that began with an old version: what changed since, and by whom."""
    detail = f"Order {order.number} is at version {order.version} now; you began with {seen}."
    if seen > order.version:
        errors = [FieldError("version", seen, str(order.version), detail)]
        return Conflict(detail, errors, version=order.version, changed=[])
    since = order.changes.filter(version__gt=seen).order_by("version", "pk")
    merged: dict[str, list[str]] = {}
    for change in since:
        for name, (before, after) in change.fields.items():
            merged[name] = [merged[name][0] if name in merged else before, after, change.made_by]
    errors = [
        FieldError(name, after, f"version {order.version}", _change_said(name, before, after, who))
        for name, (before, after, who) in merged.items()
    ]
    if sum(1 for _ in since) < order.version - seen:  # release and the end of an order leave no such row
        message = f"It is {order.get_state_display().lower()} now."
        errors.append(FieldError("state", str(order.state), f"version {order.version}", message))
        merged.setdefault("state", [])
    told = " ".join(error.message for error in errors)
    errors.insert(0, FieldError("version", seen, str(order.version), detail))
    return Conflict(f"{detail} {told}".strip(), errors, version=order.version, changed=list(merged))


def _change_said(name: str, before: str, after: str, who: str) -> str:
    title = name.replace("_", " ").capitalize()
    return f"{title} went from {_short(before)} to {_short(after)} (by {who})."


def _short(text: str) -> str:
    return f"“{text[:57]}…”" if len(text) > 60 else f"“{text}”" if text else "empty"


def _said(value: Any) -> str:
    return value.isoformat() if isinstance(value, date) else "" if value is None else str(value)


def _lines_said(lines: list[dict[str, Any]]) -> str:
    pieces = sum(line["quantity"] for line in lines)
    return f"{len(lines)} {'line' if len(lines) == 1 else 'lines'}, {pieces} in all"
