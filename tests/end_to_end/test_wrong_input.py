"""What people do wrong, in the browser and over the API: each is told in a sentence, and nothing is stored."""

from __future__ import annotations

import re
import time
from contextlib import contextmanager
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect

from fittings.models import Fitting, Order, OrderLine, Segment
from fittings.numbering import shop_mark
from shared.codes import ALPHABET, check_character, make_code
from shopfloor.keys import key_make
from shopfloor.models import Person, Station
from tests.conftest import ApiCaller
from tests.factories import elbow_params, line, order_body
from travelers.models import Scan, Task

from .conftest import OFFICE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NO_MACHINE_TALK = re.compile(
    r"Traceback|Exception|Error at |Internal Server|File \"|Forbidden|Invalid|DEBUG|None\b|\{\{|NaN|undefined"
)
EMOJI = "🌀"
LONGEST_TAG = 60


@pytest.fixture
def call(shop, client):
    """Calls the API with a key of a role, or of a station."""

    def make(who: str = "office") -> ApiCaller:
        station = Station.objects.filter(code=who).first()
        holder = {"station": station} if station else {"person": Person.objects.get(username=who)}
        return ApiCaller(client, key_make(now=datetime.now(UTC), **holder)[1])

    return make


@contextmanager
def nothing_stored():
    def counts():
        models = (Order, OrderLine, Fitting, Segment, Task, Scan)
        return {model.__name__: model.objects.count() for model in models}

    before = counts()
    yield
    assert counts() == before


def draft(call, **changes) -> str:
    answer = call().post("orders/", order_body(**changes))
    assert answer.status_code == 201, answer.content
    return answer.json()["number"]


def bar(page: Page, moment: str):
    return page.locator(f".station-result .result:visible[data-moment={moment}]")


# -- roles ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("role", "path", "needed"),
    [
        ("office", "/stations/", "supervisor"),
        ("office", "/exceptions/", "supervisor"),
        ("office", "/station/", "operator"),
        ("display", "/orders/", "office or supervisor"),
        ("display", "/orders/new/", "office or supervisor"),
        ("display", "/orders/1042/", "office or supervisor"),
        ("display", "/tables/gores/", "office or supervisor"),
        ("supervisor", "/station/", "operator"),
    ],
)
def test_page_of_another_role_is_a_sentence(desk, role, path, needed):
    page = desk(role)
    answer = page.goto(path)
    assert answer.status == 403
    words = page.locator("main").inner_text()
    assert not NO_MACHINE_TALK.search(words), words
    assert f"It needs {needed}." in words
    expect(page.locator("h1")).to_be_visible()
    expect(page.get_by_role("link", name="To the start page")).to_be_visible()


def test_tablet_has_no_way_into_the_office(tablet):
    page = tablet("CUT-1")
    answer = page.goto("/orders/")
    assert answer.status == 403
    assert not NO_MACHINE_TALK.search(page.locator("main").inner_text())


def test_station_may_not_type_orders_by_the_api(call):
    with nothing_stored():
        answer = call("CUT-1").post("orders/", order_body())
    assert (answer.status_code, answer["Content-Type"]) == (403, "application/problem+json")
    assert answer.json()["detail"].endswith(".")


# -- an order that cannot be made -----------------------------------------------------


