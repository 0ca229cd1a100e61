"""A shift without the network: hundreds of scans, reloads, restarts; what is next and who scans, from the device."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime, timedelta

import pytest
from django.core.management import call_command
from django.utils import timezone
from playwright.sync_api import expect

from shared.roles import Actor
from tests.conftest import ARGUMENTS, BROWSERS
from travelers.models import Scan, Task

from .cable import BUSY_PAGE, Cable
from .conftest import TABLET
from .tablets import bar, comes, unsent

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# Scans these codes, each once the one before was answered; gives the milliseconds that each answer took, and beside it
# those that this machine takes for one bare write to the disk by the same browser.
SCAN_ALL = """async (codes) => {
    const bar = document.getElementById("result-status");
    const opened = (request) => new Promise((resolve, reject) => {
        request.onupgradeneeded = () => request.result.createObjectStore("rows", {autoIncrement: true});
        request.onsuccess = () => resolve(request.result);
        request.onerror = () => reject(request.error);
    });
    const bare = await opened(indexedDB.open("bare"));
    const write = () => new Promise((resolve, reject) => {
        const transaction = bare.transaction(["rows"], "readwrite", {durability: "strict"});
        transaction.objectStore("rows").add({at: Date.now()});
        transaction.oncomplete = resolve;
        transaction.onabort = () => reject(transaction.error);
    });
    const took = [];
    for (const code of codes) {
        const written = performance.now();
        await write();
        const bare = performance.now() - written;
        const answered = new Promise((resolve) => {
            const watcher = new MutationObserver(() => {
                if (bar.hidden || bar.dataset.moment !== "kept") return;
                watcher.disconnect();
                resolve(performance.now());
            });
            watcher.observe(bar, {childList: true});
        });
        const began = performance.now();
        for (const key of [...code, "Enter"]) {
            document.body.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true}));
        }
        took.push([(await answered) - began, bare]);
    }
    bare.close();
    return took;
}"""
KEPT_ON = "(name) => caches.open(name).then((one) => one.keys()).then((all) => all.map(({url}) => url))"


@pytest.fixture
def cable(live_server):
    cable = Cable((live_server.thread.host, live_server.thread.port))
    yield cable
    cable.cut()


@pytest.fixture
def key(shop):
    """The cookie of a tablet at CUT-1."""
    from shopfloor.keys import TABLET_COOKIE, key_make
    from shopfloor.models import Station

    def make(code: str = "CUT-1") -> dict:
        _, secret = key_make(now=timezone.now(), station=Station.objects.get(code=code))
        expires = (datetime.now(UTC) + timedelta(days=300)).timestamp()
        return {"name": TABLET_COOKIE, "value": secret, "httpOnly": True, "expires": expires}

    return make


@pytest.fixture
def switched_on(chromium, cable, key, tmp_path):
    """Switches the tablet on: a browser with its profile on disk, at the station's page."""
    opened = []
    cookie = key()

    def make():
        path = next(found for found in map(shutil.which, BROWSERS) if found)
        context = chromium.browser_type.launch_persistent_context(
            tmp_path / "profile", executable_path=path, args=ARGUMENTS, viewport=TABLET, base_url=cable.url
        )
        opened.append(context)
        context.set_default_timeout(15_000)
        if len(opened) == 1:
            context.add_cookies([{**cookie, "url": cable.url}])
        page = context.pages[0]
        page.goto("/station/")
        page.wait_for_selector("#station[data-ready=yes]")
        return page

    yield make
    opened[-1].close()


@pytest.fixture
def three_hundred(shop):
    """The codes of three hundred segments to cut."""
    from fittings.models import Segment
    from fittings.orders import order_create
    from travelers.release import order_release

    office = Actor("office", "office")
    line = {
        "quantity": 58,
        "kind": "gored_elbow",
        "material": "galvanized",
        "gauge": 24,
        "params": {"diameter": 10, "angle": 90, "pieces": 5, "radius_ratio": 1.5},
        "end_a": "raw",
        "end_b": "raw",
        "tag": "EF-1",
    }
    due = (timezone.localdate() + timedelta(days=9)).isoformat()
    order = {"number": "2000", "customer": "Riverside Mechanical", "due": due, "lines": [line]}
    order_create(data=order, actor=office, now=shop)
    order_release(number="2000", actor=office, now=shop)
    return list(Segment.objects.order_by("fitting_id", "position").values_list("code", flat=True))


def is_kept(page) -> None:
    """The service worker has the page and all its pieces."""
    page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
    assert comes(page, lambda: page.evaluate("Boolean(navigator.serviceWorker.controller)"))


