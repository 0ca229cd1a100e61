"""Stock on hand: what may be added and changed, and what is there to cut from."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fittings import stock
from fittings.cut_settings import cut_settings
from fittings.models import StockItem, TableVersion
from fittings.services import table_change
from shared.codes import read_code
from shared.problems import Conflict, NotFound, WrongInput
from tests.factories import NOW, OFFICE_ACTOR, SUPERVISOR_ACTOR

pytestmark = pytest.mark.django_db


def values(**changes):
    """Twenty sheets as the API takes them; a coil is not counted, a remnant is one."""
    count = {} if changes.get("form", "sheet") != "sheet" else {"count": 20}
    metal = {"form": "sheet", "material": "galvanized", "gauge": 24}
    return {**metal, "width": 48, "length": 120, "cost_each": "41.50", **count, **changes}


def made(**changes) -> StockItem:
    return stock.stock_create(values=values(**changes), actor=OFFICE_ACTOR, now=NOW)


def change(item, **changed) -> StockItem:
    given = {"version": item.version, **changed}
    return stock.stock_change(pk=item.pk, values=given, actor=SUPERVISOR_ACTOR, now=NOW + timedelta(hours=1))


def refused(**changes) -> list:
    with pytest.raises(WrongInput) as wrong:
        made(**changes)
    assert StockItem.objects.count() == 0
    return [(error.field, error.message) for error in wrong.value.errors]


def setting(key, value):
    rows = [
        {**row, "value": value} if row["key"] == key else row
        for row in TableVersion.objects.filter(table="shop").latest("number").rows
    ]
    version = TableVersion.objects.filter(table="shop").latest("number").number
    table_change(name="shop", data={"rows": rows, "version": version}, actor=OFFICE_ACTOR, now=NOW)


# -- adding ------------------------------------------------------------------


def test_a_sheet_is_kept_as_it_was_given_and_named_after_its_size(shop):
    item = made()
    item.refresh_from_db()
    assert (item.name, item.form, item.material, item.gauge) == ("48x120", "sheet", "galvanized", 24)
    assert (item.width_in, item.length_in, item.count, item.cost_each) == (48, 120, 20, Decimal("41.50"))
    assert (item.version, item.changed_by, item.changed_at, item.code) == (1, "office", NOW, "")


@pytest.mark.parametrize(
    ("width", "length", "unit", "inches"),
    [
        ("47 1/2", "119-3/4", "in", (47.5, 119.75)),
        ("1219.2 mm", "10 ft", "in", (48.0, 120.0)),
        (1219.2, "2438.4", "mm", (48.0, 96.0)),
    ],
)
def test_lengths_are_read_as_people_type_them(shop, width, length, unit, inches):
    item = made(width=width, length=length, unit=unit)
    assert (item.width_in, item.length_in) == pytest.approx(inches, abs=1e-9)


def test_count_and_cost_may_be_empty(shop):
    for empty in (None, "", "  "):
        item = made(count=empty, cost_each=empty)
        assert (item.count, item.cost_each) == (None, None)
        item.delete()


def test_a_coil_has_a_width_a_longest_cut_and_a_price_by_the_foot(shop):
    item = made(form="coil", length=240, cost_each=2.75)
    assert (item.name, item.width_in, item.length_in, item.cost_each) == ("48 coil", 48, 240, Decimal("2.75"))


def test_a_remnant_gets_a_code_of_the_shop_and_counts_one(shop):
    item = made(form="remnant", width="20 1/4", length=33)
    assert read_code(item.code) == item.code
    assert (item.name, item.count) == (f"Remnant {item.code}", 1)


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        (
            {"material": "unobtainium"},
            "material",
            "Material is “unobtainium”; it can be galvanized, carbon steel",
        ),
        ({"gauge": 9}, "gauge", "Gauge is 9; galvanized can be 10 to 30."),
        ({"gauge": "24.5"}, "gauge", "Gauge is “24.5”"),
        ({"form": "plate"}, "form", "Form is “plate”; it can be sheet, coil, remnant."),
        ({"width": 0.5}, "width", "Width is 0.5 in; it can be 1 to 240 in."),
        ({"width": 241}, "width", "Width is 241 in; it can be 1 to 240 in."),
        ({"width": "wide"}, "width", "“wide” is not a length"),
        ({"width": None}, "width", "Width is missing"),
        (
            {"length": 240.5},
            "length",
            "Length is 240.5 in; it can be 1 to 240 in. The cutting table takes no longer piece.",
        ),
        ({"length": "6500", "unit": "mm"}, "length", "Length is 6500 mm; it can be 25.4 to 6096 mm."),
        ({"form": "coil", "length": 300}, "length", "Longest cut is 300 in; it can be 1 to 240 in."),
        ({"form": "coil", "count": 3}, "count", "A coil is not counted."),
        ({"form": "remnant", "count": 2}, "count", "Count is 2; it can be 0 or 1."),
        ({"count": -1}, "count", "Count is -1; it can be a whole number from 0 to 999999"),
        ({"count": 2.5}, "count", "Count is 2.5;"),
        ({"count": True}, "count", "Count is true;"),
        ({"count": "many"}, "count", "Count is “many”;"),
        ({"cost_each": "41.505"}, "cost_each", "at most two digits after the point"),
        ({"cost_each": -1}, "cost_each", "Cost is -1; it can be 0 to 999999.99"),
        ({"cost_each": "1e3"}, "cost_each", "Cost is “1e3”"),
        ({"cost_each": 1000000}, "cost_each", "Cost is 1000000"),
        ({"name": "x" * 41}, "name", "Name has 41 characters"),
        ({"note": "a\x00b"}, "note", "control characters"),
        ({"colour": "blue"}, "colour", "“colour” is not a field here."),
        ({"unit": "ft"}, "unit", "Unit is “ft”; it can be in, mm."),
    ],
)
def test_what_is_wrong_is_refused_by_field_value_and_limit(shop, changed, field, sentence):
    found = dict(refused(**changed))
    assert sentence in found[field]


def test_all_wrong_fields_are_named_at_once(shop):
    fields = [field for field, _ in refused(material="tin", width=0, length=999, count="x", cost_each="y")]
    assert fields == ["material", "width", "length", "count", "cost_each"]


def test_the_longest_is_the_table_of_the_shop(shop):
    setting("table_length_in", "100")
    assert cut_settings().table_length_in == 100
    assert "it can be 1 to 100 in" in dict(refused(length=120))["length"]
    assert made(length=100).length_in == 100


def test_a_metal_has_a_size_once_and_a_name_once(shop):
    first = made()
    for twin in (values(name="another"), values(name="48X120", width=30), values(width="1219.2 mm")):
        with pytest.raises(WrongInput) as wrong:
            stock.stock_create(values=twin, actor=OFFICE_ACTOR, now=NOW)
        assert "48x120" in wrong.value.detail
    assert StockItem.objects.count() == 1
    made(gauge=26)
    made(form="coil")
    stock.stock_retire(pk=first.pk, actor=OFFICE_ACTOR, now=NOW)
    assert made().pk != first.pk


def test_remnants_of_one_size_may_be_many(shop):
    codes = {made(form="remnant", width=20, length=30).code for _ in range(3)}
    assert len(codes) == 3


def test_the_usual_sizes_are_added_at_once_but_for_those_that_are_there(shop):
    made(count=7)
    added = stock.stock_add_usual(
        values={"material": "galvanized", "gauge": "24"}, actor=OFFICE_ACTOR, now=NOW
    )
    assert [(item.name, item.count, item.cost_each) for item in added] == [
        ("48x96", None, None),
        ("60x120", None, None),
    ]
    assert StockItem.objects.get(name="48x120").count == 7
    again = stock.stock_add_usual(values={"material": "galvanized", "gauge": 24}, actor=OFFICE_ACTOR, now=NOW)
    assert again == []


def test_the_usual_sizes_leave_out_what_the_table_does_not_take(shop):
    setting("table_length_in", "100")
    added = stock.stock_add_usual(values={"material": "stainless", "gauge": 20}, actor=OFFICE_ACTOR, now=NOW)
    assert [item.name for item in added] == ["48x96"]


def test_the_usual_sizes_of_an_unknown_metal_are_refused(shop):
    with pytest.raises(WrongInput) as wrong:
        stock.stock_add_usual(values={"material": "tin", "gauge": 24}, actor=OFFICE_ACTOR, now=NOW)
    assert [error.field for error in wrong.value.errors] == ["material"]
    assert StockItem.objects.count() == 0


# -- changing ----------------------------------------------------------------


def test_a_change_says_who_and_counts_the_version_up(shop):
    item = change(made(), count=17, cost_each="43.25", note="Rack 3")
    item.refresh_from_db()
    assert (item.count, item.cost_each, item.note) == (17, Decimal("43.25"), "Rack 3")
    assert (item.version, item.changed_by, item.changed_at) == (2, "supervisor", NOW + timedelta(hours=1))


def test_a_change_that_changes_nothing_keeps_the_version(shop):
    item = change(made(), count=20, cost_each=41.5, width="48 in")
    assert (item.version, item.changed_by) == (1, "office")


def test_a_remnant_is_there_or_not(shop):
    item = made(form="remnant", width=20, length=30, count="")
    assert item.count == 1
    with pytest.raises(WrongInput) as wrong:
        change(item, count=None)
    assert wrong.value.detail == "Count is missing; it can be 0 or 1."
    assert change(item, count=0).count == 0


def test_a_stale_change_is_refused_naming_the_versions(shop):
    item = made()
    change(item, count=17)
    with pytest.raises(Conflict) as stale:
        change(item, count=19)
    assert "is at version 2 now; you began with 1" in stale.value.detail
    assert "supervisor changed it" in stale.value.detail
    item.refresh_from_db()
    assert item.count == 17


def test_a_name_made_from_the_size_follows_it_and_one_given_stays(shop):
    assert change(made(), width=47).name == "47x120"
    given = change(made(name="Wide ones", width=60), length=96)
    assert (given.name, given.length_in) == ("Wide ones", 96)
    assert change(given, name="").name == "60x96"


def test_form_and_metal_stay(shop):
    item = made()
    with pytest.raises(WrongInput) as wrong:
        change(item, form="coil", material="stainless", gauge=26)
    assert [error.field for error in wrong.value.errors] == ["form", "material", "gauge"]
    assert change(item, form="sheet", gauge=24, count=3).count == 3


def test_a_size_cannot_become_one_that_is_there(shop):
    made()
    other = made(length=96)
    with pytest.raises(WrongInput) as wrong:
        change(other, length=120)
    assert "Galvanized 24 ga has a size 48x120 already" in wrong.value.detail
    other.refresh_from_db()
    assert other.length_in == 96


def test_a_count_can_be_changed_when_the_size_is_beyond_a_shorter_table(shop):
    item = made()
    setting("table_length_in", "100")
    assert change(item, count=3, length=120).count == 3


def test_a_retired_item_is_out_of_the_stock_and_can_come_back(shop):
    item = made()
    retired = stock.stock_retire(pk=item.pk, actor=OFFICE_ACTOR, now=NOW, version=1)
    assert (retired.is_active, retired.version) == (False, 2)
    assert stock.stock_for("galvanized", 24) == []
    assert list(stock.stock_listed()) == []
    assert list(stock.stock_listed(is_retired=True)) == [item]
    assert change(retired, is_active=True).is_active
    assert stock.stock_for("galvanized", 24) == [item]


def test_a_retired_item_does_not_come_back_beside_its_successor(shop):
    retired = stock.stock_retire(pk=made().pk, actor=OFFICE_ACTOR, now=NOW)
    made()
    with pytest.raises(WrongInput):
        change(retired, is_active=True)
    assert StockItem.objects.filter(is_active=True).count() == 1


def test_retiring_with_an_old_version_is_refused(shop):
    item = made()
    change(item, count=1)
    with pytest.raises(Conflict):
        stock.stock_retire(pk=item.pk, actor=OFFICE_ACTOR, now=NOW, version=1)
    assert StockItem.objects.get().is_active


def test_an_unknown_item_is_not_found(shop):
    for act in (
        lambda: stock.stock_change(pk=9, values={"version": 1}, actor=OFFICE_ACTOR, now=NOW),
        lambda: stock.stock_retire(pk=9, actor=OFFICE_ACTOR, now=NOW),
        lambda: stock.stock_by_id(9),
    ):
        with pytest.raises(NotFound):
            act()


# -- what is there -----------------------------------------------------------


def test_stock_to_cut_from_is_remnants_smallest_first_then_sheets_then_coils(shop):
    coil = made(form="coil", length=240)
    large, small = made(width=60), made(length=96)
    big_rest = made(form="remnant", width=40, length=40)
    small_rest = made(form="remnant", width=20, length=60)
    made(form="remnant", width=10, length=10, count=0)
    made(width=30, length=60, count=0)
    made(gauge=26)
    uncounted = made(width=36, count=None)
    found = stock.stock_for("galvanized", 24)
    assert found == [small_rest, big_rest, uncounted, small, large, coil]
    assert stock.stock_for("galvanized", 24, ids=[large.pk, big_rest.pk]) == [big_rest, large]
    assert stock.stock_for("galvanized", 24, ids=[]) == []


def test_the_list_is_by_metal_and_filtered(shop):
    sheet, coil = made(), made(form="coil", length=240)
    rest = made(form="remnant", width=20, length=30)
    steel = made(material="carbon steel", gauge=14)
    assert list(stock.stock_listed()) == [steel, sheet, coil, rest]
    assert list(stock.stock_listed(material="galvanized", gauge="24", form="coil")) == [coil]
    assert list(stock.stock_listed(gauge=14)) == [steel]
    for wrong in ({"form": "plate"}, {"gauge": "x"}):
        with pytest.raises(WrongInput):
            stock.stock_listed(**wrong)
