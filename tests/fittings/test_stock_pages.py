"""The pages of the stock."""

import re

import pytest

from fittings.models import StockItem
from tests.factories_cutting import plan_row
from tests.fittings.test_stock import change, made, setting
from tests.fittings.test_stock_take import left, take
from tests.pages import browser_of, text_of

pytestmark = pytest.mark.django_db
FORM = {"form": "sheet", "material": "galvanized", "gauge": "24", "width": "48", "length": "120"}


def test_list_has_its_two_blank_screens_and_a_way_on(office_page):
    assert "No stock yet" in text_of(office_page.get("/stock/"))
    made()
    assert "No stock matches" in text_of(office_page.get("/stock/", {"gauge": "10"}))
    assert "48x120" in text_of(office_page.get("/stock/"))


def test_list_is_by_metal_with_size_count_cost_and_where_remnants_come_from(office_page):
    item = made(width="47 1/2")
    one = left(plan_row(number=7), item, code="DX00001")
    take(one)
    shown = text_of(office_page.get("/stock/"))
    assert "24 ga galvanized 1 size, 1 remnant" in shown
    assert "47 1/2 × 120 in" in shown
    assert "$41.50 a sheet" in shown
    assert "Waits for its sheet" in shown
    assert re.search(r"sheet DX00 001 of cut plan 7", shown)
    assert 'value="19"' in office_page.get("/stock/").content.decode()


def test_list_takes_few_queries_whatever_its_length(office_page, django_assert_max_num_queries):
    item = made(count=60)
    of = plan_row()
    take(*(left(of, item, code="") for _ in range(50)))
    office_page.get("/stock/")
    with django_assert_max_num_queries(14):
        office_page.get("/stock/")


def test_a_filter_that_cannot_be_read_says_so(office_page):
    made()
    shown = text_of(office_page.get("/stock/", {"gauge": "thin"}))
    assert "Gauge is “thin”; it can be a whole number from 1 to 999." in shown


def test_a_count_is_changed_in_the_row_and_the_filter_stays(office_page):
    item = made()
    answer = office_page.post(
        f"/stock/{item.pk}/count/", {"count": "17", "version": "1", "back": "material=galvanized&gauge=24"}
    )
    assert (answer.status_code, answer["Location"]) == (302, "/stock/?material=galvanized&gauge=24")
    item.refresh_from_db()
    assert item.count == 17
    office_page.post(f"/stock/{item.pk}/count/", {"count": "", "version": "2"})
    item.refresh_from_db()
    assert item.count is None


@pytest.mark.parametrize(
    ("count", "version", "status", "sentence"),
    [
        ("lots", "2", 400, "Count is “lots”; it can be a whole number from 0"),
        ("17", "1", 409, "is at version 2 now; you began with 1"),
        ("17", "", 400, "Version is 0"),
    ],
)
def test_a_count_that_is_wrong_or_stale_changes_nothing(office_page, count, version, status, sentence):
    item = change(made(), count=5)
    answer = office_page.post(f"/stock/{item.pk}/count/", {"count": count, "version": version})
    assert answer.status_code == status
    assert sentence in text_of(answer)
    assert f'value="{count}"' in answer.content.decode()
    item.refresh_from_db()
    assert item.count == 5


def test_an_item_is_retired_and_brought_back(office_page):
    item = made()
    assert office_page.get(f"/stock/{item.pk}/retire/").status_code == 405
    office_page.post(f"/stock/{item.pk}/retire/", {"version": "1"})
    assert "No stock yet" in text_of(office_page.get("/stock/"))
    assert "48x120" in text_of(office_page.get("/stock/", {"shown": "retired"}))
    office_page.post(f"/stock/{item.pk}/bring-back/", {"version": "2"})
    assert StockItem.objects.get().is_active


