"""Work that ends while its progress is watched: the page loads anew once, however long that takes."""

from __future__ import annotations

import time

import pytest
from playwright.sync_api import expect

from tests import factories
from tests.factories import line

from .test_take_off import work_that_waits

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SLOW_S = 3.5  # longer than three looks at the progress


def test_the_page_of_a_released_order_loads_once_where_loading_takes_longer_than_a_look(desk, shop):
    number = factories.order(
        lines=[line(quantity=501, kind="pipe", params={"diameter": 8, "length": 48})]
    ).number
    page = desk()
    page.goto(f"/orders/{number}/")
    page.get_by_role("button", name="Release to the floor").click()
    expect(page.get_by_role("heading", name="Being released")).to_be_visible()
    loads = []

    def slowly(route):
        loads.append(route.request.url)
        time.sleep(SLOW_S)
        route.continue_()

    page.route(f"**/orders/{number}/", slowly)
    work_that_waits()
    expect(page.get_by_role("button", name="Print travelers")).to_be_visible()
    expect(page.get_by_text(f"Order {number} is on the floor: 501 fittings.")).to_have_count(1)
    assert len(loads) == 1
