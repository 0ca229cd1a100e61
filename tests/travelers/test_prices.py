"""Prices of an order's lines: by the tables while a draft, frozen at release, by hand with a reason."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from fittings.models import Order
from fittings.orders import order_update
from shared.problems import Conflict, NotFound, WrongInput
from tests import factories, factories_costs
from tests.travelers import amend_desk
from travelers.models import LinePrice
from travelers.prices import order_prices, price_read, price_set
from travelers.release import order_cancel, order_release

pytestmark = pytest.mark.usefixtures("shop")
NOW, OFFICE = factories.NOW, factories.OFFICE_ACTOR
PIPE = {"kind": "pipe", "params": {"diameter": 12, "length": 30}, "tag": ""}


def price(amount: str, basis: str = "each", **changes) -> None:
    factories_costs.table("prices", factories_costs.price(basis, amount, **changes))


def released(made: Order) -> Order:
    return order_release(number=made.number, actor=OFFICE, now=NOW)


def unit_prices(order: Order) -> list[str]:
    return [str(one.unit_price) for one in order_prices(order).lines]


def set_by_hand(order: Order, amount, line: int = 1, reason: str = "Agreed"):
    price_set(number=order.number, line=line, unit_price=amount, reason=reason, actor=OFFICE, now=NOW)


def test_without_prices_a_cost_is_not_known_and_neither_is_a_price_that_goes_by_it():
    (one,) = order_prices(factories.order()).lines
    assert (one.cost.metal, one.cost.labor, one.unit_price, one.margin) == (None, None, None, None)
    assert one.how.startswith("standard list, cost plus 30")


def test_a_draft_goes_by_the_tables_as_they_are():
    order = factories.order(lines=[factories.line(**PIPE)])
    price("40")
    assert unit_prices(order) == ["40.00"]
    price("41.5")
    assert unit_prices(order) == ["41.50"]


def test_release_freezes_price_and_expected_cost():
    """A pipe: metal 9.100 lb ÷ 0.75 × 0.90 = 10.92, as in the worked month; the rest by the app's standard times."""
    factories_costs.priced_shop()
    order = released(factories.order(lines=[factories.line(**PIPE)]))
    (before,) = order_prices(order).lines
    assert str(before.cost.metal) == "10.92" and before.is_frozen
    assert before.unit_price == (before.cost.total * Decimal("1.2")).quantize(Decimal("0.01"))
    factories_costs.table("yields", factories_costs.metal("7.00"))
    price("999")
    (after,) = order_prices(order).lines
    assert (after.cost, after.unit_price) == (before.cost, before.unit_price)
    row = LinePrice.objects.get(order=order)
    assert row.why == "release" and row.tables["yields"] == 2 and row.tables["prices"] == 2


def test_the_margin_of_an_order_is_its_price_less_its_cost():
    factories_costs.priced_shop()
    found = order_prices(factories.order(lines=[factories.line(quantity=3), factories.line(**PIPE)]))
    first, second = found.lines
    assert found.price == first.unit_price * 3 + second.unit_price * 4
    assert found.margin == found.price - found.cost.total
    assert str(found.margin_pct) == "16.7", "cost plus 20 %: 20 of 120"


def test_a_customers_own_list_and_discount():
    price("40", price_list="standard")
    factories_costs.table(
        "prices",
        factories_costs.price("each", "40"),
        factories_costs.price("each", "35.55", price_list="contract"),
    )
    factories_costs.table(
        "customer_prices",
        {"customer": "EXAMPLE MECHANICAL", "price_list": "contract", "discount_pct": "12.5"},
    )
    order = factories.order()
    (one,) = order_prices(order).lines
    assert str(one.unit_price) == "31.11", "35.55 × 0.875 = 31.10625"
    assert "contract list" in one.how and "less 12.5" in one.how
    assert unit_prices(factories.order(customer="Someone Else")) == ["40.00"]


def test_a_customer_whose_list_has_no_row_has_no_price():
    price("40")
    factories_costs.table(
        "customer_prices", {"customer": "Example Mechanical", "price_list": "none", "discount_pct": "0"}
    )
    (one,) = order_prices(factories.order()).lines
    assert one.unit_price is None and one.how == "none list has no row for it"


# -- by hand ---------------------------------------------------------------------


def test_a_price_by_hand_stands_for_equal_fittings_and_keeps_its_reason():
    price("40")
    order = factories.order(
        lines=[factories.line(tag="AHU-1"), factories.line(tag="AHU-2", quantity=9), factories.line(**PIPE)]
    )
    set_by_hand(order, Decimal("38.25"), reason="  As last year ")
    assert unit_prices(order) == ["38.25", "38.25", "40.00"]
    one = order_prices(order).lines[0]
    assert (one.how, one.reason, str(one.offered.unit_price)) == ("by hand", "As last year", "40.00")
    row = LinePrice.objects.get()
    assert (row.made_by, row.why, str(row.list_price)) == ("office", "hand", "40.00")


