"""From an empty database to a released order with its first scan, by the guide alone: two people and one tablet."""

from __future__ import annotations

import re

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from fittings.models import Order, Segment
from shopfloor.first_steps import setup_code_make
from shopfloor.models import Person
from travelers.models import Operator, Scan

from .conftest import OFFICE, TABLET
from .judged import violations
from .live import streams_end  # noqa: F401

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

OWN = "four seams and a hem"


@pytest.mark.usefixtures("streams_end")
def test_an_empty_app_becomes_a_working_shop(open_browser, live_shop, scan):
    code = setup_code_make(now=timezone.now())
    office = open_browser(OFFICE)
    open_the_shop(office, code)
    expect_done(office, {"operations"})
    name_the_shop(office)
    password = add_supervisor(office)
    expect_done(office, {"operations", "shop", "people"})

    supervisor = open_browser(OFFICE)
    sign_in(supervisor, password)
    tablet = set_the_floor_up(supervisor, open_browser)
    floor = {"stations", "tablets", "operators", "badges"}
    expect_done(supervisor, {"operations", "shop", "people"} | floor)

    add_stock(office)
    number = order_and_release(office)
    badge = Operator.objects.get().code
    tablet.reload()  # it asks again by itself, but not at once
    tablet.wait_for_selector("#station[data-ready=yes]")
    scan(tablet, badge)
    expect(tablet.locator("#badge")).to_have_attribute("data-is", "in")
    scan(tablet, Segment.objects.filter(fitting__order__number=number).order_by("pk")[0].code)
    expect(tablet.locator(".station-result .result:visible")).to_have_attribute("data-moment", "recorded")
    assert Scan.objects.filter(outcome="recorded").count() == 1

    office.goto("/first-steps/")
    expect(office.get_by_text("All steps are done: the shop works.")).to_be_visible()
    office.goto("/orders/")
    expect(office.get_by_role("complementary", name="First steps")).to_have_count(0)


def expect_done(page: Page, names: set[str]) -> None:
    page.goto("/first-steps/")
    done = page.locator("[data-step].is-done")
    expect(done).to_have_count(len(names))
    assert {one.get_attribute("data-step") for one in done.all()} == names


def act(page: Page, step: str, name: str) -> None:
    page.locator(f"[data-step={step}]").get_by_role("link", name=name).click()


def open_the_shop(page: Page, code: str) -> None:
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Open the shop")
    assert violations(page) == []
    page.goto(f"/first-steps/?code={code}")
    expect(page.get_by_label("Code")).to_have_value(code)
    page.get_by_label("Your full name").fill("Olive Invented")
    page.get_by_label("User name").fill("olive")
    page.get_by_label("Password", exact=True).fill(OWN)
    page.get_by_label("Password once more").fill(OWN)
    page.get_by_role("button", name="Open the shop").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("First steps")


def name_the_shop(page: Page) -> None:
    act(page, "shop", "Name it")
    page.get_by_label("Name of the shop").fill("Invented Round Works")
    page.get_by_role("button", name="Save the shop").click()
    expect(page.locator(".frame-name")).to_have_text("Invented Round Works")
    reminder = page.get_by_role("complementary", name="First steps")
    expect(reminder).to_contain_text("2 of 11 done")
    reminder.get_by_role("link", name="Go on").click()


def add_supervisor(page: Page) -> str:
    act(page, "people", "Add a user")
    expect(page.get_by_role("radio", name=re.compile("^Supervisor"))).to_be_checked()
    page.get_by_label("User name").fill("sandy")
    page.get_by_label("Full name").fill("Sandy Invented")
    page.get_by_role("button", name="Add the user").click()
    shown = page.locator(".password-shown")
    expect(shown).to_have_text(re.compile(r"^(?:[0-9a-z]{4}-){3}[0-9a-z]{4}$"))
    assert Person.objects.get(username="sandy").role == "supervisor"
    return shown.inner_text()


def sign_in(page: Page, password: str) -> None:
    page.goto("/first-steps/")
    page.get_by_label("User name").fill("sandy")
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("First steps")


def set_the_floor_up(page: Page, open_browser) -> Page:
    page.get_by_role("button", name="Add one for each operation").click()
    expect(page.locator("#messages")).to_contain_text("Added CUT-1, ROLL-1, SEAM-1")
    act(page, "tablets", "Open stations")
    page.get_by_role("link", name="CUT-1", exact=True).click()
    page.get_by_role("button", name="Make a code for a tablet").click()
    digits = re.sub(r"\D", "", page.locator(".enrol-code").inner_text())
    tablet = open_browser(TABLET)
    tablet.goto("/enrol/")
    tablet.get_by_label("Code").press_sequentially(digits)
    tablet.keyboard.press("Enter")
    tablet.wait_for_selector("#station[data-ready=yes]")
    page.goto("/first-steps/")
    act(page, "operators", "Add operators")
    page.get_by_label("Name", exact=True).fill("Ana Invented")
    page.get_by_role("button", name="Add and give a badge").click()
    expect(page.locator("#messages")).to_contain_text("Ana Invented has badge")
    address = page.get_by_role("link", name="Cards of all badges, PDF").get_attribute("href")
    assert page.context.request.get(address).headers["content-type"] == "application/pdf"
    return tablet


def add_stock(page: Page) -> None:
    page.goto("/first-steps/")
    act(page, "stock", "Add stock")
    page.locator("form[action$='/stock/usual/']").get_by_role("button").click()
    expect(page.locator("#messages")).to_contain_text("Added:")


def order_and_release(page: Page) -> str:
    page.goto("/first-steps/")
    act(page, "order", "New order")
    expect(page.locator("[name=customer]")).to_be_focused()
    page.locator("[name=customer]").fill("Example Mechanical")
    for name, text in (("quantity", "1"), ("diameter", "14"), ("angle", "90")):
        page.locator(f"[name=line-0-{name}]").fill(text)
    page.get_by_role("button", name="Save draft").click()
    expect(page.get_by_role("heading", level=1)).to_have_text(re.compile(r"^Order \S+$"))
    page.get_by_role("button", name="Release to the floor").click()
    expect(page.locator("#messages")).to_contain_text("is on the floor: 1 fitting")
    return Order.objects.get(state="released").number
