"""Whose turn it is to write. SQLite has one writer and no queue: writers poll, and a few wait for seconds.

A lock file makes the queue: the kernel wakes the waiting processes, a thread lock those within one. PostgreSQL needs
none.
"""

from __future__ import annotations

import fcntl
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.db import connection

_within = threading.Lock()
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
    """Hold the turn around a short write transaction; inside an open one, and on PostgreSQL, it does nothing."""
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    with _within:
        handle = _lock_file()
        fcntl.flock(handle, fcntl.LOCK_EX)
        try:
            yield
        finally:
            fcntl.flock(handle, fcntl.LOCK_UN)
