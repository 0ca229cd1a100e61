"""The board on the wall follows by its stream alone: nothing is asked for."""

from __future__ import annotations

import pytest
from django.db import transaction
from playwright.sync_api import expect

from travelers.pulse import pulse_beat

from .live import streams_end  # noqa: F401

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("streams_end"),
]


def test_a_change_is_drawn_from_the_stream(desk):
    page = desk("display")
    asked = []
    page.route("**/board/part/", lambda route: (asked.append(route.request.url), route.abort()))
    page.goto("/board/", wait_until="domcontentloaded", timeout=30_000)
    expect(page.locator(".floor")).to_be_visible()
    for _ in range(2):
        with transaction.atomic():
            version = pulse_beat(changes=1)[1]
        expect(page.locator(f'.floor[data-version="{version}"]')).to_be_visible(timeout=15_000)
    expect(page.locator(".floor-stale")).to_be_hidden()
    assert asked, "it asks at its start, in case there is no stream"
