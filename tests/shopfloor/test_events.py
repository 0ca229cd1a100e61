"""The feed of events: kept with what it tells of, numbered without gaps, never missed by a reader."""

from __future__ import annotations

import threading
from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.test import Client

from fittings.events import event_keep, events_after, events_number
from fittings.models import Fitting, Order, OutwardEvent
from fittings.orders import order_update
from shared.problems import WrongInput
from shopfloor.models import Station
from tests import factories
from tests.factories import NOW, OFFICE_ACTOR, key_for
from tests.factories_cutting import released
from tests.factories_floor import finished as scanned
from travelers.models import Operation
from travelers.release import order_cancel, order_release
from travelers.replay import replay

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]


def finished(order: Order, *, now) -> None:
    """Every fitting of it scanned at one station that does everything."""
    every = list(Operation.objects.values_list("code", flat=True))
    Station.objects.get_or_create(code="ALL-1", defaults={"name": "Everything", "operations": every})
    scanned(order, now=now)


def feed(**query) -> dict:
    client = Client(headers={"Authorization": f"Token {key_for('office')}"})
    answer = client.get("/api/v1/events/", query)
    assert answer.status_code == 200, answer.content
    return answer.json()


def kinds() -> list[str]:
    return [one["type"] for one in feed(page_size=500)["results"]]


def test_an_order_is_told_of_from_the_first_to_the_last():
    order = factories.order(lines=[factories.line(quantity=2)])
    order_release(number=order.number, actor=OFFICE_ACTOR, now=NOW)
    data = {"version": 2, "purchase_order": "PO 9"}
    order_update(number=order.number, data=data, actor=OFFICE_ACTOR, now=NOW)
    assert kinds() == ["order.created", "order.released", "order.changed"]
    changed = feed()["results"][2]
    assert changed["data"] == {
        "order": order.number,
        "customer": order.customer.name,
        "purchase_order": "PO 9",
        "version": 3,
        "changed": ["purchase_order"],
    }
    finished(order, now=NOW + timedelta(hours=1))
    assert kinds()[3:] == ["fitting.done", "fitting.done", "order.done"]
    last = feed(since=3)["results"][0]
    assert last["data"]["fitting"] in set(Fitting.objects.values_list("code", flat=True))
    assert (last["data"]["line"], last["data"]["order"]) == (1, order.number)
    assert [one["number"] for one in feed()["results"]] == [1, 2, 3, 4, 5, 6]


def test_a_cancelled_order_is_told_of_once():
    order = released()
    order_cancel(number=order.number, actor=OFFICE_ACTOR, now=NOW)
    assert kinds() == ["order.created", "order.released", "order.cancelled"]


def test_what_is_refused_tells_nothing():
    order = factories.order()
    before = OutwardEvent.objects.count()
    with pytest.raises(WrongInput):
        order_update(number=order.number, data={"version": 1, "priority": 99}, actor=OFFICE_ACTOR, now=NOW)
    with pytest.raises(RuntimeError), transaction.atomic():
        order_release(number=order.number, actor=OFFICE_ACTOR, now=NOW)
        raise RuntimeError
    assert OutwardEvent.objects.count() == before


def test_the_replay_tells_nobody():
    finished(released(), now=NOW)
    Fitting.objects.update(state="open", done_at=None)
    before = OutwardEvent.objects.count()
    replay(write=True)
    assert Fitting.objects.filter(state="done").exists()
    assert OutwardEvent.objects.count() == before


def test_an_unknown_kind_is_no_event():
    with pytest.raises(ValueError, match="order.eaten"):
        event_keep(kind="order.eaten", order_id=factories.order().pk, at=NOW)


def test_the_feed_is_read_in_pages_and_by_kind():
    for _ in range(3):
        released()
    first = feed(page_size=2)
    assert (first["count"], first["last"], len(first["results"])) == (6, 2, 2)
    assert first["next"] == "/api/v1/events/?since=2&page_size=2"
    rest = feed(since=2)
    assert [one["number"] for one in rest["results"]] == [3, 4, 5, 6] and rest["next"] is None
    only = feed(kind="order.released")
    assert (only["count"], {one["type"] for one in only["results"]}) == (3, {"order.released"})
    assert len({one["id"] for one in feed()["results"]}) == 6


@pytest.mark.parametrize(
    "query",
    [{"since": "-1"}, {"since": "x"}, {"page_size": "0"}, {"page_size": "501"}, {"kind": "order.eaten"}],
)
def test_a_wrong_question_is_told_its_limit(query):
    client = Client(headers={"Authorization": f"Token {key_for('office')}"})
    answer = client.get("/api/v1/events/", query)
    assert answer.status_code == 400
    (error,) = answer.json()["errors"]
    assert error["field"] == next(iter(query)) and error["limit"]


@pytest.mark.django_db(transaction=True)
def test_an_event_whose_transaction_ends_late_gets_a_later_number():
    """What began first and ends last: a reader in between sees the other one only, and misses neither."""
    if connection.vendor == "sqlite":
        # one writer at a time: the second transaction cannot end within the first
        slow = factories.order()
        events_number()
        assert [one.number for one in events_after(0, most=9)] == [1]
        event_keep(kind="order.changed", order_id=slow.pk, at=NOW)
        assert [one.number for one in events_after(0, most=9)] == [1], "not numbered, so not read"
        events_number()
        assert [one.number for one in events_after(1, most=9)] == [2]
        return
    order = factories.order()
    events_number()
    has_kept, may_end = threading.Event(), threading.Event()

    def slow() -> None:
        try:
            with transaction.atomic():
                event_keep(kind="order.changed", order_id=order.pk, facts={"who": "slow"}, at=NOW)
                has_kept.set()
                assert may_end.wait(20)
        finally:
            connection.close()

    thread = threading.Thread(target=slow)
    thread.start()
    assert has_kept.wait(20)
    event_keep(kind="order.changed", order_id=order.pk, facts={"who": "quick"}, at=NOW)
    events_number()
    seen = events_after(1, most=9)
    assert [(one.number, one.facts["who"]) for one in seen] == [(2, "quick")]
    may_end.set()
    thread.join(20)
    events_number()
    assert [(one.number, one.facts["who"]) for one in events_after(2, most=9)] == [(3, "slow")]


@pytest.mark.django_db(transaction=True)
def test_two_readers_at_once_give_each_event_one_number():
    order = factories.order()
    events_number()
    for _ in range(50):
        event_keep(kind="order.changed", order_id=order.pk, at=NOW)

    def number() -> None:
        try:
            events_number()
        finally:
            connection.close()

    threads = [threading.Thread(target=number) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert [one.number for one in events_after(0, most=100)] == list(range(1, 52))


def test_an_order_without_events_from_before_the_feed_is_no_hindrance():
    order = released()
    OutwardEvent.objects.all().delete()
    finished(Order.objects.get(pk=order.pk), now=NOW)
    assert set(kinds()) == {"fitting.done", "order.done"}
