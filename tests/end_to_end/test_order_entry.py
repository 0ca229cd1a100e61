"""Typing an order in a real browser: by keyboard alone, with mistakes, and with scripts off."""

from dataclasses import replace

import pytest
from playwright.sync_api import expect

from fittings.geometry import KINDS
from fittings.models import Order

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NOTEBOOK = {"width": 1180, "height": 820}


def focused(page) -> str:
    return page.evaluate("document.activeElement.name || document.activeElement.tagName")


def enter_until(page, name: str) -> None:
    """Press Enter until the field of this name has the focus."""
    for _ in range(20):
        if focused(page).endswith(name):
            return
        page.keyboard.press("Enter")
    raise AssertionError(f"Enter never reached {name}; it stopped at {focused(page)}")


def type_line(page, quantity: str, diameter: str, angle: str, tag: str) -> None:
    assert focused(page).endswith("-quantity")
    page.keyboard.type(quantity)
    enter_until(page, "-diameter")
    page.keyboard.type(diameter)
    enter_until(page, "-angle")
    page.keyboard.type(angle)
    enter_until(page, "-tag")
    page.keyboard.type(tag)


def test_three_lines_are_entered_with_the_keyboard_alone(desk):
    page = desk()
    page.goto("/orders/new/")
    expect(page.locator("[name=customer]")).to_be_focused()
    page.keyboard.type("Harbor Mechanical")
    enter_until(page, "purchase_order")
    page.keyboard.type("PO-7781")
    enter_until(page, "due")
    page.keyboard.type("17 Dec 2027")
    for _ in range(5):
        if focused(page) == "notes":
            break
        page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    type_line(page, "12", "14 1/2", "90", "AHU-3")
    page.keyboard.press("Enter")
    assert focused(page) == "line-1-quantity"
    type_line(page, "4", "368.3 mm", "45", "AHU-4")
    page.keyboard.press("Enter")
    type_line(page, "2", '14-1/2"', "30", "AHU-5")
    page.keyboard.press("Control+Enter")
    page.wait_for_url("**/orders/1001/")
    order = Order.objects.get(number="1001")
    lines = list(order.lines.order_by("position"))
    assert [(line.quantity, line.params["angle"], line.tag) for line in lines] == [
        (12, 90, "AHU-3"),
        (4, 45, "AHU-4"),
        (2, 30, "AHU-5"),
    ]
    assert {line.params["diameter"] for line in lines} == {14.5}
    assert str(order.due_on) == "2027-12-17"


def test_new_line_carries_over_metal_and_ends(desk):
    page = desk()
    page.goto("/orders/new/")
    page.fill("[name=line-0-gauge]", "20")
    page.select_option("[name=line-0-material]", "stainless")
    page.select_option("[name=line-0-end_b]", "flange")
    page.focus("[name=line-0-tag]")
    page.keyboard.press("Enter")
    assert page.input_value("[name=line-1-gauge]") == "20"
    assert page.input_value("[name=line-1-material]") == "stainless"
    assert page.input_value("[name=line-1-end_b]") == "flange"
    assert page.input_value("[name=line-1-quantity]") == ""


def test_preview_and_echo_follow_what_is_typed(desk):
    page = desk(size=NOTEBOOK)
    page.goto("/orders/new/")
    page.fill("[name=line-0-diameter]", "14 1/2")
    page.fill("[name=line-0-angle]", "90")
    page.wait_for_selector("[data-preview] svg")
    expect(page.locator("[data-echo=diameter]").first).to_have_text("14 1/2 in = 14.500")
    assert "14 1/2 in, 5 pieces" in page.inner_text("[data-preview]")
    page.fill("[name=line-0-diameter]", "6000")
    page.wait_for_selector("[data-preview] .preview-wrong")
    assert "it can be 1 to 120 in." in page.inner_text("[data-preview]")


def test_mistakes_take_the_focus_to_the_summary_and_keep_what_was_typed(desk):
    page = desk()
    page.goto("/orders/new/")
    page.fill("[name=line-0-quantity]", "12")
    page.fill("[name=line-0-diameter]", "1/2/4")
    page.keyboard.press("Control+Enter")
    page.wait_for_selector(".form-errors")
    assert page.title().startswith("Error: ")
    expect(page.locator(".form-errors")).to_be_focused()
    page.click(".form-errors a >> text=1/2/4")
    assert focused(page) == "line-0-diameter"
    assert page.input_value("[name=line-0-diameter]") == "1/2/4"
    assert page.input_value("[name=line-0-quantity]") == "12"


