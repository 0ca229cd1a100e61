"""An order of twenty mixed lines by keyboard alone, its strokes counted; and what the keys, a paste and a reload do."""

import re

import pytest
from playwright.sync_api import expect

from fittings.favourites import favourite_keep
from fittings.models import Favourite, Order, OrderLine
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SLOW = 60_000  # ms, for the first page of a busy machine
NOTEBOOK = {"width": 1366, "height": 768}
ELBOWS = [("12", "14", "90"), ("4", "14 1/2", "45"), ("2", "22", "30"), ("6", "10", "90"), ("8", "12", "60")]
PIPES = [("3", "14", "48"), ("7", "22", "60"), ("2", "10", "36 1/2"), ("5", "12", "48"), ("9", "8", "24")]
REDUCERS = [("2", "22", "14", "24"), ("1", "14", "10", "18"), ("3", "12", "8", "16"), ("1", "10", "6", "16")]
CAPS = [("2", "14", "2"), ("1", "22", "2"), ("4", "8", "1 1/2")]
LATE_ELBOWS = [("1", "26", "90"), ("2", "18", "45"), ("3", "16", "90")]
GROUPS = [
    ("Gored elbow", "", ELBOWS),
    ("Pipe", "p", PIPES),
    ("Reducer", "reducer", REDUCERS),
    ("End cap", "e", CAPS),
]
GROUPS += [("Gored elbow", "g", LATE_ELBOWS)]
BOUND = 1.5
"""Strokes to the characters of the order itself. The rest is one key to leave each cell, as on any
sheet, where cells are of two or three characters; and the first line and the changes of kind."""


class Keys:
    """Types, and counts each key that goes down (a chord is one for each of its keys)."""

    def __init__(self, page):
        self.page, self.strokes, self.needed = page, 0, 0

    def type(self, text: str) -> None:
        self.strokes += len(text)
        self.needed += len(text)
        self.page.keyboard.type(text)

    def press(self, chord: str) -> None:
        self.strokes += chord.count("+") + 1
        self.page.keyboard.press(chord)

    def at(self, name: str) -> None:
        expect(self.page.locator(f"[name={name}]")).to_be_focused()


def paste(page, text: str) -> None:
    page.evaluate(
        """(text) => {
            const held = new DataTransfer();
            held.setData("text/plain", text);
            document.activeElement.dispatchEvent(
                new ClipboardEvent("paste", {clipboardData: held, bubbles: true, cancelable: true}));
        }""",
        text,
    )


def start(page, address="/orders/new/"):
    page.goto(address, timeout=SLOW)
    expect(page.locator("[data-totals] .totals")).to_be_visible(timeout=SLOW)
    return page


def line_of(page, number: int):
    return page.locator("[data-line]").nth(number - 1)


def test_twenty_mixed_lines_by_keyboard_alone(desk, record_property):
    page = start(desk(size=NOTEBOOK))
    keys = Keys(page)
    keys.at("customer")
    keys.type("Harbor Mechanical")
    keys.press("Enter")
    keys.type("PO-7781")
    keys.press("Enter")
    keys.type("17 Dec 2027")
    for name in ("priority", "number", "notes"):
        keys.press("Tab")
        keys.at(name)
    keys.press("Tab")
    at = 0
    for _, letters, rows in GROUPS:
        for row_at, (quantity, *sizes) in enumerate(rows):
            keys.at(f"line-{at}-quantity")
            keys.type(quantity)
            if letters and row_at == 0:  # another kind from here on
                keys.press("Tab")
                keys.type(letters)
            keys.press("Enter")
            while at == 0 and not page.evaluate("document.activeElement.name").endswith("-diameter"):
                keys.press("Enter")  # on the first line Enter stops at every field
            for size_at, size in enumerate(sizes):
                keys.type(size)
                keys.press("Enter")
                while size_at == len(sizes) - 1 and not page.evaluate("document.activeElement.name").endswith(
                    "-tag"
                ):
                    keys.press("Enter")
            keys.at(f"line-{at}-tag")
            at += 1
            keys.type(f"T-{at:02}")
            if at < 20:
                keys.press("Enter")
    keys.press("Control+Enter")
    page.wait_for_url("**/orders/1001/")
    stored = OrderLine.objects.filter(order__number="1001").order_by("position")
    titles = {"Gored elbow": "gored_elbow", "Pipe": "pipe", "Reducer": "reducer", "End cap": "end_cap"}
    wanted = [(titles[title], int(row[0])) for title, _, rows in GROUPS for row in rows]
    assert list(stored.values_list("kind", "quantity")) == wanted
    assert [line.tag for line in stored] == [f"T-{number:02}" for number in range(1, 21)]
    assert stored[1].params["diameter"] == 14.5
    assert stored[7].params["length"] == 36.5
    ratio = keys.strokes / keys.needed
    record_property("strokes", keys.strokes)
    record_property("needed", keys.needed)
    print(f"20 lines: {keys.strokes} strokes for {keys.needed} characters, {ratio:.2f} each")
    assert ratio <= BOUND


