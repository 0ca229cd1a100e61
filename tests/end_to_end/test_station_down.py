"""A station's tablet tells that the station is down and that it runs again; without the network it says so."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from shopfloor.models import Downtime

from .judged import small_targets, violations
from .tablets import bar

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_down_with_its_reason_and_up_again(tablet, scan, badges):
    page = tablet("ROLL-1")
    page.get_by_role("button", name="Down…").click()
    expect(page.locator(".station-result .result:visible")).to_contain_text("Scan your badge first")
    scan(page, badges["Ana Ruiz"])
    expect(page.locator("#badge-name")).to_have_text("Ana Ruiz")
    page.get_by_role("button", name="Down…").click()
    expect(page.locator("#down-dialog")).to_be_visible()
    page.get_by_role("button", name="Machine fault").click()
    page.get_by_role("button", name="30 min").click()
    assert violations(page) == [] and small_targets(page) == []
    page.get_by_role("button", name="Tell that it is down").click()
    expect(page.locator("#down-words")).to_contain_text("Machine fault.")
    expect(bar(page, "recorded")).to_contain_text("Down since")
    scan(page, badges["Ana Ruiz"])
    expect(bar(page, "down").locator(".result-tag")).to_have_text("ROLL-1")
    told = Downtime.objects.select_related("station").get()
    assert (told.station.code, told.reason, told.told_by) == ("ROLL-1", "Machine fault", "Ana Ruiz")

    page.context.set_offline(True)
    page.get_by_role("button", name="Runs again").click()
    expect(page.locator(".station-result .result:visible")).to_contain_text("Not told: no connection")
    assert Downtime.objects.get().ended_at is None
    page.context.set_offline(False)
    page.get_by_role("button", name="Runs again").click()
    expect(page.locator("#down")).to_be_hidden()
    expect(page.get_by_role("button", name="Down…")).to_be_visible()
    assert Downtime.objects.get().ended_by == "Ana Ruiz"
