"""The tablet's own store: it refuses, it is of an older release, its answers are late."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from travelers.models import Pulse, Scan

from .tablets import bar, comes, refuse, unsent

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# The store as the first release made it, with what its page would have left in it.
OLD_STORE = """(given) => new Promise((resolve, reject) => {
    const request = indexedDB.open("shopfloor", 1);
    request.onerror = () => reject(request.error);
    request.onupgradeneeded = () => {
        const db = request.result;
        const unsent = db.createObjectStore("unsent", {keyPath: "place", autoIncrement: true});
        unsent.createIndex("id", "id", {unique: true});
        unsent.createIndex("code", "body.code");
        db.createObjectStore("refused", {keyPath: "id"});
        const sent = db.createObjectStore("sent", {keyPath: "id"});
        sent.createIndex("code", "body.code");
        sent.createIndex("kept_at", "kept_at");
        db.createObjectStore("facts");
    };
    request.onsuccess = () => {
        const db = request.result;
        const transaction = db.transaction(["unsent", "refused", "sent", "facts"], "readwrite");
        const store = (name) => transaction.objectStore(name);
        for (const entry of given.unsent) store("unsent").add(entry);
        for (const entry of given.refused) store("refused").add(entry);
        for (const entry of given.sent) store("sent").add(entry);
        store("facts").put(given.epoch, "epoch");
        store("facts").put([["OLD", {code: "OLD"}]], "numbers");
        transaction.onabort = () => reject(transaction.error);
        transaction.oncomplete = () => { db.close(); resolve(); };
    };
})"""

READ_STORE = """(name) => new Promise((resolve, reject) => {
    const request = indexedDB.open("shopfloor");
    request.onerror = () => reject(request.error);
    request.onsuccess = () => {
        const rows = request.result.transaction([name]).objectStore(name).getAll();
        rows.onsuccess = () => { request.result.close(); resolve(rows.result); };
    };
})"""

FAILING = {
    "a full disk": """() => {
        IDBObjectStore.prototype.add = () => { throw new DOMException("full", "QuotaExceededError"); };
        IDBObjectStore.prototype.put = IDBObjectStore.prototype.add;
    }""",
    "a write that fails when it ends": """() => {
        const add = IDBObjectStore.prototype.add;
        IDBObjectStore.prototype.add = function (entry) {
            const request = add.call(this, entry);
            request.addEventListener("success", () => this.transaction.abort());
            return request;
        };
    }""",
    "a store that is gone": """() => {
        IDBDatabase.prototype.transaction = () => { throw new DOMException("gone", "InvalidStateError"); };
    }""",
}


@pytest.mark.parametrize("failure", FAILING)
def test_a_scan_that_cannot_be_stored_stops_the_station_and_is_never_called_kept(
    tablet, scan, badges, codes, failure
):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.evaluate(
        """() => {
            window.seen = [];
            const note = () => window.seen.push(document.getElementById("result-status").dataset.moment);
            new MutationObserver(note).observe(document.getElementById("result-status"), {attributes: true});
        }"""
    )
    page.evaluate(FAILING[failure])
    sent = []
    page.on("request", lambda request: sent.append(request) if request.url.endswith("/scans/") else None)
    for code in codes[:2]:
        scan(page, code)
        expect(bar(page, "failed")).to_contain_text(
            "This tablet could not keep the scan. It is not recorded. Write it down and tell the supervisor."
        )
    expect(page.locator("#link")).to_contain_text("This tablet cannot keep scans. Stop scanning here")
    assert not {"kept", "waiting", "recorded"} & set(page.evaluate("window.seen"))
    assert sent == []
    assert not Scan.objects.exists()


def test_a_store_that_refuses_from_the_start_is_told_before_the_first_scan(tablet):
    page = tablet("CUT-1")
    page.add_init_script(f"({FAILING['a full disk']})()")
    page.reload()
    expect(bar(page, "failed")).to_contain_text("This tablet cannot keep scans. Do not scan here")
    expect(page.locator("#link")).to_contain_text("Stop scanning here and tell the supervisor")


def test_a_store_that_cannot_be_opened_is_told(tablet):
    page = tablet("CUT-1")
    page.add_init_script(
        "IDBFactory.prototype.open = () => { throw new DOMException('no', 'SecurityError'); };"
    )
    page.reload()
    expect(bar(page, "failed")).to_contain_text("This tablet cannot keep scans.")
    expect(unsent(page)).to_have_text("Not sent: not known")


def test_a_stopped_station_goes_on_when_a_trial_is_kept(tablet, scan, badges, codes):
    page = tablet("CUT-1", at_a_fake_clock=True)
    scan(page, badges["Ana Ruiz"])
    page.evaluate(
        "() => { window.add = IDBObjectStore.prototype.add;"
        " IDBObjectStore.prototype.add = () => { throw new DOMException('full', 'QuotaExceededError'); }; }"
    )
    scan(page, codes[0])
    expect(bar(page, "failed")).to_be_visible()
    page.clock.run_for(16_000)
    expect(page.locator("#link")).to_be_visible()
    page.evaluate("() => { IDBObjectStore.prototype.add = window.add; }")
    page.clock.run_for(16_000)
    expect(page.locator("#link")).to_be_hidden()
    expect(bar(page, "failed")).to_be_visible()
    scan(page, codes[0])
    expect(bar(page, "recorded")).to_contain_text("Gore 1 of 5 cut.")
    assert Scan.objects.count() == 1


def test_the_queue_of_an_older_release_goes_on_in_order(tablet, open_browser, badges, codes):
    """As the first release made it: what it kept is sent, what was refused stays listed, what was sent stays kept."""
    page = open_browser()
    page.goto("/enrol/")
    now = page.evaluate("Date.now()")
    old = {
        "epoch": Pulse.objects.get().epoch,
        "unsent": [
            _entry(code, badges["Ana Ruiz"], now - 60_000 + place) for place, code in enumerate(codes[:3])
        ],
        "refused": [
            {**_entry(codes[4], badges["Ana Ruiz"], now - 90_000), "message": "Cut was finished by Ana Ruiz."}
        ],
        "sent": [
            {
                **_entry(codes[5], badges["Ana Ruiz"], now - 29 * 86_400_000),
                "outcome": "recorded",
                "message": "Cut.",
            }
        ],
    }
    # the store is made before any script of the page opens it
    page.route("**/enrol/", lambda route: route.fulfill(body="<title>bare</title>", content_type="text/html"))
    page.goto("/enrol/")
    page.evaluate(
        "() => new Promise((resolve) => { indexedDB.deleteDatabase('shopfloor').onsuccess = resolve; })"
    )
    page.evaluate(OLD_STORE, old)

    station = tablet("CUT-1", page=page)
    expect(unsent(station)).to_have_text("All sent")
    expect(station.locator("#refused-words")).to_have_text("1 refused")
    assert list(Scan.objects.order_by("sequence").values_list("scan_id", flat=True)) == [
        entry["id"] for entry in old["unsent"]
    ]
    sent = {row["id"]: row for row in station.evaluate(READ_STORE, "sent")}
    assert set(sent) == {entry["id"] for entry in (*old["unsent"], *old["sent"])}
    assert sent[old["sent"][0]["id"]]["answered_at"] >= now
    assert {row["outcome"] for row in sent.values()} == {"recorded"}


def test_a_page_of_an_older_release_finds_its_queue_in_a_newer_store(tablet, scan, badges, codes):
    """As after going back to the release before: the store is of a later version, with more in it."""
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.route("**/api/v1/scans/", lambda route: route.abort())
    scan(page, codes[0])
    expect(unsent(page)).to_contain_text("1 not sent")
    page.route("**/bare/", lambda route: route.fulfill(body="<title>bare</title>", content_type="text/html"))
    page.goto("/bare/")
    page.evaluate(
        """() => new Promise((resolve, reject) => {
            const request = indexedDB.open("shopfloor", 99);
            request.onerror = () => reject(request.error);
            request.onupgradeneeded = () => request.result.createObjectStore("of later");
            request.onsuccess = () => { request.result.close(); resolve(); };
        })"""
    )
    page.goto("/station/")
    expect(unsent(page)).to_contain_text("1 not sent")
    page.unroute("**/api/v1/scans/")
    page.reload()
    expect(unsent(page)).to_have_text("All sent")
    assert Scan.objects.get().code == codes[0]


def test_an_open_page_makes_way_for_a_newer_store_and_loses_nothing(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    page.route("**/api/v1/scans/", lambda route: route.abort())
    scan(page, codes[0])
    expect(unsent(page)).to_contain_text("1 not sent")
    other = page.context.new_page()
    other.route("**/bare/", lambda route: route.fulfill(body="<title>bare</title>", content_type="text/html"))
    other.goto("/bare/")
    with page.expect_event("load"):
        other.evaluate(
            """() => new Promise((resolve, reject) => {
                const request = indexedDB.open("shopfloor", 99);
                request.onerror = () => reject(request.error);
                request.onsuccess = () => { request.result.close(); resolve(); };
            })"""
        )
    expect(unsent(page)).to_contain_text("1 not sent")
    scan(page, codes[1])
    expect(unsent(page)).to_contain_text("2 not sent")


def test_only_the_refused_that_were_listed_are_taken_as_seen(tablet, scan, badges, codes):
    """One that is refused while the list is read, and not in it yet, stays."""
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    refuse(page, scan, codes[0])
    expect(page.locator("#refused-words")).to_have_text("1 refused")
    page.locator("#unsent").click()
    expect(page.locator("#refused-list li")).to_have_count(1)
    page.evaluate(
        """() => new Promise((resolve) => {
            const request = indexedDB.open("shopfloor");
            request.onsuccess = () => {
                const transaction = request.result.transaction(["refused"], "readwrite");
                const refused = transaction.objectStore("refused");
                refused.getAll().onsuccess = ({target}) => refused.put({...target.result[0], id: "of another window"});
                transaction.oncomplete = () => {
                    document.querySelector("[data-tap=seen]").click();
                    request.result.close();
                    resolve();
                };
            };
        })"""
    )
    assert comes(page, lambda: len(page.evaluate(READ_STORE, "refused")) == 1)
    expect(page.locator("#refused-words")).to_have_text("1 refused")
    assert [row["id"] for row in page.evaluate(READ_STORE, "refused")] == ["of another window"]


def test_thirty_days_go_by_the_earlier_clock(tablet, scan, badges, codes):
    """A tablet whose clock jumps years ahead still has what it sent, for a server that was restored."""
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    scan(page, codes[0])
    expect(bar(page, "recorded")).to_be_visible()
    page.evaluate("() => { const now = Date.now; Date.now = () => now() + 10 * 365 * 86400000; }")
    scan(page, codes[1])
    expect(bar(page, "recorded")).to_contain_text("Gore 2 of 5 cut.")
    expect(unsent(page)).to_have_text("All sent")
    assert {row["body"]["code"] for row in page.evaluate(READ_STORE, "sent")} == set(codes[:2])


def test_what_was_answered_over_thirty_days_ago_goes_and_the_rest_stays(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    for code in codes[:2]:
        scan(page, code)
        expect(unsent(page)).to_have_text("All sent")
        expect(bar(page, "recorded")).to_be_visible()
    page.evaluate(
        """([first, second]) => new Promise((resolve) => {
            const request = indexedDB.open("shopfloor");
            request.onsuccess = () => {
                const transaction = request.result.transaction(["sent"], "readwrite");
                const sent = transaction.objectStore("sent");
                sent.getAll().onsuccess = ({target}) => {
                    for (const row of target.result) {
                        const days = row.body.code === first ? 30.5 : 29.5;
                        const ago = (days) => Date.now() - days * 86400000;
                        sent.put({...row, answered_at: ago(days), kept_at: ago(60)});
                    }
                };
                transaction.oncomplete = () => { request.result.close(); resolve(); };
            };
        })""",
        codes[:2],
    )
    scan(page, codes[2])
    expect(bar(page, "recorded")).to_contain_text("Gore 3 of 5 cut.")
    assert {row["body"]["code"] for row in page.evaluate(READ_STORE, "sent")} == set(codes[1:3])


def test_an_old_answer_that_comes_late_tells_no_new_epoch(tablet, scan, badges, codes):
    """Two answers on their way, the older with the epoch before: nothing is sent again for it."""
    page = tablet("CUT-1")
    scan(page, badges["Ana Ruiz"])
    scan(page, codes[0])
    expect(bar(page, "recorded")).to_be_visible()
    expect(unsent(page)).to_have_text("All sent")
    held = []

    def hold(route):
        held.append((route, route.fetch()))

    page.route("**/api/v1/station/queue/", hold, times=1)
    front = "document.dispatchEvent(new Event('visibilitychange'))"
    page.evaluate(front)
    assert comes(page, lambda: held)
    Pulse.objects.update(epoch="another")
    with page.expect_request("**/api/v1/scans/") as again:
        page.evaluate(front)
    assert [one["code"] for one in again.value.post_data_json["scans"]] == [codes[0]]
    expect(unsent(page)).to_have_text("All sent")
    sent = []
    page.on("request", lambda request: sent.append(request.url) if request.url.endswith("/scans/") else None)
    route, answer = held[0]
    route.fulfill(response=answer)
    page.wait_for_timeout(300)
    with page.expect_response("**/api/v1/station/queue/"):
        page.evaluate(front)
    page.wait_for_timeout(200)
    assert sent == []
    assert Scan.objects.count() == 1


def _entry(code: str, badge: str, kept_at: float) -> dict:
    """A scan as the first release kept it."""
    from datetime import UTC, datetime
    from uuid import uuid4

    name = str(uuid4())
    at = datetime.fromtimestamp(kept_at / 1000, tz=UTC).isoformat()
    body = {
        "id": name,
        "code": code,
        "action": "finish",
        "badge": badge,
        "reason": "",
        "station": "CUT-1",
        "scanned_at": at,
    }
    return {"id": name, "station": "CUT-1", "body": body, "kept_at": kept_at}
