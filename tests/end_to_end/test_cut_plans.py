"""Cut plans in a real browser: asked for, watched while a worker makes them, sent to the floor, taken away as files."""

from __future__ import annotations

import io
import re
from datetime import timedelta

import ezdxf
import pypdfium2
import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from fittings.models import CutPiece, CutPlan, CutSheet
from fittings.orders import order_create
from fittings.stock import stock_create
from shared.jobs import Run, Work, work_once
from tests import factories
from travelers.cut_job import cut_plan_failed, cut_plan_make
from travelers.release import order_release

from .conftest import OFFICE, PASSWORD

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("metal"),
]

PIECES = 10


@pytest.fixture
def metal(shop):
    """Sheets of the metal of order 1042, which is two elbows of five gores."""
    values = {
        "form": "sheet",
        "material": "galvanized",
        "gauge": 24,
        "width": 48,
        "length": 96,
        "count": 20,
        "cost_each": "24.00",
    }
    return stock_create(values=values, actor=factories.OFFICE_ACTOR, now=timezone.now())


def work(watch=lambda run: None) -> None:
    """One plan made as a worker makes it; `watch` looks at the page before the search begins."""

    def make(run: Run) -> None:
        watch(run)
        cut_plan_make(run, compare=None)

    assert work_once({"cut_plan": Work(make, cut_plan_failed)}, worker="test")


def test_a_plan_goes_from_the_desk_to_the_floor(open_browser, metal):
    page = open_browser(OFFICE)
    page.goto("/cut-plans/")
    page.get_by_label("Name").fill("office")
    page.get_by_label("Password").fill(PASSWORD)
    page.locator(".button-main").click()
    expect(page.locator("h1")).to_have_text("Cut plans")
    page.get_by_role("link", name="Plan the cutting of 24 ga galvanized").click()
    mistype_then_correct(page)
    expect(page.locator("h1")).to_have_text("Cut plan 1")
    expect(page.locator("#cut-progress")).to_contain_text("In the queue")

    def watch(run: Run) -> None:
        run.tell(0.45, "Searching.", {"sheets": 7, "utilisation": 0.8123})
        expect(page.get_by_role("progressbar")).to_have_attribute("aria-valuenow", "45")
        expect(page.locator("#cut-progress dd")).to_have_text(["45 %", "7", "81.2 %"])

    work(watch)
    send = page.get_by_role("button", name="Send to the floor")
    expect(send).to_be_visible()
    look_at_sheets(page)
    page.goto("/cut-plans/1/")
    send.click()
    expect(page.locator("#messages")).to_contain_text("Cut plan 1 is on the floor.")
    plan = CutPlan.objects.get()
    assert plan.state == "sent" and plan.pieces.filter(is_live=True).count() == PIECES
    metal.refresh_from_db()
    assert metal.count == 20 - plan.sheets.count()
    take_away(page, plan)


def mistype_then_correct(page: Page) -> None:
    page.get_by_text("More: seams, turning, gap, margin").click()
    page.get_by_label("Quick").check()
    gap = page.get_by_label("Gap between pieces")
    press = page.get_by_role("button", name="Plan the cutting")
    for typed, said in (("1,5", "“1,5” is not a length."), ("5", "Gap is 5; it can be 0 to 2 in.")):
        gap.fill(typed)
        press.click()
        expect(page.get_by_role("alert")).to_contain_text(said)
        expect(page.get_by_role("alert")).to_be_focused()
        expect(gap).to_have_value(typed)
        expect(gap).to_be_visible()
    page.get_by_role("alert").get_by_role("link").click()
    expect(gap).to_be_focused()
    gap.fill("3/16")
    assert not CutPlan.objects.exists()
    press.click()
    expect(page.locator("h1")).to_have_text("Cut plan 1")
    assert CutPlan.objects.get().gap_in == 0.1875


