"""Every page, judged as a person meets it: by axe, by its console, by its hosts, by its sizes.

One table of pages at the top; the questions below are asked of all of them, or of those that they are meant for.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page

from fittings.models import Order
from shared.roles import Actor
from tests import factories, factories_cutting, factories_floor
from tests.shopfloor.access_table import SUPPORT, table_rows

from .conftest import OFFICE, TABLET
from .judged import faint, small_targets, violations
from .live import streams_end  # noqa: F401

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("streams_end"),
]

BOARD = {"width": 1920, "height": 1080}
ZOOMED = {"width": 720, "height": 450}  # 1440 × 900 at 200 %
LEAST_BOARD_TEXT_VH = 4.9


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

    @property
    def needs_metal(self) -> bool:
        return self.path.startswith(
            ("/cut-", "/stock/", "/customers/{", "/what-if/{", "/floor-plan/", "/orders/import/{")
        ) or ("{webhook}" in self.path)

    @property
    def needs_papers(self) -> bool:
        return self.path.startswith(("/deliveries/", "/orders/{", "/letterhead/"))

    def __str__(self) -> str:
        return f"{self.path} {self.who or 'nobody'}"


TABLET_PAGE = Place("/station/", "CUT-1", "tablet", "#station[data-ready=yes]")
PLACES = (
    Place("/sign-in/", ""),
    Place("/orders/"),
    Place("/orders/?q=nothing-like-this"),
    Place("/orders/new/", ready="[data-preview]"),
    Place("/orders/new/?copy=1042", ready="[data-preview] svg"),
    Place("/favourites/"),
    Place("/orders/1043/edit/", ready="[data-preview] svg"),
    Place("/orders/1042/"),
    Place("/orders/1043/"),
    Place("/orders/1042/change/"),
    Place("/orders/1042/lines/1/"),
    Place("/orders/1042/costs/"),
    Place("/orders/1043/costs/"),
    Place("/costs/"),
    Place("/costs/?by=order&count=orders"),
    Place("/orders/no-such-order/", status=404),
    Place("/orders/import/"),
    Place("/orders/import/{file}/", ready=".is-wrong"),
    Place("/orders/import/{file}/columns/", ready="tr.is-open"),
    Place("/cut-plans/"),
    Place("/cut-plans/new/?material=galvanized&gauge=24"),
    Place("/cut-plans/1/", ready=".picture"),
    Place("/cut-plans/2/", ready="#cut-progress"),
    Place("/cut-plans/99/", status=404),
    Place("/cut-plans/new/"),
    Place("/cut-plans/figures/"),
    Place("/cut-sheets/{sheet}/", ready="[data-picture] svg"),
    Place("/cut-sheets/{sheet}/?piece={piece}", "supervisor", ready="#piece"),
    Place("/pattern-desk/", ready="[data-part=view] svg"),
    Place("/customers/"),
    Place("/customers/new/"),
    Place("/customers/{customer}/"),
    Place("/customers/{customer}/merge/"),
    Place("/stock/"),
    Place("/stock/new/"),
    Place("/stock/{stock}/"),
    Place("/stock/kept/"),
    Place("/stock/kept/?q=nothing-like-this"),
    Place("/stock/kept/new/"),
    Place("/stock/kept/{kept}/"),
    Place("/orders/1043/?beside={kept}", ready=".kept-offers"),
    Place("/tables/"),
    Place("/tables/gores/", ready="#grid-rows tr"),
    Place("/tables/allowances/", ready="#grid-rows tr"),
    Place("/tables/gores/1/"),
    Place("/operations/", "supervisor"),
    Place("/operations/cut/", "supervisor"),
    Place("/board/figures/", "supervisor"),
    Place("/flow/", ready=".chart"),
    Place("/what-if/"),
    Place("/what-if/{study}/", "supervisor"),
    Place("/measured-times/"),
    Place("/floor-plan/", "supervisor"),
    Place("/floor-plan/room/", "supervisor"),
    Place("/floor-plan/{layout}/", "supervisor", ready="#compared-title"),
    Place("/floor-plan/{layout}/edit/", "supervisor", ready=".plan [role=button]"),
    Place("/letterhead/"),
    Place("/deliveries/"),
    Place("/deliveries/", "CUT-1", "tablet", "[data-signature=ready]"),
    Place("/deliveries/{delivery}/", ready="[data-signature=ready]"),
    Place("/deliveries/{delivery}/", "CUT-1", "tablet", "[data-signature=ready]"),
    Place("/deliveries/{received}/", "CUT-1", "tablet", ".signed"),
    Place("/orders/{order}/deliveries/new/"),
    Place("/orders/{order}/papers/{print}/", ready="#print-progress"),
    Place("/orders/{order}/", ready="text=To be signed"),
    Place("/where/"),
    Place("/where/?q=1042"),
    Place("/find/?q=14 90 elbow 24"),
    Place("/find/?q=elbwo", "supervisor"),
    Place("/patterns/"),
    Place("/settings/programs/"),
    Place("/settings/webhooks/"),
    Place("/settings/webhooks/{webhook}/"),
    Place("/stations/", "supervisor"),
    Place("/stations/add/", "supervisor"),
    Place("/stations/at/CUT-1/", "supervisor"),
    Place("/stations/at/CUT-1/down/", "supervisor"),
    Place("/stations/operators/", "supervisor"),
    Place("/settings/"),
    Place("/settings/", "supervisor"),
    Place("/settings/shop/"),
    Place("/first-steps/"),
    Place("/first-steps/", "supervisor"),
    Place("/settings/people/"),
    Place("/settings/people/new/"),
    Place("/settings/people/supervisor/"),
    Place("/password/", "display"),
    Place("/exceptions/", "supervisor"),
    Place("/stations/", status=403),
    Place("/board/", "CUT-1", "tablet", status=403),
    Place("/orders/", "display", status=403),
    Place("/api/docs/", ready=".opblock"),
    Place("/enrol/", "", "tablet"),
    TABLET_PAGE,
    Place("/where/?q=1042", "CUT-1", "tablet"),
    Place("/board/", "display", "board", ".floor"),
    Place("/board/", "supervisor", "board", ".floor"),
)
NO_PAGES = {
    *(
        "/",
        "/find/first/",
        "/board/part/",
        "/board/stream/",
        "/pattern-desk/drawing/",
        "/orders/new/favourites/",
        "/api/schema/",
        SUPPORT,
    ),  # ways, parts, the framework's own
    *("/cut-plans/<number>/progress/", "/cut-plans/<number>/comparisons/", "/what-if/<pk>/progress/"),
    *("/orders/<number>/promise/", "/orders/<number>/release/progress/"),
    *("/orders/<number>/costs/part/", "/costs/month.<form>"),
    *("/orders/<number>/papers/<pk>/progress/", "/letterhead/logo.png", "/letterhead/sample.pdf"),
}
SIZES = {"office": OFFICE, "tablet": TABLET, "board": BOARD}


@pytest.fixture
def visit(open_browser, live_server, client, shop, seen):
    """Opens a place as who it is for, at its size or another, and waits until it stands."""
    from fittings.orders import order_create
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
        path = place.path
        if "{kept}" in path:
            path = path.format(kept=kept_there())
        elif place.needs_metal or place.needs_papers:
            path = path.format(**(metal_there() if place.needs_metal else papers_there()))
        page = open_browser(SIZES[place.size], service_workers="allow")
        if place.who:
            name, value = cookie_of(place.who)
            page.context.add_cookies([{"name": name, "value": value, "url": live_server.url}])
        page.on("request", lambda request: seen.hosts.append(urlsplit(request.url).netloc))
        page.on("requestfailed", lambda request: seen.failed.append(request.url))
        page.on("console", lambda message: seen.said.append(message.text))
        assert page.goto(path).status == place.status
        page.wait_for_selector(place.ready)
        page.evaluate("document.fonts.ready")
        return page

    return go


def metal_there() -> dict[str, object]:
    """Plan 1 on the floor with a piece off it, plan 2 being made, work that waits; what stands where."""
    from fittings.intake.checking import Asked
    from fittings.intake.services import intake_keep
    from travelers.cut_plans import piece_take_off, plan_request

    who, now = Actor("office", "office"), datetime.now(UTC)
    plan = factories_cutting.made_plan(Order.objects.get(number="1042"), sent=True)
    sheet = plan.sheets.order_by("position").first()
    first, second = sheet.pieces.order_by("feed")[:2]
    piece_take_off(
        sheet_code=sheet.code, segment_code=first.segment.code, reason="Corner is dented", actor=who, now=now
    )
    plan_request(material="galvanized", gauge=24, actor=who, now=now)
    factories_cutting.released(due="2026-03-05", customer="Riverside Mechanical")
    content = b"Qty,Kind,Dia,Sparkle\n2,Pipe,wide,x\n"
    file = intake_keep(content=content, name="take-off.csv", asked=Asked(), actor=who, now=now)
    return {
        "file": file.pk,
        "study": studied(now),
        "layout": laid_out(now),
        "webhook": told(now),
        "sheet": sheet.pk,
        "piece": second.segment.code,
        "stock": sheet.stock_id,
        "customer": Order.objects.get(number="1042").customer_id,
    }


def papers_there() -> dict[str, object]:
    """A logo; of two finished fittings one on a delivery that waits, another that was signed for; a print asked for."""
    from fittings.models import Fitting
    from travelers.letterhead import logo_keep
    from travelers.print_runs import print_ask
    from travelers.shipping import delivery_make, delivery_receive

    who, now = Actor("office", "office"), datetime.now(UTC)
    order = factories_cutting.released(customer="Riverside Mechanical")
    Fitting.objects.filter(order=order, number__lte=3).update(state="done")
    logo_keep(content=factories.picture(), actor=who, now=now)
    made = [
        delivery_make(number=order.number, wanted={1: 1}, notes="Dock 4", actor=who, now=now) for _ in "ab"
    ]
    strokes = [[[100, 200], [400, 120], [800, 260]]]
    delivery_receive(pk=made[1].pk, name="Ada Driver", strokes=strokes, actor=who, now=now)
    run = print_ask(number=order.number, paper="travelers", actor=who, now=now)
    return {"order": order.number, "delivery": made[0].pk, "received": made[1].pk, "print": run.pk}


def kept_there() -> int:
    """A fitting that came back, and fits the draft."""
    from travelers.kept import kept_add

    who, now = Actor("office", "office"), datetime.now(UTC)
    order = factories_cutting.released(customer="Riverside Mechanical")
    factories_floor.finished(order, now=now)
    return kept_add(pieces=[order.fittings.first()], why="returned", place="Rack B1", actor=who, now=now)[
        0
    ].pk


def studied(now: datetime) -> int:
    """A question to the simulation, answered."""
    from shared.jobs import work_once
    from shopfloor.studies import STUDY, STUDY_WORK, ChangeAsked, study_request

    asked = ChangeAsked({"roll": 1}, people=3)
    study = study_request(
        name="A second roll", asked=asked, days=1, runs=5, actor=Actor("office", "office"), now=now
    )
    assert work_once({STUDY: STUDY_WORK}, worker="test")
    return study.pk


def told(now: datetime) -> int:
    """A webhook that did not take a message, and a program beside it."""
    from shopfloor.outward.programs import program_add
    from shopfloor.outward.webhooks import message_claim, message_settle, webhook_add, webhook_try

    who = Actor("office", "office")
    data = {"name": "Accounting", "address": "https://example.com/heard"}
    webhook = webhook_add(data=data, actor=who, now=now)
    webhook_try(pk=webhook.pk, actor=who, now=now)
    message_settle(message=message_claim(now=now), status=500, words="Out of order", now=now)
    program_add(data={"name": "Time clock", "scopes": ["events:read", "floor:read"]}, actor=who, now=now)
    return webhook.pk


def laid_out(now: datetime) -> int:
    """A room, an order finished in it, and a try of another layout."""
    from shopfloor.floor_plan import layout_standing, layout_try, room_save

    who = Actor("supervisor", "supervisor")
    room_save(width=60, depth=40, carried=4, walk=210, actor=who, now=now)
    factories_floor.finished(factories_cutting.released(customer="Riverside Mechanical"), now=now)
    return layout_try(pk=layout_standing().pk, name="A U", way="u", actor=who, now=now).pk


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
    wrong = [*violations(page), *wrong_outline(page)]
    if place.size == "tablet":
        wrong += small_targets(page)
    if place.size != "office":
        wrong += faint(page)
    if place.is_zoomed:
        page.set_viewport_size(ZOOMED)
        wrong += sideways(page)
    own = urlsplit(live_server.url).netloc
    wrong += [f"asks another host: {host}" for host in set(seen.hosts) - {own}]
    wrong += [
        f"console: {text}" for text in seen.said if not (place.status >= 400 and str(place.status) in text)
    ]
    wrong += [f"failed: {url}" for url in seen.failed if "/board/stream/" not in url]
    assert wrong == [], "\n".join(wrong)


@pytest.mark.parametrize("opened", ["pad", "hold", "scrap", "cautions", "scans", "camera"])
def test_dialog_of_the_tablet(visit, opened):
    page = visit(TABLET_PAGE)
    page.evaluate("(id) => document.getElementById(id).showModal()", opened)
    assert page.locator(f"dialog#{opened}").is_visible()
    assert [*violations(page), *small_targets(page), *faint(page)] == []


def wrong_outline(page: Page) -> list[str]:
    counts = {"h1:not(#swagger-ui *)": 1, "main": 1, "html[lang=en]": 1}
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
            .filter((one) => !one.closest("svg") && !one.children.length && one.textContent.trim().length > 12)
            .map((one) => [one, one.getBoundingClientRect()])
            .filter(([one, box]) => box.width && box.height > 4 * box.width)
            .slice(0, 3).map(([one]) => `letters in a column: ${one.textContent.trim().slice(0, 40)}`)"""
    )
    return squeezed + ([] if wide <= ZOOMED["width"] else [f"{wide} px wide at 200 %", *culprits])


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


def test_every_page_of_the_published_table_is_looked_at():
    """Pages that answer an act of a form are looked at where the act is; what is a part or a file is none."""
    published = {
        row.address for row in table_rows() if "GET" in row.methods and not row.address.startswith("/api/v1/")
    }
    pages = {one for one in published - NO_PAGES if not re.search(r"\.[a-z]+$|\.<form>$", one)}
    patterns = {one: re.compile(re.sub(r"<\w+>", "[^/]+", one)) for one in pages}
    looked = [urlsplit(place.path).path for place in PLACES]
    lacking = {one for one, pattern in patterns.items() if not any(map(pattern.fullmatch, looked))}
    assert not lacking, f"Add a Place for each to PLACES in {__file__}, or to NO_PAGES: {sorted(lacking)}"
