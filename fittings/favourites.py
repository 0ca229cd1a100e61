"""Favourites: a fitting kept under a name, for one customer or for all, and put on an order again."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from types import SimpleNamespace
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet

from fittings.customers import customer_named
from fittings.developing import WORDS, lengths_in_inches
from fittings.forms import line_initial
from fittings.geometry import KINDS
from fittings.models import Customer, Favourite, OrderLine
from fittings.reading import LINE_ANSWERED_FIELDS, Reading, development_asked, fitting_words
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.texts import search_text

MOST_OFFERED = 500


def favourite_keep(*, data: Mapping[str, Any], actor: Actor, now: datetime) -> Favourite:
    """Keep a fitting under a name; the same name for the same customer is kept anew.

    data    `name`, `customer` ("" or left out: for all), `line` as an order takes it (quantity, tag and system are
            passed over), `unit` of its lengths
    raises  WrongInput naming every wrong field; NotFound for an unknown customer
    """
    reading = Reading(data)
    reading.only(("name", "customer", "line", "unit"))
    name = reading.text("name", 60, shortest=1)
    customer_name = reading.text("customer", 120)
    unit = reading.choice("unit", ("in", "mm"), usual="in")
    line = data.get("line")
    if not isinstance(line, Mapping):
        reading.wrong("line", None, "an object, a line of an order")
    else:
        try:
            words = _words(line, unit)
        except WrongInput as wrong:
            reading.errors += [
                FieldError(f"line.{error.field}", error.value, error.limit, error.message)
                for error in wrong.errors
            ]
    if reading.errors:
        raise WrongInput(reading.errors)
    customer = _customer(customer_name) if customer_name else None
    with transaction.atomic():
        found = Favourite.objects.select_for_update().filter(name__iexact=name, customer=customer).first()
        row = found or Favourite(customer=customer)
        row.name, row.line, row.made_at, row.made_by = name, words, now, actor.name
        try:
            with transaction.atomic():
                row.save()
        except IntegrityError:
            message = f"“{name}” was kept by someone else at this moment. Nothing was changed; try again."
            raise Conflict(message, retry_after=1) from None
    return row


def favourite_remove(*, favourite_id: int, actor: Actor, now: datetime) -> None:
    """Take it off the list; orders that were made with it stay as they are.

    raises  NotFound
    """
    if not Favourite.objects.filter(pk=favourite_id).delete()[0]:
        raise NotFound("There is no such favourite.")


def favourites_found(*, customer: str | None = None, q: str = "") -> QuerySet[Favourite]:
    """Favourites by name, the customer's own before those for all.

    customer  a name: its own and those for all; None is every favourite
    """
    found = Favourite.objects.select_related("customer")
    if customer is not None:
        found = found.filter(Q(customer=None) | Q(customer=customer_named(search_text(customer))))
    if search_text(q):
        found = found.filter(name__icontains=search_text(q))
    return found.order_by("customer__name", "name", "pk")


def favourite_by_id(favourite_id: int) -> Favourite:
    found = favourites_found().filter(pk=favourite_id).first()
    if found is None:
        raise NotFound("There is no such favourite.")
    return found


def favourite_answer(row: Favourite) -> dict[str, Any]:
    return {
        "id": row.pk,
        "name": row.name,
        "customer": row.customer.name if row.customer else "",
        "line": row.line,
        "made_by": row.made_by,
        "made_at": row.made_at.isoformat(),
    }


def line_of(row: Favourite) -> OrderLine:
    """The favourite as a line that is on no order, to be drawn."""
    return OrderLine(position=0, quantity=1, **row.line)


def offered(customer: str, unit: str) -> list[dict[str, Any]]:
    """What order entry offers for a customer: name, and the fields of the line as typed texts.

    Where a customer's own and one for all have the same name, the customer's own is meant.
    """
    own: dict[str, dict[str, Any]] = {}
    for row in favourites_found(customer=customer)[:MOST_OFFERED]:
        key = row.name.lower()
        if row.line["kind"] not in KINDS or key in own and not row.customer_id:
            continue
        blank = SimpleNamespace(quantity="", tag="", system="", **row.line)
        values = {name: _typed(value) for name, value in line_initial(blank, unit).items()}
        for name in ("quantity", "tag", "system"):
            values.pop(name, None)
        own[key] = {"name": row.name, "is_own": bool(row.customer_id), "values": values}
    return sorted(own.values(), key=lambda one: (not one["is_own"], one["name"].lower()))


def _typed(value: Any) -> str:
    return "on" if value is True else "" if value in (None, False) else str(value)


def _words(line: Mapping[str, Any], unit: str) -> dict[str, Any]:
    """The words of the fitting, checked by developing it, lengths in inches."""
    known = {name: value for name, value in line.items() if name not in LINE_ANSWERED_FIELDS}
    dev = development_asked({**known, "unit": unit})
    words = fitting_words(line)
    params, edges = lengths_in_inches(words["kind"], words["params"], words["allowances"], unit)
    per = line.get("traveler_per") or OrderLine.TravelerPer.LOT
    if per not in OrderLine.TravelerPer.values:
        limit = ", ".join(OrderLine.TravelerPer.values)
        message = f"Traveler per is “{str(per)[:20]}”; it can be {limit}."
        raise WrongInput([FieldError("traveler_per", str(per)[:40], limit, message)])
    words |= {"gauge": dev.gauge, "params": params, "allowances": edges, "traveler_per": per}
    return {name: words[name] for name in (*WORDS, "traveler_per")}


def _customer(name: str) -> Customer:
    found = customer_named(name)
    if found is None:
        message = f"There is no customer “{name[:60]}” yet. Save an order for them first, or keep it for all."
        raise WrongInput([FieldError("customer", name, "the name of a customer, or nothing", message)])
    return found