def open_again(page) -> None:
    page.reload()
    page.wait_for_selector("#station[data-ready=yes]")


def test_three_hundred_scans_through_reloads_and_restarts_are_recorded_once_in_order(
    switched_on, cable, scan, badges, three_hundred
):
    page = switched_on()
    is_kept(page)
    scan(page, badges["Ana Ruiz"])
    cable.cut()
    took = []
    for part in range(6):
        codes = three_hundred[50 * part : 50 * part + 50]
        took += page.evaluate(SCAN_ALL, codes)
        expect(unsent(page)).to_contain_text(f"{50 * part + 50} not sent, oldest")
        if part == 1:
            page.context.close()
            page = switched_on()
        elif part == 3:
            crash(page)
            page = switched_on()
        else:
            open_again(page)
        expect(unsent(page)).to_contain_text(f"{50 * part + 50} not sent, oldest")
        expect(page.locator("#badge-name")).to_have_text("Ana Ruiz")
    assert not Scan.objects.exists()
    cable.mend()
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(unsent(page)).to_have_text("All sent", timeout=60_000)

    answers, bare = (sorted(column) for column in zip(*took, strict=True))
    seen = {part: (answers[int(part * 299)], bare[int(part * 299)]) for part in (0.5, 0.95, 1)}
    assert all(answer < max(100, 4 * write) for answer, write in seen.values()), seen
    rows = Scan.objects.order_by("sequence")
    assert list(rows.values_list("code", flat=True)) == three_hundred
    assert set(rows.values_list("outcome", "action", "badge")) == {("recorded", "finish", badges["Ana Ruiz"])}
    times = list(rows.values_list("scanned_at", flat=True))
    assert times == sorted(times)
    assert Task.objects.filter(operation="cut", state="done").count() == 300
    call_command("replay", "--check")
    open_again(page)
    expect(unsent(page)).to_have_text("All sent")
    expect(page.locator("#refused-words")).to_have_text("")


def crash(page) -> None:
    """The browser's process ends at once, as when the battery falls out."""
    context = page.context
    ended = []
    context.on("close", lambda _: ended.append(True))
    session = context.new_cdp_session(page)
    try:
        session.send("Browser.crash")
    except Exception as error:  # the answer never comes
        assert "closed" in str(error).lower() or "crash" in str(error).lower(), error
    context.close()


def test_after_the_first_visit_all_of_the_page_is_there_without_the_network(
    switched_on, cable, scan, badges, codes
):
    """Page, list, numbers, drawings, decoder: nothing had to be opened twice before."""
    page = switched_on()
    is_kept(page)
    scan(page, badges["Ana Ruiz"])
    listed = page.locator("#queue .next").evaluate_all("(rows) => rows.map((row) => row.dataset.code)")
    assert len(listed) >= 4
    ahead = """() => new Promise((resolve) => {
        const request = indexedDB.open("shopfloor");
        request.onsuccess = () => {
            const fact = request.result.transaction(["facts"]).objectStore("facts").get("numbers");
            fact.onsuccess = () => { request.result.close(); resolve(fact.result?.pieces.length ?? 0); };
        };
    })"""
    assert comes(page, lambda: page.evaluate(ahead) >= len(listed), 15)
    cable.cut()
    open_again(page)
    expect(page.locator("#badge-name")).to_have_text("Ana Ruiz")
    assert (
        page.locator("#queue .next").evaluate_all("(rows) => rows.map((row) => row.dataset.code)") == listed
    )
    for code in listed[:4]:
        page.locator(f".next[data-code='{code}']").click()
        expect(page.locator(".numbers")).to_contain_text("Stretch-out")
        expect(page.locator(".piece-pattern svg")).to_be_visible()
    broken = page.evaluate(
        """async () => {
            const { pieces } = await fetch("/station/sw.js").then(() => ({pieces: null}), () => ({pieces: []}));
            if (pieces === null) return ["the network is there"];
            const shelf = await caches.open((await caches.keys())[0]);
            const found = [];
            for (const {url} of await shelf.keys()) {
                if (url.endsWith("/station/")) continue;
                const answer = await fetch(url).catch(() => null);
                if (answer?.status !== 200) found.push(url);
            }
            return found;
        }"""
    )
    assert broken == []
    fonts = page.evaluate("document.fonts.ready.then((all) => [...all].map((one) => one.status))")
    assert "error" not in fonts
    page.locator("[data-tap=camera]").click()
    page.locator("#photo").set_input_files(_photo(codes[0], page.context))
    expect(bar(page, "waiting")).to_be_visible()
    expect(unsent(page)).to_contain_text("1 not sent")


