"""The station's tablet in a real browser: enrol, badge, scan, go offline and come back."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.threads import until
from travelers.models import Scan, Task

from .conftest import OFFICE, PASSWORD, TABLET
from .tablets import bar, refuse, unsent

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def arrived(page) -> Scan:
    """The one scan of the record, once it is there."""
    for _ in range(100):
        page.wait_for_timeout(200)
        if Scan.objects.exists():
            break
    return Scan.objects.get()


def test_supervisor_makes_a_code_and_the_tablet_becomes_the_station(open_browser, shop):
    office = open_browser(OFFICE)
    office.goto("/stations/at/ROLL-1/")
    office.get_by_label("User name").fill("supervisor")
    office.get_by_label("Password").fill(PASSWORD)
    office.get_by_role("button", name="Sign in").click()
    office.get_by_role("button", name="Make a code for a tablet").click()
    digits = re.sub(r"\D", "", office.locator(".enrol-code").inner_text())
    assert len(digits) == 8

    page = open_browser(TABLET)
    page.goto("/")
    page.get_by_role("link", name="enroll this tablet").click()
    for digit in digits:
        page.locator(f"#enrol-pad [data-digit='{digit}']").click()
    page.get_by_role("button", name="Enroll", exact=True).click()
    expect(page).to_have_url(re.compile("/station/$"))
    expect(page.locator(".station-place")).to_contain_text("ROLL-1")
    cookie = next(one for one in page.context.cookies() if one["name"] == "tablet_key")
    assert cookie["httpOnly"]
    assert cookie["sameSite"] == "Lax"


def test_badge_then_piece_by_scanning_alone(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, codes[0])
    expect(bar(page, "refused")).to_contain_text("Scan your badge first")
    scan(page, badges["Ana Ruiz"])
    expect(page.locator("#badge-name")).to_have_text("Ana Ruiz")
    scan(page, codes[0].lower())
    expect(bar(page, "recorded")).to_contain_text("Gore 1 of 5 cut. Next: Roll.")
    kept = Scan.objects.get()
    assert (kept.action, kept.badge, kept.station, kept.code) == (
        "finish",
        badges["Ana Ruiz"],
        "CUT-1",
        codes[0],
    )
    assert not kept.is_time_doubtful
    assert kept.scanned_at.utcoffset() is not None
    scan(page, badges["Ben Okafor"])
    expect(page.locator("#badge-name")).to_have_text("Ben Okafor")
    page.reload()
    expect(page.locator("#badge-name")).to_have_text("Ben Okafor")


def test_typed_like_a_scanner_by_real_keys(tablet, badges, codes):
    page = tablet("CUT-1")
    page.keyboard.type(badges["Ana Ruiz"])
    page.keyboard.press("Enter")
    expect(page.locator("#badge-name")).to_have_text("Ana Ruiz")


def test_slow_typing_is_no_scan(tablet, badges):
    page = tablet("CUT-1")
    page.keyboard.type(badges["Ana Ruiz"], delay=550)
    page.keyboard.press("Enter")
    expect(page.locator("#badge-name")).to_have_text("Scan your badge")


def test_offline_scans_are_kept_and_sent_later_once(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.context.set_offline(True)
    for code in codes[:4]:
        scan(page, code)
        expect(page.locator(".result:visible .result-word")).to_contain_text("Kept here")
    expect(bar(page, "waiting")).to_contain_text("Kept here, not sent")
    expect(unsent(page)).to_contain_text("4 not sent")
    assert not Scan.objects.exists()
    page.context.set_offline(False)
    expect(unsent(page)).to_have_text("All sent", timeout=15_000)
    expect(bar(page, "recorded")).to_be_visible()
    assert list(Scan.objects.order_by("sequence").values_list("code", "outcome")) == [
        (code, "recorded") for code in codes[:4]
    ]
    assert Task.objects.filter(operation="cut", state="done").count() == 4


def test_an_answer_that_was_lost_is_asked_again_and_doubles_nothing(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    lost = []

    def lose(route):
        route.fetch()
        lost.append(route.request.post_data_json["scans"][0]["id"])
        route.abort()

    page.route("**/api/v1/scans/", lose, times=2)
    scan(page, codes[0])
    expect(unsent(page)).to_have_text("All sent", timeout=15_000)
    expect(bar(page, "recorded")).to_contain_text("Gore 1 of 5 cut.")
    assert len(lost) == 2
    assert list(Scan.objects.values_list("scan_id", "code")) == [(lost[0], codes[0])]


def test_what_is_kept_survives_a_reload(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.route("**/api/v1/scans/", lambda route: route.fulfill(status=503, body="{}"))
    scan(page, codes[0])
    expect(unsent(page)).to_contain_text("1 not sent")
    page.reload()
    expect(unsent(page)).to_contain_text("1 not sent")
    page.unroute("**/api/v1/scans/")
    expect(unsent(page)).to_have_text("All sent", timeout=15_000)
    assert Scan.objects.count() == 1


def test_page_opens_again_without_the_network(tablet, scan, badges, codes):
    """By the service worker: on HTTPS, and on the same machine, which browsers trust alike."""
    page = tablet("CUT-1", service_workers="allow")
    scan(page, badges["Ana Ruiz"])
    page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
    page.reload()
    page.wait_for_selector("#station[data-ready=yes]")
    page.context.set_offline(True)
    page.reload()
    page.wait_for_selector("#station[data-ready=yes]")
    scan(page, codes[0])
    expect(unsent(page)).to_contain_text("1 not sent")
    page.context.set_offline(False)
    expect(unsent(page)).to_have_text("All sent", timeout=15_000)
    assert Scan.objects.get().code == codes[0]


def test_numbers_of_what_is_next_are_there_without_the_network(tablet, badges, codes):
    page = tablet("CUT-1")
    page.wait_for_timeout(4_000)
    page.context.set_offline(True)
    page.locator(f".next[data-code='{codes[3]}']").click()
    expect(page.locator(".numbers")).to_contain_text("Stretch-out")


def test_lost_csrf_token_is_fetched_anew_and_nothing_is_lost(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.context.clear_cookies(name="csrftoken")
    scan(page, codes[0])
    assert arrived(page).code == codes[0]
    expect(unsent(page)).to_have_text("All sent")


def test_revoked_tablet_keeps_what_it_scanned_and_says_so(tablet, scan, badges, codes):
    from django.utils import timezone

    from shopfloor.models import Key

    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    Key.objects.update(revoked_at=timezone.now())
    scan(page, codes[0])
    expect(page.locator("#link")).to_contain_text("no longer enrolled. Everything is kept.")
    expect(unsent(page)).to_contain_text("1 not sent")
    page.get_by_role("link", name="Enroll this tablet").click()
    expect(page.locator("#enrol-unsent")).to_contain_text("still keeps 1 scan for CUT-1")
    Key.objects.update(revoked_at=None)
    page.goto("/station/")
    expect(unsent(page)).to_have_text("All sent", timeout=15_000)
    assert Scan.objects.get().code == codes[0]


def test_scans_of_another_station_wait_until_the_tablet_is_that_station_again(tablet, scan, badges, codes):
    from django.utils import timezone

    from shopfloor.keys import TABLET_COOKIE, key_make
    from shopfloor.models import Station

    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.route("**/api/v1/scans/", lambda route: route.abort())
    scan(page, codes[0])
    expect(unsent(page)).to_contain_text("1 not sent")

    def become(code):
        _, secret = key_make(now=timezone.now(), station=Station.objects.get(code=code))
        page.context.add_cookies(
            [{"name": TABLET_COOKIE, "value": secret, "url": page.url.split("/station")[0]}]
        )
        page.goto("/station/")
        page.wait_for_selector("#station[data-ready=yes]")

    become("ROLL-1")
    expect(page.locator("#link")).to_contain_text("1 scan is kept for CUT-1")
    page.unroute("**/api/v1/scans/")
    assert not Scan.objects.exists()
    become("CUT-1")
    expect(unsent(page)).to_have_text("All sent", timeout=15_000)
    assert Scan.objects.get().station == "CUT-1"


def test_code_in_a_photo_is_read(tablet, scan, badges, codes, tmp_path):
    """As where a page gets no camera. The decoder runs under the page's own content policy."""
    import qrcode

    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    picture = tmp_path / "code.png"
    qrcode.make(codes[0]).save(picture)
    page.get_by_role("button", name="Camera").click()
    page.locator("#photo").set_input_files(picture)
    expect(bar(page, "recorded")).to_contain_text("Gore 1 of 5 cut", timeout=15_000)


