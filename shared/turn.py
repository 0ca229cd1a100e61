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
from pathlib import Path

from django.conf import settings
from django.db import connection

from shared.problems import Busy

PATIENCE_SECONDS = 5.0
POLL_SECONDS = 0.0002
SOON_SECONDS = 0.25
MOST_PASSED = 4  # turns in a row that go past those who wait


class _Line:
    """A lock that is handed over in the order of asking. A plain one is soon taken back by who has just let it go.

    Who asks to go ahead is let past the others, but never so often in a row that these stand still.
    """

    def __init__(self):
        self._guard = threading.Lock()
        self._waiting: deque[threading.Event] = deque()
        self._ahead: deque[threading.Event] = deque()
        self._passed = 0
        self._is_held = False

    def acquire(self, timeout: float, *, ahead: bool = False) -> bool:
        with self._guard:
            if not self._is_held:
                self._is_held = True
                return True
            mine = threading.Event()
            line = self._ahead if ahead else self._waiting
            line.append(mine)
        if mine.wait(timeout):
            return True
        with self._guard:
            if mine.is_set():
                return True
            line.remove(mine)
        return False

    def release(self) -> None:
        with self._guard:
            if self._ahead and not (self._waiting and self._passed >= MOST_PASSED):
                self._passed += 1
                self._ahead.popleft().set()
            elif self._waiting:
                self._passed = 0
                self._waiting.popleft().set()
            else:
                self._is_held = False


_within = _Line()
_file: int | None = None
_file_of: tuple[int, Path] | None = None


def _lock_file() -> int:
    global _file, _file_of
    of = os.getpid(), settings.DATA_DIR
    if _file is None or _file_of != of:
        path = settings.DATA_DIR / "write.lock"
        _file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        _file_of = of
    return _file


@contextmanager
def write_turn(patience: float | None = None, *, ahead: bool = False) -> Iterator[None]:
    """Hold the turn around a short write transaction; inside an open one, and on PostgreSQL, it does nothing.

    patience  how long to wait [s], where that is less than the five seconds of all others
    ahead     past those of this process who did not ask for that: for a person who waits for one answer
    raises    Busy where the turn does not come in that time, which waiting for SQLite's own lock is part of;
              nothing was changed
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    patience = PATIENCE_SECONDS if patience is None else patience
    deadline = time.monotonic() + patience
    if not _within.acquire(patience, ahead=ahead):
        raise Busy()
    try:
        handle = _lock_file()
        while not _locked(handle):
            if time.monotonic() > deadline:
                raise Busy()
            time.sleep(POLL_SECONDS)
        try:
            with _patience_left(deadline - time.monotonic()):
                yield
        finally:
            fcntl.flock(handle, fcntl.LOCK_UN)
    finally:
        _within.release()


@contextmanager
def _patience_left(seconds: float) -> Iterator[None]:
    """Whoever waited for the turn waits only the rest of the five seconds for a program that takes no turns."""
    if seconds > PATIENCE_SECONDS - SOON_SECONDS:
        yield
        return
    usual = connection.settings_dict["OPTIONS"].get("timeout", PATIENCE_SECONDS)
    _wait_for_lock(seconds)
    try:
        yield
    finally:
        _wait_for_lock(usual)


def waited_since(began: float) -> None:
    """On PostgreSQL, who waited for a lock since `began` (monotonic) waits for the next only the rest of five seconds.

    For the middle of a transaction, before its next lock.
    """
    waited = time.monotonic() - began
    if connection.vendor == "postgresql" and waited > SOON_SECONDS:
        with connection.cursor() as cursor:
            cursor.execute(f"SET LOCAL lock_timeout = {max(1, round((PATIENCE_SECONDS - waited) * 1000))}")


def _wait_for_lock(seconds: float) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA busy_timeout = {max(1, round(seconds * 1000))}")


def _locked(handle: int) -> bool:
    """Take the file's lock if it is free. Only one thread a process asks, so few ask at once."""
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
