"""Reads orders, customers and shop tables, as rows for a screen and as the answers of the HTTP contract."""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

from django.db.models import Count, F, IntegerField, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from fittings import tables
from fittings.developing import Tables, develop_for, warnings_answer, words_of
from fittings.geometry import KINDS, Kind
from fittings.models import Customer, Order, OrderLine, TableVersion
from shared.problems import FieldError, NotFound, WrongInput
from shared.texts import search_text
from shared.units import MM_PER_IN

# -- orders ------------------------------------------------------------------


def orders_found(*, q: str = "", state: str = "") -> QuerySet[Order]:
    """Orders, the newest first, each with `lines_count` and `pieces`; its customer is loaded too.

    q       part of a number, customer, purchase order or tag, in any capitals; the first 80 characters count
    state   one of Order.State, or "" for all
    raises  WrongInput for an unknown state
    """
    if state and state not in Order.State.values:
        limit = ", ".join(Order.State.values)
        message = f"State is “{state[:40]}”; it can be {limit}."
        raise WrongInput([FieldError("state", state, limit, message)])
    found = Order.objects.select_related("customer")
    if state:
        found = found.filter(state=state)
    words = search_text(q)
    if words:
        tagged = OrderLine.objects.filter(ended_version=None, tag__icontains=words)
        found = found.filter(
            Q(number__icontains=words)
            | Q(customer__name__icontains=words)
            | Q(purchase_order__icontains=words)
            | Q(pk__in=tagged.values("order"))
        )
    own = OrderLine.objects.filter(order=OuterRef("pk"), ended_version=None).values("order")
    return found.annotate(
        lines_count=_counted(own.annotate(n=Count("pk"))), pieces=_counted(own.annotate(n=Sum("quantity")))
    ).order_by("-id")


def _counted(rows: QuerySet) -> Coalesce:
    return Coalesce(Subquery(rows.values("n"), output_field=IntegerField()), 0)


def order_by_number(number: str) -> Order:
    """The order with its customer.

    raises  NotFound
    """
    order = Order.objects.select_related("customer").filter(number=search_text(number)).first()
    if order is None:
        raise NotFound(f"There is no order {search_text(number)[:30]}.")
    return order


def order_row(order: Order) -> dict[str, Any]:
    """An order of `orders_found` as a list shows it."""
    return {**_order_head(order), "lines_count": order.lines_count, "pieces": order.pieces}


def order_answer(order: Order | str, unit: str = "in") -> dict[str, Any]:
    """An order (or its number) whole, lengths in `unit`: what GET answers, and create and PATCH too.

    raises  NotFound
    """
    if isinstance(order, str):
        order = order_by_number(order)
    # a frozen development is large; only its warnings are read
    found = order.lines.defer("development").annotate(frozen=F("development__warnings"))
    lines = list(found.order_by("position", "pk"))
    warned = [line.frozen for line in lines]
    if None in warned:
        warned = order.line_warnings or _warnings_of_draft(lines)
    return {
        **_order_head(order),
        "unit": unit,
        "lines": [_line_answer(line, unit, warnings) for line, warnings in zip(lines, warned, strict=True)],
    }


def _order_head(order: Order) -> dict[str, Any]:
    return {
        "number": order.number,
        "state": order.state,
        "version": order.version,
        "customer": order.customer.name,
        "purchase_order": order.purchase_order,
        "due": order.due_on.isoformat() if order.due_on else None,
        "priority": order.priority,
        "notes": order.notes,
        "created_at": _time(order.created_at),
        "created_by": order.created_by,
        "released_at": _time(order.released_at),
        "released_by": order.released_by,
        "ended_at": _time(order.ended_at),
        "fittings_total": order.fittings_total,
        "fittings_done": order.fittings_done,
    }


def _line_answer(line: OrderLine, unit: str, warnings: Sequence[dict]) -> dict[str, Any]:
    lengths = {param.name for param in KINDS[line.kind].params if param.unit == "in"}
    params = {name: _length(value, unit) if name in lengths else value for name, value in line.params.items()}
    edges = line.allowances and {name: _length(value, unit) for name, value in line.allowances.items()}
    return {
        "line": line.position,
        "quantity": line.quantity,
        "kind": line.kind,
        "material": line.material,
        "gauge": line.gauge,
        "params": params,
        "end_a": line.end_a,
        "end_b": line.end_b,
        "end_c": line.end_c,
        "joins_a": line.joins_a,
        "joins_b": line.joins_b,
        "joins_c": line.joins_c,
        "pressure_class": line.pressure_class,
        "allowances": edges,
        "tag": line.tag,
        "system": line.system,
        "traveler_per": line.traveler_per,
        "warnings": warnings,
    }


