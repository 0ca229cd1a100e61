"""Writers on SQLite queue for their turn, and give up with a sentence after a while; PostgreSQL needs no queue."""

import fcntl
import threading
import time

import pytest
from django.conf import settings
from django.db import connection

from shared.problems import Busy
from travelers import turn

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def taken():
    """The turn held by another process: an open file description of its own."""
    with (settings.DATA_DIR / "write.lock").open("w") as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        yield other


def test_turn_that_does_not_come_is_busy_with_a_retry(taken, monkeypatch):
    monkeypatch.setattr(turn, "PATIENCE_SECONDS", 0.2)
    if connection.vendor != "sqlite":
        with turn.write_turn():
            return
    began = time.monotonic()
    with pytest.raises(Busy) as refused, turn.write_turn():
        pytest.fail("had the turn that another process holds")
    assert 0.2 <= time.monotonic() - began < 2
    assert (refused.value.status, refused.value.retry_after) == (503, 2)


def test_turn_comes_when_the_other_is_done(taken):
    soon = threading.Timer(0.1, fcntl.flock, (taken, fcntl.LOCK_UN))
    soon.start()
    had = []
    with turn.write_turn():
        had.append(True)
    soon.join()
    assert had


def test_turns_within_a_process_do_not_overlap():
    inside, most = [], []

    def work():
        for _ in range(20):
            with turn.write_turn():
                inside.append(1)
                most.append(len(inside))
                inside.pop()
        connection.close()

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(most) == 80
    if connection.vendor == "sqlite":
        assert max(most) == 1


def test_turns_come_in_the_order_of_asking():
    """Nobody who has just had a turn goes before one who waits: a plain lock lets that happen for seconds."""
    line = turn._Line()
    assert line.acquire(1)
    came = []

    def ask(name):
        assert line.acquire(5)
        came.append(name)
        line.release()

    threads = []
    for name in range(6):
        threads.append(threading.Thread(target=ask, args=(name,)))
        threads[-1].start()
        while len(line._waiting) <= name:
            time.sleep(0.001)
    assert not line.acquire(0.01)
    line.release()
    for thread in threads:
        thread.join()
    assert came == [0, 1, 2, 3, 4, 5]
    assert line.acquire(0.01)
