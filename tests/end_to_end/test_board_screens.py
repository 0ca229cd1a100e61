"""The board on any screen: three to twelve operations, long names, very large numbers, calm, busy and without a server.

`SHOPFLOOR_PICTURES=folder pytest tests/end_to_end/test_board_screens.py` leaves a picture of each in that folder.
"""

from __future__ import annotations

import io
import os
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from fittings.models import Fitting
from shopfloor.live import live
from tests.threads import until

from . import invented_boards
from .judged import faint, violations

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SCREENS = {
    "720p": (1280, 720),
    "1080p": (1920, 1080),
    "4k": (3840, 2160),
    "wide": (1280, 800),
    "tablet": (1180, 820),
    "old": (1024, 768),
}
# Font sizes in per cent of the height of a 55 in 16:9 screen, by 16 and 20 arc-minutes (ISO 9241-3) at the distance, as
# in the project's table: 5 m 4.9 and 6.1, 3 m 2.9 and 3.6, 10 m 12.1.
FIVE_METRES, FIVE_METRES_WELL, THREE_METRES, THREE_METRES_WELL, TEN_METRES = 4.9, 6.1, 2.9, 3.6, 12.0
MOST_BAYS_FROM_FIVE_METRES = 6
LEAST_GREY_CONTRAST = 1.5

LOOK = """() => {
    const floor = document.querySelector(".floor");
    const TAIL = 0.55;  // per cent of the height: half of a letter's tail may hang beside the next line's heads
    const ROUNDING = 2;  // px
    const unit = Math.min(innerHeight / 100, innerWidth * 0.005625);
    const canvas = document.createElement("canvas").getContext("2d");
    const texts = [], wrong = [];
    const walker = document.createTreeWalker(floor, NodeFilter.SHOW_TEXT);
    const stale = floor.querySelector(".floor-stale:not([hidden])");
    while (walker.nextNode()) {
        const node = walker.currentNode, holder = node.parentElement;
        if (!node.textContent.trim() || holder.closest(".offscreen") || !holder.checkVisibility()) continue;
        if (stale && holder.closest(".floor-head")) continue;
        const items = holder.closest(".floor-items");
        const style = getComputedStyle(holder);
        canvas.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
        const ink = canvas.measureText(node.textContent.trim());
        const range = document.createRange();
        range.selectNodeContents(node);
        const holds = holder.closest("svg, td, th, .floor-items, .floor-headline, .floor-why, .floor-clock,"
            + " .floor-stale");
        const frame = holds.getBoundingClientRect();
        const air = getComputedStyle(holds).overflowY === "visible" ? TAIL * unit : ROUNDING;
        for (const box of range.getClientRects()) {
            if (!box.width) continue;
            const base = box.top + ink.fontBoundingBoxAscent;
            const at = {text: node.textContent.trim(), left: box.left, right: box.right,
                top: base - ink.actualBoundingBoxAscent, bottom: base + ink.actualBoundingBoxDescent,
                size: parseFloat(style.fontSize) / unit, kind: holder.closest("[class]").className.baseVal
                    ?? holder.closest("[class]").className, row: holder.closest("tr")?.className ?? ""};
            if (items) {
                const line = items.getBoundingClientRect();
                if (box.top + box.height / 2 > line.bottom) continue;
            }
            if (at.left < frame.left - 1 || at.right > frame.right + 1 || at.top < frame.top - air
                || at.bottom > frame.bottom + air) wrong.push(`out of its frame: ${at.text}`);
            if (at.right > innerWidth || at.bottom > innerHeight) wrong.push(`off the screen: ${at.text}`);
            at.node = node;
            texts.push(at);
        }
    }
    for (const [n, one] of texts.entries())
        for (const other of texts.slice(n + 1))
            if (one.node !== other.node && one.left < other.right - 1 && other.left < one.right - 1
                && one.top < other.bottom - TAIL * unit && other.top < one.bottom - TAIL * unit)
                wrong.push(`overlap: ${one.text} | ${other.text}`);
    for (const one of floor.querySelectorAll("*")) {
        if (one.closest("svg, .offscreen") || (stale && one.closest(".floor-head"))) continue;
        const style = getComputedStyle(one);
        if (style.display === "inline" || style.overflowX === "visible" && !one.matches("td, th")) continue;
        if (one.scrollWidth > one.clientWidth + 1) wrong.push(`cut: ${one.className} ${one.textContent.trim()}`);
    }
    for (const items of floor.querySelectorAll(".floor-items")) {
        const line = items.getBoundingClientRect();
        for (const item of items.children) {
            const box = item.getBoundingClientRect();
            if (box.top < line.bottom - 1 && box.bottom > line.bottom + 1)
                wrong.push(`half a line: ${item.textContent}`);
        }
    }
    for (const pile of floor.querySelectorAll(".floor-pile")) {
        const line = pile.querySelector(".clears")?.getBoundingClientRect();
        const figure = texts.find((one) => one.kind === "hours" && one.left >= pile.getBoundingClientRect().left
            && one.right <= pile.getBoundingClientRect().right);
        if (!figure) wrong.push("a pile without a figure");
        else if (line && figure.top < line.top && figure.bottom > line.bottom) wrong.push(`crossed: ${figure.text}`);
    }
    const page = document.documentElement;
    if (page.scrollHeight > innerHeight || page.scrollWidth > innerWidth) wrong.push("the page scrolls");
    return {wrong, texts: texts.map(({node, ...one}) => one)};
}"""