@pytest.mark.parametrize("status", [401, 403, 429, 500])
def test_no_refusal_of_the_request_loses_a_scan(tablet, scan, badges, codes, status):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    refused = []

    def refuse(route):
        refused.append(route.request.post_data_json["scans"][0]["id"])
        route.fulfill(status=status, body="{}")

    page.route("**/api/v1/scans/", refuse, times=2)
    scan(page, codes[0])
    assert refused == [arrived(page).scan_id] * 2
    expect(unsent(page)).to_have_text("All sent")


def test_one_unreadable_scan_does_not_stop_the_others(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])

    def choke(route):
        sent = [one["code"] for one in route.request.post_data_json["scans"]]
        if codes[0] in sent:
            route.fulfill(status=400, content_type="application/problem+json", body='{"detail": "No."}')
        else:
            route.continue_()

    page.context.set_offline(True)
    for code in codes[:3]:
        scan(page, code)
        expect(unsent(page)).to_contain_text("not sent")
    expect(unsent(page)).to_contain_text("3 not sent")
    page.route("**/api/v1/scans/", choke)
    page.context.set_offline(False)
    expect(unsent(page)).to_contain_text("1 not sent", timeout=15_000)
    assert set(Scan.objects.values_list("code", flat=True)) == set(codes[1:3])


