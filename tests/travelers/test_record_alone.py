"""Scans recorded in a transaction of their own, as the server does it: statements may be sent before answers are read.

The other tests of the record run inside the test's transaction, where nothing is committed and nothing sent ahead.
"""

import threading
import uuid

import pytest
from django.db import connection

from tests.travelers.floor import floor, station
from travelers.models import Pulse, Scan
from travelers.replay import replay

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def on(live_shop):
    return floor()


def test_every_action_holds_when_it_is_committed(on):
    first, second = on.segment(1).code, on.segment(2).code
    answers = [
        on.scan("cut", first),
        on.scan("cut", first),
        on.scan("roll", first, "start"),
        on.scan("roll", first, "hold", reason="dent"),
        on.scan("roll", first, "resume"),
        on.scan("roll", first),
        on.scan("roll", first, "undo"),
        on.scan("cut", second, "scrap", reason="wrong cut"),
        on.scan("cut", second),
        on.scan("seam", on.segment(2, generation=2).code),
        on.scan("cut", "nonsense"),
    ]
    assert [one.outcome for one in answers] == [
        "recorded",
        "refused",
        *["recorded"] * 6,
        "refused",
        "recorded",
        "refused",
    ]
    assert [one.sequence for one in answers] == list(range(1, 12))
    assert Pulse.objects.get().sequence == Scan.objects.count() == 11
    assert replay(write=False).differences == []


def test_the_same_id_for_two_pieces_is_one_scan(on):
    """The second is answered as the first was."""
    body = on.body(on.segment(1).code, "finish")
    found = [on.send(station("cut"), body), on.send(station("cut"), {**body, "code": on.segment(3).code})]
    assert [one.outcome for one in found] == ["recorded", "repeated"]
    assert found[0].message == found[1].message
    assert Scan.objects.count() == 1


def test_the_same_id_for_two_pieces_at_once_is_one_scan(on):
    """They lock different fittings, so both look the id up in vain; the database's own rule tells the second."""
    pairs = [
        (on.segment(1, fitting=1).code, on.segment(1, fitting=2).code, str(uuid.uuid4())) for _ in range(12)
    ]
    start = threading.Barrier(2)
    answers: list[list] = [[], []]

    def deliver(side: int) -> None:
        try:
            for pair in pairs:
                body = on.body(pair[side], "hold", id=pair[2], reason=f"side {side}")
                start.wait(timeout=20)
                answers[side].append(on.send(station("cut"), body))
        finally:
            connection.close()

    threads = [threading.Thread(target=deliver, args=(side,)) for side in (0, 1)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for one, other in zip(*answers, strict=True):
        assert sorted((one.outcome == "repeated", other.outcome == "repeated")) == [False, True]
        assert (one.first_outcome, one.message, one.sequence) == (
            other.first_outcome,
            other.message,
            other.sequence,
        )
    assert len(answers[0]) == Scan.objects.count() == 12
    assert replay(write=False).differences == []
