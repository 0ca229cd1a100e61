"""The search by keyboard: the slash goes to it, the first that it finds stand below it, arrows go through them."""

import pytest
from playwright.sync_api import expect

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_slash_words_arrows_and_enter(desk):
    page = desk()
    page.goto("/stock/")
    page.locator("h1").wait_for()
    page.keyboard.press("/")
    field = page.get_by_role("searchbox", name="Find anything")
    expect(field).to_be_focused()
    page.keyboard.type("1042")
    first = page.locator("#find-first")
    expect(first.get_by_role("link").first).to_contain_text("Order 1042")
    page.keyboard.press("Escape")
    expect(first).to_be_hidden()
    expect(field).to_be_focused()
    page.keyboard.press("Backspace")
    expect(first.get_by_role("link").first).to_be_visible()
    page.keyboard.press("ArrowDown")
    expect(first.get_by_role("link").first).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Order 1042")


def test_a_word_that_is_nowhere_is_said_as_one_types(desk):
    page = desk()
    page.goto("/orders/")
    page.locator("h1").wait_for()
    field = page.get_by_role("searchbox", name="Find anything")
    field.fill("elbwo")
    expect(page.locator("#find-first")).to_contain_text("“elbwo” stands nowhere")
    field.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Find")
    expect(page.locator(".notice")).to_contain_text("“elbwo” stands nowhere")
