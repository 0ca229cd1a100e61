"""What a plan takes out of the stock and leaves in it, what a sheet costs, and two plans at one moment."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import transaction

from fittings import stock
from fittings.models import CutSheet, StockItem
from shared.codes import read_code
from shared.problems import Conflict
from shared.turn import write_turn
from tests.factories import NOW, OFFICE_ACTOR
from tests.factories_cutting import plan_row, sheet_row
from tests.fittings.test_stock import change, made
from tests.threads import together

LATER = NOW + timedelta(hours=2)


def take(*sheets, now=LATER) -> None:
    with write_turn(), transaction.atomic():
        stock.stock_take(sheets=sheets, now=now)


def facts() -> list:
    return list(StockItem.objects.order_by("pk").values_list())


# -- taking ------------------------------------------------------------------


@pytest.mark.django_db
def test_counts_go_down_by_the_sheets_taken(shop):
    item, other = made(count=5), made(length=96, count=None)
    of = plan_row(number=12)
    take(sheet_row(of, item), sheet_row(of, other), sheet_row(of, item))
    item.refresh_from_db()
    other.refresh_from_db()
    assert (item.count, item.version, item.changed_by, item.changed_at) == (3, 2, "cut plan 12", LATER)
    assert (other.count, other.version) == (None, 1)


@pytest.mark.django_db
def test_the_last_sheets_may_go_and_one_more_may_not(shop):
    item = made(count=2)
    of = plan_row()
    take(sheet_row(of, item), sheet_row(of, item))
    before = facts()
    with pytest.raises(Conflict) as refused:
        take(sheet_row(of, item))
    assert (
        "48x120 galvanized 24 ga has run out meanwhile: the plan needs 1, none on hand."
        in refused.value.detail
    )
    assert facts() == before


@pytest.mark.django_db
def test_all_sizes_that_have_run_out_are_named_and_none_is_taken(shop):
    enough, short, none = made(count=9), made(length=96, count=1), made(width=60, count=0)
    of = plan_row()
    sheets = [sheet_row(of, enough), sheet_row(of, short), sheet_row(of, short), sheet_row(of, none)]
    before = facts()
    with pytest.raises(Conflict) as refused:
        take(*sheets)
    assert [error.value for error in refused.value.errors] == [short.pk, none.pk]
    assert "the plan needs 2, 1 on hand" in refused.value.detail
    assert facts() == before


@pytest.mark.django_db
def test_a_size_retired_or_changed_meanwhile_is_refused(shop):
    retired, changed = made(), made(length=96)
    of = plan_row()
    sheets = [sheet_row(of, retired), sheet_row(of, changed)]
    stock.stock_retire(pk=retired.pk, actor=OFFICE_ACTOR, now=NOW)
    change(changed, length=90)
    with pytest.raises(Conflict) as refused:
        take(sheets[0])
    assert "was retired meanwhile" in refused.value.detail
    with pytest.raises(Conflict) as refused:
        take(sheets[1])
    assert "another size now" in refused.value.detail


@pytest.mark.django_db
def test_a_coil_is_not_counted_down(shop):
    coil = made(form="coil", length=240)
    of = plan_row()
    take(*(sheet_row(of, coil, used_length_in=used) for used in (100, 240)))
    coil.refresh_from_db()
    assert (coil.count, coil.is_active, coil.version) == (None, True, 1)


@pytest.mark.django_db
def test_a_remnant_is_taken_once(shop):
    rest = made(form="remnant", width=20, length=30)
    of = plan_row()
    take(sheet_row(of, rest))
    rest.refresh_from_db()
    assert (rest.count, rest.is_active) == (0, False)
    with pytest.raises(Conflict) as refused:
        take(sheet_row(of, rest))
    assert "was used meanwhile" in refused.value.detail


# -- remnants ----------------------------------------------------------------


def left(of, item, **changes) -> CutSheet:
    credit = changes.pop("credit", Decimal("12.45"))
    return sheet_row(
        of,
        item,
        remnant_width_in=48,
        remnant_length_in=36,
        remnant_credit=credit,
        used_length_in=84,
        **changes,
    )


@pytest.mark.django_db
def test_the_remnant_of_a_sheet_waits_with_a_code_until_the_sheet_is_cut(shop):
    item = made()
    of = plan_row(number=4)
    one, other = left(of, item, code="DX00001"), sheet_row(of, item)
    take(one, other)
    rest = StockItem.objects.get(form="remnant")
    assert read_code(rest.code) == rest.code
    assert (rest.name, rest.material, rest.gauge) == (f"Remnant {rest.code}", "galvanized", 24)
    assert (rest.width_in, rest.length_in, rest.cost_each) == (48, 36, Decimal("12.45"))
    assert (rest.count, rest.made_from, rest.changed_by, rest.changed_at) == (0, one, "cut plan 4", LATER)
    assert stock.stock_for("galvanized", 24) == [item]
    answer = stock.stock_answer(stock.stock_by_id(rest.pk))
    assert (answer["plan"], answer["made_from"]) == (4, "DX00001")
    stock.remnants_arrive(one, is_back=False)
    assert stock.stock_for("galvanized", 24) == [rest, item]
    stock.remnants_arrive(one, is_back=False)
    rest.refresh_from_db()
    assert (rest.count, rest.version) == (1, 2)
    stock.remnants_arrive(one, is_back=True)
    assert stock.stock_for("galvanized", 24) == [item]


@pytest.mark.django_db
def test_a_sheet_without_a_remnant_makes_none_arrive(shop):
    item = made()
    of = plan_row()
    one, other = left(of, item), sheet_row(of, item)
    take(one, other)
    stock.remnants_arrive(other, is_back=False)
    assert StockItem.objects.get(form="remnant").count == 0


@pytest.mark.django_db
def test_a_remnant_that_was_used_meanwhile_does_not_come_back(shop):
    item = made()
    one = left(plan_row(), item)
    take(one)
    rest = StockItem.objects.get(form="remnant")
    stock.remnants_arrive(one, is_back=False)
    take(sheet_row(plan_row(), rest))
    for is_back in (True, False):
        stock.remnants_arrive(one, is_back=is_back)
        rest.refresh_from_db()
        assert (rest.count, rest.is_active) == (0, False)


@pytest.mark.django_db
def test_a_refused_plan_makes_no_remnant_and_uses_no_code(shop):
    item = made(count=1)
    of = plan_row()
    sheets = [left(of, item), left(of, item)]
    with pytest.raises(Conflict):
        take(*sheets)
    assert not StockItem.objects.filter(form="remnant").exists()


# -- money -------------------------------------------------------------------


@pytest.mark.django_db
def test_a_sheet_costs_its_price_and_a_coil_its_length(shop):
    assert stock.sheet_cost(made(), 60) == Decimal("41.50")
    coil = made(form="coil", length=240, cost_each="2.75")
    assert stock.sheet_cost(coil, 120) == Decimal("27.50")  # ten feet
    assert stock.sheet_cost(coil, 100) == Decimal("22.92")  # 8.3333 ft at 2.75 is 22.9167
    coil.cost_each = None
    assert stock.sheet_cost(coil, 120) is None


@pytest.mark.django_db
def test_a_remnant_is_worth_its_share_of_the_area(shop):
    item = made()
    assert stock.remnant_credit(item, 48, 36) == Decimal("12.45")  # 36 of 120 in: 0.3 × 41.50
    assert stock.remnant_credit(item, 24, 20) == Decimal("3.46")  # a twelfth: 3.4583
    assert stock.remnant_credit(item, None, None) == Decimal("0.00")
    coil = made(form="coil", length=240)
    assert stock.remnant_credit(coil, 48, 36) == Decimal("0.00")
    item.cost_each = None
    assert stock.remnant_credit(item, 48, 36) is None


# -- at one moment -----------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_of_two_plans_for_the_last_sheet_the_second_is_told_and_changes_nothing(live_shop):
    item, other = made(count=1), made(length=96, count=10)
    plans = [plan_row(), plan_row()]
    wanted = {of.number: [sheet_row(of, other), left(of, item)] for of in plans}
    told = []

    def send(number):
        try:
            take(*wanted[number])
        except Conflict as conflict:
            told.append((number, conflict.detail))

    together(lambda: send(1), lambda: send(2))
    [(loser, sentence)] = told
    assert "48x120 galvanized 24 ga has run out meanwhile" in sentence
    item.refresh_from_db()
    other.refresh_from_db()
    assert (item.count, other.count) == (0, 9)
    assert [rest.made_from.plan.number for rest in StockItem.objects.filter(form="remnant")] == [3 - loser]


@pytest.mark.django_db(transaction=True)
def test_two_plans_that_name_the_same_sizes_in_another_order_both_get_them(live_shop):
    items = [made(count=20, length=length) for length in (96, 108, 120)]
    rounds = 5
    plans = {number: plan_row(number=number) for number in range(1, 2 * rounds + 1)}
    sheets = {
        number: [sheet_row(of, item) for item in (items if number % 2 else items[::-1])]
        for number, of in plans.items()
    }

    def send(numbers):
        for number in numbers:
            take(*sheets[number])

    together(lambda: send(range(1, 2 * rounds, 2)), lambda: send(range(2, 2 * rounds + 1, 2)))
    assert list(StockItem.objects.values_list("count", flat=True)) == [20 - 2 * rounds] * 3


@pytest.mark.django_db(transaction=True)
def test_one_size_added_twice_at_one_moment_is_there_once(live_shop):
    told = []

    def add(name):
        try:
            made(name=name)
        except Exception as error:  # told to the assertion below
            told.append(type(error).__name__)

    together(lambda: add("one name"), lambda: add("another"))
    assert told == ["WrongInput"]
    assert StockItem.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_of_two_editors_at_one_moment_one_is_told(live_shop):
    item = made()
    told = []

    def count(number):
        try:
            change(item, count=number, width=48)
        except Conflict as conflict:
            told.append(conflict.extra["version"])

    together(lambda: count(1), lambda: count(2))
    assert told == [2]
    item.refresh_from_db()
    assert (item.version, item.count in (1, 2)) == (2, True)
