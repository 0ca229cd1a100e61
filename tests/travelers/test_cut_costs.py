"""What the metal of fittings costs, against figures computed by hand beside the checks."""

import doctest
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fittings import money, stock_reading
from fittings.models import CutPiece, CutSheet, Segment
from tests import factories
from tests.travelers.cut_rows import item, plan, sheet, take_off, two_fittings
from tests.travelers.floor import Floor, floor
from travelers import cut_costs
from travelers.cut_costs import fitting_material_cost, line_material_cost, shared_out
from travelers.release import order_release

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("module", [money, stock_reading, cut_costs])
def test_examples_of_the_docstrings_hold(module):
    found = doctest.testmod(module)
    assert (found.failed, found.attempted > 0) == (0, True)


# -- sharing a sheet's cost ---------------------------------------------------


@pytest.mark.parametrize(
    ("amount", "areas", "shares"),
    [
        ("30.00", [1296, 864, 432], ["15.00", "10.00", "5.00"]),
        ("10.00", [1, 1, 1], ["3.34", "3.33", "3.33"]),
        ("0.02", [1, 1, 1], ["0.01", "0.01", "0.00"]),
        ("1.00", [1, 1, 2.5], ["0.22", "0.22", "0.56"]),  # 22.2, 22.2 and 55.5 cents: the odd cent to the .5
        ("0.00", [5, 6], ["0.00", "0.00"]),
        ("9.99", [7.25], ["9.99"]),
    ],
)
def test_a_cost_is_shared_by_area_to_the_cent(amount, areas, shares):
    assert shared_out(Decimal(amount), areas) == [Decimal(share) for share in shares]


@given(
    st.integers(min_value=0, max_value=10**8),
    st.lists(st.integers(min_value=1, max_value=10**7), min_size=1, max_size=60),
)
def test_shares_add_up_to_the_cost_and_none_is_a_cent_off(cents, thousandths):
    areas = [one / 1000 for one in thousandths]
    shares = shared_out(Decimal(cents).scaleb(-2), areas)
    assert sum(shares) * 100 == cents
    for share, part in zip(shares, thousandths, strict=True):
        exact = Fraction(cents * part, sum(thousandths))
        assert share >= 0
        assert abs(Fraction(share) * 100 - exact) < 1


# -- cost of fittings ---------------------------------------------------------


def costs(on: Floor) -> list[str | None]:
    found = fitting_material_cost([one.pk for one in on.fittings])
    return [None if found[one.pk] is None else str(found[one.pk]) for one in on.fittings]


def test_a_fitting_costs_the_shares_of_its_segments_with_the_remnant_given_back(on):
    assert costs(on) == [None, None]
    two_fittings(on)
    assert costs(on) == ["30.00", "40.00"]
    assert line_material_cost(on.order) == {on.order.lines.get().pk: Decimal("70.00")}


def test_fittings_that_share_a_sheet_share_its_cost(on):
    stock, of = item(), plan()
    placed = [(on.segment(position, fitting), 100) for fitting in (1, 2) for position in (1, 2, 3)]
    sheet(of, stock, *placed, cost="40.00")
    # 40.00 / 6 is 6.666: four pieces, the first ones, bear 6.67 and two 6.66
    assert costs(on) == ["20.01", "19.99"]


def test_a_plan_that_was_not_sent_costs_nothing_yet(on):
    two_fittings(on, state="made")
    assert costs(on) == [None, None]
    assert line_material_cost(on.order) == {}


def test_a_price_that_is_missing_makes_the_cost_not_known(on):
    two_fittings(on)
    CutSheet.objects.filter(position=2).update(cost=None)
    assert costs(on) == ["30.00", None]
    assert line_material_cost(on.order) == {on.order.lines.get().pk: None}


def test_a_segment_that_no_plan_cut_makes_the_cost_not_known(on):
    sheet(plan(), item(), (on.segment(1), 500), (on.segment(2), 500))
    assert costs(on) == [None, None]


def test_a_segment_made_again_adds_its_own_share(on):
    two_fittings(on)
    on.scan("cut", on.segment(1, fitting=2).code, "scrap", reason="Dented")
    again = on.segment(1, fitting=2, generation=2)
    assert costs(on) == ["30.00", None]
    sheet(plan(), item(), (again, 1152), cost="8.00")
    assert costs(on) == ["30.00", "48.00"]


def test_a_piece_taken_off_leaves_its_share_to_the_others(on):
    two_fittings(on)
    gone = on.segment(1)
    take_off(gone)
    # the 30.00 lie on 864 and 432 in² now: 20.00 and 10.00, and segment 1 is not cut yet
    assert costs(on) == [None, "40.00"]
    sheet(plan(), item(), (gone, 1296), cost="12.00")
    assert costs(on) == ["42.00", "40.00"]


def test_a_void_segment_counts_only_if_it_was_cut(on):
    two_fittings(on)
    Segment.objects.filter(pk=on.segment(1).pk).update(state="void")
    never = on.segment(2, fitting=2)
    CutPiece.objects.filter(segment=never).delete()
    Segment.objects.filter(pk=never.pk).update(state="void")
    assert costs(on) == ["30.00", "40.00"]


def test_a_segment_of_plates_costs_all_of_them(shop):
    wide = factories.line(quantity=1, kind="pipe", params={"diameter": 60, "length": 40})
    order = order_release(
        number=factories.order(lines=[wide]).number, actor=factories.OFFICE_ACTOR, now=factories.NOW
    )
    segment = Segment.objects.get()
    development = order.lines.get().development["segments"][0]
    assert len(development["plates"]) == 2  # 60 in across is 188.5 in round, more than a sheet of 120 in
    sheet(plan(), item(), (segment, 3000, 1), cost="30.00")
    fitting = order.fittings.get().pk
    assert fitting_material_cost([fitting]) == {fitting: None}
    sheet(plan(), item(), (segment, 3000, 2), cost="31.00")
    assert fitting_material_cost([fitting]) == {fitting: Decimal("61.00")}


def test_the_cost_of_fittings_takes_the_same_few_queries(on, django_assert_max_num_queries):
    two_fittings(on)
    with django_assert_max_num_queries(6):
        fitting_material_cost([one.pk for one in on.fittings])
    with django_assert_max_num_queries(7):
        line_material_cost(on.order)


def test_a_line_of_which_one_fitting_is_not_cut_is_not_known(shop):
    on = floor(quantity=3)
    two_fittings(on)
    assert line_material_cost(on.order) == {on.order.lines.get().pk: None}
