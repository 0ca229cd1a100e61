"""The tablet numbers its scans and tells of itself, in a real browser."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from shopfloor import presence
from shopfloor.models import NumberGap, NumberSeries, Tablet
from travelers.models import Scan

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def forget():
    presence._written.clear()


@pytest.fixture
def enrolled(tablet):
    """A tablet's page whose key is an enrolled tablet's, as enrolment makes it."""
    from django.utils import timezone

    from shopfloor.models import Key

    def make(code: str):
        page = tablet(code)
        key = Key.objects.order_by("pk").last()
        Tablet.objects.create(
            name="By the shear", station=key.station, key=key, enrolled_at=timezone.now(), enrolled_by="pat"
        )
        presence._written.clear()
        return page

    return make


def recorded(page, count: int):
    """Waits until the record has so many scans, and the tablet knows it."""
    for _ in range(75):
        if Scan.objects.count() == count:
            break
        page.wait_for_timeout(200)
    assert Scan.objects.count() == count
    expect(page.locator("#unsent-words")).to_have_text("All sent", timeout=15_000)


def numbers() -> list[int]:
    return list(Scan.objects.order_by("sequence").values_list("number", flat=True))


def test_numbers_run_on_over_reloads_and_other_pages_and_are_never_used_again(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    for code in codes[:2]:
        scan(page, code)
    recorded(page, 2)
    page.reload()
    page.wait_for_selector("#station[data-ready=yes]")
    page.context.set_offline(True)
    scan(page, codes[2])
    expect(page.locator("#unsent-words")).to_contain_text("1 not sent")
    page.context.set_offline(False)
    recorded(page, 3)
    other = page.context.new_page()
    other.goto("/station/")
    other.wait_for_selector("#station[data-ready=yes]")
    scan(other, codes[3])
    recorded(other, 4)
    scan(page, codes[4])
    recorded(page, 5)
    assert numbers() == [1, 2, 3, 4, 5]
    series = NumberSeries.objects.get()
    assert series.highest == 5
    assert len(series.name) == 36
    assert not NumberGap.objects.exists()


def test_a_scan_that_is_gone_from_the_tablet_is_a_gap(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    scan(page, codes[0])
    recorded(page, 1)
    page.route("**/api/v1/scans/", lambda route: route.abort())
    scan(page, codes[1])
    expect(page.locator("#unsent-words")).to_contain_text("1 not sent")
    page.evaluate(
        """() => new Promise((resolve) => {
            indexedDB.open("shopfloor").onsuccess = ({ target: { result: db } }) => {
                const lost = db.transaction("unsent", "readwrite");
                lost.objectStore("unsent").clear();
                lost.oncomplete = () => { db.close(); resolve(); };
            };
        })"""
    )
    page.unroute("**/api/v1/scans/")
    scan(page, codes[2])
    recorded(page, 2)
    assert numbers() == [1, 3]
    gap = NumberGap.objects.get()
    assert gap.missing == [[2, 2]]
    before, after = Scan.objects.order_by("sequence")
    assert (gap.before, gap.after) == (before.scan_id, after.scan_id)


def test_a_store_that_was_emptied_is_seen(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    scan(page, codes[0])
    recorded(page, 1)
    page.goto("/enrol/")
    page.evaluate(
        """() => new Promise((resolve, reject) => {
            const gone = indexedDB.deleteDatabase("shopfloor");
            gone.onsuccess = resolve;
            gone.onerror = gone.onblocked = reject;
        })"""
    )
    page.goto("/station/")
    page.wait_for_selector("#station[data-ready=yes]")
    scan(page, badges["Ana Ruiz"])
    scan(page, codes[1])
    recorded(page, 2)
    assert numbers() == [1, 1]
    assert NumberGap.objects.get().last is None


def test_the_queue_poll_tells_version_battery_and_what_is_unsent(enrolled, scan, badges, codes):
    page = enrolled("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.route("**/api/v1/scans/", lambda route: route.abort())
    scan(page, codes[0])
    scan(page, codes[1])
    expect(page.locator("#unsent-words")).to_contain_text("2 not sent")
    told = {}
    page.on("request", lambda request: "/queue/" in request.url and told.update(request.headers))
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    page.wait_for_timeout(2_000)
    assert told["tablet-unsent"] == "2"
    assert 0 <= int(told["tablet-oldest-unsent"]) <= 60
    assert told["tablet-version"] == presence.page_version()
    assert told["tablet-series"]
    tablet = Tablet.objects.get()
    assert (tablet.unsent, tablet.version) == (2, presence.page_version())
    assert tablet.seen_at is not None
    has_battery = page.evaluate("'getBattery' in navigator")
    assert has_battery == ("tablet-battery" in told) == (tablet.battery is not None)


def test_a_batch_does_not_count_itself_as_unsent(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    told = {}
    page.on("request", lambda request: "/scans/" in request.url and told.update(request.headers))
    scan(page, badges["Ana Ruiz"])
    scan(page, codes[0])
    recorded(page, 1)
    assert told["tablet-unsent"] == "0"
    assert "tablet-oldest-unsent" not in told