def test_arrows_repeat_take_out_and_undo(desk):
    page = start(desk(size=NOTEBOOK))
    keys = Keys(page)
    for name, text in (("quantity", "4"), ("diameter", "14"), ("angle", "90"), ("tag", "AHU-1")):
        page.fill(f"[name=line-0-{name}]", text)
    page.focus("[name=line-0-tag]")
    keys.press("Control+d")
    keys.at("line-1-quantity")
    expect(page.locator("[name=line-1-diameter]")).to_have_value("14")
    page.focus("[name=line-1-angle]")
    keys.press("ArrowUp")
    keys.at("line-0-angle")
    keys.press("Shift+Enter")
    keys.at("line-0-diameter")
    keys.press("ArrowDown")
    keys.at("line-1-diameter")
    keys.press("Alt+Shift+ArrowUp")
    expect(page.locator(".line.is-chosen")).to_have_count(2)
    keys.press("Control+d")
    expect(page.locator("[data-line]")).to_have_count(4)
    expect(line_of(page, 4).locator("[name$=-tag]")).to_have_value("AHU-1")
    keys.press("Alt+z")
    expect(page.locator("[data-line]")).to_have_count(2)
    page.focus("[name=line-0-diameter]")
    keys.press("Alt+Delete")
    expect(page.locator("[data-line]")).to_have_count(1)
    keys.at("line-1-diameter")
    keys.press("Alt+z")
    expect(page.locator("[data-line]")).to_have_count(2)
    keys.at("line-0-quantity")
    keys.press("Alt+Enter")
    keys.at("line-4-quantity")
    assert page.locator("[data-line]").nth(1).get_attribute("data-line") == "line-4"
    page.focus("[name=line-4-diameter]")
    keys.type('"')
    keys.press("Enter")
    expect(page.locator("[name=line-4-diameter]")).to_have_value("14")


def test_thirty_rows_are_pasted_and_saved(desk):
    page = start(desk(size=NOTEBOOK))
    page.fill("[name=customer]", "Harbor Mechanical")
    rows = ["Qty\tItem\tDia\tDegrees\tGa\tMark\tFloor\tRoom"]
    rows += [
        f"{at % 7 + 1}\tElbow\t{8 + at % 20}\t90\t24\tAHU-{at}\tLevel {at % 3 + 1}\t" for at in range(29)
    ]
    rows += ["2\tElbow\t6000\t90\t24\tAHU-29\tLevel 3\t204"]
    page.focus("[name=line-0-quantity]")
    paste(page, "\n".join(rows))
    expect(page.locator("[data-line]")).to_have_count(30)
    expect(page.locator("[data-line-status]")).to_contain_text("30 rows were pasted.")
    expect(page.locator("[name=left]")).to_have_value("Row 30, Room: 204")
    expect(page.locator("[data-totals]")).to_contain_text("line 30")
    page.focus("[name=line-0-quantity]")
    expect(line_of(page, 30).locator("[data-line-trouble]")).to_contain_text("it can be 1 to 120 in.")
    line_of(page, 30).locator("[name$=-diameter]").fill("14")
    page.fill("[name=left]", "")
    expect(page.locator("[data-totals]")).not_to_contain_text("Not counted")
    # 29 rows of 1..7: four whole weeks of 28 and one more, and the last row's 2
    expect(page.locator("[data-totals]")).to_contain_text(str(4 * 28 + 1 + 2))
    page.keyboard.press("Control+Enter")
    page.wait_for_url("**/orders/1001/")
    assert Order.objects.get(number="1001").lines.filter(system="Level 2").count() == 10


def test_a_paste_is_undone_whole(desk):
    page = start(desk(size=NOTEBOOK))
    page.fill("[name=line-0-diameter]", "14")
    page.focus("[name=line-0-diameter]")
    paste(page, "20\t90\n22\t45")
    expect(page.locator("[data-line]")).to_have_count(2)
    expect(page.locator("[name=line-0-diameter]")).to_have_value("20")
    page.keyboard.press("Alt+z")
    expect(page.locator("[data-line]")).to_have_count(1)
    expect(page.locator("[name=line-0-diameter]")).to_have_value("14")
    expect(page.locator("[name=line-0-angle]")).to_have_value("")


