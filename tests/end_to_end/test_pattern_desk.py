"""The pattern desk in a real browser: drawn while one types, wrong values, a phone, a cut network, no script."""

import re
import time
import zipfile
from io import BytesIO

import pytest
from playwright.sync_api import expect

from fittings.geometry import KINDS

from .test_accessibility import violations, wrong_outline

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE = {"width": 390, "height": 844}
SIZES = ({"width": 1440, "height": 900}, {"width": 1180, "height": 820}, PHONE)
LEAST_TARGET = 24  # px, WCAG 2.2, 2.5.8; 44 for what a thumb fills and presses here


@pytest.fixture
def desk(desk):
    """Opens the desk with the office signed in, and waits for its drawing."""

    def make(query="kind=gored_elbow", **extra):
        page = desk(**extra)
        page.goto(f"/pattern-desk/?{query}")
        page.wait_for_selector("[data-part=view] svg")
        return page

    return make


def side(page) -> str:
    return page.locator("[data-part=view] svg").inner_html()


def note(page):
    return page.locator("[data-note]")


def test_drawing_follows_the_typing_within_a_second(desk):
    page = desk("kind=gored_elbow&diameter=14&angle=90")
    expect(page.locator("[data-part=view] h2")).to_contain_text("14 in")
    before = side(page)
    page.locator("[name=diameter]").fill("")
    page.locator("[name=diameter]").press_sequentially("20 1/2")
    began = time.monotonic()
    expect(page.locator("[data-part=view] h2")).to_contain_text("20 1/2 in", timeout=1000)
    assert time.monotonic() - began < 1
    assert side(page) != before
    expect(page.locator("[data-field=diameter] [data-echo]")).to_have_text("20 1/2 in = 20.500")
    expect(page.locator(".desk-figures")).to_contain_text("30 3/4 in (30.750)")  # 1.5 times the diameter
    assert "diameter=20+1%2F2" in page.url


def test_reload_and_a_link_give_the_same_fitting(desk):
    page = desk("kind=tee")
    page.locator("[name=branch_diameter]").fill("6")
    page.locator("[name=end_a]").select_option("flange")
    expect(page.locator("[data-part=view] h2")).to_contain_text("branch 6 in")
    page.wait_for_url(re.compile(r"(?=.*branch_diameter=6)(?=.*end_a=flange)"))
    drawn, figures = side(page), page.locator(".desk-figures").inner_text()
    page.reload()
    assert (side(page), page.locator(".desk-figures").inner_text()) == (drawn, figures)
    assert page.locator("[name=end_a]").input_value() == "flange"


def test_wrong_value_keeps_the_drawing_and_names_the_limit(desk):
    page = desk("kind=gored_elbow&diameter=14&angle=90")
    before = side(page)
    page.locator("[name=diameter]").fill("6000")
    sentence = "Diameter is 6000 in; it can be 1 to 120 in."
    expect(page.locator("#id_diameter_error")).to_have_text(sentence)
    expect(note(page)).to_contain_text(f"{sentence} The drawing is the one before.")
    expect(page.locator("[name=diameter]")).to_have_attribute("aria-invalid", "true")
    assert side(page) == before
    assert page.locator(".desk.is-old").count() == 1
    assert not page.locator("[data-acts]").is_visible()
    assert page.locator("[name=diameter]").input_value() == "6000"
    assert page.title() == "Error: Pattern desk"
    assert violations(page) == []
    page.locator("[name=diameter]").fill("16")
    expect(page.locator("[data-part=view] h2")).to_contain_text("16 in")
    expect(note(page)).to_be_hidden()
    expect(page.locator("#id_diameter_error")).to_be_empty()
    assert page.locator("[data-acts]").is_visible()
    assert page.title() == "Pattern desk"


def test_wrong_value_among_the_folded_fields_unfolds_them(desk):
    page = desk("kind=gored_elbow&diameter=14&angle=90&collar_a=2")
    page.locator("[name=collar_a]").fill("-1")
    expect(page.locator("#id_collar_a_error")).to_be_visible()
    page.locator(".desk-more > summary").click()
    expect(page.locator("[name=collar_a]")).to_be_hidden()
    page.locator("[name=diameter]").fill("16")
    expect(page.locator("#id_collar_a_error")).to_be_visible()


def test_cut_network_is_told_and_recovers_by_itself(desk):
    page = desk("kind=gored_elbow&diameter=14&angle=90")
    before = side(page)
    page.route("**/pattern-desk/drawing/**", lambda route: route.abort())
    page.locator("[name=diameter]").fill("18")
    expect(note(page)).to_contain_text("The server does not answer. What you typed is safe on this page")
    assert side(page) == before
    assert page.locator("[name=diameter]").input_value() == "18"
    page.unroute("**/pattern-desk/drawing/**")
    expect(page.locator("[data-part=view] h2")).to_contain_text("18 in", timeout=6000)
    expect(note(page)).to_be_hidden()


