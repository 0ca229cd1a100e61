"""Whose turn it is to write. SQLite has one writer and no queue: writers poll, and a few wait for seconds.

A lock file makes the queue between processes, a thread lock that within one. PostgreSQL needs none.
"""

from __future__ import annotations

import fcntl
import os
import threading
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.db import connection

from shared.problems import Busy

PATIENCE_SECONDS = 5.0
POLL_SECONDS = 0.0002


class _Line:
    """A lock that is handed over in the order of asking. A plain one is soon taken back by who has just let it go."""

    def __init__(self):
        self._guard = threading.Lock()
        self._waiting: deque[threading.Event] = deque()
        self._is_held = False

    def acquire(self, timeout: float) -> bool:
        with self._guard:
            if not self._is_held:
                self._is_held = True
                return True
            mine = threading.Event()
            self._waiting.append(mine)
        if mine.wait(timeout):
            return True
        with self._guard:
            if mine.is_set():
                return True
            self._waiting.remove(mine)
        return False

    def release(self) -> None:
        with self._guard:
            if self._waiting:
                self._waiting.popleft().set()
            else:
                self._is_held = False


_within = _Line()
_file: int | None = None
_file_of: int | None = None


def _lock_file() -> int:
    global _file, _file_of
    if _file is None or _file_of != os.getpid():
        path = settings.DATA_DIR / "write.lock"
        _file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        _file_of = os.getpid()
    return _file


@contextmanager
def write_turn() -> Iterator[None]:
    """Hold the turn around a short write transaction; inside an open one, and on PostgreSQL, it does nothing.

    raises  Busy where the turn does not come within five seconds; nothing was changed
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    deadline = time.monotonic() + PATIENCE_SECONDS
    if not _within.acquire(timeout=PATIENCE_SECONDS):
        raise Busy()
    try:
        handle = _lock_file()
        while not _locked(handle):
            if time.monotonic() > deadline:
                raise Busy()
            time.sleep(POLL_SECONDS)
        try:
            yield
        finally:
            fcntl.flock(handle, fcntl.LOCK_UN)
    finally:
        _within.release()


def _locked(handle: int) -> bool:
    """Take the file's lock if it is free. Only one thread a process asks, so few ask at once."""
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