def test_what_is_typed_outlasts_a_reload_and_a_closed_window(desk):
    page = start(desk(size=NOTEBOOK))
    page.fill("[name=customer]", "Harbor Mechanical")
    page.fill("[name=line-0-diameter]", "14 1/2")
    with page.expect_response(
        lambda answer: answer.url.endswith("/typed/") and "AHU-3" in (answer.request.post_data or "")
    ) as kept:
        page.fill("[name=line-0-tag]", "AHU-3")
        page.keyboard.press("Tab")  # left: nothing more is to be kept when the page goes
    assert kept.value.ok
    expect(page.locator("[data-kept]")).to_contain_text("Kept at")
    expect(page).to_have_url(re.compile(r"\?typed="))
    page.reload()
    expect(page.locator("[name=line-0-diameter]")).to_have_value("14 1/2")
    expect(page.locator("[name=customer]")).to_have_value("Harbor Mechanical")
    again = start(desk(size=NOTEBOOK))
    expect(again.locator("[data-offer]")).to_contain_text("Harbor Mechanical, 1 line, typed until")
    again.get_by_role("link", name="Go on with it").click()
    expect(again.locator("[name=line-0-tag]")).to_have_value("AHU-3")


def test_what_the_server_did_not_get_is_on_this_computer(desk):
    page = start(desk(size=NOTEBOOK))
    page.fill("[name=customer]", "Harbor Mechanical")
    expect(page.locator("[data-kept]")).to_contain_text("Kept at")
    page.route("**/orders/new/typed/", lambda route: route.abort())
    page.fill("[name=line-0-tag]", "AHU-77")
    expect(page.locator("[data-kept]")).to_contain_text("Kept on this computer only")
    page.unroute("**/orders/new/typed/")
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    expect(page.locator("[name=line-0-tag]")).to_have_value("AHU-77")


def test_two_windows_do_not_write_over_each_other(desk):
    page = start(desk(size=NOTEBOOK))
    page.fill("[name=customer]", "First window")
    expect(page).to_have_url(re.compile(r"\?typed="))
    shared = page.url
    other = page.context.new_page()
    start(other, shared)
    with other.expect_response("**/orders/new/typed/") as kept:
        other.fill("[name=customer]", "Second window")
    assert kept.value.ok
    page.fill("[name=purchase_order]", "PO-1")
    expect(page.locator("[data-apart]")).to_contain_text("Another window went on with this")
    expect(page).not_to_have_url(shared)  # kept under a name of its own
    last = page.context.new_page()
    start(last)
    expect(last.locator("[data-offer]")).to_have_count(2)
    expect(last.locator("[data-offer]", has_text="First window")).to_have_count(1)
    expect(last.locator("[data-offer]", has_text="Second window")).to_have_count(1)


def test_a_favourite_is_kept_and_put_in_by_its_name(desk):
    page = start(desk(size=NOTEBOOK))
    for name, text in (("quantity", "4"), ("diameter", "14 1/2"), ("angle", "90"), ("tag", "AHU-1")):
        page.fill(f"[name=line-0-{name}]", text)
    line_of(page, 1).locator("summary").click()
    line_of(page, 1).get_by_role("button", name="Keep this line as a favourite").click()
    expect(page.locator("#favourite-title")).to_be_focused()
    page.keyboard.type("Supply elbow")
    page.keyboard.press("Enter")
    expect(page.locator("[data-line-status]")).to_contain_text("“Supply elbow” is kept for all customers.")
    assert Favourite.objects.get().line["params"]["diameter"] == 14.5
    page.keyboard.press("Alt+f")
    expect(page.locator("[data-favourite-name]")).to_be_focused()
    page.keyboard.type("supply")
    page.keyboard.press("Enter")
    expect(page.locator("[name=line-1-quantity]")).to_be_focused()
    expect(page.locator("[name=line-1-diameter]")).to_have_value("14 1/2")
    expect(page.locator("[name=line-1-tag]")).to_have_value("")


def test_an_order_is_copied_as_a_new_one(desk):
    page = desk(size=NOTEBOOK)
    page.goto("/orders/1042/")
    page.get_by_role("link", name="Copy as new order").click()
    expect(page.locator("[data-totals] .totals")).to_be_visible()
    expect(page.locator("[name=customer]")).to_have_value("Riverside Mechanical")
    expect(page.locator("[name=customer]")).to_be_focused()
    expect(page.locator("[name=purchase_order]")).to_have_value("")
    expect(page.locator("[name=line-0-diameter]")).to_have_value("14")
    page.keyboard.press("Control+Enter")
    page.wait_for_url("**/orders/1001/")
    assert Order.objects.get(number="1001").lines.get().params["pieces"] == 5


def test_nothing_is_wider_than_a_notebook_for_any_kind(desk, shop):
    from fittings.geometry import KINDS

    kinds = "\n".join(
        ["Qty\tKind\tMark\tSystem"] + [f"9999\t{kind.title}\t{'W' * 20}\tLevel 2" for kind in KINDS.values()]
    )
    favourite_keep(
        data={"name": "W" * 60, "line": factories.line()}, actor=factories.OFFICE_ACTOR, now=factories.NOW
    )
    page = start(desk(size=NOTEBOOK))
    page.focus("[name=line-0-quantity]")
    paste(page, kinds)
    expect(page.locator("[data-line]")).to_have_count(len(KINDS))
    for details in page.locator(".line-more > summary").all():
        details.click()
    page.locator("[data-entry-keys] > summary").click()
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    page.goto("/favourites/")
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
