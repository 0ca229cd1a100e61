"""The arithmetic of costs and prices. Every expected amount is made by hand beside it."""

from __future__ import annotations

import doctest
import random
from decimal import Decimal

import pytest

from fittings import costing, tables
from fittings.costing import (
    Cost,
    Priced,
    cents,
    discounted,
    list_price,
    metal_row,
    net_metal,
    price_row,
    share_pct,
    summed,
    taken,
    work_cost,
)
from fittings.tables import Column, TableSchema
from shared.problems import WrongInput
from tests.factories_costs import metal, price, rate


def money(text: str) -> Decimal:
    return Decimal(text)


def what(**changes) -> Priced:
    cost = Cost(money("10.00"), money("6.00"), money("3.00"))
    given = {"kind": "gored_elbow", "material": "galvanized", "gauge": 24, "size_in": 14.0}
    return Priced(**{**given, "pieces": 5, "weight_lb": 11.8, "cost": cost, **changes})


def row(basis: str, amount: str, **changes):
    return {"size_over_in": None, "size_to_in": None, **price(basis, amount), **changes}


def test_the_examples_run():
    assert doctest.testmod(costing).failed == 0


@pytest.mark.parametrize(
    "amount, to_the_cent",
    [("1.005", "1.01"), ("1.0049999", "1.00"), ("2.675", "2.68"), ("-1.005", "-1.01"), ("0.125", "0.13")],
)
def test_halves_go_away_from_zero(amount, to_the_cent):
    """1.005 and 2.675 are below their half as binary fractions: a float would round them down."""
    assert cents(money(amount)) == money(to_the_cent)


def test_a_quantity_is_taken_at_three_places():
    assert taken(2.0005) == money("2.001")
    assert taken(1 / 3) == money("0.333")


def test_metal_by_the_pound_is_weight_by_yield_times_price():
    """3.080 lb ÷ 0.75 = 4.10667 lb to buy, × 0.90 = 3.696."""
    assert net_metal(metal("0.90", "75", per_ft2=None), area_in2=0, weight_lb=3.08) == money("3.70")


def test_metal_by_the_square_foot_where_no_pound_has_a_price():
    """360 in² = 2.5 ft², ÷ 0.8 = 3.125 ft² to buy, × 1.90 = 5.9375."""
    assert net_metal(metal(None, "80", per_ft2="1.90"), area_in2=360, weight_lb=9) == money("5.94")


def test_metal_without_a_price_is_not_known():
    assert net_metal(metal(None, "80", per_ft2=None), area_in2=360, weight_lb=9) is None
    assert net_metal(None, area_in2=360, weight_lb=9) is None


def test_a_metals_own_row_goes_before_the_row_for_any():
    rows = [metal("0.90"), metal("2.20", material="stainless", gauge_from=16, gauge_to=24)]
    assert metal_row(rows, material="stainless", gauge=20)["per_lb"] == "2.20"
    assert metal_row(rows, material="stainless", gauge=14)["per_lb"] == "0.90"
    assert metal_row(rows[1:], material="aluminum", gauge=20) is None


def test_labor_and_overhead_are_rounded_each():
    """7 min × 41.00 ÷ 60 = 4.78333, 4.78; 35 % of 4.78 = 1.673, 1.67."""
    assert work_cost([rate("41.00", "35")], operation="seam", minutes=7) == Cost(
        money("0.00"), money("4.78"), money("1.67")
    )


def test_an_operations_own_rate_goes_before_that_of_any():
    rows = [rate("30.00"), rate("60.00", operation="cut")]
    assert work_cost(rows, operation="cut", minutes=10).labor == money("10.00")
    assert work_cost(rows, operation="roll", minutes=10).labor == money("5.00")


def test_work_without_a_rate_is_not_known_and_then_the_whole_is_not():
    cost = work_cost([rate(None)], operation="cut", minutes=1) + Cost(money("5.00"))
    assert cost.metal == money("5.00") and cost.labor is None and cost.total is None


@pytest.mark.parametrize(
    "basis, amount, expected",
    [
        ("each", "48.50", "48.50"),
        ("each piece", "9.75", "48.75"),  # 5 × 9.75
        ("each pound", "2.15", "25.37"),  # 11.8 × 2.15 = 25.37
        ("cost plus %", "32.5", "25.18"),  # 19.00 × 1.325 = 25.175
        ("margin %", "20", "23.75"),  # 19.00 ÷ 0.8; 23.75 − 19.00 = 4.75, which is 20 % of 23.75
    ],
)
def test_each_basis_of_a_price(basis, amount, expected):
    assert list_price(row(basis, amount), what()) == money(expected)


def test_a_price_by_cost_is_not_known_where_the_cost_is_not():
    unknown = what(cost=Cost(None, money("6.00"), money("3.00")))
    assert list_price(row("cost plus %", "30"), unknown) is None
    assert list_price(row("each", "12.00"), unknown) == money("12.00")
    assert list_price(row("margin %", "100"), what()) is None, "no price keeps all of itself"


def test_the_first_row_that_fits_is_taken_and_sizes_leave_out_their_lower_end():
    rows = [
        row("each", "1.00", kind="pipe"),
        row("each", "2.00", size_to_in=14.0),
        row("each", "3.00", size_over_in=14.0, size_to_in=20.0),
        row("each", "4.00"),
    ]
    found = {
        size: price_row(rows, "standard", what(size_in=size))["amount"] for size in (13.9, 14.0, 14.1, 20.1)
    }
    assert found == {13.9: "2.00", 14.0: "2.00", 14.1: "3.00", 20.1: "4.00"}
    assert price_row(rows, "standard", what(size_in=None))["amount"] == "4.00"
    assert price_row(rows, "contract", what()) is None


def test_a_discount_is_rounded_once():
    """74.65 × 0.9 = 67.185."""
    assert discounted(money("74.65"), money("10")) == money("67.19")


def test_sums_are_the_same_in_any_order():
    chance = random.Random(7)
    costs = [Cost(*(Decimal(chance.randrange(10**7)).scaleb(-2) for _ in range(3))) for _ in range(500)]
    whole = summed(costs)
    for _ in range(5):
        chance.shuffle(costs)
        assert summed(costs) == whole


def test_a_share_is_told_to_a_tenth():
    assert share_pct(money("1.00"), money("3.00")) == money("33.3")
    assert share_pct(money("1.00"), money("0.00")) is None


# -- decimals in shop tables ------------------------------------------------------


def amount_cell(value):
    schema = TableSchema("t", "T", "", (Column("amount", "Amount", kind="decimal", low=0, high=1000),))
    return tables.check_rows(schema, [{"amount": value}])[0]["amount"]


@pytest.mark.parametrize(
    "given, kept",
    [("12.50", "12.5"), (12.5, "12.5"), ("0.1", "0.1"), (7, "7"), ("100", "100"), ("1e2", "100")],
)
def test_an_amount_in_a_table_is_kept_as_digits(given, kept):
    assert amount_cell(given) == kept


@pytest.mark.parametrize("given", ["abc", "NaN", "Infinity", "-1", "1000.01", "0.12345", True, "1,5", ""])
def test_a_wrong_amount_in_a_table_is_refused_with_its_limits(given):
    with pytest.raises(WrongInput) as refused:
        amount_cell(given)
    (error,) = refused.value.errors
    assert error.field == "rows[0].amount"
    assert error.limit == "a number from 0 to 1000 with at most 4 digits after the point"
