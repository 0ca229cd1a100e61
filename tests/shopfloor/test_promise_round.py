"""Orders at risk get their promises without being asked: when it is asked for, and what comes of it."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from shared.jobs import job_of, work_once
from shopfloor import order_promises
from shopfloor.attention import late_risk
from shopfloor.models import Promise
from shopfloor.promise_round import AT_RISK, EVERY, PROMISES, round_make, round_request
from shopfloor.worker import HANDLERS, Worker
from shopfloor.working_time import shop_calendar

from .floor_of_four import released, stations

pytestmark = pytest.mark.django_db

MONDAY_9 = datetime(2026, 3, 2, 9, 0, tzinfo=ZoneInfo("America/Chicago"))
FRIDAY = "2026-02-27"


@pytest.fixture
def floor(shop, monkeypatch):
    monkeypatch.setattr(order_promises, "RUNS", 10)
    stations()


def worked() -> bool:
    return work_once({PROMISES: round_make}, worker="test")


def test_it_is_asked_for_once_an_hour_while_the_shop_works_and_something_is_at_risk(floor):
    assert not round_request(now=MONDAY_9), "nothing is at risk"
    released(now=MONDAY_9, due=FRIDAY)
    assert not round_request(now=MONDAY_9.replace(hour=20)), "after work"
    assert round_request(now=MONDAY_9)
    assert not round_request(now=MONDAY_9 + EVERY), "the first is in the queue"
    assert worked()
    assert not round_request(now=MONDAY_9 + EVERY - timedelta(minutes=1))
    assert round_request(now=MONDAY_9 + EVERY)


def test_every_order_at_risk_gets_a_promise_and_no_other(floor):
    late = [released(now=MONDAY_9, due=FRIDAY) for _ in range(2)]
    far = (timezone.localdate() + timedelta(days=90)).isoformat()
    released(now=MONDAY_9, due=far)
    assert round_request(now=MONDAY_9) and worked()
    assert job_of(PROMISES, AT_RISK).state == "done"
    promises = list(Promise.objects.order_by("order_id"))
    assert [one.order for one in promises] == late
    for one in promises:
        assert (one.state, one.is_quote, one.runs) == ("made", False, 10)
        assert one.asked_at < one.likely_at <= one.sure_at
    shown, _ = late_risk(now=promises[0].asked_at, calendar=shop_calendar())
    assert {datetime.fromisoformat(one.sure_at) for one in shown} == {
        one.sure_at.replace(microsecond=0) for one in promises
    }


def test_a_worker_with_nothing_to_do_asks_once_a_minute():
    asked = []
    worker = Worker({}, on_round=lambda *, now: bool(asked.append(now)))
    assert [worker._make_round() for _ in range(3)] == [False, False, False]
    assert len(asked) == 1
    assert PROMISES in HANDLERS