def test_it_outlives_a_change_of_other_lines_and_the_release():
    price("40")
    order = factories.order(lines=[factories.line(), factories.line(**PIPE)])
    set_by_hand(order, Decimal("38.25"))
    data = {"version": order.version, "lines": [factories.line(**PIPE), factories.line(quantity=7)]}
    order_update(number=order.number, data=data, actor=OFFICE, now=NOW)
    assert unit_prices(order) == ["40.00", "38.25"]
    assert unit_prices(released(order)) == ["40.00", "38.25"]
    (frozen,) = LinePrice.objects.filter(why="release", unit_price="38.25")
    assert (frozen.how, frozen.reason) == ("by hand", "Agreed")


def test_it_does_not_stand_for_a_line_whose_fitting_changed():
    price("40")
    order = factories.order()
    set_by_hand(order, Decimal("38.25"))
    data = {"version": order.version, "lines": [factories.line(gauge=22)]}
    order_update(number=order.number, data=data, actor=OFFICE, now=NOW)
    assert unit_prices(order) == ["40.00"]


def test_it_can_be_given_back_to_the_list_before_and_after_release():
    price("40")
    order = factories.order()
    set_by_hand(order, Decimal("38.25"))
    set_by_hand(order, None, reason="")
    assert unit_prices(order) == ["40.00"]
    order = released(order)
    set_by_hand(order, Decimal("39.00"))
    assert unit_prices(order) == ["39.00"]
    price("50")
    set_by_hand(order, None, reason="")
    assert unit_prices(order) == ["40.00"], "the list as it was at release"


@pytest.mark.parametrize(
    "amount, reason, field",
    [
        (Decimal("-0.01"), "x", "unit_price"),
        (Decimal("1000000.01"), "x", "unit_price"),
        (Decimal("1.005"), "x", "unit_price"),
        (Decimal("NaN"), "x", "unit_price"),
        (Decimal("1.00"), "   ", "reason"),
        (Decimal("1.00"), "x" * 201, "reason"),
    ],
)
def test_a_wrong_price_or_reason_is_refused_and_changes_nothing(amount, reason, field):
    order = factories.order()
    with pytest.raises(WrongInput) as refused:
        set_by_hand(order, amount, reason=reason)
    assert [error.field for error in refused.value.errors] == [field]
    assert all(error.message and error.limit for error in refused.value.errors)
    assert not LinePrice.objects.exists()


def test_no_such_line_and_a_cancelled_order_are_refused():
    order = factories.order()
    with pytest.raises(NotFound, match="no line 2"):
        set_by_hand(order, Decimal("1.00"), line=2)
    order_cancel(number=order.number, actor=OFFICE, now=NOW)
    with pytest.raises(Conflict, match="cancelled"):
        set_by_hand(order, Decimal("1.00"))


@pytest.mark.parametrize(
    "text, amount", [("48.5", "48.5"), (" 1,234.50 ", "1234.50"), (12, "12"), ("0", "0")]
)
def test_an_amount_is_read_as_people_write_it(text, amount):
    assert price_read(text) == Decimal(amount)


def test_nothing_is_no_amount_and_a_word_is_refused():
    assert price_read("") is None and price_read(None) is None
    for wrong in ("abc", "1e", "NaN", "Infinity", True, "9" * 30, []):
        with pytest.raises(WrongInput):
            price_read(wrong)


# -- changes after release ---------------------------------------------------------


def test_a_line_that_comes_later_is_frozen_by_the_tables_of_that_day_and_the_others_stay():
    price("40")
    order = released(factories.order(lines=[factories.line()]))
    price("55")
    later = {**factories.line(**PIPE), "line": None}
    later.pop("line")
    amend_desk.changed(order, later, now=NOW + timedelta(minutes=5))
    assert unit_prices(Order.objects.get(pk=order.pk)) == ["40.00", "55.00"]
    price("60")
    assert unit_prices(Order.objects.get(pk=order.pk)) == ["40.00", "55.00"]


def test_freezing_costs_the_same_few_queries_for_one_line_or_many(django_assert_max_num_queries):
    from travelers.price_freeze import prices_freeze
    from travelers.release import release_ready

    def queries(lines):
        order = factories.order(lines=lines)
        ready = release_ready(order.number)
        works = [(plan.line, plan.work) for plan in ready.plans]
        with django_assert_max_num_queries(8):
            prices_freeze(order=order, works=works, numbers=ready.tables, actor=OFFICE, now=NOW)

    queries([factories.line()])
    queries([factories.line(params=factories.elbow_params(diameter=10 + at / 8)) for at in range(30)])
    assert LinePrice.objects.count() == 31