def look_at_sheets(page: Page) -> None:
    """Every picture is there; a piece under the pointer is marked in picture and list."""
    for picture in page.locator(".picture img").all():
        picture.scroll_into_view_if_needed()
        expect(picture).to_have_js_property("complete", True)
        assert picture.evaluate("one => one.naturalWidth") > 0
    page.locator(".picture-link").first.click()
    row = page.locator("tr[data-feed='2']")
    shape = page.locator("[data-picture] [data-feed='2']")
    expect(shape).not_to_have_class(re.compile("is-pointed"))
    row.hover()
    expect(shape).to_have_class(re.compile("is-pointed"))
    page.locator("h1").hover()
    expect(shape).not_to_have_class(re.compile("is-pointed"))
    shape.dispatch_event("click")
    expect(row.locator("th a")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#piece")).to_contain_text("Gore")
    expect(page.locator("[data-picture] .picked")).to_have_count(1)


def take_away(page: Page, plan: CutPlan) -> None:
    codes = set(plan.sheets.values_list("code", flat=True))
    answer = page.request.get(page.get_by_role("link", name="Sheets, PDF").get_attribute("href"))
    printed = pypdfium2.PdfDocument(answer.body())
    words = "".join(one.get_textpage().get_text_range() for one in printed).replace(" ", "")
    assert all(code in words for code in codes)
    sheet = plan.sheets.order_by("position").first()
    with page.expect_download() as told:
        page.get_by_role("link", name=re.compile(r"^DXF of sheet 1$")).click()
    with open(told.value.path(), encoding="utf-8") as file:
        drawing = ezdxf.read(io.StringIO(file.read()))
    outlines = drawing.modelspace().query("LWPOLYLINE[layer=='CUT']")
    assert len(outlines) == sheet.pieces.count()


def test_stop_and_keep_ends_the_search_with_what_there_is(desk):
    page = desk()
    page.goto("/cut-plans/new/?material=galvanized&gauge=24")
    page.get_by_role("button", name="Plan the cutting").click()
    heard = []

    def watch(run: Run) -> None:
        page.get_by_role("button", name="Stop and keep").click()
        expect(page.locator("#cut-progress")).to_contain_text("Stopping. The best so far is being kept.")
        heard.append(run.tell(0.1))

    work(watch)
    assert heard == [False]
    expect(page.get_by_role("button", name="Send to the floor")).to_be_visible()
    assert CutPiece.objects.filter(sheet__isnull=False).count() == PIECES


def test_a_date_ticks_what_is_due_up_to_it_and_the_count_follows(desk):
    for number, days, quantity in (("1050", -3, 1), ("1051", 9, 4)):
        due = (timezone.localdate() + timedelta(days=days)).isoformat()
        body = factories.order_body(number=number, due=due, lines=[factories.line(quantity=quantity)])
        order_create(
            data=body | {"customer": "Riverside Mechanical"}, actor=factories.OFFICE_ACTOR, now=timezone.now()
        )
        order_release(number=number, actor=factories.OFFICE_ACTOR, now=timezone.now())
    page = desk()
    page.goto("/cut-plans/new/?material=galvanized&gauge=24")
    chosen = page.locator("[data-chosen]")
    expect(chosen).to_have_text("Chosen: 35 pieces of 7 fittings, 3 orders.")
    page.get_by_label("Due up to").select_option(index=1)
    expect(chosen).to_have_text("Chosen: 5 pieces of 1 fitting, 1 order.")
    page.get_by_role("checkbox", name="1051").check()
    expect(chosen).to_have_text("Chosen: 25 pieces of 5 fittings, 2 orders.")
    expect(page.get_by_label("Due up to")).to_have_value("any")
    page.get_by_role("button", name="Tick none").click()
    expect(chosen).to_have_text("No order is chosen.")
    page.get_by_role("button", name="Plan the cutting").click()
    expect(page.get_by_role("alert")).to_contain_text("Tick at least one order.")
    page.get_by_role("checkbox", name="1050").check()
    page.get_by_role("button", name="Plan the cutting").click()
    expect(page.locator("h1")).to_have_text("Cut plan 1")
    assert CutPlan.objects.get().pieces.count() == 5


def test_all_of_it_works_without_scripts(desk):
    page = desk(java_script_enabled=False)
    page.goto("/orders/1042/")
    page.get_by_role("link", name="Plan the cutting").click()
    expect(page.locator("h1")).to_have_text("Plan the cutting of 24 ga galvanized")
    page.get_by_label("Quick").check()
    page.get_by_role("button", name="Plan the cutting").click()
    expect(page.locator("#cut-progress")).to_contain_text("In the queue")
    work()
    page.get_by_role("link", name="Load again").click()
    page.get_by_role("button", name="Send to the floor").click()
    page.locator(".picture-link").first.click()
    sheet = CutSheet.objects.order_by("position").first()
    code = sheet.pieces.order_by("feed").first().segment.code
    page.locator(f"tr[data-code='{code}']").get_by_role("link", name="Take off").click()
    page.get_by_text("Take it off the sheet …").click()
    page.get_by_role("button", name=f"Take {code} off").click()
    expect(page.get_by_role("alert")).to_contain_text("Say why the piece is taken off")
    page.get_by_label("Reason").fill("Corner is dented")
    page.get_by_role("button", name=f"Take {code} off").click()
    expect(page.locator("#messages")).to_contain_text(f"{code} is taken off the sheet.")
    assert CutPiece.objects.get(is_live=False).off_reason == "Corner is dented"


def test_a_plan_is_dropped_only_after_a_second_word(desk):
    page = desk()
    page.goto("/cut-plans/new/?material=galvanized&gauge=24")
    page.get_by_label("Quick").check()
    page.get_by_role("button", name="Plan the cutting").click()
    work()
    expect(page.get_by_role("button", name="Send to the floor")).to_be_visible()
    page.get_by_text("Drop the plan …").click()
    assert CutPlan.objects.get().state == "made"
    page.get_by_role("button", name="Drop cut plan 1").click()
    expect(page.locator("#messages")).to_contain_text(
        "Cut plan 1 is dropped. Its pieces wait to be cut again."
    )
    expect(page.locator(".cut-waiting")).to_contain_text("24 ga galvanized")
