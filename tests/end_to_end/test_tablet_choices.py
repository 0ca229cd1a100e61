"""A count of a lot, reasons to hold and to scrap, what a piece lacks: as an operator meets them on the tablet."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from fittings.models import Fitting, Segment
from tests.threads import until
from travelers.models import Scan, Task

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def recorded(page):
    return page.locator("#result-status[data-result=recorded]")


def test_a_count_is_of_the_next_scan_alone(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    traveler = Fitting.objects.order_by("pk").first().traveler_code
    left = Task.objects.filter(fitting__traveler_code=traveler, operation="cut", state="ready").count()
    scan(page, badges["Ana Ruiz"])
    page.get_by_role("button", name="Count…").click()
    expect(page.locator("#count").get_by_role("button", name="Enter")).to_be_disabled()
    page.locator("#count [data-character='3']").click()
    page.locator("#count").get_by_role("button", name="Enter").click()
    expect(page.locator("#result-status")).to_contain_text("Count 3. Scan the traveler now.")
    scan(page, traveler)
    expect(recorded(page)).to_be_visible()
    assert Scan.objects.get(code=traveler).count == 3
    assert (
        Task.objects.filter(fitting__traveler_code=traveler, operation="cut", state="ready").count()
        == left - 3
    )
    page.wait_for_timeout(1100)
    scan(page, traveler)
    expect(recorded(page)).to_be_visible()
    assert until(lambda: Scan.objects.filter(code=traveler).count() == 2, 15)
    assert list(Scan.objects.filter(code=traveler).order_by("sequence").values_list("count", flat=True)) == [
        3,
        None,
    ]


def test_a_scrap_is_confirmed_with_a_reason_of_the_shop(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.locator("#queue .next").first.click()
    page.get_by_role("button", name="Hold", exact=True).click()
    expect(page.locator("#hold-reasons button")).to_have_count(6)
    page.get_by_role("button", name="Scrap the piece…").click()
    expect(page.locator("#scrap-sure")).to_be_disabled()
    page.get_by_role("button", name="Cut wrong").click()
    page.locator("#scrap-sure").click()
    expect(recorded(page)).to_contain_text("scrapped")
    assert Scan.objects.get(action="scrap").reason == "Cut wrong"


def test_a_piece_that_is_not_ready_says_what_it_lacks(tablet, scan, badges, codes):
    page = tablet("SEAM-1")
    scan(page, Segment.objects.order_by("pk").first().code)
    expect(page.locator("#piece .piece-notice")).to_have_text(
        "Not ready for Seam. It is at Cut and lacks Cut, Roll."
    )