def _warnings_of_draft(lines: list[OrderLine]) -> list[Sequence[dict]]:
    """What is unusual about the lines of a draft, by the tables in force."""
    versions = tuple(sorted(tables.versions_in_force().items()))
    words = [json.dumps(words_of(line), sort_keys=True) for line in lines]
    return [_warnings_once(one, versions) for one in words]


@lru_cache(maxsize=8)
def _rows_of(versions: tuple[tuple[str, int], ...]) -> Tables:
    return tables.all_rows(dict(versions))


@lru_cache(maxsize=4096)
def _warnings_once(words: str, versions: tuple[tuple[str, int], ...]) -> Sequence[dict]:
    """The warnings of one fitting. Versions of tables never change, so they are computed once."""
    try:
        dev = develop_for(**json.loads(words), tables=_rows_of(versions))
    except WrongInput as wrong:  # a table changed since: release will refuse the line, so say it here
        return [{"code": "cannot_be_made", "message": error.message} for error in wrong.errors]
    return warnings_answer(dev)


def _length(value: Any, unit: str) -> Any:
    return round(value * MM_PER_IN, 4) if unit == "mm" else value


def _time(value) -> str | None:
    return value.isoformat() if value else None


# -- customers ---------------------------------------------------------------


def customers_found(*, q: str = "", is_active: bool | None = None) -> QuerySet[Customer]:
    """Customers by name."""
    found = Customer.objects.all()
    if is_active is not None:
        found = found.filter(is_active=is_active)
    words = search_text(q)
    if words:
        found = found.filter(Q(name__icontains=words) | Q(contact__icontains=words))
    return found.order_by("name", "pk")


def customer_by_id(customer_id: int) -> Customer:
    customer = Customer.objects.filter(pk=customer_id).first()
    if customer is None:
        raise NotFound("There is no such customer.")
    return customer


def customer_answer(customer: Customer) -> dict[str, Any]:
    return {
        "id": customer.pk,
        "name": customer.name,
        "contact": customer.contact,
        "address": customer.address,
        "notes": customer.notes,
        "is_active": customer.is_active,
    }


# -- shop tables and kinds ---------------------------------------------------


def tables_listed() -> list[dict[str, Any]]:
    """Every shop table with its version in force. One query."""
    newest = tables.versions_in_force()
    return [
        {
            "name": schema.name,
            "title": schema.title,
            "help": schema.help,
            "version": newest.get(schema.name, 0),
            "columns": _columns(schema),
        }
        for schema in tables.SCHEMAS.values()
    ]


def table_answer(name: str, number: int | None = None) -> dict[str, Any]:
    """One version of a shop table with its rows; the newest where no number is given.

    raises  NotFound
    """
    schema = tables.schema_of(name)
    found = TableVersion.objects.filter(table=name).order_by("-number")
    version = (found.filter(number=number) if number is not None else found).first()
    if version is None:
        raise NotFound(f"{schema.title} has no version {number or ''}".rstrip() + ".")
    return {
        "name": schema.name,
        "title": schema.title,
        "help": schema.help,
        "version": version.number,
        "note": version.note,
        "made_by": version.made_by,
        "made_at": _time(version.made_at),
        "columns": _columns(schema),
        "rows": version.rows,
    }


def _columns(schema: tables.TableSchema) -> list[dict[str, Any]]:
    return [
        {
            "name": column.name,
            "label": column.label,
            "kind": column.kind,
            "low": column.low,
            "high": column.high,
            "choices": list(column.choices),
            "may_be_empty": column.may_be_empty,
            "help": column.help,
        }
        for column in schema.columns
    ]


def kind_answer(kind: Kind) -> dict[str, Any]:
    """A kind of fitting and its parameters: unit, range, what is taken where one is left out."""
    return {
        "name": kind.name,
        "title": kind.title,
        "help": kind.help,
        "ends": [{"end": letter, "title": title} for letter, title in kind.ends],
        "params": [
            {
                "name": param.name,
                "title": param.title,
                "unit": param.unit,
                "low": param.low,
                "high": param.high,
                "low_open": param.low_open,
                "required": param.required,
                "default": param.default,
                "choices": list(param.choices),
                "help": param.help,
                "more": param.more,
            }
            for param in kind.params
        ],
    }
