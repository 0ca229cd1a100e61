"""What if and the expected finish in a real browser: asked, watched while a worker answers, read."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from shared.jobs import work_once
from shopfloor import order_promises
from shopfloor.models import Promise, Study
from shopfloor.worker import HANDLERS

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def work() -> None:
    assert work_once(HANDLERS, worker="test")


def test_a_second_roll_is_asked_for_and_its_answer_comes_by_itself(desk):
    page = desk("supervisor")
    page.goto("/what-if/")
    expect(page.get_by_text("The bottleneck is")).to_be_visible()
    page.get_by_role("button", name="Simulate").click()
    expect(page.locator(".form-errors")).to_contain_text("Enter a name.")
    page.get_by_label("Name", exact=True).fill("A second roll")
    page.get_by_label("Roll: stations more").fill("1")
    page.get_by_label("Working days to look at").fill("2")
    page.get_by_label("How often").select_option("20")
    page.get_by_role("button", name="Simulate").click()
    expect(page.locator("#study-progress")).to_contain_text("In the queue")
    work()
    expect(page.get_by_role("heading", name="The floor as it is, and with the change")).to_be_visible()
    expect(page.locator(".what-if-changes")).to_have_text("Roll: 1 station more")
    row = page.get_by_role("row", name="Fittings finished a day")
    expect(row).to_contain_text("±")
    page.get_by_role("button", name="Remove the question").click()
    expect(page.get_by_text("Nothing asked yet")).to_be_visible()
    assert not Study.objects.exists()


def test_the_order_page_says_when_it_will_be_finished(desk, monkeypatch):
    monkeypatch.setattr(order_promises, "RUNS", 10)
    page = desk("office")
    page.goto("/orders/1042/")
    page.get_by_role("button", name="When will it be finished?").click()
    part = page.locator("#promise")
    expect(part).to_contain_text("Being worked out")
    work()
    expect(part).to_contain_text("Almost surely by")
    expect(part.get_by_role("button")).to_have_text("Work it out again")
    assert Promise.objects.get().state == Promise.State.MADE
