"""Customers: found by the name that they have or had, added, changed, with their history."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Count

from fittings import tables
from fittings.cost_tables import CUSTOMER_PRICES
from fittings.models import Customer, CustomerChange, FormerName, Order
from shared.problems import FieldError, WrongInput
from shared.roles import Actor
from shared.texts import printable

NEWEST_SHOWN = 20
LONGEST_ADDRESS = 200
MOST_ADDRESS_LINES = 4
SAVED = ("name", "contact", "address", "notes", "is_active")


def customer_names() -> list[str]:
    """The names that are offered in new orders."""
    return list(Customer.objects.filter(is_active=True).order_by("name").values_list("name", flat=True))


def customer_named(name: str) -> Customer | None:
    """Who has this name, whatever its capitals, or had it; None where there is nobody."""
    alike = Customer.objects.filter(name__iexact=name).order_by("pk")
    found = alike.filter(name=name).first() or alike.first()
    return found or Customer.objects.filter(former_names__name__iexact=name).first()


def names_unknown(names: Sequence[str]) -> tuple[str, ...]:
    """Those of these names by which nobody is found, in alphabetical order."""
    known = {name.lower() for name in Customer.objects.values_list("name", flat=True)}
    known |= {name.lower() for name in FormerName.objects.values_list("name", flat=True)}
    return tuple(sorted(name for name in names if name.lower() not in known))


def customer_orders(customer: Customer) -> list[Order]:
    """The newest orders of a customer, each with how many lines it has."""
    return list(customer.orders.annotate(lines_count=Count("lines")).order_by("-id")[:NEWEST_SHOWN])


def customer_history(customer: Customer) -> list[CustomerChange]:
    return list(customer.changes.order_by("-id")[:NEWEST_SHOWN])


def address_read(text: str) -> str:
    """A postal address, a line a line, without blank lines and spaces at their ends. raises WrongInput"""
    lines = [" ".join(line.split()) for line in text.splitlines() if line.strip()]
    address = "\n".join(lines)
    if len(lines) > MOST_ADDRESS_LINES:
        limit = f"at most {MOST_ADDRESS_LINES} lines"
        message = f"Address has {len(lines)} lines; it can have {limit}."
        raise WrongInput([FieldError("address", printable(address[:60]), limit, message)])
    return address


@transaction.atomic
def customer_save(
    *, customer: Customer | None, values: Mapping[str, Any], actor: Actor, now: datetime
) -> Customer:
    """Add a customer, or change one; what was changed is in its history. A row of the table of the prices of customers
    that names it goes with the name.

    values  by the names in `SAVED`
    raises  WrongInput where another customer has the name, in any case, or such a row already names the new name
    """
    is_new = customer is None
    customer = customer or Customer()
    values = {**values, "name": " ".join(values["name"].split())}
    if "address" in values:
        values["address"] = address_read(values["address"])
    name, before = values["name"], {field: getattr(customer, field) for field in SAVED}
    other = Customer.objects.filter(name__iexact=name).exclude(pk=customer.pk).first()
    if other:
        sentence = (
            f"There is a customer “{other.name}” already. Change that one, or give this one another name."
        )
        raise WrongInput([FieldError("name", name, "a name used once", sentence)])
    for field in SAVED:
        setattr(customer, field, values.get(field, before[field]))
    customer.save()
    FormerName.objects.filter(name__iexact=name).delete()
    if not is_new and before["name"] != name:
        _price_row_renamed(before["name"], name, actor, now)
        if before["name"].lower() != name.lower():
            former_name_keep(customer, before["name"])
    changed = {
        field: [_said(before[field]), _said(getattr(customer, field))]
        for field in SAVED
        if before[field] != getattr(customer, field)
    }
    if changed and not is_new:
        CustomerChange.objects.create(customer=customer, fields=changed, made_by=actor.name, made_at=now)
    return customer


def former_name_keep(customer: Customer, name: str) -> None:
    """From now on this name finds this customer."""
    FormerName.objects.filter(name__iexact=name).delete()
    FormerName.objects.create(customer=customer, name=name)


def price_row(name: str, rows: Sequence[Mapping[str, Any]]) -> Mapping[str, Any] | None:
    """The row of the prices of customers that names this one."""
    return next((row for row in rows if row["customer"].casefold() == name.casefold()), None)


def price_rows_save(rows: list[dict[str, Any]], note: str, actor: Actor, now: datetime) -> None:
    tables.save(name=CUSTOMER_PRICES, new_rows=rows, seen=None, note=note, actor=actor, now=now)


def _price_row_renamed(old: str, new: str, actor: Actor, now: datetime) -> None:
    """The row of the prices of customers that names this one names it still."""
    rows = [dict(row) for row in tables.rows(CUSTOMER_PRICES)]
    mine = price_row(old, rows)
    if mine is None:
        return
    other = price_row(new, rows)
    if other is not None and other is not mine:
        limit = "a name that the table does not have yet"
        message = (
            f"The table Prices of customers has a row for “{other['customer']}” and one for “{old}”. Remove one of "
            "them first; the other is then the customer’s."
        )
        raise WrongInput([FieldError("name", new, limit, message)])
    mine["customer"] = new
    price_rows_save(rows, f"{old} is called {new} now", actor, now)


def _said(value: Any) -> str:
    return {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else str(value)
