"""Changes to customers and to the shop's tables. Orders have their own module, `fittings.orders`."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from fittings import tables
from fittings.customers import LONGEST_ADDRESS, SAVED, customer_save
from fittings.models import Customer, TableVersion
from fittings.reading import Reading
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor


def customer_create(*, data: Mapping[str, Any], actor: Actor, now: datetime) -> Customer:
    """A new customer.

    data    name, contact, address, notes, is_active
    raises  WrongInput, also where a customer has this name
    """
    return _saved(None, _read_customer(data, is_new=True), actor, now)


def customer_update(*, customer_id: int, data: Mapping[str, Any], actor: Actor, now: datetime) -> Customer:
    """Change the given fields of a customer; one that is not active is no longer offered in forms.

    raises  NotFound; WrongInput, also where another customer has this name
    """
    values = _read_customer(data, is_new=False)
    with transaction.atomic():
        customer = Customer.objects.select_for_update().filter(pk=customer_id).first()
        if customer is None:
            raise NotFound("There is no such customer.")
        return _saved(customer, {"name": customer.name} | values, actor, now)


def table_change(*, name: str, data: Mapping[str, Any], actor: Actor, now: datetime) -> TableVersion:
    """A new version of a shop table, whole.

    data    `rows`, the `version` that they began with, `note`
    raises  NotFound; WrongInput with an entry per wrong cell (`rows[3].gauge`); Conflict where the table has another
            version now
    """
    schema = tables.schema_of(name)
    reading = Reading(data)
    reading.only(("rows", "version", "note"))
    note = reading.text("note", 300)
    seen = reading.whole("version", 1, 10**9)
    rows = data.get("rows")
    limit = f"a list of 1 to {tables.MOST_ROWS} rows"
    if not isinstance(rows, list) or not 1 <= len(rows) <= tables.MOST_ROWS:
        reading.wrong("rows", len(rows) if isinstance(rows, list) else rows, limit)
        rows = []
    reading.errors += _wrong_cells(schema, rows)
    if reading.errors:
        raise WrongInput(reading.errors)
    try:
        with transaction.atomic():
            return tables.save(name=name, new_rows=rows, seen=seen, note=note, actor=actor, now=now)
    except IntegrityError:
        detail = f"{schema.title} was changed by someone else at this moment. Load it again."
        raise Conflict(detail, [FieldError("version", seen, "the newest version", detail)]) from None


def _wrong_cells(schema: tables.TableSchema, rows: list[Any]) -> list[FieldError]:
    """Rows that are no objects, columns that the table has not, cells that are no text or number."""
    known = [column.name for column in schema.columns]
    errors = []
    for at, row in enumerate(rows):
        if not isinstance(row, Mapping):
            message = f"Row {at + 1} can be an object of columns and values."
            errors.append(FieldError(f"rows[{at}]", None, "an object", message))
            continue
        for column, value in row.items():
            field = f"rows[{at}].{str(column)[:60]}"
            if column not in known:
                message = (
                    f"“{str(column)[:60]}” in row {at + 1} is no column; the columns are {', '.join(known)}."
                )
                errors.append(FieldError(field, value, ", ".join(known), message))
            elif isinstance(value, dict | list | bool):
                message = f"The value of {column} in row {at + 1} can be a text or a number."
                errors.append(FieldError(field, None, "a text or a number", message))
    return errors[:200]


def _read_customer(data: Mapping[str, Any], *, is_new: bool) -> dict[str, Any]:
    reading = Reading(data)
    reading.only((*SAVED, "id"))
    readers = {
        "name": lambda: reading.text("name", 120, shortest=1),
        "contact": lambda: reading.text("contact", 200),
        "address": lambda: reading.text("address", LONGEST_ADDRESS, multiline=True),
        "notes": lambda: reading.text("notes", 2000, multiline=True),
        "is_active": lambda: _is_active(reading),
    }
    wanted = {name for name in readers if name in data} | ({"name"} if is_new else set())
    values = {name: read() for name, read in readers.items() if name in wanted}
    if reading.errors:
        raise WrongInput(reading.errors)
    return values


def _is_active(reading: Reading) -> bool:
    value = reading.data["is_active"]
    if not isinstance(value, bool):
        reading.wrong("is_active", value, "true or false")
    return value


def _saved(customer: Customer | None, values: Mapping[str, Any], actor: Actor, now: datetime) -> Customer:
    try:
        with transaction.atomic():
            return customer_save(customer=customer, values=values, actor=actor, now=now)
    except IntegrityError:  # someone took the name at this moment
        detail = f"There is a customer “{values['name']}” already."
        raise WrongInput([FieldError("name", values["name"], "a name used once", detail)]) from None
