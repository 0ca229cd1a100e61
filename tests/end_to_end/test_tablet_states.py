"""Every state of the station's page: reached as on the floor, judged, and photographed where a folder is named.

`SHOPFLOOR_PICTURES=folder pytest tests/end_to_end/test_tablet_states.py` leaves a picture of each state in that folder.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from fittings.models import Fitting, Order
from shopfloor.models import Key, Station
from tests.factories_cutting import made_plan
from travelers.models import Operation, Operator

from .judged import faint, small_secondary, small_targets, violations
from .tablets import bar, unsent

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NO_ROOM = "() => { IDBObjectStore.prototype.add = () => { throw new DOMException('full', 'QuotaExceededError'); }; }"


@dataclass
class Floor:
    """A tablet of a station, with what is at hand there."""

    page: Page
    scans: Callable[[Page, str], None]
    badges: dict[str, str]
    codes: list[str]

    def badge_in(self, name: str = "Ana Ruiz") -> None:
        self.scans(self.page, self.badges[name])
        expect(self.page.locator("#badge-name")).to_contain_text(name)

    def scan(self, code: str) -> None:
        self.scans(self.page, code)

    def tap(self, what: str) -> None:
        self.page.locator(f"[data-tap={what}]:visible").click()

    def offline(self, is_off: bool = True) -> None:
        self.page.context.set_offline(is_off)

    def shows(self, moment: str, words: str) -> None:
        expect(bar(self.page, moment)).to_contain_text(words)


def nobody_is_in(floor: Floor) -> None:
    expect(floor.page.locator("#badge-name")).to_have_text("Scan your badge")
    expect(floor.page.locator("#queue .next").first).to_be_visible()


def cautions_of_the_day(floor: Floor) -> None:
    floor.badge_in()
    expect(floor.page.locator("#daily")).to_contain_text("Before you start here today")


def a_piece_at_hand(floor: Floor) -> None:
    floor.badge_in()
    floor.page.locator("#queue .next").first.click()
    expect(floor.page.locator("#piece .numbers")).to_be_visible()


def kept_here(floor: Floor) -> None:
    floor.badge_in()
    floor.offline()
    for code in floor.codes[:3]:
        floor.scan(code)
    expect(unsent(floor.page)).to_contain_text("3 not sent")
    floor.shows("waiting", "Kept")


def recorded(floor: Floor) -> None:
    floor.badge_in()
    floor.scan(floor.codes[0])
    floor.shows("recorded", "Gore 1 of 5 cut. Next: Roll.")


def already_done(floor: Floor) -> None:
    recorded(floor)
    floor.page.wait_for_timeout(1_100)
    floor.scan(floor.codes[0])
    floor.shows("already", "Already")
    expect(floor.page.locator("#refused-words")).to_be_empty()


def refused_and_listed(floor: Floor) -> None:
    """The refusal of the server stays beside the count until somebody has seen it."""
    floor.badge_in()
    floor.page.locator("#queue .next").first.click()
    floor.tap("hold")
    floor.page.locator("#hold-reasons button").first.click()
    floor.shows("recorded", "on hold")
    floor.page.wait_for_timeout(1_100)
    floor.scan(floor.codes[0])
    floor.shows("refused", "on hold")
    expect(floor.page.locator("#refused-words")).to_contain_text("1")


def list_of_scans(floor: Floor) -> None:
    refused_and_listed(floor)
    floor.page.route("**/api/v1/scans/", lambda route: route.abort())
    floor.scan(floor.codes[1])
    expect(unsent(floor.page)).to_contain_text("1 not sent")
    floor.tap("scans")
    expect(floor.page.locator("#refused-list li")).to_have_count(1)
    expect(floor.page.locator("#unsent-list li")).to_have_count(1)


def no_badge(floor: Floor) -> None:
    floor.scan(floor.codes[0])
    floor.shows("refused", "Scan your badge first")


def a_mistyped_code(floor: Floor) -> None:
    floor.badge_in()
    floor.scan(floor.codes[0][:-1] + ("2" if floor.codes[0][-1] != "2" else "3"))
    expect(bar(floor.page, "refused")).to_be_visible()


def badge_about_to_go_out(floor: Floor) -> None:
    floor.badge_in()
    floor.page.clock.fast_forward(14 * 60_000 + 10_000)
    expect(floor.page.locator("#badge-name")).to_contain_text("Touch to stay")


def badge_about_to_go_out_and_not_sent(floor: Floor) -> None:
    """Both signs of the head at once: it keeps its one row."""
    server_is_gone(floor)
    floor.page.clock.fast_forward(14 * 60_000 + 10_000)
    expect(floor.page.locator("#badge-name")).to_contain_text("Touch to stay")


def badge_is_out(floor: Floor) -> None:
    badge_about_to_go_out(floor)
    floor.page.clock.fast_forward(60_000)
    floor.shows("idle", "is out after 15 minutes")


def not_ready_here(floor: Floor) -> None:
    floor.scan(floor.codes[0])
    expect(floor.page.locator("#piece .piece-notice")).to_contain_text("Not ready for Seam. It is at Cut")


def on_hold_with_many_numbers(floor: Floor) -> None:
    """Not ready here and on hold, at the operation with the most numbers: the cautions stay in sight."""
    floor.badge_in()
    floor.scan(floor.codes[0])
    floor.shows("recorded", "rolled")
    floor.page.wait_for_timeout(1_100)
    floor.tap("undo")
    floor.shows("recorded", "undone")
    floor.tap("hold")
    floor.page.locator("#hold-reasons button").first.click()
    floor.shows("recorded", "on hold")
    expect(floor.page.locator("#piece .numbers > *")).to_have_count(5)


def a_lot_without_its_tag_yet(floor: Floor) -> None:
    """The bar names what was scanned as soon as it is known, though the list does not have it."""
    floor.badge_in()
    fitting = Fitting.objects.select_related("line").order_by("pk").first()
    floor.scan(fitting.traveler_code)
    floor.shows("recorded", "The lot")
    expect(floor.page.locator(".station-result .result:visible .result-tag")).to_have_text(fitting.line.tag)


def a_count_is_dropped_with_its_badge(floor: Floor) -> None:
    count_for_the_next_scan(floor)
    expect(floor.page.locator("#count-open")).to_have_text("Count 4")
    floor.badge_in(next(name for name in floor.badges if name != "Ana Ruiz"))
    expect(floor.page.locator("#count-open")).to_have_text("Count…")


def a_strangers_short_bar_code(floor: Floor) -> None:
    floor.badge_in()
    floor.scan("A12")
    floor.shows("refused", "“A12” is not a code of this shop.")


def on_hold(floor: Floor) -> None:
    floor.badge_in()
    floor.page.locator("#queue .next").first.click()
    floor.tap("hold")
    floor.page.locator("#hold-reasons button").first.click()
    floor.shows("recorded", "on hold")
    expect(floor.page.locator("#act-resume")).to_be_visible()


def why_on_hold(floor: Floor) -> None:
    a_piece_at_hand(floor)
    floor.tap("hold")
    expect(floor.page.locator("#hold-reasons button").first).to_be_visible()


def why_scrapped(floor: Floor) -> None:
    why_on_hold(floor)
    floor.tap("scrap")
    floor.page.locator("#scrap-reasons button").first.click()
    expect(floor.page.locator("#scrap-sure")).to_be_enabled()


def code_by_hand(floor: Floor) -> None:
    floor.badge_in()
    floor.tap("pad")
    for character in floor.codes[0][:4]:
        floor.page.locator(f"#pad [data-character='{character}']").click()
    expect(floor.page.locator("#pad [data-shown]")).to_contain_text(floor.codes[0][:2])


def a_count(floor: Floor) -> None:
    floor.badge_in()
    floor.tap("count")
    floor.page.locator("#count [data-character='4']").click()
    expect(floor.page.locator("#count [data-shown]")).to_have_text("4")


def count_for_the_next_scan(floor: Floor) -> None:
    a_count(floor)
    floor.page.locator("#count").get_by_role("button", name="Enter").click()
    expect(floor.page.locator("#result-status")).to_contain_text("Count 4. Scan the traveler now.")


def a_lot_recorded(floor: Floor) -> None:
    count_for_the_next_scan(floor)
    floor.scan(Fitting.objects.order_by("pk").first().traveler_code)
    expect(bar(floor.page, "recorded")).to_be_visible()


def camera(floor: Floor) -> None:
    floor.badge_in()
    floor.tap("camera")
    expect(floor.page.locator("#camera-says")).not_to_be_empty()


def cautions_again(floor: Floor) -> None:
    recorded(floor)
    floor.tap("cautions")
    expect(floor.page.locator("#cautions-list")).not_to_be_empty()


def undone(floor: Floor) -> None:
    recorded(floor)
    floor.page.wait_for_timeout(1_100)
    floor.tap("undo")
    floor.shows("recorded", "undone")


def revoked(floor: Floor) -> None:
    floor.badge_in()
    floor.offline()
    floor.scan(floor.codes[0])
    expect(unsent(floor.page)).to_contain_text("1 not sent")
    Key.objects.update(revoked_at=timezone.now())
    floor.offline(False)
    expect(floor.page.locator("#link")).to_contain_text("Everything is kept.")


def server_is_gone(floor: Floor) -> None:
    floor.badge_in()
    floor.page.route("**/api/v1/**", lambda route: route.fulfill(status=502, body="<h1>Bad gateway</h1>"))
    floor.scan(floor.codes[0])
    floor.shows("waiting", "Kept")


def cannot_keep(floor: Floor) -> None:
    floor.badge_in()
    floor.page.evaluate(NO_ROOM)
    floor.scan(floor.codes[0])
    floor.shows("failed", "could not keep the scan")
    expect(floor.page.locator("#link")).to_contain_text("Stop scanning here")


def nothing_ready(floor: Floor) -> None:
    floor.badge_in()
    expect(floor.page.locator("#queue-empty")).to_be_visible()


def in_spanish(floor: Floor) -> None:
    Operator.objects.filter(name="Ana Ruiz").update(language="es")
    floor.page.reload()
    floor.page.wait_for_selector("#station[data-ready=yes]")
    floor.scan(floor.badges["Ana Ruiz"])
    expect(floor.page.locator("html")).to_have_attribute("lang", "es")
    floor.scan(floor.codes[0])
    floor.shows("recorded", "Registrado")


def a_kit_that_is_short(floor: Floor) -> None:
    """Its scan does not arrive: once it has, the fitting is done, and nothing of it is short."""
    fitting = Fitting.objects.order_by("pk").first()
    floor.badge_in()
    floor.page.route("**/api/v1/scans/", lambda route: route.abort())
    floor.scan(fitting.code)
    expect(floor.page.locator("#piece .kit")).to_contain_text("0 of 5 here")


def beyond_the_station(floor: Floor) -> None:
    Station.objects.filter(code="CUT-1").update(diameter_most_in=12)
    floor.page.reload()
    floor.page.wait_for_selector("#station[data-ready=yes]")
    floor.badge_in()
    floor.scan(floor.codes[0])
    expect(floor.page.locator("#piece .piece-notice")).to_be_visible()


def the_next_is_full(floor: Floor) -> None:
    Operation.objects.filter(code="roll").update(cap=2)
    floor.badge_in()
    for code in floor.codes[:2]:
        floor.scan(code)
        floor.page.wait_for_timeout(1_100)
    expect(floor.page.locator("#hold-back")).to_have_text("Roll is full: 2 of 2. Hold back.", timeout=30_000)


def sheets_to_cut(floor: Floor) -> None:
    floor.badge_in()
    expect(floor.page.locator("#sheets .next").first).to_be_visible()


def a_sheet_at_hand(floor: Floor) -> None:
    sheets_to_cut(floor)
    floor.page.locator("#sheets .next").first.click()
    expect(floor.page.locator("#piece svg.sheet-drawing")).to_be_visible()


def picture_of_the_sheet(floor: Floor) -> None:
    a_sheet_at_hand(floor)
    floor.tap("sheet")
    expect(floor.page.locator(".sheet-pieces li").first).to_be_visible()


STATES: dict[str, tuple[str, Callable[[Floor], None]]] = {
    "nobody is in": ("CUT-1", nobody_is_in),
    "no badge": ("CUT-1", no_badge),
    "cautions of the day": ("ROLL-1", cautions_of_the_day),
    "a piece at hand": ("CUT-1", a_piece_at_hand),
    "kept here": ("CUT-1", kept_here),
    "recorded": ("CUT-1", recorded),
    "already done": ("CUT-1", already_done),
    "refused and listed": ("CUT-1", refused_and_listed),
    "list of scans": ("CUT-1", list_of_scans),
    "a mistyped code": ("CUT-1", a_mistyped_code),
    "badge about to go out": ("CUT-1", badge_about_to_go_out),
    "badge about to go out and not sent": ("CUT-1", badge_about_to_go_out_and_not_sent),
    "badge is out": ("CUT-1", badge_is_out),
    "not ready here": ("SEAM-1", not_ready_here),
    "on hold": ("CUT-1", on_hold),
    "on hold with many numbers": ("ROLL-1", on_hold_with_many_numbers),
    "a lot without its tag yet": ("ROLL-1", a_lot_without_its_tag_yet),
    "a count is dropped with its badge": ("CUT-1", a_count_is_dropped_with_its_badge),
    "a stranger's short bar code": ("CUT-1", a_strangers_short_bar_code),
    "why on hold": ("CUT-1", why_on_hold),
    "why scrapped": ("CUT-1", why_scrapped),
    "code by hand": ("CUT-1", code_by_hand),
    "a count": ("CUT-1", a_count),
    "count for the next scan": ("CUT-1", count_for_the_next_scan),
    "a lot recorded": ("CUT-1", a_lot_recorded),
    "camera": ("CUT-1", camera),
    "cautions again": ("CUT-1", cautions_again),
    "undone": ("CUT-1", undone),
    "revoked": ("CUT-1", revoked),
    "server is gone": ("CUT-1", server_is_gone),
    "cannot keep": ("CUT-1", cannot_keep),
    "nothing ready": ("WRAP-1", nothing_ready),
    "in Spanish": ("CUT-1", in_spanish),
    "a kit that is short": ("ASSEMBLE-1", a_kit_that_is_short),
    "beyond the station": ("CUT-1", beyond_the_station),
    "the next is full": ("CUT-1", the_next_is_full),
    "sheets to cut": ("CUT-1", sheets_to_cut),
    "a sheet at hand": ("CUT-1", a_sheet_at_hand),
    "picture of the sheet": ("CUT-1", picture_of_the_sheet),
}
WITH_SHEETS = ("sheets to cut", "a sheet at hand", "picture of the sheet")
MAY_SCROLL = ("cannot keep", "revoked")  # work stops, its message comes first
AT_A_FAKE_CLOCK = ("badge about to go out", "badge about to go out and not sent", "badge is out")


@pytest.mark.parametrize("state", STATES)
def test_a_state_is_reached_and_is_fit_for_the_floor(tablet, scan, badges, codes, state):
    """Nothing that axe finds, nothing faint in glare, nothing too small for gloves, nothing off the screen."""
    station, reach = STATES[state]
    if state in WITH_SHEETS:
        made_plan(Order.objects.get(number="1042"), sent=True)
    page = tablet(station, at_a_fake_clock=state in AT_A_FAKE_CLOCK)
    reach(Floor(page, scan, badges, codes))
    photographed(page, state)
    wrong = [*violations(page), *small_targets(page), *small_secondary(page), *faint(page)]
    wrong += hidden_parts(page, () if state in MAY_SCROLL else (".station-next", ".station-piece"))
    assert wrong == [], "\n".join(wrong)


HEAD_SAYS = {
    "en": ("No connection, 0 not sent", "12 not sent, oldest 14 min", "120 not sent, oldest 23 h"),
    "es": ("Sin conexión, 0 sin enviar", "12 sin enviar, el más viejo 14 min"),
}


@pytest.mark.parametrize("station", ["CUT-1", "WRAP-1"])
@pytest.mark.parametrize("language", HEAD_SAYS)
def test_the_head_keeps_one_row_whatever_it_says(tablet, scan, badges, codes, language, station):
    """A badge that goes out, scans not sent and some refused at once: the piece below keeps its room."""
    page = tablet(station, at_a_fake_clock=True)
    floor = Floor(page, scan, badges, codes)
    if language == "es":
        in_spanish(floor)
    else:
        floor.badge_in()
    for is_leaving in (False, True):
        if is_leaving:
            page.clock.fast_forward(14 * 60_000 + 10_000)
        expect(page.locator("#badge")).to_have_attribute("data-is", "leaving" if is_leaving else "in")
        for words in HEAD_SAYS[language]:
            for refused in ("", "3 refused" if language == "en" else "3 rechazados"):
                found = page.evaluate(HEAD, [words, refused])
                photographed(page, f"head {language} {station} {is_leaving} {words} {refused}")
                assert found == {"rows": 1, "cut": []}, (words, refused)


HEAD = """([words, refused]) => {
    document.getElementById("unsent").dataset.link = "offline";
    document.getElementById("unsent-words").textContent = words;
    document.getElementById("refused-words").textContent = refused;
    document.getElementById("unsent").classList.toggle("has-refused", Boolean(refused));
    const head = document.querySelector(".station-head");
    const parts = [...head.children].filter((one) => one.offsetParent);
    const outside = (one) => one.scrollWidth > one.clientWidth + 1 || one.scrollHeight > one.clientHeight + 1
        || one.getBoundingClientRect().right > head.clientWidth;
    return {
        rows: head.clientHeight <= 80 ? 1 : 2,
        cut: parts.filter(outside).map((one) => one.textContent.trim()),
    };
}"""


def hidden_parts(page: Page, panels: tuple[str, ...]) -> list[str]:
    """What does not fit: the page on its screen, these panels in their frames."""
    sizes = page.evaluate(
        """(panels) => ["html", ...panels].map((name) => [name, document.querySelector(name)])
            .map(([name, one]) => [name, one.scrollWidth - one.clientWidth, one.scrollHeight - one.clientHeight])""",
        panels,
    )
    return [f"{name} hides {wide} × {high} px" for name, wide, high in sizes if wide > 0 or high > 0]


def photographed(page: Page, state: str) -> None:
    if folder := os.environ.get("SHOPFLOOR_PICTURES"):
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=Path(folder) / f"{state.replace(' ', '-').lower()}.png")
