"""Quotes: a draft's lines with their prices, frozen as they were offered; sent, accepted or declined."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone

from fittings import tables
from fittings.costing import Cost
from fittings.developing import develop_for, development_answer, words_of
from fittings.drawing import Scene, icon_scene
from fittings.ends import ends_of
from fittings.models import Order
from fittings.money import currency_sign
from fittings.orders import order_locked
from fittings.preview import DRAWN_BY, READ_TABLES, line_drawing
from fittings.selectors import order_by_number
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.turn import write_turn
from travelers import documents
from travelers.documents.data import QuotePaper, QuoteRow
from travelers.forms import finishes_of
from travelers.line_costs import Expected, Offer
from travelers.models import LinePrice, Quote
from travelers.papers import printed_text, shop_head
from travelers.price_freeze import priced_row
from travelers.prices import PricedLine, order_prices

USUAL_DAYS, MOST_DAYS = 30, 366
LONGEST_NOTE = 400
FIRST_NUMBER = 1
MOST_TRIES = 5
State = Quote.State
ACTS = {State.SENT: "sent", State.ACCEPTED: "accepted", State.DECLINED: "declined"}
FOLLOWS = {
    State.MADE: (State.SENT, State.ACCEPTED, State.DECLINED),
    State.SENT: (State.ACCEPTED, State.DECLINED),
}


def usual_days() -> int:
    """How many days a quote is valid: `quote_days` of the table The shop."""
    text = _setting("quote_days")
    return int(text) if text.isdecimal() and 1 <= int(text) <= MOST_DAYS else USUAL_DAYS


def _setting(key: str) -> str:
    return next((str(row["value"]).strip() for row in tables.rows("shop") if row["key"] == key), "")


def quotes_of(order: Order) -> list[Quote]:
    """The newest first, without their lines."""
    return list(order.quotes.defer("lines", "tables").order_by("-version"))


# -- making one --------------------------------------------------------------------


def quote_make(*, number: str, days: int | None = None, note: str = "", actor: Actor, now: datetime) -> Quote:
    """Freeze a draft's lines with their prices as the next quote of the order.

    days    it is valid for from today on; None: the shop's usual
    raises  NotFound; Conflict where the order is no draft; WrongInput where it has no lines, a line has no price, or
            for days and note out of range
    """
    note = note.strip()
    days = _checked(days, note)
    for is_last in [False] * (MOST_TRIES - 1) + [True]:
        try:
            with write_turn(), transaction.atomic():
                return _made(number, days, note, actor, now)
        except IntegrityError:  # another order's quote took the number at the same moment
            if is_last:
                raise
    raise AssertionError("not reached")


def _made(number: str, days: int, note: str, actor: Actor, now: datetime) -> Quote:
    order = order_locked(number)
    if order.state != Order.State.DRAFT:
        raise Conflict(
            f"Order {order.number} is {order.get_state_display().lower()}. A quote is made of a draft."
        )
    prices = order_prices(order)
    if not prices.lines:
        message = f"Order {order.number} has no lines. Add one before the quote."
        raise WrongInput([FieldError("lines", 0, "1 or more", message)])
    errors = [_no_price(at, one) for at, one in enumerate(prices.lines) if one.unit_price is None]
    if errors:
        raise WrongInput(errors)
    numbers = tables.versions_in_force()
    return Quote.objects.create(
        number=(Quote.objects.aggregate(most=Max("number"))["most"] or FIRST_NUMBER - 1) + 1,
        order=order,
        version=(order.quotes.aggregate(most=Max("version"))["most"] or 0) + 1,
        order_version=order.version,
        valid_until=timezone.localdate(now) + timedelta(days=days),
        lines=[_line(one, numbers) for one in prices.lines],
        tables=numbers,
        total=prices.price,
        sign=currency_sign(),
        terms=_setting("quote_terms"),
        note=note,
        made_by=actor.name,
        made_at=now,
    )


def _checked(days: int | None, note: str) -> int:
    days = usual_days() if days is None else days
    errors = []
    if isinstance(days, bool) or not isinstance(days, int) or not 1 <= days <= MOST_DAYS:
        limit = f"a whole number from 1 to {MOST_DAYS}"
        errors.append(
            FieldError("days", str(days)[:20], limit, f"Valid for is {str(days)[:20]}; it can be {limit}.")
        )
    if len(note) > LONGEST_NOTE:
        limit = f"at most {LONGEST_NOTE} characters"
        text = f"Note has {len(note)} characters; it can have {limit}."
        errors.append(FieldError("note", note[:40], limit, text))
    if errors:
        raise WrongInput(errors)
    return days


def _no_price(at: int, one: PricedLine) -> FieldError:
    why = one.problem or f"{one.how}, and its cost is not known"
    message = f"Line {one.line.position} has no price: {why}. Set one by hand, or set metal prices and rates."
    return FieldError(f"lines[{at}].unit_price", None, "a price", message)


def _line(one: PricedLine, numbers: Mapping[str, int]) -> dict[str, Any]:
    line = one.line
    ends = finishes_of(line, [letter for letter, _ in ends_of(line.kind)])
    return {
        "line": line.position,
        "quantity": line.quantity,
        "text": line_drawing(line, numbers).text,
        "metal": f"{line.gauge} ga {line.material}",
        "ends": ", ".join(f"{letter.upper()} {finish}" for letter, finish in ends.items()),
        "tag": line.tag,
        "unit_price": str(one.unit_price),
        "total": str(one.price),
        "what": one.what,
        "words": words_of(line),
    }


# -- what becomes of it ---------------------------------------------------------------


def quote_of(number: int) -> Quote:
    """raises  NotFound"""
    quote = Quote.objects.select_related("order", "order__customer").filter(number=number).first()
    if quote is None:
        raise NotFound(f"There is no quote {number}.")
    return quote


def quote_mark(*, number: int, state: str, actor: Actor, now: datetime) -> Quote:
    """Mark a quote as sent, accepted or declined. Accepting freezes its prices for the order.

    raises  NotFound; WrongInput for another state; Conflict where it does not follow, or where what is accepted is no
            longer what was offered
    """
    if state not in ACTS:
        limit = ", ".join(ACTS.values())
        text = f"State is “{str(state)[:20]}”; it can be {limit}."
        raise WrongInput([FieldError("state", str(state)[:20], limit, text)])
    with write_turn(), transaction.atomic():
        order = order_locked(quote_of(number).order.number)
        quote = Quote.objects.select_for_update().get(number=number)
        if state not in FOLLOWS.get(quote.state, ()):
            raise Conflict(f"Quote {number} is {quote.state}; it cannot be marked as {state} any more.")
        if state == State.ACCEPTED:
            _check_acceptable(quote, order, timezone.localdate(now))
            _freeze(quote, order, actor, now)
        quote.state = state
        if state == State.SENT:
            quote.sent_at, quote.sent_by = now, actor.name
        else:
            quote.answered_at, quote.answered_by = now, actor.name
        quote.save(update_fields=["state", "sent_at", "sent_by", "answered_at", "answered_by"])
    return quote


def _check_acceptable(quote: Quote, order: Order, today: date) -> None:
    again = "Make a new quote."
    if order.state != Order.State.DRAFT:
        raise Conflict(f"Order {order.number} is {order.state}. Only the quote of a draft can be accepted.")
    if order.version != quote.order_version:
        raise Conflict(f"Order {order.number} was changed since quote {quote.number} was made. {again}")
    if today > quote.valid_until:
        until = f"{quote.valid_until:%d %b %Y}".lstrip("0")
        raise Conflict(f"Quote {quote.number} was valid until {until}. {again}")


def _freeze(quote: Quote, order: Order, actor: Actor, now: datetime) -> None:
    by_what = {one.what: one for one in order_prices(order).lines}
    offered = {row["what"]: Decimal(row["unit_price"]) for row in quote.lines}
    LinePrice.objects.bulk_create(
        priced_row(
            order,
            what,
            why=LinePrice.Why.QUOTE,
            price=(price, f"quote {quote.number}", ""),
            one=Expected(
                by_what[what].cost if what in by_what else Cost(None, None, None), {}, 0, 0.0, 0.0, None
            ),
            offered=by_what[what].offered if what in by_what else Offer(None, None, ""),
            numbers=quote.tables,
            actor=actor,
            now=now,
        )
        for what, price in offered.items()
    )


# -- as a paper -----------------------------------------------------------------------


def quote_pdf(*, number: str, quote: int | None = None, now: datetime) -> bytes:
    """A quote of an order as PDF; left out, its newest.

    raises  NotFound where the order has no such quote
    """
    order = order_by_number(number)
    found = order.quotes.order_by("-version")
    row = (found.filter(number=quote) if quote is not None else found).first()
    if row is None:
        which = f"no quote {quote}" if quote is not None else "no quote yet. Make one, then print it"
        raise NotFound(f"Order {order.number} has {which}.")
    return documents.quote_pdf(quote_paper(row, order), shop=shop_head(), printed_at_text=printed_text(now))


def quote_paper(quote: Quote, order: Order) -> QuotePaper:
    """A quote as its paper shows it: all of it as it was frozen."""
    return QuotePaper(
        number=quote.number,
        version=quote.version,
        order_number=order.number,
        customer=order.customer.name,
        address=order.customer.address,
        purchase_order=order.purchase_order,
        made_on=timezone.localdate(quote.made_at),
        valid_until=quote.valid_until,
        sign=quote.sign,
        total=quote.total,
        rows=[_row(row, quote.tables) for row in quote.lines],
        note=quote.note,
        terms=quote.terms,
    )


def _row(row: Mapping[str, Any], numbers: Mapping[str, int]) -> QuoteRow:
    read = {name: numbers[name] for name in READ_TABLES if name in numbers}
    words = {name: row["words"][name] for name in DRAWN_BY}
    return QuoteRow(
        line=row["line"],
        quantity=row["quantity"],
        text=row["text"],
        metal=row["metal"],
        ends=row["ends"],
        tag=row["tag"],
        unit_price=Decimal(row["unit_price"]),
        total=Decimal(row["total"]),
        drawing=_icon(json.dumps([words, read], sort_keys=True)),
    )


@lru_cache(maxsize=1024)
def _icon(key: str) -> Scene | None:
    words, numbers = json.loads(key)
    try:
        found = development_answer(develop_for(tables=tables.all_rows(numbers), **words), "in")
    except WrongInput:
        return None
    return icon_scene(found)


def quote_answer(quote: Quote, today: date) -> dict[str, Any]:
    """A quote as the API gives it."""
    return {
        "number": quote.number,
        "order": quote.order.number,
        "version": quote.version,
        "order_version": quote.order_version,
        "state": quote.state,
        "valid_until": quote.valid_until.isoformat(),
        "is_over": is_over(quote, today),
        "total": str(quote.total),
        "currency": quote.sign,
        "terms": quote.terms,
        "note": quote.note,
        "made_at": quote.made_at.isoformat(),
        "made_by": quote.made_by,
        "sent_at": quote.sent_at and quote.sent_at.isoformat(),
        "answered_at": quote.answered_at and quote.answered_at.isoformat(),
        "lines": [
            {name: value for name, value in row.items() if name not in ("what", "words")}
            for row in quote.lines
        ],
    }


def is_over(quote: Quote, today: date) -> bool:
    """Not answered, and no longer valid."""
    return quote.state in (State.MADE, State.SENT) and today > quote.valid_until


def quotes_answer(number: str, today: date) -> Sequence[dict[str, Any]]:
    """All quotes of an order, the newest first. raises NotFound"""
    order = order_by_number(number)
    return [quote_answer(quote, today) for quote in order.quotes.select_related("order").order_by("-version")]
