"""When an order will be finished: asked for, worked out, shown; a draft as if released; how it came true."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from fittings.models import Fitting, Order
from shared.jobs import work_once
from shared.problems import Conflict, NotFound
from shared.roles import Actor
from shopfloor import order_promises
from shopfloor.models import Promise, Station
from shopfloor.order_promises import PROMISE, PROMISE_WORK, came_true, promise_of, promise_request
from shopfloor.working_time import shop_calendar
from tests import factories
from travelers.models import Task
from travelers.release import order_cancel, order_release

pytestmark = pytest.mark.django_db

OFFICE = Actor("office", "office")
STATIONS = ("cut", "roll", "seam", "assemble", "ends", "wrap")


@pytest.fixture
def stations(shop, monkeypatch):
    monkeypatch.setattr(order_promises, "RUNS", 12)
    for at, operation in enumerate(STATIONS):
        Station.objects.create(code=operation.upper(), name=operation, operations=[operation], position=at)


@pytest.fixture
def released(stations) -> Order:
    order = factories.order(number="1042")
    return order_release(number=order.number, actor=OFFICE, now=timezone.now())


def worked_out(order: Order) -> Promise:
    promise_request(number=order.number, actor=OFFICE, now=timezone.now())
    assert work_once({PROMISE: PROMISE_WORK}, worker="test")
    return promise_of(order)


def test_an_open_order_has_a_likely_and_a_sure_date_after_the_work_that_it_needs(released):
    promise = worked_out(released)
    assert promise.state == Promise.State.MADE and promise.runs == 12 and not promise.is_quote
    calendar, now = shop_calendar(), promise.asked_at
    assert now < promise.likely_at <= promise.sure_at
    hours = sum(Task.objects.values_list("minutes", flat=True)) / 60
    assert calendar.hours_between(now, promise.sure_at) < hours, "six stations work at it at once"
    longest = max(
        sum(Task.objects.filter(operation=one).values_list("minutes", flat=True)) / 60 for one in STATIONS
    )
    assert calendar.hours_between(now, promise.likely_at) > 0.6 * longest


def test_more_work_on_the_floor_makes_it_later(released):
    alone = worked_out(released)
    for number in range(3):
        other = factories.order(number=f"90{number}", due="2026-03-03", lines=[factories.line(quantity=12)])
        order_release(number=other.number, actor=OFFICE, now=timezone.now())
    assert worked_out(released).sure_at > alone.sure_at


def test_a_draft_is_taken_as_if_it_were_released_and_stays_a_draft(stations):
    draft = factories.order(number="2001")
    promise = worked_out(draft)
    assert promise.state == Promise.State.MADE and promise.is_quote
    draft.refresh_from_db()
    assert draft.state == Order.State.DRAFT
    assert not Fitting.objects.exists() and not Task.objects.exists()


def test_what_cannot_be_promised_is_said(stations):
    with pytest.raises(NotFound):
        promise_request(number="none", actor=OFFICE, now=timezone.now())
    order = factories.order(number="1042")
    order_release(number=order.number, actor=OFFICE, now=timezone.now())
    promise_request(number="1042", actor=OFFICE, now=timezone.now())
    with pytest.raises(Conflict, match="under way"):
        promise_request(number="1042", actor=OFFICE, now=timezone.now())
    assert Promise.objects.count() == 1
    order_cancel(number="1042", actor=OFFICE, now=timezone.now())
    assert work_once({PROMISE: PROMISE_WORK}, worker="test")
    promise = promise_of(order)
    assert promise.state == Promise.State.FAILED and "no open work" in promise.message
    with pytest.raises(Conflict, match="1042 is cancelled"):
        promise_request(number="1042", actor=OFFICE, now=timezone.now())


def test_an_order_without_stations_cannot_be_promised(released):
    Station.objects.update(is_active=False)
    promise = worked_out(released)
    assert promise.state == Promise.State.FAILED and "no open work that a station does" in promise.message


def test_how_promises_came_true(stations):
    now = timezone.now()
    for number, (likely, sure, ended) in enumerate([(2, 4, 1), (2, 4, 3), (2, 4, 5)]):
        order = factories.order(number=f"{number}")
        Order.objects.filter(pk=order.pk).update(
            state="done", ended_at=now - timedelta(days=10) + timedelta(hours=ended)
        )
        base = now - timedelta(days=10)
        for later in (0, 100):  # the first one counts
            Promise.objects.create(
                order=order, state="made", asked_by="office", asked_at=base,
                likely_at=base + timedelta(hours=likely + later), sure_at=base + timedelta(hours=sure + later),
            )  # fmt: skip
    found = came_true(now=now)
    assert (found.orders, found.likely, found.sure) == (3, 1, 2)


def test_the_order_page_asks_and_shows(released, signed_in):
    client = signed_in("office")
    assert 'hx-get="/orders/1042/promise/"' in client.get("/orders/1042/").content.decode()
    part = client.get("/orders/1042/promise/").content.decode()
    assert "When will it be finished?" in part
    part = client.post("/orders/1042/promise/ask/", headers={"HX-Request": "true"}).content.decode()
    assert "Being worked out" in part and "every 2s" in part
    assert work_once({PROMISE: PROMISE_WORK}, worker="test")
    part = client.get("/orders/1042/promise/").content.decode()
    assert "Almost surely by" in part and "Work it out again" in part
    assert "After the due date" in part, "it was due in March"
    assert client.post("/orders/1042/promise/ask/").url == "/orders/1042/"
