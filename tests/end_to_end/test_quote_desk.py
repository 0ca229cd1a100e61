"""A draft gets a price by hand and a quote in the browser; accepted, its prices stand for the order."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests import factories_costs
from tests.travelers.documents.reading import words
from travelers.models import Quote

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_from_a_price_by_hand_to_an_accepted_quote(desk, shop, live_server):
    """Four elbows at 48.50: 194.00."""
    from tests import factories

    factories_costs.priced_shop()
    number = factories.order().number
    page = desk()
    page.goto(f"{live_server.url}/orders/{number}/")
    part = page.locator("#order-costs")
    expect(part.get_by_text("Expected margin")).to_be_visible()
    part.get_by_role("link", name="Prices and quote").click()
    page.get_by_label("Price of one").fill("48.505")
    page.get_by_role("button", name="Set the price").click()
    refused = page.get_by_role("alert")
    expect(refused).to_contain_text("at most two digits after the point")
    expect(refused).to_contain_text("Reason is empty")
    page.get_by_label("Price of one").fill("48.50")
    page.get_by_label("Reason").fill("Agreed on the phone")
    page.get_by_role("button", name="Set the price").click()
    expect(page.get_by_text("The price of line 1 is set.")).to_be_visible()
    page.get_by_label("Valid for, days").fill("14")
    page.get_by_role("button", name="Make a quote").click()
    expect(page.get_by_text("Quote 1 is made")).to_be_visible()
    paper = page.request.get(f"{live_server.url}/api/v1/orders/{number}/quote.pdf")
    assert "Total $194.00" in words(paper.body())[0]
    page.get_by_role("button", name="Mark quote 1 as accepted").click()
    expect(page.get_by_text("Quote 1 is accepted.")).to_be_visible()
    assert Quote.objects.get().state == "accepted"