LINES = """(one) => {
    const range = document.createRange();
    range.selectNodeContents(one);
    return new Set([...range.getClientRects()].map((box) => Math.round(box.top))).size;
}"""

COLOURED = """() => {
    const floor = document.querySelector(".floor");
    const isColoured = (text) => {
        const [r, g, b] = (text.match(/[\\d.]+/g) ?? [0, 0, 0]).map(Number);
        return Math.max(r, g, b) - Math.min(r, g, b) > 60;
    };
    const columns = [...floor.querySelectorAll(".floor-main td.is-piling")].map((one) => one.cellIndex);
    const found = [];
    for (const one of floor.querySelectorAll("*")) {
        if (!one.checkVisibility() || one.closest(".offscreen") || one.closest("svg")) continue;
        const style = getComputedStyle(one);
        if (!isColoured(style.color) && !isColoured(style.backgroundColor)) continue;
        const place = one.closest("td, th, h1, .floor-item, .floor-stale");
        const hasSign = Boolean(place?.querySelector(".state-shape"))
            || place?.matches(".floor-name") && columns.includes(place.cellIndex);
        const words = place?.matches("td") ? place.closest("tr").querySelector("th").textContent : place?.textContent;
        found.push({what: one.outerHTML.slice(0, 80), hasSign, words: (words ?? "").trim()});
    }
    return found;
}"""


@pytest.fixture
def wall(desk, monkeypatch):
    """Opens the page of the board with an invented shop; without its stream, which is of the shop in the database."""

    def make(state: str, bays: int, page: Page | None = None) -> Page:
        fittings = list(Fitting.objects.order_by("pk").values_list("code", flat=True))
        found = invented_boards.edition(getattr(invented_boards, state)(bays, fittings))
        monkeypatch.setattr(live, "edition", lambda: found)
        if page is None:
            page = desk("display")
            page.route("**/board/stream/", lambda route: route.abort())
        page.goto("/board/", wait_until="domcontentloaded")
        page.wait_for_selector(f".floor[data-bays='{bays}']")
        page.evaluate("document.fonts.ready")
        return page

    return make


def looked_at(page: Page, state: str, bays: int, screens) -> list[str]:
    """What is wrong on these screens; a picture of each where a folder is named."""
    wrong = []
    for name in screens:
        width, height = SCREENS[name]
        page.set_viewport_size({"width": width, "height": height})
        page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        found = page.evaluate(LOOK)
        assert len(found["texts"]) > 7 * bays, "nothing was measured"
        photographed(page, f"{state}-{bays}-{name}")
        wrong += [f"{name}, {bays} bays: {one}" for one in [*found["wrong"], *small(found["texts"], bays)]]
    return wrong


def small(texts: list[dict], bays: int) -> list[str]:
    from_five = bays <= MOST_BAYS_FROM_FIVE_METRES
    wrong = []
    for one in texts:
        least = FIVE_METRES if from_five else THREE_METRES
        if "is-long" in one["kind"] and from_five:
            least = THREE_METRES_WELL
        elif from_five and one["row"] == "floor-main" and "floor-label" not in one["kind"]:
            least = FIVE_METRES_WELL
        elif "floor-why" in one["kind"] or one["row"] == "floor-note" and "floor-label" not in one["kind"]:
            least = FIVE_METRES
        elif one["text"] in ("Roll piles up", "Nothing piles up"):
            least = TEN_METRES
        if one["size"] < least - 0.01:
            wrong.append(f"{one['size']:.1f} of {least}: {one['text']}")
    return wrong


def photographed(page: Page, name: str) -> None:
    if folder := os.environ.get("SHOPFLOOR_PICTURES"):
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=Path(folder) / f"board-{name}.png")


