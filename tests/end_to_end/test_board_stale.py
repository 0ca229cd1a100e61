"""A board that hears nothing for more than thirty seconds says so in words, and takes it back."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from .live import streams_end  # noqa: F401

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("streams_end"),
]


def test_a_board_older_than_thirty_seconds_says_so_until_it_hears_again(desk):
    page = desk("display")
    page.clock.install()
    page.route("**/board/stream/", lambda route: route.abort())
    page.goto("/board/", wait_until="domcontentloaded", timeout=30_000)
    told = page.locator(".floor-stale")
    expect(told).to_be_hidden()
    page.route("**/board/part/", lambda route: route.abort())
    page.clock.run_for(25_000)
    expect(told).to_be_hidden()
    page.clock.run_for(10_000)
    expect(told).to_be_visible()
    expect(told).to_contain_text("Old numbers.")
    expect(told).to_contain_text("No connection for")
    page.unroute("**/board/part/")
    page.clock.run_for(5_000)
    expect(told).to_be_hidden()
