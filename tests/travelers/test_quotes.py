"""Quotes: frozen as offered, sent, accepted for the order, or declined; refused where they no longer hold."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest

from fittings.models import Order
from fittings.orders import order_update
from shared.problems import Conflict, NotFound, WrongInput
from tests import factories, factories_costs
from tests.travelers.documents.reading import words
from travelers.models import LinePrice, Quote
from travelers.prices import order_prices
from travelers.quotes import quote_answer, quote_make, quote_mark, quote_pdf
from travelers.release import order_release

pytestmark = pytest.mark.usefixtures("shop")
NOW, OFFICE = factories.NOW, factories.OFFICE_ACTOR


def order_at(amount: str) -> Order:
    factories_costs.table("prices", factories_costs.price("each", amount))
    return factories.order(lines=[factories.line(), factories.line(quantity=2, gauge=22, tag="AHU-9")])


def mark(quote: Quote, state: str, now=NOW) -> Quote:
    return quote_mark(number=quote.number, state=state, actor=OFFICE, now=now)


def price_now(order: Order) -> list[str]:
    return [str(one.unit_price) for one in order_prices(order).lines]


def test_a_quote_freezes_lines_prices_and_total():
    order = order_at("40")
    quote = factories_costs.quote(order, days=14, note="Two lots")
    assert (quote.number, quote.version, quote.state, str(quote.total)) == (1, 1, "made", "240.00")
    assert quote.valid_until == date(2026, 3, 16)
    factories_costs.table("prices", factories_costs.price("each", "99"))
    kept = quote_answer(Quote.objects.select_related("order").get(), date(2026, 3, 2))
    assert [(row["quantity"], row["unit_price"], row["total"]) for row in kept["lines"]] == [
        (4, "40.00", "160.00"),
        (2, "40.00", "80.00"),
    ]
    assert kept["lines"][1]["metal"] == "22 ga galvanized" and kept["lines"][1]["tag"] == "AHU-9"


def test_its_paper_is_what_was_offered_whatever_changed_since():
    order = order_at("40")
    factories_costs.quote(order)
    data = {"version": order.version, "lines": [factories.line(quantity=77)]}
    order_update(number=order.number, data=data, actor=OFFICE, now=NOW)
    factories_costs.table("prices", factories_costs.price("each", "99"))
    (text,) = words(quote_pdf(number=order.number, now=NOW))
    assert "$40.00 $160.00" in text and "Total $240.00" in text and "AHU-9" in text
    assert "77 $" not in text and "$99" not in text
    assert "Gored elbow 90°, 14 in, 5 pieces" in text and "Wed 1 Apr 2026" in text, "30 days from 2 March"


def test_numbers_are_the_shops_and_versions_the_orders():
    first, second = order_at("40"), factories.order()
    made = [factories_costs.quote(one) for one in (first, second, first)]
    assert [(quote.number, quote.version) for quote in made] == [(1, 1), (2, 1), (3, 2)]
    (text,) = words(quote_pdf(number=first.number, now=NOW))
    assert "1001, version 2" in text
    (text,) = words(quote_pdf(number=first.number, quote=1, now=NOW))
    assert "version" not in text


def test_accepted_its_prices_stand_for_the_order_and_are_frozen_at_release():
    order = order_at("40")
    quote = mark(factories_costs.quote(order), "sent")
    factories_costs.table("prices", factories_costs.price("each", "99"))
    assert price_now(order) == ["99.00", "99.00"]
    assert mark(quote, "accepted").answered_by == "office"
    assert price_now(order) == ["40.00", "40.00"]
    assert {row.how for row in LinePrice.objects.filter(why="quote")} == {"quote 1"}
    order = order_release(number=order.number, actor=OFFICE, now=NOW)
    assert price_now(order) == ["40.00", "40.00"]


def test_declined_changes_no_price():
    order = order_at("40")
    mark(factories_costs.quote(order), "declined")
    assert not LinePrice.objects.exists()


def test_of_a_changed_order_it_cannot_be_accepted():
    order = order_at("40")
    quote = factories_costs.quote(order)
    data = {"version": order.version, "lines": [factories.line(quantity=77)]}
    order_update(number=order.number, data=data, actor=OFFICE, now=NOW)
    with pytest.raises(Conflict, match="was changed since quote 1"):
        mark(quote, "accepted")
    assert Quote.objects.get().state == "made" and not LinePrice.objects.exists()


def test_it_can_be_accepted_on_its_last_day_and_not_after():
    order = order_at("40")
    quote = factories_costs.quote(order, days=3)
    with pytest.raises(Conflict, match="valid until 5 Mar 2026"):
        mark(quote, "accepted", now=NOW + timedelta(days=4))
    assert (
        quote_answer(quote, date(2026, 3, 6))["is_over"]
        and not quote_answer(quote, date(2026, 3, 5))["is_over"]
    )
    assert mark(quote, "accepted", now=NOW + timedelta(days=3)).state == "accepted"


@pytest.mark.parametrize("before, after", [("accepted", "declined"), ("declined", "sent"), ("sent", "sent")])
def test_what_does_not_follow_is_refused(before, after):
    quote = mark(factories_costs.quote(order_at("40")), before)
    with pytest.raises(Conflict, match=f"is {before}; it cannot be marked as {after}"):
        mark(quote, after)


def test_no_draft_no_lines_price_or_days_are_refused_and_nothing_is_made():
    order = factories.order()
    with pytest.raises(WrongInput) as refused:
        factories_costs.quote(order)
    assert refused.value.errors[0].field == "lines[0].unit_price"
    factories_costs.by_hand(order, "12.00")
    for days in (0, 367, 1.5, True, "soon"):
        with pytest.raises(WrongInput) as refused:
            quote_make(number=order.number, days=days, actor=OFFICE, now=NOW)
        assert refused.value.errors[0].field == "days"
    with pytest.raises(WrongInput, match="Note has 401"):
        factories_costs.quote(order, note="x" * 401)
    order_release(number=order.number, actor=OFFICE, now=NOW)
    with pytest.raises(Conflict, match="made of a draft"):
        factories_costs.quote(order)
    with pytest.raises(NotFound, match="no quote yet"):
        quote_pdf(number=order.number, now=NOW)
    with pytest.raises(WrongInput, match="it can be sent, accepted, declined"):
        quote_mark(number=factories_costs.quote().number, state="lost", actor=OFFICE, now=NOW)
    assert Quote.objects.count() == 1


def test_totals_are_exact_where_floats_are_not():
    """3 × 0.10 + 1 × 0.20: 0.30000000000000004 + 0.2 as binary fractions."""
    order = factories.order(lines=[factories.line(quantity=3), factories.line(quantity=1, gauge=22)])
    factories_costs.by_hand(order, "0.10")
    factories_costs.by_hand(order, "0.20", line=2)
    assert factories_costs.quote(order).total == Decimal("0.50")