@pytest.mark.parametrize(
    ("name", "typed", "told"),
    [
        ("centerline_radius", "6", r"Throat radius is -1 in; it cannot be below zero"),
        ("pieces", "1", r"2 to 60"),
        ("pieces", "61", r"2 to 60"),
        ("diameter", "1/2/4", r"1/2/4"),
        ("diameter", "NaN", r"NaN"),
        ("quantity", "-3", r"whole number from 1 to"),
    ],
)
def test_wrong_size_stands_beside_its_field_and_nothing_is_saved(desk, name, typed, told):
    page = desk()
    page.goto("/orders/new/")
    right = {"quantity": "2", "diameter": "14", "angle": "90", "tag": "AHU-3"}
    page.get_by_label("Customer", exact=True).fill("Riverside Mechanical")
    page.locator("[name=due]").fill("Thursday")
    for field, text in (right | {name: typed}).items():
        page.locator(f"[name=line-0-{field}]").fill(text)
    with nothing_stored():
        page.keyboard.press("Control+Enter")
        summary = page.locator(".form-errors")
        expect(summary).to_contain_text(re.compile(told))
    expect(summary).to_be_focused()
    expect(page).to_have_title(re.compile("^Error: "))
    field = page.locator(f"[name=line-0-{name}]")
    expect(field).to_have_value(typed)
    beside = page.locator(f"#{field.get_attribute('id')}_error")
    expect(beside).to_contain_text(re.compile(told))
    box, words = field.bounding_box(), beside.bounding_box()
    assert abs(words["x"] - box["x"]) < 20
    assert 0 < words["y"] - box["y"] < 80
    for kept, text in right.items():
        if kept != name:
            expect(page.locator(f"[name=line-0-{kept}]")).to_have_value(text)
    summary.get_by_role("link").first.click()
    expect(field).to_be_focused()


@pytest.mark.parametrize(
    ("params", "field"),
    [
        ({"centerline_radius": 6}, "centerline_radius"),
        ({"pieces": 1}, "pieces"),
        ({"pieces": 61}, "pieces"),
        ({"diameter": 1e308}, "diameter"),
        ({"angle": "ninety"}, "angle"),
    ],
)
def test_wrong_size_over_the_api_names_field_value_and_range(call, params, field):
    own = elbow_params(**params)
    if "centerline_radius" in params:
        del own["radius_ratio"]
    began = time.monotonic()
    with nothing_stored():
        answer = call().post("orders/", order_body(lines=[line(), line(params=own)]))
    assert time.monotonic() - began < 5
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")
    (error,) = answer.json()["errors"]
    assert error["field"] == f"lines[1].params.{field}"
    assert str(error["value"])
    assert error["message"].endswith(".")
    assert not NO_MACHINE_TALK.search(error["message"])


# -- wrong codes -------------------------------------------------------------------------


def mistyped(code: str) -> str:
    return ("2" if code[-3] != "2" else "3").join((code[:-3], code[-2:]))


def another_shops_code() -> str:
    mark = next(one for one in ("ZX", "ZY") if one != shop_mark())
    return next(code for number in range(70, 99) if (code := make_code(mark, number)))


