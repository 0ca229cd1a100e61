"""The pages of the shop's tables: the grid, its errors, versions, bringing one back."""

import pytest

from fittings import tables
from fittings.models import TableVersion

pytestmark = pytest.mark.django_db


def grid_data(name, *, seen=1, **changes):
    """What the grid of a table posts; changes are named `r<row>_<column>`, or `remove_<row>`."""
    columns = [column.name for column in tables.schema_of(name).columns]
    data = {"seen": str(seen), "note": changes.pop("note", "")}
    for at, row in enumerate(tables.rows(name)):
        data |= {f"{at}-{column}": "" if row[column] is None else str(row[column]) for column in columns}
    for key, value in changes.items():
        head, _, rest = key.partition("_")
        data[f"{rest}-remove" if head == "remove" else f"{head[1:]}-{rest}"] = value
    return data


def test_list_names_every_table_with_its_version(office_page):
    page = office_page.get("/tables/").content.decode()
    for schema in tables.SCHEMAS.values():
        assert schema.title in page
    assert "84" in page


def test_long_table_opens_whole(office_page):
    page = office_page.get("/tables/gauges/").content.decode()
    assert 'name="83-gauge"' in page
    assert "Save as version 2" in page


def test_changed_cell_makes_a_new_version(office_page):
    answer = office_page.post("/tables/stock/", grid_data("stock", r0_length_in="100", note="Longer sheets"))
    version = TableVersion.objects.get(table="stock", number=2)
    assert answer.status_code == 302
    assert version.rows[0]["length_in"] == 100
    assert version.note == "Longer sheets"
    assert tables.rows("stock")[0]["length_in"] == 100


def test_fraction_is_read_in_a_number(office_page):
    office_page.post("/tables/allowances/", grid_data("allowances", r2_amount_in="3/8"))
    assert tables.rows("allowances")[2]["amount_in"] == 0.375


def test_row_is_added_and_another_removed(office_page):
    new = {
        "r9_name": "72x144",
        "r9_form": "sheet",
        "r9_width_in": "72",
        "r9_length_in": "144",
        "r9_source": "us",
    }
    office_page.post("/tables/stock/", grid_data("stock", remove_1="on", **new))
    assert [row["name"] for row in tables.rows("stock")] == ["48x96", "60x120", "72x144"]


def test_blank_rows_are_left_out_and_nothing_changed_makes_no_version(office_page):
    blank = {f"r9_{column.name}": "" for column in tables.schema_of("stock").columns}
    answer = office_page.post("/tables/stock/", grid_data("stock", **blank), follow=True)
    assert "no new version was made" in answer.content.decode()
    assert TableVersion.objects.filter(table="stock").count() == 1


def test_wrong_cells_are_named_by_the_row_on_the_page(office_page):
    data = grid_data("stock", remove_0="on", r2_width_in="wide", r1_name="")
    answer = office_page.post("/tables/stock/", data)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "Row 3: Width, in is “wide”; it can be a number from 1 to 240." in page
    assert "Row 2: Name is empty; it can be a text of 1 to 400 characters." in page
    assert 'value="wide"' in page
    assert 'name="0-remove" checked' in page
    assert TableVersion.objects.filter(table="stock").count() == 1


def test_repeated_row_is_named_by_the_rows_on_the_page(office_page):
    data = grid_data("stock", remove_0="on", r2_name="48x120")
    page = office_page.post("/tables/stock/", data).content.decode()
    assert "Row 3 repeats row 2: 48x120." in page


def test_second_editor_is_told_and_keeps_what_was_typed(office_page):
    office_page.post("/tables/stock/", grid_data("stock", r0_length_in="100"))
    answer = office_page.post("/tables/stock/", grid_data("stock", seen=1, r0_length_in="101"))
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Someone else changed this table" in page
    assert 'value="101"' in page
    assert tables.rows("stock")[0]["length_in"] == 100


def test_older_version_is_shown_and_brought_back(office_page):
    office_page.post("/tables/stock/", grid_data("stock", r0_length_in="100"))
    page = office_page.get("/tables/stock/1/").content.decode()
    assert "changed or gone" in page
    assert "the same" in page
    answer = office_page.post("/tables/stock/1/bring-back/", {"seen": "2"})
    assert answer.status_code == 302
    assert tables.rows("stock")[0]["length_in"] == 96
    assert TableVersion.objects.get(table="stock", number=3).note == "Version 1 brought back"


def test_bringing_back_needs_a_post_and_the_version_seen(office_page):
    office_page.post("/tables/stock/", grid_data("stock", r0_length_in="100"))
    assert office_page.get("/tables/stock/1/bring-back/").status_code == 405
    assert office_page.post("/tables/stock/1/bring-back/", {"seen": "1"}).status_code == 409
    assert TableVersion.objects.filter(table="stock").count() == 2


def test_unknown_table_and_version_say_what_there_is(office_page):
    unknown = office_page.get("/tables/no-such-table/")
    assert unknown.status_code == 404
    assert "There is no shop table “no-such-table”" in unknown.content.decode()
    assert "the newest is 1" in office_page.get("/tables/stock/9/").content.decode()


def test_display_may_not_change_tables(browse):
    assert browse("display").post("/tables/stock/", {}).status_code == 403
