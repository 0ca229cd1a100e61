"""Everything that a list page holds, as a table for a spreadsheet: its filters kept, its pages not."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Q
from django.utils import timezone

from fittings.models import Order
from fittings.order_list import order_list
from fittings.selectors import customers_found
from fittings.stock import stock_listed
from fittings.tables import rows, schema_of
from shared.portions import in_portions
from shared.problems import NotAllowed, NotFound
from shared.roles import SUPERVISOR, Actor
from shared.sheets import MEDIA_TYPES, Sheet, sheet_bytes
from shopfloor import needs_eyes
from travelers.cut_list_page import cut_counts, plans_newest_first
from travelers.cut_work import cut_work
from travelers.models import Operation, Operator

A_BATCH = 500
Query = Mapping[str, str]


@dataclass(frozen=True)
class List:
    """What a list is made of: the name of its sheet, and its table for a query."""

    title: str
    table: Callable[[Query, datetime], tuple[Iterable[str], Iterable[Iterable]]]
    is_supervisors: bool = False


def list_file(name: str, form: str, query: Query, *, actor: Actor, now: datetime) -> tuple[bytes, str]:
    """The file and its media type. raises NotFound for a list or form that there is not; NotAllowed"""
    if name not in LISTS:
        raise NotFound(f"There is no such list. There are {', '.join(LISTS)}.")
    if form not in MEDIA_TYPES:
        raise NotFound(f"There is no such form of file. There are {', '.join(MEDIA_TYPES)}.")
    one = LISTS[name]
    if one.is_supervisors and actor.role != SUPERVISOR:
        raise NotAllowed(role=actor.role, needed=[SUPERVISOR])
    heads, found = one.table(query, now)
    return sheet_bytes(form, Sheet(one.title, list(heads), [list(row) for row in found])), MEDIA_TYPES[form]


def _local(at: datetime | None) -> datetime | None:
    return timezone.localtime(at).replace(tzinfo=None, microsecond=0) if at else None


def _orders(query: Query, now: datetime):
    heads = ("Order", "Customer", "Purchase order", "Due", "Priority", "State", "Lines", "Fittings to make")
    heads += ("Fittings released", "Fittings done", "Made", "Made by", "Released", "Released by", "Notes")
    q, state = query.get("q", "").strip()[:120], query.get("state", "")
    found = order_list(q=q, state=state, today=timezone.localdate(now))
    return heads, (
        (
            *(one.number, one.customer.name, one.purchase_order, one.due_on, one.priority),
            *(one.get_state_display(), one.lines_count, one.pieces, one.fittings_total, one.fittings_done),
            *(_local(one.created_at), one.created_by, _local(one.released_at), one.released_by, one.notes),
        )
        for one in found.iterator(A_BATCH)
    )


def _customers(query: Query, now: datetime):
    is_open = Q(orders__state__in=[Order.State.DRAFT, Order.State.RELEASED])
    counted = {"all_orders": Count("orders"), "open_orders": Count("orders", filter=is_open)}
    found = customers_found(q=query.get("q", "").strip()[:120]).annotate(**counted)
    heads = (
        "Customer",
        "Contact",
        "Address",
        "Notes",
        "Open orders",
        "Orders in all",
        "Offered in new orders",
    )
    return heads, (
        (one.name, one.contact, one.address, one.notes, one.open_orders, one.all_orders, one.is_active)
        for one in found
    )


def _stock(query: Query, now: datetime):
    asked = {name: query.get(name, "").strip()[:40] for name in ("material", "gauge", "form")}
    found = stock_listed(**asked, is_retired=query.get("shown") == "retired")
    heads = ("Name", "Form", "Material", "Gauge", "Width, in", "Length, in", "Count", "Cost each", "Code")
    heads += ("From cut plan", "Note", "Changed", "Changed by")
    return heads, (
        (
            *(one.name, one.get_form_display(), one.material, one.gauge, one.width_in, one.length_in),
            *(one.count, one.cost_each, one.code, one.made_from.plan.number if one.made_from else None),
            *(one.note, _local(one.changed_at), one.changed_by),
        )
        for one in found
    )


def _table(query: Query, now: datetime):
    schema = schema_of(query.get("table", ""))
    found = rows(schema.name)
    names = [column.name for column in schema.columns]
    return [column.label for column in schema.columns], ([row.get(name) for name in names] for row in found)


def _cut_plans(query: Query, now: datetime):
    plans = list(plans_newest_first())
    cut = cut_counts("plan", plan__in=plans)
    heads = ("Cut plan", "Material", "Gauge", "State", "Utilisation", "Limit of utilisation", "Cost")
    heads += ("Asked for", "Asked by", "Sent", "Sent by", "Pieces", "Pieces cut")
    return heads, (
        (
            *(one.number, one.material, one.gauge, one.get_state_display(), one.utilisation, one.bound),
            *(one.cost, _local(one.asked_at), one.made_by, _local(one.sent_at), one.sent_by),
            *((cut[one.pk].total, cut[one.pk].done) if one.pk in cut else (None, None)),
        )
        for one in plans
    )


def _cut_work(query: Query, now: datetime):
    heads = ("Material", "Gauge", "Pieces", "Fittings", "Orders", "Weight, lb", "First due", "Pieces late")
    return heads, (
        (
            *(one.material, one.gauge, one.pieces, one.fittings, one.orders),
            *(round(one.weight_lb, 1), one.first_due, one.late),
        )
        for one in cut_work(today=timezone.localdate(now))
    )


def _operations(query: Query, now: datetime):
    heads = ("Place in the flow", "Code", "Name", "Works on", "Needs its own scan", "Cap")
    return heads, (
        (one.position, one.code, one.name, one.get_level_display(), one.needs_own_scan, one.cap)
        for one in Operation.objects.order_by("position")
    )


def _operators(query: Query, now: datetime):
    return ("Badge", "Name", "Language", "Works here"), (
        (one.code, one.name, one.get_language_display(), one.is_active)
        for one in Operator.objects.order_by("name", "pk")
    )


def _exceptions(query: Query, now: datetime):
    heads = ("Kind", "Since", "What", "Words", "Station", "Code")
    asked = query.get("show", "")
    kinds = [asked] if asked in needs_eyes.KINDS else needs_eyes.KINDS

    def found():
        for kind in kinds:
            every = list(needs_eyes.open_rows(kind, now=now))
            for part in in_portions(every, A_BATCH):
                for one in needs_eyes.items_of(kind, part, now=now):
                    yield one.kind, _local(one.since), one.what, one.words, one.station, one.code

    return heads, found()


LISTS = {
    "orders": List("Orders", _orders),
    "customers": List("Customers", _customers),
    "stock": List("Stock", _stock),
    "table": List("Shop table", _table),
    "cut-plans": List("Cut plans", _cut_plans),
    "cut-work": List("Work to cut", _cut_work),
    "operations": List("Operations", _operations),
    "operators": List("Operators", _operators, is_supervisors=True),
    "exceptions": List("Needs eyes", _exceptions, is_supervisors=True),
}