def test_line_taken_out_can_be_put_back(desk):
    page = desk()
    page.goto("/orders/new/")
    page.fill("[name=line-0-tag]", "AHU-3")
    page.click("[data-add-line]")
    page.click("[data-line=line-0] [data-remove-line]")
    assert page.locator("[data-line]").count() == 1
    page.click("text=Put it back")
    assert page.locator("[data-line]").count() == 2
    assert page.input_value("[name=line-0-tag]") == "AHU-3"
    assert page.inner_text("[data-line=line-0] [data-line-number]") == "1"


def test_other_kind_shows_its_own_sizes_and_keeps_what_both_have(desk, monkeypatch):
    elbow = KINDS["gored_elbow"]
    length = replace(elbow.params[0], name="length", help="Length of the duct.")
    straight = replace(elbow, name="straight", title="Straight", params=(elbow.params[0], length))
    monkeypatch.setitem(KINDS, "straight", straight)
    page = desk()
    page.goto("/orders/new/")
    for name, value in (("quantity", "12"), ("diameter", "14 1/2"), ("angle", "90"), ("tag", "AHU-3")):
        page.fill(f"[name=line-0-{name}]", value)
    page.select_option("[name=line-0-kind]", "straight")
    page.wait_for_selector("[name=line-0-length]")
    assert page.locator("[name=line-0-angle]").count() == 0
    assert focused(page) == "line-0-kind"
    assert page.input_value("[name=line-0-diameter]") == "14 1/2"
    assert page.input_value("[name=line-0-tag]") == "AHU-3"
    assert page.input_value("[name=line-0-quantity]") == "12"


def test_second_click_on_save_makes_no_second_order(desk):
    page = desk()
    page.goto("/orders/new/")
    page.fill("[name=customer]", "Harbor Mechanical")
    for name, value in (("quantity", "1"), ("diameter", "14"), ("angle", "90")):
        page.fill(f"[name=line-0-{name}]", value)
    page.dblclick("[data-save]")
    page.wait_for_url("**/orders/1001/")
    assert Order.objects.exclude(number="1042").count() == 1


def test_click_on_save_while_the_order_is_on_its_way_sends_nothing(desk):
    page = desk()
    page.goto("/orders/new/")
    page.fill("[name=customer]", "Harbor Mechanical")
    for name, value in (("quantity", "1"), ("diameter", "14"), ("angle", "90")):
        page.fill(f"[name=line-0-{name}]", value)
    sent = page.evaluate(
        """async () => {
          let sent = 0;
          document.querySelector("[data-save]").form.addEventListener("submit", (event) => {
            if (!event.defaultPrevented) sent += 1;
            event.preventDefault();
          });
          for (let click = 0; click < 4; click += 1) {
            document.querySelector("[data-save]").click();
            await new Promise((done) => setTimeout(done, 500));
          }
          return sent;
        }"""
    )
    assert sent == 1


def test_order_is_entered_with_scripts_off(desk):
    page = desk(java_script_enabled=False)
    page.goto("/orders/new/")
    page.fill("[name=customer]", "Harbor Mechanical")
    for name, value in (("quantity", "12"), ("diameter", "14 1/2"), ("angle", "90")):
        page.fill(f"[name=line-0-{name}]", value)
    page.click("[data-add-line]")
    assert page.input_value("[name=line-0-diameter]") == "14 1/2"
    for name, value in (("quantity", "3"), ("diameter", "8"), ("angle", "45")):
        page.fill(f"[name=line-1-{name}]", value)
    page.press("[name=line-1-angle]", "Enter")
    page.wait_for_url("**/orders/1001/")
    assert Order.objects.get(number="1001").lines.count() == 2


def test_nothing_is_wider_than_the_window(desk, live_server):
    long = "Consolidated Harbor Mechanical and Sheet Metal Erectors of the Northern District " * 2
    for size in (NOTEBOOK, {"width": 1440, "height": 900}):
        page = desk(size=size)
        page.goto("/orders/new/")
        page.fill("[name=customer]", long[:118])
        page.fill("[name=purchase_order]", "W" * 60)
        for name, value in (
            ("quantity", "9999"),
            ("diameter", "109 31/32"),
            ("angle", "89.75"),
            ("tag", "W" * 60),
        ):
            page.fill(f"[name=line-0-{name}]", value)
        page.click("[data-save]")
        page.wait_for_url("**/orders/1*/")
        for address in (
            page.url,
            page.url + "edit/",
            page.url + "lines/1/",
            "/orders/",
            "/customers/",
            "/tables/usual/",
        ):
            page.goto(address)
            wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
            assert wide <= 0, f"{address} is {wide} px too wide at {size['width']}"
