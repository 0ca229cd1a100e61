"""Writers on SQLite queue for their turn, and give up with a sentence after a while; PostgreSQL needs no queue."""

import fcntl
import sqlite3
import threading
import time
from contextlib import closing

import pytest
from django.conf import settings
from django.db import OperationalError, connection, transaction

from shared import turn
from shared.problems import Busy
from tests.threads import together

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


def test_who_has_less_patience_gives_up_sooner(taken):
    began = time.monotonic()
    if connection.vendor == "sqlite":
        with pytest.raises(Busy), turn.write_turn(patience=0.1):
            pytest.fail("had the turn that another process holds")
    else:
        with turn.write_turn(patience=0.1):
            pass
    assert time.monotonic() - began < 2


def test_turn_comes_when_the_other_is_done(taken):
    soon = threading.Timer(0.1, fcntl.flock, (taken, fcntl.LOCK_UN))
    soon.start()
    had = []
    with turn.write_turn():
        had.append(True)
    soon.join()
    assert had


def test_waiting_for_the_turn_and_for_the_database_is_one_patience(monkeypatch):
    """The turn comes after most of the time is spent; another program holds the database for longer."""
    if connection.vendor != "sqlite":
        with turn.write_turn():
            return
    monkeypatch.setattr(turn, "PATIENCE_SECONDS", 2.0)
    name = connection.settings_dict["NAME"]
    with closing(sqlite3.connect(name, isolation_level=None, check_same_thread=False)) as other:
        other.execute("BEGIN IMMEDIATE")
        with (settings.DATA_DIR / "write.lock").open("w") as before:
            fcntl.flock(before, fcntl.LOCK_EX)
            threading.Timer(1.5, fcntl.flock, (before, fcntl.LOCK_UN)).start()
            began = time.monotonic()
            with pytest.raises(OperationalError, match="locked"), turn.write_turn(), transaction.atomic():
                pytest.fail("wrote while another program did")
        assert 1.9 <= time.monotonic() - began < 3.5
        other.execute("ROLLBACK")
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout")
        assert cursor.fetchone()[0] == 5000, "the next one has all of its patience"


def test_turns_within_a_process_do_not_overlap():
    inside, most = [], []

    def work():
        for _ in range(20):
            with turn.write_turn():
                inside.append(1)
                most.append(len(inside))
                inside.pop()

    together(*[work] * 4)
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


def test_who_goes_ahead_passes_the_others_but_they_do_not_stand_still():
    line = turn._Line()
    assert line.acquire(1)
    came, threads = [], []

    def ask(name, ahead):
        assert line.acquire(5, ahead=ahead)
        came.append(name)
        line.release()

    for name in ["batch 1", "batch 2", *range(6)]:
        is_ahead = isinstance(name, int)
        waiting = line._ahead if is_ahead else line._waiting
        before = len(waiting)
        threads.append(threading.Thread(target=ask, args=(name, is_ahead)))
        threads[-1].start()
        while len(waiting) <= before:
            time.sleep(0.001)
    line.release()
    for thread in threads:
        thread.join()
    assert came == [0, 1, 2, 3, "batch 1", 4, 5, "batch 2"]
    assert line.acquire(0.01)


def test_who_waited_for_one_lock_waits_less_for_the_next():
    """SQLite has one lock; PostgreSQL keeps the rest of five seconds for the next, within this transaction alone."""
    with transaction.atomic():
        turn.waited_since(time.monotonic())
        assert lock_timeout() in (None, "5s")
        turn.waited_since(time.monotonic() - 4)
        assert lock_timeout() in (None, "1s") or lock_timeout().removesuffix("ms").isdigit()
        turn.waited_since(time.monotonic() - 60)
        assert lock_timeout() in (None, "1ms")
    assert lock_timeout() in (None, "5s")


def lock_timeout() -> str | None:
    if connection.vendor != "postgresql":
        return None
    with connection.cursor() as cursor:
        cursor.execute("SHOW lock_timeout")
        return cursor.fetchone()[0]