def test_refused_scans_stay_listed_until_they_are_seen(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    scan(page, codes[1])
    expect(bar(page, "recorded")).to_be_visible()
    page.wait_for_timeout(1100)
    scan(page, codes[1])
    expect(bar(page, "already")).to_contain_text("Cut was finished by Ana Ruiz")
    expect(page.locator("#refused-words")).to_have_text("")  # it asks for nothing
    refuse(page, scan, codes[0])
    scan(page, badges["Ana Ruiz"])
    expect(page.locator("#refused-words")).to_have_text("1 refused")
    page.reload()
    expect(page.locator("#refused-words")).to_have_text("1 refused")
    page.locator("#unsent").click()
    expect(page.locator("#refused-list li")).to_contain_text("is on hold at Cut")
    page.get_by_role("button", name="Seen, clear the refused").click()
    expect(page.locator("#refused-words")).to_have_text("")


def test_what_was_scanned_stays_off_the_list_while_the_server_does_not_know_it(tablet, scan, badges, codes):
    """The list is answered while the scan is still on its way."""
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.route("**/api/v1/scans/", lambda route: route.fulfill(status=503, body="{}"))
    scan(page, codes[0])
    expect(unsent(page)).to_contain_text("1 not sent")
    gone = page.locator(f"#queue .next[data-code='{codes[0]}']")
    expect(gone).to_have_count(0)
    with page.expect_response("**/station/queue/"):
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    page.wait_for_timeout(500)
    expect(gone).to_have_count(0)
    page.unroute("**/api/v1/scans/")
    expect(bar(page, "recorded")).to_contain_text("Gore 1 of 5 cut.", timeout=15_000)
    expect(gone).to_have_count(0)


def test_a_badge_that_was_made_a_moment_ago_comes_in(tablet, scan, badges):
    from fittings import numbering
    from travelers.models import Operator

    page = tablet("CUT-1")
    made = Operator.objects.create(code=numbering.take(1)[0], name="New Invented")
    scan(page, made.code)
    expect(page.locator("#badge-name")).to_have_text("New Invented")


def test_mistyped_code_is_told_at_once_and_not_sent(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    wrong = codes[0][:-1] + ("2" if codes[0][-1] != "2" else "3")
    scan(page, wrong)
    expect(bar(page, "refused")).to_contain_text("mistyped character")
    assert not Scan.objects.exists()


def test_two_scans_start_and_finish_where_the_station_is_set_so(tablet, scan, badges, codes):
    page = tablet("SEAM-1")
    scan(page, badges["Ana Ruiz"])
    scan(page, codes[0])
    expect(bar(page, "recorded")).to_contain_text("started at Seam")
    scan(page, codes[0])
    page.wait_for_timeout(1100)
    assert Scan.objects.count() == 1
    scan(page, codes[0])
    expect(bar(page, "recorded")).to_contain_text("seamed")
    assert list(Scan.objects.order_by("sequence").values_list("action", flat=True)) == ["start", "finish"]


def test_touch_start_hold_resume_finish_undo(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.locator(f".next[data-code='{codes[1]}']").click()
    expect(page.locator(".piece-title")).to_contain_text("AHU-3")
    expect(page.locator(".numbers")).to_contain_text("Stretch-out")
    acts = page.locator(".station-acts")
    acts.get_by_role("button", name="Start").click()
    expect(bar(page, "recorded")).to_contain_text("started at Cut")
    acts.get_by_role("button", name="Hold").click()
    page.get_by_role("button", name="Damaged").click()
    expect(bar(page, "recorded")).to_contain_text("on hold at Cut: Damaged")
    acts.get_by_role("button", name="Resume").click()
    expect(bar(page, "recorded")).to_contain_text("goes on at Cut")
    acts.get_by_role("button", name="Finish").dblclick()
    expect(bar(page, "recorded")).to_contain_text("Gore 2 of 5 cut")
    acts.get_by_role("button", name="Undo").click()
    expect(bar(page, "recorded")).to_contain_text("undone")
    actions = list(Scan.objects.order_by("sequence").values_list("action", flat=True))
    assert actions == ["start", "hold", "resume", "finish", "undo"]
    assert Task.objects.get(segment__code=codes[1], operation="cut").state == "running"


def test_code_typed_on_the_pad(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.get_by_role("button", name="Type code").click()
    for character in codes[2][2:]:
        page.locator(f"#pad [data-character='{character}']").click()
    page.get_by_role("button", name="Enter").click()
    expect(bar(page, "recorded")).to_contain_text("Gore 3 of 5 cut")


def test_scan_that_the_tablet_cannot_store_is_never_called_kept(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.evaluate(
        "() => { IDBObjectStore.prototype.add = () => { throw new DOMException('full', 'QuotaExceededError'); } }"
    )
    scan(page, codes[0])
    expect(bar(page, "failed")).to_contain_text("could not keep the scan. It is not recorded.")
    expect(page.get_by_role("alert").filter(has_text="Not kept", visible=True)).to_be_visible()
    assert not Scan.objects.exists()


def test_restored_backup_gets_again_what_it_lost(tablet, scan, badges, codes):
    from django.core.management import call_command

    from travelers.models import Pulse, ScanTarget

    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    scan(page, codes[0])
    expect(bar(page, "recorded")).to_be_visible()
    expect(unsent(page)).to_have_text("All sent")
    before = Scan.objects.get().scan_id
    ScanTarget.objects.all().delete()
    Scan.objects.all()._raw_delete(Scan.objects.db)
    Task.objects.filter(operation="cut").update(
        state="ready", finished_at=None, station="", badge="", started_at=None
    )
    Task.objects.exclude(operation="cut").update(state="waiting", ready_at=None)
    Pulse.objects.update(epoch="another")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    assert until(Scan.objects.exists, 15), "the scan did not come again"
    expect(unsent(page)).to_have_text("All sent", timeout=15_000)
    assert Scan.objects.get().scan_id == before
    call_command("replay", "--check")


def test_local_answer_comes_within_a_tenth_of_a_second(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.route("**/api/v1/scans/", lambda route: None)
    took = []
    for code in codes[:7]:
        took.append(
            page.evaluate(
                """(code) => new Promise((resolve) => {
                    const bar = document.getElementById("result-status");
                    const began = performance.now();
                    new MutationObserver((_, watcher) => {
                        if (bar.dataset.moment !== "kept") return;
                        watcher.disconnect();
                        resolve(performance.now() - began);
                    }).observe(bar, {childList: true, attributes: true});
                    for (const key of [...code, "Enter"]) {
                        const event = new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true});
                        document.body.dispatchEvent(event);
                    }
                })""",
                code,
            )
        )
    assert sorted(took)[len(took) // 2] < 100, took


@pytest.mark.parametrize("size", [TABLET, {"width": 1280, "height": 800}])
def test_buttons_are_large_enough_for_gloves(tablet, size):
    page = tablet("CUT-1")
    page.set_viewport_size(size)
    boxes = page.evaluate(
        """() => [...document.querySelectorAll(".station-acts button, .station button, .station-head button")]
            .filter((one) => one.offsetParent)
            .map((one) => { const r = one.getBoundingClientRect();
                return {text: one.textContent.trim(), main: Boolean(one.closest(".station-acts")), x: r.x, y: r.y,
                        right: r.right, bottom: r.bottom, w: r.width, h: r.height}; })"""
    )
    assert len(boxes) > 8
    for box in boxes:
        least = 128 if box["main"] else 64
        assert box["w"] >= least and box["h"] >= least, box
        assert box["bottom"] <= size["height"], f"not on the screen: {box}"
    undo = next(box for box in boxes if box["text"] == "Undo")
    nearest = max(box["right"] for box in boxes if box["main"] and box["text"] != "Undo")
    assert undo["x"] - nearest >= 82
