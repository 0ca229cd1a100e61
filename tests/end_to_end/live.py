"""Leaving no stream of the board behind: its thread would still read the database when the test gave it back."""

from __future__ import annotations

import threading
import time

import pytest

from shopfloor.live import live

PATIENCE_S = 20


@pytest.fixture
def streams_end(transactional_db):
    """Ask for this before the browsers: after they are closed, the server's open streams end, and are waited for."""
    yield
    live.ends_when(lambda: True)
    try:
        limit = time.monotonic() + PATIENCE_S
        while live.seats_taken or _at_work():
            assert time.monotonic() < limit, f"{live.seats_taken} streams, {_at_work()} did not end"
            time.sleep(0.02)
    finally:
        live.ends_when(lambda: False)


def _at_work() -> list[str]:
    """The watcher of the board, and the threads in which the server answers."""
    names = ("board-watcher", "process_request_thread")
    return [one.name for one in threading.enumerate() if any(name in one.name for name in names)]