def test_late_answer_to_an_older_question_is_dropped(desk):
    page = desk("kind=gored_elbow&diameter=14&angle=90")
    slow = []

    def first_waits(route):
        if "diameter=15" in route.request.url:
            slow.append(route)
        else:
            route.continue_()

    page.route("**/pattern-desk/drawing/**", first_waits)
    with page.expect_request(lambda request: "diameter=15" in request.url):
        page.locator("[name=diameter]").fill("15")
    page.locator("[name=diameter]").fill("22")
    expect(page.locator("[data-part=view] h2")).to_contain_text("22 in")
    for route in slow:
        route.continue_()
    page.wait_for_timeout(500)
    expect(page.locator("[data-part=view] h2")).to_contain_text("22 in")
    expect(note(page)).to_be_hidden()


@pytest.mark.parametrize("kind", list(KINDS))
def test_no_size_scrolls_sideways_and_no_rule_of_access_is_broken(desk, kind):
    page = desk(f"kind={kind}")
    wrong = []
    for size in SIZES:
        page.set_viewport_size(size)
        page.locator(".desk-more").evaluate("(more) => { more.open = true; }")
        wide = page.evaluate("document.documentElement.scrollWidth")
        wrong += [f"{wide} px wide at {size['width']}"] if wide > size["width"] else []
    wrong += [*violations(page), *wrong_outline(page)]
    assert wrong == []


def test_on_a_phone_the_piece_stays_in_sight_above_its_fields(desk):
    page = desk("kind=tee", size=PHONE, has_touch=True, is_mobile=True)
    assert page.locator("[data-kinds] nav").is_hidden()
    for name in ("diameter", "branch_length", "end_b"):
        field = page.locator(f"[name={name}]")
        field.tap()
        drawn = page.locator("[data-part=view] svg").bounding_box()
        box = field.bounding_box()
        assert drawn["y"] >= 0, name
        assert drawn["y"] + drawn["height"] <= box["y"] < PHONE["height"] - box["height"] + 1, name
        assert box["height"] >= 44, name
    small = page.evaluate(
        """(least) => [...document.querySelectorAll("main :is(a[href], button, input, select, summary)")]
            .filter((one) => one.checkVisibility() && one.type !== "hidden" && !one.closest(".desk-flag"))
            .map((one) => [one.getBoundingClientRect(), one.outerHTML.slice(0, 80)])
            .filter(([box]) => Math.min(box.width, box.height) < least)
            .map(([box, what]) => `${box.height} ${what}`)""",
        LEAST_TARGET,
    )
    assert small == []


def test_on_a_phone_another_kind_is_two_taps_away(desk):
    page = desk("kind=tee", size=PHONE, has_touch=True, is_mobile=True)
    page.locator("[data-kinds] summary").tap()
    page.get_by_role("link", name="Reducer").tap()
    page.wait_for_url(re.compile("kind=reducer"))
    expect(page.locator("[data-part=view] h2")).to_contain_text("Reducer")


def test_fitting_goes_on_an_order(desk):
    page = desk("kind=pipe&diameter=12&length=36")
    page.get_by_role("button", name="Put on an order").click()
    page.wait_for_url("**/orders/new/")
    assert page.locator("[name=line-0-diameter]").input_value() == "12"
    assert page.locator("[name=line-0-length]").input_value() == "36"
    expect(page.locator("[data-preview]")).to_contain_text("Pipe")


def test_patterns_are_taken_away_as_a_file(desk):
    import ezdxf

    page = desk("kind=pipe&diameter=12&length=36")
    with page.expect_download() as told:
        page.get_by_role("link", name="DXF, mm").click()
    assert told.value.suggested_filename == "pipe-24ga-galvanized-mm.dxf"
    assert ezdxf.readfile(told.value.path()).audit().errors == []


def test_zip_of_an_order_is_taken_away(desk):
    page = desk()
    answer = page.request.get("/api/v1/orders/1042/patterns.zip")
    assert answer.headers["content-type"] == "application/zip"
    assert "patterns.csv" in zipfile.ZipFile(BytesIO(answer.body())).namelist()


def test_without_script_the_button_draws(desk):
    page = desk("kind=pipe", java_script_enabled=False)
    page.locator("[name=diameter]").fill("22")
    page.get_by_role("button", name="Draw").click()
    page.wait_for_url(re.compile("diameter=22"))
    expect(page.locator("[data-part=view] h2")).to_contain_text("22 in")
    page.locator("[name=diameter]").fill("6000")
    page.get_by_role("button", name="Draw").click()
    expect(page.locator("#id_diameter_error")).to_have_text("Diameter is 6000 in; it can be 1 to 120 in.")
    page.get_by_role("link", name="Reducer").click()
    expect(page.locator("[data-part=view] h2")).to_contain_text("Reducer")
