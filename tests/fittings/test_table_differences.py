"""What two versions of a table differ by; the settings of the shop that are checked by what they are."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fittings import tables
from fittings.models import TableVersion
from fittings.services import table_change
from fittings.table_differences import ADDED, CHANGED, GONE, differences
from shared.problems import WrongInput
from tests.factories import NOW, OFFICE_ACTOR
from tests.pages import text_of

COLUMNS = (("material", "Material"), ("gauge", "Gauge"), ("amount", "Amount, in"))
ONCE = ("material", "gauge")


def row(material: str, gauge: int, amount) -> dict:
    return {"material": material, "gauge": gauge, "amount": amount}


def test_a_changed_an_added_and_a_gone_row_are_told_with_their_cells():
    before = [row("galvanized", 24, 0.5), row("galvanized", 22, 0.5), row("stainless", 20, 0.0)]
    after = [row("galvanized", 22, 0.5), row("galvanized", 24, 0.625), row("aluminum", 18, None)]
    changed, added, gone = differences(COLUMNS, ONCE, before, after)
    assert (changed.what, changed.row, changed.name) == (CHANGED, 2, "galvanized, 24")
    assert [(cell.label, cell.before, cell.after) for cell in changed.cells] == [("Amount, in", 0.5, 0.625)]
    assert (added.what, added.row, added.name) == (ADDED, 3, "aluminum, 18")
    assert (gone.what, gone.row, gone.name) == (GONE, 3, "stainless, 20")
    assert [(cell.before, cell.after) for cell in gone.cells] == [(0.0, None)]


def test_another_order_of_rows_is_no_difference():
    rows = [row("a", 1, 1), row("b", 2, 2)]
    assert differences(COLUMNS, ONCE, rows, rows[::-1]) == []


def test_equal_rows_of_a_table_without_a_key_are_counted():
    one = row("a", 1, 1)
    [found] = differences(COLUMNS, (), [one, one], [one])
    assert (found.what, found.row) == (GONE, 2)


KEYS = st.tuples(st.sampled_from("abc"), st.integers(1, 3))
TABLES = st.dictionaries(KEYS, st.integers(0, 2), max_size=9)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(TABLES, TABLES)
def test_what_differs_is_what_two_plain_dictionaries_say(before, after):
    """Read the same two tables as dictionaries by key: the three sets must agree, whatever the tables."""

    def rows(table):
        return [row(material, gauge, amount) for (material, gauge), amount in table.items()]

    found = differences(COLUMNS, ONCE, rows(before), rows(after))
    told = {what: {one.name for one in found if one.what == what} for what in (ADDED, GONE, CHANGED)}
    name = lambda key: f"{key[0]}, {key[1]}"  # noqa: E731
    assert told[ADDED] == {name(key) for key in after.keys() - before.keys()}
    assert told[GONE] == {name(key) for key in before.keys() - after.keys()}
    assert told[CHANGED] == {name(key) for key in before.keys() & after.keys() if before[key] != after[key]}


# -- the page ------------------------------------------------------------------


def test_a_versions_page_says_what_it_changed_and_what_bringing_it_back_would(office_page):
    rows = [dict(one) for one in tables.rows("stock")]
    name, width = rows[0]["name"], rows[0]["width_in"]
    first = TableVersion.objects.get(table="stock", number=1)
    rows[0]["width_in"] = width + 1
    table_change(name="stock", data={"rows": rows, "version": 1, "note": ""}, actor=OFFICE_ACTOR, now=NOW)
    second = text_of(office_page.get("/tables/stock/2/"))
    told = second.split("What this version changed")[1].split("All rows")[0]
    assert f"{name} changed Width, in: {width} → {width + 1}" in told
    assert "What bringing it back" not in second
    old = text_of(office_page.get("/tables/stock/1/"))
    assert "What this version changed" not in old
    back = old.split("What bringing it back would change")[1].split("All rows")[0]
    assert f"{name} changed Width, in: {width + 1} → {width}" in back
    answer = office_page.post("/tables/stock/1/bring-back/", {"seen": 2})
    assert answer.status_code == 302
    assert TableVersion.objects.get(table="stock", number=3).rows == first.rows


# -- the shop's own settings ------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "value", "limit"),
    [
        ("unit", "feet", "in, mm"),
        ("language", "fr", "en, es"),
        ("turns", "some", "any, half, none"),
        ("part_gap_in", "-1", "0 to 2"),
        ("part_gap_in", "much", "0 to 2"),
        ("part_gap_in", "nan", "0 to 2"),
        ("quote_days", "0", "1 to 366"),
        ("currency", "dollars", "at most 5"),
        ("currency", "", "1 to 5"),
        ("name", "", "1 to 60"),
        ("name", "x" * 61, "at most 60"),
    ],
)
def test_a_setting_that_its_key_cannot_have_is_refused_beside_its_cell(key, value, limit, shop):
    rows = [dict(one) for one in tables.rows("shop")]
    at = next(at for at, one in enumerate(rows) if one["key"] == key)
    rows[at]["value"] = value
    before = TableVersion.objects.count()
    with pytest.raises(WrongInput) as wrong:
        table_change(name="shop", data={"rows": rows, "version": 1, "note": ""}, actor=OFFICE_ACTOR, now=NOW)
    [error] = wrong.value.errors
    assert error.field == f"rows[{at}].value" and limit in error.message
    assert TableVersion.objects.count() == before


def test_a_setting_of_ones_own_may_have_any_value(shop):
    rows = [*map(dict, tables.rows("shop")), {"key": "own", "value": "anything", "note": ""}]
    made = table_change(
        name="shop", data={"rows": rows, "version": 1, "note": ""}, actor=OFFICE_ACTOR, now=NOW
    )
    assert made.number == 2


# -- the page of the shop's name ----------------------------------------------------

NAMED = {
    "name": "Invented Round Works",
    "address": "1 Invented Street\n\n Nowhere ",
    "phone": "555-0199",
    "unit": "mm",
    "currency": "CAD",
    "language": "es",
    "seen": 1,
}


def settings_now() -> dict:
    return {one["key"]: one["value"] for one in tables.rows("shop")}


def test_the_page_of_the_shop_saves_a_new_version_and_leaves_the_rest(office_page):
    before = settings_now()
    assert office_page.post("/settings/shop/", NAMED).status_code == 302
    assert settings_now() == before | {
        "name": "Invented Round Works",
        "address": "1 Invented Street; Nowhere",
        "phone": "555-0199",
        "unit": "mm",
        "currency": "CAD",
        "language": "es",
    }
    page = office_page.get("/settings/shop/").content.decode()
    assert "1 Invented Street\nNowhere</textarea>" in page
    office_page.post("/settings/shop/", NAMED | {"seen": 2})
    assert tables.versions_in_force()["shop"] == 2, "nothing was different"


@pytest.mark.parametrize(
    ("changes", "status", "words"),
    [
        ({"name": ""}, 400, "Enter the name"),
        ({"address": "a\nb\nc\nd\ne"}, 400, "at most 4 lines"),
        ({"unit": "feet"}, 400, "feet"),
        ({"seen": 7}, 409, "version 1 now"),
    ],
)
def test_a_wrong_shop_is_named_and_saves_nothing(changes, status, words, office_page):
    answer = office_page.post("/settings/shop/", NAMED | changes)
    assert answer.status_code == status
    assert words in text_of(answer)
    assert tables.versions_in_force()["shop"] == 1
