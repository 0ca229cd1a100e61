"""Scans that arrive together: each for itself, and on SQLite a few to a commit."""

from __future__ import annotations

import pytest
from django.db import OperationalError, connection
from django.test.utils import CaptureQueriesContext

from tests.travelers import floor as floors
from tests.travelers.floor import LATER, station
from travelers import record
from travelers.models import Scan
from travelers.record import scans_record
from travelers.replay import replay

SCANS = 30


@pytest.fixture
def on(transactional_db, live_shop):
    return floors.floor(quantity=10)


def bodies(on) -> list[dict]:
    """Thirty cuts, one of them of a code that there is not, one twice."""
    codes = [on.segment(position, fitting).code for fitting in range(1, 11) for position in (1, 2, 3)]
    made = [on.body(code, "finish") for code in codes[:SCANS]]
    made[7]["code"] = "XX00000"
    made[20]["code"] = made[19]["code"]
    return made


def sent(made: list[dict]) -> list:
    return scans_record(deliveries=made, clock=lambda: LATER, actor=station("cut"))


def test_each_is_recorded_in_order_whatever_happens_to_the_others(on):
    made = bodies(on)
    with CaptureQueriesContext(connection) as seen:
        results = sent(made)
    outcomes = [one.outcome for one in results]
    assert outcomes == ["refused" if at in (7, 20) else "recorded" for at in range(SCANS)]
    assert [one.sequence for one in results] == list(range(1, SCANS + 1))
    assert list(Scan.objects.order_by("sequence").values_list("scan_id", flat=True)) == [
        one["id"] for one in made
    ]
    if connection.vendor == "sqlite":
        assert sum(one["sql"] == "COMMIT" for one in seen) < SCANS / 2
    assert replay(write=False).differences == []


def test_an_end_in_the_middle_leaves_what_was_committed_and_the_same_again_is_answered_as_first(
    on, monkeypatch
):
    made, real, count = bodies(on), record.scan_record, iter(range(10**6))

    def ends(**given):
        if next(count) == 17:
            raise OperationalError("database is locked")
        return real(**given)

    monkeypatch.setattr(record, "MOST_TOGETHER", 5)
    monkeypatch.setattr(record, "TOGETHER_SECONDS", 60)
    monkeypatch.setattr(record, "scan_record", ends)
    with pytest.raises(OperationalError):
        sent(made)
    kept = list(Scan.objects.order_by("sequence").values_list("scan_id", flat=True))
    assert kept == [one["id"] for one in made][: 15 if connection.vendor == "sqlite" else 17]
    monkeypatch.setattr(record, "scan_record", real)
    again = sent(made)
    assert [one.outcome == "repeated" for one in again] == [one["id"] in kept for one in made]
    assert Scan.objects.count() == SCANS
    assert replay(write=False).differences == []