@pytest.mark.parametrize("state", ["calm", "busy", "large"])
def test_the_board_stands_whole_on_every_screen(wall, state):
    """Of three to twelve operations: nothing is cut nor over another, letters are as large as the distance asks for."""
    page, wrong = None, []
    for bays in range(3, 13) if state == "large" else (3, 6, 9, 12):
        page = wall(state, bays, page)
        wrong += looked_at(page, state, bays, SCREENS if bays in (3, 6, 12) else ("1080p",))
    assert wrong == [], "\n".join(wrong)


@pytest.mark.parametrize("state", ["calm", "busy", "large"])
def test_the_board_is_accessible_and_never_faint(wall, state):
    page = wall(state, 6)
    page.set_viewport_size({"width": 1920, "height": 1080})
    assert [*violations(page), *faint(page)] == []


@pytest.mark.parametrize("gone", ["no answer", "an error"])
def test_a_board_without_its_server_says_so_whole_on_every_screen(wall, desk, gone):
    page = desk("display")
    page.route("**/board/stream/", lambda route: route.abort())
    page.clock.install()
    wall("busy", 6, page)
    answer = {"no answer": lambda route: route.abort(), "an error": lambda route: route.fulfill(status=503)}[
        gone
    ]
    page.route("**/board/part/", answer)
    page.clock.run_for(95_000)
    expect(page.locator(".floor-stale")).to_be_visible()
    expect(page.locator(".floor-stale")).to_contain_text("Old numbers. No connection for")
    assert looked_at(page, f"stale-{gone.replace(' ', '-')}", 6, SCREENS) == []
    assert [*violations(page), *faint(page)] == []


def test_a_why_in_the_form_of_the_shop_stands_whole_at_1080p(wall):
    page = wall("busy", 6)
    page.set_viewport_size({"width": 1920, "height": 1080})
    expect(page.locator(".floor-why")).to_have_text(
        "6.5 h queued, 2.1 h more than it will clear today. Seam starves from 14:10. BENCH-2 can do it and is idle. "
        "Also: Seam."
    )
    # the board may be drawn anew between two questions
    assert until(lambda: page.locator(".floor-why").evaluate(LINES) == 2, seconds=15, pause=0.1)


@pytest.mark.parametrize(("screen", "kits", "orders"), [("1080p", 1, 1), ("tablet", 2, 2), ("old", 3, 3)])
def test_more_kits_and_orders_stand_where_the_screen_has_room(wall, screen, kits, orders):
    page = wall("busy", 6)
    width, height = SCREENS[screen]
    page.set_viewport_size({"width": width, "height": height})
    whole = """() => [...document.querySelectorAll(".floor-items")].map((items) =>
        [...items.querySelectorAll(".floor-item")]
            .filter((one) => one.getBoundingClientRect().bottom <= items.getBoundingClientRect().bottom + 1).length)"""
    wanted = [min(kits, 2), orders]  # two fittings lack a gore
    assert until(lambda: page.evaluate(whole)[:2] == wanted, seconds=15, pause=0.1), page.evaluate(whole)


@pytest.mark.parametrize("state", ["busy", "large"])
def test_what_is_coloured_has_a_sign_and_a_word_and_is_seen_in_grey(wall, state):
    page = wall(state, 6)
    page.set_viewport_size({"width": 1920, "height": 1080})
    found = page.evaluate(COLOURED)
    assert len(found) >= 5
    assert [
        one for one in found if not (one["hasSign"] and any(letter.isalpha() for letter in one["words"]))
    ] == []
    grey = Image.open(io.BytesIO(page.screenshot())).convert("L")
    over, usual = (
        grey.getpixel(middle(page, which)) for which in (".slat.is-over", ".slat.is-ready:not(.is-over)")
    )
    assert contrast(over, usual) >= LEAST_GREY_CONTRAST


def test_a_calm_board_has_no_colour(wall):
    assert wall("calm", 6).evaluate(COLOURED) == []


def middle(page: Page, selector: str) -> tuple[int, int]:
    box = page.locator(selector).first.bounding_box()
    return round(box["x"] + box["width"] / 2), round(box["y"] + box["height"] / 2)


def contrast(one: int, other: int) -> float:
    """Of two greys of 0 to 255, by WCAG 2: (L₁ + 0.05) ÷ (L₂ + 0.05), L of sRGB."""
    low, high = sorted(
        value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
        for value in (one / 255, other / 255)
    )
    return (high + 0.05) / (low + 0.05)
