"""Every page, judged as a person meets it: by axe, by its console, by its hosts, by its sizes.

One table of pages at the top; the questions below are asked of all of them, or of those that they are meant for.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from .conftest import OFFICE, TABLET
from .live import streams_end  # noqa: F401

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("streams_end"),
]

BOARD = {"width": 1920, "height": 1080}
ZOOMED = {"width": 720, "height": 450}  # 1440 × 900 at 200 %
LEAST_TARGET_PX = 64
LEAST_BOARD_TEXT_VH = 4.9
GRAVE = ("serious", "critical")


@dataclass(frozen=True)
class Place:
    path: str
    who: str = "office"  # a role that signs in, "" for nobody, or a station's code for its tablet
    size: str = "office"
    ready: str = "h1"
    status: int = 200

    @property
    def is_zoomed(self) -> bool:
        """Office pages; the page of parts shows the tablet's and the board's parts too, which are as wide as those."""
        return self.size == "office" and self.path != "/patterns/"

    def __str__(self) -> str:
        return f"{self.path} {self.who or 'nobody'}"


TABLET_PAGE = Place("/station/", "CUT-1", "tablet", "#station[data-ready=yes]")
PLACES = (
    Place("/sign-in/", ""),
    Place("/orders/"),
    Place("/orders/?q=nothing-like-this"),
    Place("/orders/new/", ready="[data-preview]"),
    Place("/orders/1043/edit/", ready="[data-preview] svg"),
    Place("/orders/1042/"),
    Place("/orders/1043/"),
    Place("/orders/1042/lines/1/"),
    Place("/orders/no-such-order/", status=404),
    Place("/pattern-desk/", ready="[data-part=view] svg"),
    Place("/customers/"),
    Place("/customers/new/"),
    Place("/tables/"),
    Place("/tables/gores/", ready="#grid-rows tr"),
    Place("/tables/allowances/", ready="#grid-rows tr"),
    Place("/tables/gores/1/"),
    Place("/operations/", "supervisor"),
    Place("/operations/cut/", "supervisor"),
    Place("/where/"),
    Place("/where/?q=1042"),
    Place("/patterns/"),
    Place("/stations/", "supervisor"),
    Place("/stations/add/", "supervisor"),
    Place("/stations/at/CUT-1/", "supervisor"),
    Place("/stations/operators/", "supervisor"),
    Place("/exceptions/", "supervisor"),
    Place("/enrol/", "", "tablet"),
    TABLET_PAGE,
    Place("/where/?q=1042", "CUT-1", "tablet"),
    Place("/board/", "display", "board", ".floor"),
    Place("/board/", "supervisor", "board", ".floor"),
)
SIZES = {"office": OFFICE, "tablet": TABLET, "board": BOARD}


@pytest.fixture
def visit(open_browser, live_server, client, shop, seen):
    """Opens a place as who it is for, at its size or another, and waits until it stands."""
    from fittings.orders import order_create
    from shared.roles import Actor
    from shopfloor.keys import TABLET_COOKIE, key_make
    from shopfloor.models import Person, Station
    from tests.factories import line

    lines = [line(), line(tag="AHU-4", end_b="flange")]
    draft = {"number": "1043", "customer": "Riverside Mechanical", "due": "2031-03-05", "lines": lines}
    order_create(data=draft, actor=Actor("office", "office"), now=datetime.now(UTC))

    def cookie_of(who: str) -> tuple[str, str]:
        station = Station.objects.filter(code=who).first()
        if station:
            return TABLET_COOKIE, key_make(now=datetime.now(UTC), station=station)[1]
        person = Person.objects.get(username=who)
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        return "sessionid", client.cookies["sessionid"].value

    def go(place: Place) -> Page:
        page = open_browser(SIZES[place.size], service_workers="allow")
        if place.who:
            name, value = cookie_of(place.who)
            page.context.add_cookies([{"name": name, "value": value, "url": live_server.url}])
        page.on("request", lambda request: seen.hosts.append(urlsplit(request.url).netloc))
        page.on("requestfailed", lambda request: seen.failed.append(request.url))
        page.on("console", lambda message: seen.said.append(message.text))
        assert page.goto(place.path).status == place.status
        page.wait_for_selector(place.ready)
        page.evaluate("document.fonts.ready")
        return page

    return go


@dataclass
class Seen:
    hosts: list[str]
    failed: list[str]
    said: list[str]


@pytest.fixture
def seen() -> Seen:
    return Seen([], [], [])


@pytest.mark.parametrize("place", PLACES, ids=str)
def test_page(visit, seen, live_server, place):
    """One visit, all questions: a page that is wrong in three ways says so three times."""
    page = visit(place)
    wrong = [*grave_violations(page), *wrong_outline(page)]
    if place.size == "tablet":
        wrong += small_targets(page)
    if place.is_zoomed:
        page.set_viewport_size(ZOOMED)
        wrong += sideways(page)
    own = urlsplit(live_server.url).netloc
    wrong += [f"asks another host: {host}" for host in set(seen.hosts) - {own}]
    wrong += [f"console: {text}" for text in seen.said if not (place.status == 404 and "404" in text)]
    wrong += [f"failed: {url}" for url in seen.failed if "/board/stream/" not in url]
    assert wrong == []


@pytest.mark.parametrize("opened", ["pad", "hold", "scrap", "cautions", "scans", "camera"])
def test_dialog_of_the_tablet(visit, opened):
    page = visit(TABLET_PAGE)
    page.evaluate("(id) => document.getElementById(id).showModal()", opened)
    assert page.locator(f"dialog#{opened}").is_visible()
    assert [*grave_violations(page), *small_targets(page)] == []


def grave_violations(page: Page) -> list[str]:
    return [
        f"{one['id']} ({one['impact']}): {one['help']}: {node['html'][:160]}"
        for one in Axe().run(page).response["violations"]
        if one["impact"] in GRAVE
        for node in one["nodes"][:4]
    ]


def wrong_outline(page: Page) -> list[str]:
    counts = {"h1": 1, "main": 1, "html[lang=en]": 1}
    found = {selector: page.locator(selector).count() for selector in counts}
    wrong = [f"{found[one]} of {one}, not {counts[one]}" for one in counts if found[one] != counts[one]]
    return wrong + ([] if re.search(r"\w", page.title()) else ["no title"])


def sideways(page: Page) -> list[str]:
    """What makes the page wider than the window; a table may scroll in its own frame."""
    wide, culprits = page.evaluate(
        """() => [document.documentElement.scrollWidth, [...document.querySelectorAll("body *")]
            .filter((one) => one.getBoundingClientRect().right > innerWidth + 1 && !one.closest(".table-scroll"))
            .slice(0, 5).map((one) => one.outerHTML.slice(0, 120))]"""
    )
    squeezed = page.evaluate(
        """() => [...document.querySelectorAll("main *")]
            .filter((one) => !one.children.length && one.textContent.trim().length > 12)
            .map((one) => [one, one.getBoundingClientRect()])
            .filter(([one, box]) => box.width && box.height > 4 * box.width)
            .slice(0, 3).map(([one]) => `letters in a column: ${one.textContent.trim().slice(0, 40)}`)"""
    )
    return squeezed + ([] if wide <= ZOOMED["width"] else [f"{wide} px wide at 200 %", *culprits])


def small_targets(page: Page) -> list[str]:
    targets = page.evaluate(
        """() => [...document.querySelectorAll("a[href], button, input, select, summary, label[for=photo]")]
            .filter((one) => one.checkVisibility({visibilityProperty: true}))
            .filter((one) => !one.matches(".skip, .offscreen, [type=hidden]"))
            .map((one) => { const box = one.getBoundingClientRect();
                return [Math.round(Math.min(box.width, box.height)), one.outerHTML.slice(0, 100)]; })"""
    )
    assert targets, "nothing to touch was found"
    return [f"{size} px to touch: {what}" for size, what in targets if size < LEAST_TARGET_PX]


BOARD_TEXTS = """() => {
    const walker = document.createTreeWalker(document.querySelector(".floor"), NodeFilter.SHOW_TEXT);
    const found = [];
    while (walker.nextNode()) {
        const {parentElement: holder, textContent: text} = walker.currentNode;
        if (!text.trim() || holder.closest(".offscreen") || !holder.checkVisibility()) continue;
        found.push({text: text.trim(), vh: parseFloat(getComputedStyle(holder).fontSize) / innerHeight * 100});
    }
    return found;
}"""


def test_words_on_the_board_read_from_five_metres(visit):
    page = visit(Place("/board/", "display", "board", ".floor"))
    texts = page.evaluate(BOARD_TEXTS)
    assert len(texts) > 30
    small = [one for one in texts if one["vh"] < LEAST_BOARD_TEXT_VH]
    assert small == []
    assert page.evaluate("document.documentElement.scrollHeight") <= BOARD["height"], (
        "it does not fit one screen"
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= BOARD["width"]