def test_wrong_codes_at_the_tablet(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    expect(page.locator("#badge-name")).to_have_text("Ana Ruiz")
    with nothing_stored():
        scan(page, "https://example.com/?q=1")
        expect(bar(page, "refused")).to_contain_text("is not a code of this shop")
        scan(page, mistyped(codes[0]))
        expect(bar(page, "refused")).to_contain_text("mistyped character")
    scan(page, another_shops_code())
    expect(bar(page, "refused")).not_to_contain_text("mistyped")
    expect(bar(page, "refused")).to_contain_text(another_shops_code()[:4])
    kept = Scan.objects.get()
    assert (kept.outcome, kept.code, kept.changed) == ("refused", another_shops_code(), 0)
    assert not Task.objects.filter(state="done").exists()
    scan(page, codes[0])
    expect(bar(page, "recorded")).to_contain_text("Gore 1 of 5 cut.")


def test_wrong_codes_over_the_api_do_not_stop_the_right_one(call, badges, codes):
    sent = ["garbage!", "", EMOJI, mistyped(codes[0]), another_shops_code(), codes[0]]
    at = datetime.now(UTC).isoformat()
    scans = [
        {"id": f"scan-{n}", "code": code, "action": "finish", "badge": badges["Ana Ruiz"], "scanned_at": at}
        for n, code in enumerate(sent)
    ]
    answer = call("CUT-1").post("scans/", {"scans": scans})
    assert answer.status_code == 200, answer.content
    results = answer.json()["results"]
    assert [one["outcome"] for one in results] == ["refused"] * 5 + ["recorded"]
    assert [one["changed"] > 0 for one in results] == [False] * 5 + [True]
    assert "mistyped" in results[3]["message"]
    assert "mistyped" not in results[4]["message"]
    for one in results:
        assert one["message"].endswith((".", "”.")), one
        assert not NO_MACHINE_TALK.search(one["message"])
    assert Task.objects.filter(state="done").count() == 1


def test_every_single_wrong_character_is_seen(codes):
    code = codes[0]
    for at, right in enumerate(code):
        for wrong in ALPHABET:
            if wrong != right:
                other = code[:at] + wrong + code[at + 1 :]
                assert check_character(other[:-1]) != other[-1], other


# -- releasing -----------------------------------------------------------------------------


def test_released_twice_from_two_tabs_is_made_once(desk, call):
    number = draft(call)
    one = desk()
    one.goto(f"/orders/{number}/")
    two = one.context.new_page()
    two.goto(f"/orders/{number}/")
    one.get_by_role("button", name="Release to the floor").click()
    expect(one.locator("#messages")).to_contain_text("is on the floor: 4 fittings.")
    with nothing_stored():
        with two.expect_response("**/release/") as answered:
            two.get_by_role("button", name="Release to the floor").click()
        assert answered.value.status == 409
        expect(two.get_by_role("alert")).to_contain_text("Only a draft can be released.")
    assert Segment.objects.filter(fitting__order__number=number).count() == 20
    assert call().post(f"orders/{number}/release/").status_code == 409


def test_order_without_lines_is_not_taken(desk, call):
    with nothing_stored():
        answer = call().post("orders/", order_body(lines=[]))
        assert answer.status_code == 400
        assert [error["field"] for error in answer.json()["errors"]] == ["lines"]
        page = desk()
        page.goto("/orders/new/")
        page.get_by_label("Customer", exact=True).fill("Riverside Mechanical")
        page.keyboard.press("Control+Enter")
        expect(page.locator(".form-errors")).to_contain_text("Enter the quantity")


def test_order_that_has_no_lines_is_not_released(desk, call):
    number = draft(call)
    OrderLine.objects.filter(order__number=number).delete()
    page = desk()
    page.goto(f"/orders/{number}/")
    expect(page.get_by_text("The order has no lines. Add one before release.")).to_be_visible()
    expect(page.get_by_role("button", name="Release to the floor")).to_be_disabled()
    with nothing_stored():
        answer = call().post(f"orders/{number}/release/")
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["message"] == f"Order {number} has no lines. Add one before release."
    assert Order.objects.get(number=number).state == "draft"


# -- very long, very odd ----------------------------------------------------------------------


def test_longest_tag_with_emoji_goes_through_to_paper_and_floor(desk, call, open_browser):
    tag = (EMOJI + "Übermäßig-lang/") * 4
    tag = tag[:LONGEST_TAG]
    number = draft(call, lines=[line(quantity=1, tag=tag)])
    page = desk()
    for path in (f"/orders/{number}/", "/orders/", f"/orders/{number}/edit/", f"/orders/{number}/lines/1/"):
        page.goto(path)
        assert page.evaluate("document.documentElement.scrollWidth") <= OFFICE["width"], path
    assert call().post(f"orders/{number}/release/").status_code == 200
    for paper in ("travelers", "labels", "packing-list"):
        answer = call().get(f"orders/{number}/{paper}.pdf")
        assert answer.status_code == 200, paper
        assert answer.content.startswith(b"%PDF")
    page.goto(f"/where/?q={number}")
    expect(page.locator(".where-tag").first).to_have_text(tag)
    assert page.evaluate("document.documentElement.scrollWidth") <= OFFICE["width"]


def test_tag_that_is_too_long_is_refused(desk, call):
    tag = EMOJI * (LONGEST_TAG + 1)
    with nothing_stored():
        answer = call().post("orders/", order_body(lines=[line(tag=tag)]))
    assert answer.status_code == 400
    (error,) = answer.json()["errors"]
    assert error["field"] == "lines[0].tag"
    assert str(LONGEST_TAG) in error["message"]
