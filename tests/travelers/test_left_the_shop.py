"""Scans about fittings that are on a delivery: what would take work back is refused, what comes late needs eyes."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fittings.models import Fitting
from shopfloor.needs_eyes import items_of, open_rows
from tests import factories
from tests.pages import browser_of, text_of
from tests.travelers.floor import LATER, NOW, Floor, badge
from travelers import shipping
from travelers.models import DeliveredFitting
from travelers.release import order_release
from travelers.replay import replay

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]
AT = NOW + timedelta(hours=1)
"""When the delivery is made, after the scans of the work."""


@pytest.fixture
def on():
    """Two pipes, both finished at wrap, the first on a delivery."""
    one = pipes()
    for fitting in one.fittings:
        result = one.scan("wrap", fitting.code)
        assert result.outcome == "recorded", result.message
    assert {fitting.state for fitting in one.fittings} == {"done"}
    shipping.delivery_make(number=one.order.number, wanted={1: 1}, actor=factories.OFFICE_ACTOR, now=AT)
    return one


def pipes():
    line = factories.line(quantity=2, kind="pipe", params={"diameter": 8, "length": 48})
    made = factories.order(lines=[line])
    return Floor(order_release(number=made.number, actor=factories.OFFICE_ACTOR, now=NOW), badge())


def said_at(at) -> dict[str, str]:
    return {"scanned_at": at.isoformat()}


def eyes() -> list:
    return items_of("left", open_rows("left", now=LATER), now=LATER)


@pytest.mark.parametrize("action", ["undo", "scrap"])
def test_after_it_left_nothing_is_taken_back(on, action):
    code = on.fittings[0].code
    result = on.scan("wrap", code, action, reason="dent", **said_at(AT + timedelta(minutes=1)))
    assert (result.outcome, result.reason_code) == ("refused", "delivered")
    assert result.message == f"It is on delivery {on.order.number}-1. The office takes that back first."
    assert on.fittings[0].state == "done" and eyes() == []
    assert replay(write=False).differences == []


def test_what_is_still_here_is_undone_as_before(on):
    result = on.scan("wrap", on.fittings[1].code, "undo", **said_at(AT + timedelta(minutes=1)))
    assert result.outcome == "recorded", result.message
    assert [one.state for one in on.fittings] == ["done", "open"] and eyes() == []


def test_a_delivery_that_is_taken_back_stops_nothing(on):
    delivery = DeliveredFitting.objects.get().delivery
    shipping.delivery_take_back(pk=delivery.pk, actor=factories.OFFICE_ACTOR, now=AT)
    result = on.scan("wrap", on.fittings[0].code, "undo", **said_at(AT + timedelta(minutes=1)))
    assert result.outcome == "recorded" and on.fittings[0].state == "open"


def test_an_undo_of_before_that_comes_late_counts_and_needs_eyes(on):
    code = on.fittings[0].code
    result = on.scan("wrap", code, "undo", **said_at(AT - timedelta(minutes=5)))
    assert result.outcome == "recorded" and on.fittings[0].state == "open"
    (item,) = eyes()
    assert item.code == code and f"On delivery {on.order.number}-1, but not finished any more" in item.words
    page = text_of(browser_of("office").get(f"/orders/{on.order.number}/"))
    assert "On a delivery, but not finished any more" in page
    shown = text_of(browser_of("supervisor").get("/exceptions/", {"show": "left"}))
    assert "Left unfinished" in shown and f"On delivery {on.order.number}-1" in shown
    assert replay(write=False).differences == []
    shipping.delivery_take_back(
        pk=DeliveredFitting.objects.get().delivery_id, actor=factories.OFFICE_ACTOR, now=LATER
    )
    assert eyes() == []


def test_the_undo_of_a_lot_of_which_a_part_left_is_refused_whole(on):
    lot = pipes()
    assert lot.scan("wrap", lot.traveler).outcome == "recorded"
    shipping.delivery_make(number=lot.order.number, wanted={1: 1}, actor=factories.OFFICE_ACTOR, now=AT)
    result = lot.scan("wrap", lot.traveler, "undo", **said_at(AT + timedelta(minutes=1)))
    assert (result.outcome, result.reason_code) == ("refused", "delivered")
    assert set(Fitting.objects.filter(order=lot.order).values_list("state", flat=True)) == {"done"}