def test_one_size_is_added_by_the_form(office_page):
    answer = office_page.post(
        "/stock/new/", {**FORM, "width": "47 1/2", "count": "12", "cost_each": "$40.20"}
    )
    assert answer.status_code == 302
    item = StockItem.objects.get()
    assert (item.width_in, item.length_in, item.count, str(item.cost_each)) == (47.5, 120, 12, "40.20")


def test_the_form_reads_the_unit_of_the_shop(office_page):
    setting("unit", "mm")
    assert "Width, mm" in text_of(office_page.get("/stock/new/"))
    office_page.post("/stock/new/", {**FORM, "width": "1219.2", "length": "96 in"})
    item = StockItem.objects.get()
    assert (item.width_in, item.length_in) == pytest.approx((48, 96), abs=1e-6)
    assert "1219.2 × 2438.4 mm" in text_of(office_page.get("/stock/"))


def test_what_is_wrong_stands_at_its_field_and_what_was_typed_stays(office_page):
    answer = office_page.post(
        "/stock/new/", {**FORM, "length": "250", "cost_each": "cheap", "note": "Rack 3"}
    )
    assert answer.status_code == 400
    assert "Length is 250 in; it can be 1 to 240 in. The cutting table takes no longer piece." in text_of(
        answer
    )
    assert "Cost is “cheap”" in text_of(answer)
    assert 'value="Rack 3"' in answer.content.decode()
    assert "Enter the width." in text_of(office_page.post("/stock/new/", {**FORM, "width": ""}))
    assert StockItem.objects.count() == 0


def test_the_usual_sizes_are_added_in_one_click(office_page):
    assert "Add 48x96, 48x120, 60x120" in text_of(office_page.get("/stock/new/"))
    answer = office_page.post("/stock/usual/", {"material": "galvanized", "gauge": "24"}, follow=True)
    assert "Added: 48x96, 48x120, 60x120." in text_of(answer)
    assert StockItem.objects.count() == 3
    again = office_page.post("/stock/usual/", {"material": "galvanized", "gauge": "24"}, follow=True)
    assert "had all usual sizes already" in text_of(again)
    wrong = office_page.post("/stock/usual/", {"material": "galvanized", "gauge": "99"})
    assert wrong.status_code == 400
    assert "Gauge is 99; galvanized can be 10 to 30." in text_of(wrong)


def test_an_item_is_changed_on_its_page_and_keeps_what_was_not_touched(office_page):
    item = made(width=1 / 3 + 40, cost_each=None)
    path = f"/stock/{item.pk}/"
    shown = office_page.get(path).content.decode()
    typed = dict(re.findall(r'<input type="(?:text|hidden)" name="(\w+)" value="([^"]*)"', shown))
    typed.pop("csrfmiddlewaretoken", None)
    answer = office_page.post(path, {**typed, "cost_each": "38", "count": typed["count"]})
    assert answer.status_code == 302
    item.refresh_from_db()
    assert (round(item.width_in, 6), str(item.cost_each), item.count) == (40.333333, "38.00", 20)


def test_two_editors_of_one_item_do_not_overwrite_each_other(office_page):
    item = made()
    change(item, count=3)
    answer = office_page.post(
        f"/stock/{item.pk}/", {"width": "48", "length": "120", "count": "9", "version": "1"}
    )
    assert answer.status_code == 409
    assert "Someone else changed this item" in text_of(answer)
    item.refresh_from_db()
    assert item.count == 3


@pytest.mark.parametrize("role", ["operator", "display"])
def test_pages_are_for_office_and_supervisor(shop, role):
    item = made()
    client = browser_of(role)
    for path in ("/stock/", "/stock/new/", f"/stock/{item.pk}/"):
        assert client.get(path).status_code == 403
    for path in (f"/stock/{item.pk}/count/", f"/stock/{item.pk}/retire/", "/stock/usual/"):
        assert client.post(path, {"version": "1", "count": "1"}).status_code == 403
    item.refresh_from_db()
    assert (item.version, item.is_active) == (1, True)
    assert 'href="/stock/"' in browser_of("supervisor").get("/orders/").content.decode()
