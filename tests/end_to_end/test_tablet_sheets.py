"""Sheets to cut on the tablet in a real browser: opened, scanned, finished, also without the network."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from fittings.models import CutPiece, Order
from tests.factories_cutting import made_plan
from travelers.models import Scan, Task

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def plan(shop):
    """The order's ten gores on sheets of a sent plan."""
    return made_plan(Order.objects.get(number="1042"), sent=True)


@pytest.fixture
def sheet(plan):
    return plan.sheets.get(position=1)


def bar(page, result: str):
    return page.locator(f".station-result .result:visible[data-moment={result}]")


def count_on(sheet) -> int:
    return CutPiece.objects.filter(sheet=sheet).count()


def test_a_sheet_scanned_is_cut_whole_and_leaves_the_list(tablet, scan, badges, sheet):
    page = tablet("CUT-1")
    expect(page.locator("#sheets .next")).to_have_count(sheet.plan.sheets.count())
    expect(page.locator("#queue .next")).to_have_count(0)
    scan(page, badges["Ana Ruiz"])
    scan(page, sheet.code)
    expect(bar(page, "recorded")).to_contain_text(
        f"Sheet 1 of plan {sheet.plan.number}: {count_on(sheet)} pieces cut."
    )
    expect(page.locator(f"#sheets [data-code='{sheet.code}']")).to_have_count(0)
    assert Task.objects.filter(operation="cut", state="done").count() == count_on(sheet)
    row = Scan.objects.get()
    assert (row.code, row.action, row.station) == (sheet.code, "finish", "CUT-1")


def test_a_sheet_tapped_shows_picture_numbers_and_pieces_and_the_button_finishes_it(
    tablet, scan, badges, sheet
):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.locator(f"#sheets [data-code='{sheet.code}']").click()
    at_hand = page.locator("#piece")
    expect(at_hand.locator("h2")).to_contain_text(f"Sheet 1 of {sheet.plan.sheets.count()}")
    expect(at_hand.locator("svg.sheet-drawing")).to_be_visible()
    expect(at_hand).to_contain_text("60 × 120 in")
    page.get_by_role("button", name="Large picture").click()
    rows = page.locator(".sheet-pieces li")
    expect(rows).to_have_count(count_on(sheet))
    feeds = [int(text) for text in page.locator(".sheet-pieces .sheet-feed").all_inner_texts()]
    assert feeds == list(range(1, count_on(sheet) + 1))
    expect(rows.first).to_contain_text("AHU-3")
    page.locator("#sheet .dialog-acts button").click()
    page.get_by_role("button", name="Finish", exact=True).click()
    expect(bar(page, "recorded")).to_contain_text("pieces cut.")
    expect(page.locator("#piece .piece-facts")).to_contain_text("Cut")


def test_a_sheet_scanned_without_the_network_is_kept_and_sent_later_once(tablet, scan, badges, sheet):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.locator(f"#sheets [data-code='{sheet.code}']").click()
    expect(page.locator("#piece svg.sheet-drawing")).to_be_visible()
    page.context.set_offline(True)
    scan(page, sheet.code)
    expect(bar(page, "waiting")).to_contain_text(f"Sheet 1 of plan {sheet.plan.number}: done.")
    expect(page.locator(f"#sheets [data-code='{sheet.code}']")).to_have_count(0)
    expect(page.locator("#piece svg.sheet-drawing")).to_be_visible()
    assert not Scan.objects.exists()
    page.context.set_offline(False)
    expect(page.locator("#unsent-words")).to_have_text("All sent", timeout=15_000)
    expect(bar(page, "recorded")).to_contain_text("pieces cut.")
    assert Scan.objects.filter(outcome="recorded", code=sheet.code).count() == 1


def test_what_is_ahead_opens_without_the_network(tablet, scan, badges, plan):
    """Pictures and numbers of the listed sheets are fetched before they are asked for."""
    page = tablet("CUT-1")
    last = plan.sheets.order_by("position").last()
    with page.expect_response(lambda response: f"/pieces/{last.code}/" in response.url):
        pass
    page.wait_for_timeout(200)
    page.context.set_offline(True)
    page.locator(f"#sheets [data-code='{last.code}']").click()
    expect(page.locator("#piece svg.sheet-drawing")).to_be_visible()
    page.get_by_role("button", name="Large picture").click()
    expect(page.locator(".sheet-pieces li")).to_have_count(count_on(last))


def test_scrapping_a_sheet_says_that_all_of_it_is_made_again(tablet, scan, badges, sheet):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.locator(f"#sheets [data-code='{sheet.code}']").click()
    page.get_by_role("button", name="Hold", exact=True).click()
    page.get_by_role("button", name="Scrap the sheet…").click()
    expect(page.locator("#scrap-title")).to_have_text(
        "Scrap the whole sheet? All its pieces will be made again."
    )
    expect(page.get_by_role("button", name="Scrap it")).to_be_disabled()
    page.get_by_role("button", name="Bad metal").click()
    page.get_by_role("button", name="Scrap it").click()
    expect(bar(page, "recorded")).to_contain_text("scrapped, to be made again.")
    expect(
        page.locator("#queue .next").first
    ).to_be_visible()  # the new pieces are loose until they are planned


def test_the_last_scan_of_a_sheet_is_undone_by_the_button(tablet, scan, badges, sheet):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    scan(page, sheet.code)
    expect(bar(page, "recorded")).to_contain_text("pieces cut.")
    page.get_by_role("button", name="Undo", exact=True).click()
    expect(bar(page, "recorded")).to_contain_text("Cut is undone.")
    expect(page.locator(f"#sheets [data-code='{sheet.code}']")).to_have_count(1)


def test_all_of_it_stands_on_one_screen(tablet, sheet):
    """Nothing is pushed under the buttons, and nothing touchable is small."""
    page = tablet("CUT-1")
    page.locator(f"#sheets [data-code='{sheet.code}']").click()
    expect(page.locator("#sheet-open")).to_be_visible()
    assert page.evaluate("[document.documentElement.scrollHeight, document.documentElement.scrollWidth]") == [
        820,
        1180,
    ]
    acts = page.locator(".station-acts").bounding_box()
    for shown in ("#sheet-open", "#cautions-open", "#sheets .next >> nth=-1"):
        box = page.locator(shown).bounding_box()
        assert box["y"] + box["height"] <= acts["y"]
        assert box["height"] >= 64


def test_loose_pieces_stand_after_the_sheets(tablet, plan):
    off = CutPiece.objects.filter(plan=plan).select_related("segment").first()
    CutPiece.objects.filter(pk=off.pk).update(is_live=False)
    page = tablet("CUT-1")
    expect(page.locator("#sheets-title")).to_have_text("Sheets to cut")
    expect(page.locator("#queue .next")).to_have_attribute("data-code", off.segment.code)
    sheets, loose = (page.locator(one).bounding_box()["y"] for one in ("#sheets-title", "#next-title"))
    assert sheets < loose