def _photo(code: str, _) -> dict:
    import io

    import qrcode

    made = io.BytesIO()
    qrcode.make(code).save(made, "PNG")
    return {"name": "code.png", "mimeType": "image/png", "buffer": made.getvalue()}


def test_an_error_of_the_server_opens_the_kept_page(switched_on, cable, scan, badges, codes):
    page = switched_on()
    is_kept(page)
    scan(page, badges["Ana Ruiz"])
    cable.cut()
    cable.answer = BUSY_PAGE
    cable.mend()
    open_again(page)
    scan(page, codes[0])
    expect(unsent(page)).to_contain_text("1 not sent")
    cable.cut()
    cable.answer = b""
    cable.mend()
    expect(unsent(page)).to_have_text("All sent", timeout=30_000)
    assert Scan.objects.get().code == codes[0]


def test_each_release_has_its_own_shelf_and_older_ones_go(switched_on, cable, monkeypatch):
    from shopfloor import tablet_shelf

    page = switched_on()
    is_kept(page)
    shelves = "caches.keys()"
    first = page.evaluate(shelves)
    assert len(first) == 1
    for release, held in (("two", [*first, "station-two"]), ("three", ["station-two", "station-three"])):
        monkeypatch.setattr(tablet_shelf, "release", lambda release=release: release)
        page.evaluate("navigator.serviceWorker.ready.then((one) => one.update()).then(() => true)")
        told = json.loads(tablet_shelf.worker_text().split(";\n")[0].removeprefix("self.station = "))
        named = {cable.url + path for path in (*told["pieces"], told["page"])}
        name = f"station-{release}"
        assert comes(page, lambda name=name, named=named: set(page.evaluate(KEPT_ON, name)) == named)
        assert comes(page, lambda held=held: page.evaluate(shelves) == held), page.evaluate(shelves)
    cable.cut()
    open_again(page)


def test_all_that_the_page_loads_is_on_its_shelf(tablet):
    from shopfloor import tablet_shelf

    page = tablet("CUT-1")
    page.locator("[data-tap=camera]").click()
    page.locator("#photo").set_input_files(_photo("NX0000E", page.context))
    expect(page.locator("#camera-says")).not_to_be_empty()
    loaded = page.evaluate("performance.getEntriesByType('resource').map(({name}) => new URL(name).pathname)")
    statics = {path for path in loaded if path.startswith("/static/")}
    told = json.loads(tablet_shelf.worker_text().split(";\n")[0].removeprefix("self.station = "))
    assert len(statics) > 15
    assert statics <= set(told["pieces"])


def test_number_and_age_of_what_is_unsent_stay_on_the_screen(tablet, scan, badges, codes):
    page = tablet("CUT-1", at_a_fake_clock=True)
    scan(page, badges["Ana Ruiz"])
    expect(unsent(page)).to_have_text("All sent")
    page.context.set_offline(True)
    scan(page, codes[0])
    expect(unsent(page)).to_have_text("1 not sent, oldest just now")
    page.clock.fast_forward(6 * 60_000)
    scan(page, codes[1])
    expect(unsent(page)).to_have_text("2 not sent, oldest 6 min")
    page.locator("[data-tap=pad]").click()
    page.clock.fast_forward(3 * 3_600_000)
    expect(unsent(page)).to_contain_text("2 not sent, oldest 3 h")
    assert page.locator("#unsent").bounding_box()["y"] >= 0


def test_kept_recorded_already_and_refused_are_four_words_and_four_shapes(tablet, scan, badges, codes):
    page = tablet("CUT-1")
    looks = {}

    def note(result):
        shown = bar(page, result)
        expect(shown).to_be_visible()
        word = shown.locator(".result-word span").first.inner_text()
        shape = shown.locator("svg use").get_attribute("href")
        drawn = page.locator(f"symbol{shape}").evaluate("(symbol) => symbol.innerHTML")
        looks[result] = (word, drawn, shown.evaluate("(one) => getComputedStyle(one).backgroundColor"))

    scan(page, badges["Ana Ruiz"])
    page.context.set_offline(True)
    scan(page, codes[0])
    note("waiting")
    page.context.set_offline(False)
    note("recorded")
    page.wait_for_timeout(1_100)
    scan(page, codes[0])
    note("already")
    scan(page, badges["Ana Ruiz"][:-1] + ("2" if badges["Ana Ruiz"][-1] != "2" else "3"))
    note("refused")
    for part in (0, 1):
        assert len({look[part] for look in looks.values()}) == 4, looks


