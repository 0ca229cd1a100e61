"""Who goes first in a process: a scan that waits for its answer, before papers that take their time."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

LONGEST_SECONDS = 0.1  # that a page waits

_changed = threading.Condition()
_hurried = 0


@contextmanager
def hurried() -> Iterator[None]:
    """Around what somebody waits for with a piece in hand."""
    global _hurried
    with _changed:
        _hurried += 1
    try:
        yield
    finally:
        with _changed:
            _hurried -= 1
            if not _hurried:
                _changed.notify_all()


def give_way() -> None:
    """Wait until this process has nothing hurried at work, a tenth of a second at most; for the middle of long work."""
    with _changed:
        _changed.wait_for(lambda: not _hurried, LONGEST_SECONDS)
