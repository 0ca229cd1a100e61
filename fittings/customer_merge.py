"""Two customers that are the same become one: seen first, then made, all or nothing.

Orders, favourites and what is remembered of files go over to the one that stays, and so does the row of the prices of
customers; the other's name still finds it. Released orders keep their prices, which are frozen.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from fittings import tables
from fittings.cost_tables import CUSTOMER_PRICES, STANDARD
from fittings.customers import SAVED, former_name_keep, price_row, price_rows_save
from fittings.models import ColumnMatch, Customer, CustomerChange, Favourite, Order
from fittings.reading import Reading
from fittings.selectors import customer_answer
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.turn import write_turn

STAYS, GOES = "stays", "goes"
PRICES = (STAYS, GOES)
LONGEST_NOTES = 2000
LONGEST_FAVOURITE = Favourite._meta.get_field("name").max_length


@dataclass(frozen=True)
class Side:
    """One of the two with what hangs on it.

    was     the customer as answers show it, before
    prices  its row of the prices of customers; None without one
    """

    customer: Customer
    was: Mapping[str, Any]
    orders: int
    open_orders: int
    favourites: tuple[str, ...]
    columns: int
    prices: Mapping[str, Any] | None

    @property
    def prices_text(self) -> str:
        if self.prices is None:
            return f"List {STANDARD}, as all others"
        return f"List {self.prices['price_list']}, discount {self.prices['discount_pct']} %"

    def facts(self) -> list[Any]:
        values = [getattr(self.customer, field) for field in SAVED]
        prices = dict(self.prices) if self.prices else None
        return [
            self.customer.pk,
            values,
            self.orders,
            self.open_orders,
            self.favourites,
            self.columns,
            prices,
        ]


@dataclass(frozen=True)
class Merge:
    """What is one afterwards. `seen` is its mark: equal as long as nothing that is shown has moved."""

    stays: Side
    goes: Side
    after: dict[str, Any]
    seen: str

    @property
    def orders(self) -> int:
        return self.stays.orders + self.goes.orders

    @property
    def open_orders(self) -> int:
        return self.stays.open_orders + self.goes.open_orders

    @property
    def renamed(self) -> tuple[str, ...]:
        """Favourites of the one that goes whose name the other has too: they get a number."""
        own = {name.lower() for name in self.stays.favourites}
        return tuple(name for name in self.goes.favourites if name.lower() in own)

    @property
    def asks_prices(self) -> bool:
        """Both have prices of their own, and others."""
        mine, theirs = self.stays.prices, self.goes.prices
        return bool(mine and theirs) and _terms(mine) != _terms(theirs)


def merge_show(*, stays: int, goes: int) -> Merge:
    """raises  NotFound; WrongInput where both are the same"""
    found = Customer.objects.in_bulk([stays, goes])
    return _merge(found, stays, goes)


def customer_merge(
    *, stays: int, goes: int, prices: str = "", seen: str = "", actor: Actor, now: datetime
) -> Merge:
    """Make one of two.

    prices  whose row of the prices of customers it has afterwards; must be said where both have one and they differ
    seen    the mark of what was shown; blank where nothing was
    raises  as `merge_show`; WrongInput where `prices` must be said; Conflict where something moved since
    """
    with write_turn(), transaction.atomic():
        rows = Customer.objects.select_for_update().filter(pk__in=(stays, goes)).order_by("pk")
        merge = _merge({one.pk: one for one in rows}, stays, goes)
        if seen and seen != merge.seen:
            detail = "One of the two customers was changed since this was shown. Look at it again. Nothing was changed."
            raise Conflict(detail, [FieldError("seen", seen, merge.seen, detail)])
        if merge.asks_prices and prices not in PRICES:
            message = (
                f"Both have prices of their own: {merge.stays.customer} {_lower(merge.stays.prices_text)}, "
                f"{merge.goes.customer} {_lower(merge.goes.prices_text)}. Say which they have from now on."
            )
            raise WrongInput([FieldError("prices", prices, ", ".join(PRICES), message)])
        _make(merge, prices, actor, now)
    return merge


def customer_merge_asked(
    *, stays: int, data: Mapping[str, Any], actor: Actor, now: datetime
) -> tuple[Merge, bool]:
    """The same as a program asks for it; whether it was made, or only shown. raises as `customer_merge`"""
    reading = Reading(data)
    reading.only(("other", "prices", "seen", "dry_run"))
    goes = reading.whole("other", 1, 10**12)
    prices = reading.choice("prices", PRICES, usual="")
    seen = reading.text("seen", 64)
    dry_run = data.get("dry_run", False)
    if not isinstance(dry_run, bool):
        reading.wrong("dry_run", dry_run, "true or false")
    if reading.errors:
        raise WrongInput(reading.errors)
    if dry_run:
        return merge_show(stays=stays, goes=goes), False
    return customer_merge(stays=stays, goes=goes, prices=prices, seen=seen, actor=actor, now=now), True


def _merge(found: Mapping[int, Customer], stays: int, goes: int) -> Merge:
    if stays == goes:
        message = "That is the same customer. Choose another one."
        raise WrongInput([FieldError("other", goes, "another customer", message)])
    if len(found) < 2:
        raise NotFound("There is no such customer.")
    rows = tables.rows(CUSTOMER_PRICES)
    mine, theirs = _side(found[stays], rows), _side(found[goes], rows)
    after = {
        "contact": mine.customer.contact or theirs.customer.contact,
        "address": mine.customer.address or theirs.customer.address,
        "notes": _notes(mine.customer.notes, theirs.customer.notes),
        "is_active": mine.customer.is_active or theirs.customer.is_active,
    }
    facts = json.dumps([mine.facts(), theirs.facts()], sort_keys=True, default=str)
    return Merge(mine, theirs, after, hashlib.sha256(facts.encode()).hexdigest()[:32])


def _side(customer: Customer, rows: Sequence[Mapping[str, Any]]) -> Side:
    mine = Order.objects.filter(customer=customer)
    names = Favourite.objects.filter(customer=customer).order_by("name", "pk").values_list("name", flat=True)
    return Side(
        customer=customer,
        was=customer_answer(customer),
        orders=mine.count(),
        open_orders=mine.filter(state__in=(Order.State.DRAFT, Order.State.RELEASED)).count(),
        favourites=tuple(names),
        columns=ColumnMatch.objects.filter(customer=customer).count(),
        prices=price_row(customer.name, rows),
    )


def _make(merge: Merge, prices: str, actor: Actor, now: datetime) -> None:
    stays, goes = merge.stays.customer, merge.goes.customer
    Order.objects.filter(customer=goes).update(customer=stays)
    _favourites_over(stays, goes)
    heads = ColumnMatch.objects.filter(customer=stays).values_list("head", flat=True)
    ColumnMatch.objects.filter(customer=goes).exclude(head__in=list(heads)).update(customer=stays)
    _prices_over(merge, prices, actor, now)
    goes.changes.update(customer=stays)
    goes.former_names.update(customer=stays)
    was = ", ".join(part for part in (goes.name, goes.contact, goes.address.replace("\n", ", ")) if part)
    fields = {"merged": [was, f"{stays.name}, with {_counted(merge.goes)}"]}
    for field, value in merge.after.items():
        if value != getattr(stays, field):
            fields[field] = [str(getattr(stays, field)), str(value)]
            setattr(stays, field, value)
    stays.save(update_fields=list(merge.after))
    CustomerChange.objects.create(customer=stays, fields=fields, made_by=actor.name, made_at=now)
    goes.delete()
    former_name_keep(stays, goes.name)


def _favourites_over(stays: Customer, goes: Customer) -> None:
    taken = {name.lower() for name in stays.favourites.values_list("name", flat=True)}
    taken |= {name.lower() for name in goes.favourites.values_list("name", flat=True)}
    own = {name.lower() for name in stays.favourites.values_list("name", flat=True)}
    for favourite in goes.favourites.order_by("pk"):
        if favourite.name.lower() in own:
            favourite.name = _numbered(favourite.name, taken)
            taken.add(favourite.name.lower())
        favourite.customer = stays
        favourite.save(update_fields=["name", "customer"])


def _numbered(name: str, taken: set[str]) -> str:
    number = 2
    while True:
        end = f" {number}"
        candidate = name[: LONGEST_FAVOURITE - len(end)] + end
        if candidate.lower() not in taken:
            return candidate
        number += 1


def _prices_over(merge: Merge, prices: str, actor: Actor, now: datetime) -> None:
    """Of the rows of both one is left, under the name that stays."""
    mine, theirs = merge.stays.prices, merge.goes.prices
    if theirs is None:
        return
    own = theirs if mine is None or merge.asks_prices and prices == GOES else mine
    left = {**own, "customer": merge.stays.customer.name}
    rows = [
        left if row == own else dict(row)
        for row in tables.rows(CUSTOMER_PRICES)
        if row == own or row not in (mine, theirs)
    ]
    note = f"{merge.goes.customer} was merged into {merge.stays.customer}"
    price_rows_save(rows, note, actor, now)


def _terms(row: Mapping[str, Any]) -> tuple[Any, Any]:
    return row["price_list"], row["discount_pct"]


def _notes(mine: str, theirs: str) -> str:
    if not theirs or theirs in mine:
        return mine
    return "\n".join(part for part in (mine, theirs) if part)[:LONGEST_NOTES]


def _counted(side: Side) -> str:
    parts = ((side.orders, "order"), (len(side.favourites), "favourite"))
    return " and ".join(f"{count} {noun}{'' if count == 1 else 's'}" for count, noun in parts)


def _lower(text: str) -> str:
    return text[0].lower() + text[1:]