# -- who scans ---------------------------------------------------------------


@pytest.mark.parametrize("station", ["CUT-1", "SEAM-1"])
def test_another_badge_switches_at_once_and_each_scan_keeps_its_own(tablet, scan, badges, codes, station):
    """Scanned one on the other's heels, as fast as a scanner types."""
    page = tablet(station)
    page.context.set_offline(True)
    ana, ben = badges["Ana Ruiz"], badges["Ben Okafor"]
    for code in (ana, codes[0], ben, codes[1], ana, codes[2]):
        scan(page, code)
    expect(page.locator("#badge-name")).to_have_text("Ana Ruiz")
    expect(unsent(page)).to_contain_text("3 not sent")
    page.context.set_offline(False)
    expect(unsent(page)).to_have_text("All sent", timeout=15_000)
    assert list(Scan.objects.order_by("sequence").values_list("code", "badge")) == [
        (codes[0], ana),
        (codes[1], ben),
        (codes[2], ana),
    ]


def test_a_badge_left_alone_is_warned_then_out_and_its_unsent_scans_stay_its_own(tablet, scan, badges, codes):
    page = tablet("CUT-1", at_a_fake_clock=True)
    badge, name = page.locator("#badge"), page.locator("#badge-name")
    scan(page, badges["Ana Ruiz"])
    page.context.set_offline(True)
    scan(page, codes[0])
    expect(unsent(page)).to_contain_text("1 not sent")
    page.clock.fast_forward(13 * 60_000)
    expect(name).to_have_text("Ana Ruiz")
    page.clock.fast_forward(70_000)
    expect(badge).to_have_attribute("data-is", "leaving")
    expect(name).to_have_text("Ana Ruiz goes out in 1 min. Touch to stay.")
    page.locator("#next-title").click()
    expect(name).to_have_text("Ana Ruiz")
    page.clock.fast_forward(14 * 60_000 + 10_000)
    expect(badge).to_have_attribute("data-is", "leaving")
    page.clock.fast_forward(60_000)
    expect(badge).to_have_attribute("data-is", "out")
    expect(page.locator(".result:visible .result-sentence")).to_have_text(
        "Ana Ruiz is out after 15 minutes. Scan your badge."
    )
    scan(page, codes[1])
    expect(bar(page, "refused")).to_contain_text("Scan your badge first")
    scan(page, badges["Ben Okafor"])
    scan(page, codes[1])
    expect(unsent(page)).to_contain_text("2 not sent")
    page.context.set_offline(False)
    page.clock.fast_forward(61_000)
    expect(unsent(page)).to_have_text("All sent")
    assert dict(Scan.objects.values_list("code", "badge")) == {
        codes[0]: badges["Ana Ruiz"],
        codes[1]: badges["Ben Okafor"],
    }


def test_a_tablet_that_slept_through_the_night_asks_for_a_badge(tablet, scan, badges):
    page = tablet("CUT-1", at_a_fake_clock=True)
    scan(page, badges["Ana Ruiz"])
    expect(page.locator("#badge-name")).to_have_text("Ana Ruiz")
    page.evaluate("() => localStorage.setItem('active_at', String(Date.now() - 14.5 * 60000))")
    open_again(page)
    expect(page.locator("#badge-name")).to_have_text("Ana Ruiz")
    page.evaluate("() => localStorage.setItem('active_at', String(Date.now() - 15.5 * 60000))")
    open_again(page)
    expect(page.locator("#badge-name")).to_have_text("Scan your badge")


def test_numbers_of_the_station_before_are_not_shown_at_the_next(tablet, key, badges, codes):
    """A tablet that is enrolled elsewhere: a piece opened without the network shows no number of another operation."""
    page = tablet("CUT-1")
    page.locator(f".next[data-code='{codes[0]}']").click()
    expect(page.locator(".numbers")).to_contain_text("Blank")
    page.wait_for_timeout(2_500)
    page.context.add_cookies([{**key("ROLL-1"), "url": page.url.split("/station")[0]}])
    page.route("**/api/v1/station/pieces/**", lambda route: route.abort())
    open_again(page)
    expect(page.locator(".station-place")).to_contain_text("ROLL-1")
    page.locator("[data-tap=pad]").click()
    for character in codes[0][2:]:
        page.locator(f"#pad [data-character='{character}']").click()
    page.get_by_role("button", name="Enter").click()
    expect(page.locator("#piece-loading")).to_contain_text("are not here now")
    assert page.locator(".numbers dt").count() == 0
