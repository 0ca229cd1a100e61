"""A delivery is signed on the tablet: with the network, and without it, when the signature is kept and sent later."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect

from fittings.models import Fitting, Order
from shared.roles import Actor
from travelers.models import Delivery

from .conftest import TABLET

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def delivery(shop) -> Delivery:
    from travelers.shipping import delivery_make

    order = Order.objects.get(number="1042")
    Fitting.objects.filter(order=order).update(state="done")
    return delivery_make(number="1042", wanted=None, actor=Actor("office", "office"), now=datetime.now(UTC))


@pytest.fixture
def tablet(open_browser, live_server, delivery) -> Page:
    from shopfloor.keys import TABLET_COOKIE, key_make
    from shopfloor.models import Station

    station = Station.objects.order_by("-position", "-pk").first()
    key = key_make(now=datetime.now(UTC), station=station)[1]
    page = open_browser(TABLET)
    page.context.add_cookies([{"name": TABLET_COOKIE, "value": key, "url": live_server.url}])
    page.goto(f"/deliveries/{delivery.pk}/")
    expect(page.locator("[data-signature=ready]")).to_be_attached()
    return page


def draw(page: Page) -> None:
    canvas = page.locator("canvas")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    page.mouse.move(box["x"] + 60, box["y"] + 60)
    page.mouse.down()
    for step in range(1, 12):
        page.mouse.move(box["x"] + 60 + 40 * step, box["y"] + 60 + 90 * (step % 2))
    page.mouse.up()
    expect(canvas).to_have_attribute("data-strokes", "1")


def test_a_finger_signs_and_the_note_has_it(tablet, delivery):
    received = tablet.get_by_role("button", name="Received")
    received.click()
    expect(tablet.get_by_role("alert")).to_have_text("Type the name first.")
    tablet.get_by_label("Name of the person").fill("Jo Receiver")
    received.click()
    expect(tablet.get_by_role("alert")).to_have_text("Sign in the box first.")
    draw(tablet)
    tablet.get_by_role("button", name="Clear").click()
    expect(tablet.locator("canvas")).to_have_attribute("data-strokes", "0")
    draw(tablet)
    received.click()
    expect(tablet.get_by_role("img", name="Signature of Jo Receiver")).to_be_visible()
    delivery.refresh_from_db()
    assert delivery.received_by == "Jo Receiver" and len(delivery.strokes) == 1
    assert len(delivery.strokes[0]) >= 10


def test_without_the_network_the_signature_is_kept_over_a_reload_and_sent_once(tablet, delivery):
    tablet.get_by_label("Name of the person").fill("Jo Receiver")
    draw(tablet)
    tablet.route("**/receive/", lambda route: route.abort())
    tablet.get_by_role("button", name="Received").click()
    expect(tablet.get_by_role("alert")).to_contain_text("Kept on this tablet, not sent")
    tablet.reload()
    expect(tablet.get_by_label("Name of the person")).to_have_value("Jo Receiver")
    expect(tablet.locator("canvas")).to_have_attribute("data-strokes", "1")
    expect(tablet.get_by_role("alert")).to_contain_text("Kept on this tablet, not sent")
    delivery.refresh_from_db()
    assert delivery.is_open
    tablet.unroute("**/receive/")
    tablet.get_by_role("button", name="Send now").click()
    expect(tablet.get_by_role("img", name="Signature of Jo Receiver")).to_be_visible()
    assert tablet.evaluate("Object.keys(localStorage).filter((name) => name.startsWith('delivery:'))") == []
    delivery.refresh_from_db()
    assert delivery.received_by == "Jo Receiver" and delivery.strokes


def test_what_the_server_refuses_is_said_and_can_be_mended(tablet, delivery):
    from travelers.shipping import delivery_receive

    tablet.get_by_label("Name of the person").fill("Jo Receiver")
    draw(tablet)
    delivery_receive(
        pk=delivery.pk, name="Ada Driver", actor=Actor("office", "office"), now=datetime.now(UTC)
    )
    tablet.get_by_role("button", name="Received").click()
    expect(tablet.get_by_role("alert")).to_contain_text("was received by Ada Driver before")
    expect(tablet.get_by_role("button", name="Received")).to_be_enabled()
