"""Acts that begin together, each in a thread with a database connection of its own, and waiting for what others do."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any

from django.db import connection

LONGEST_S = 120


def outcomes(*acts: Callable[[], Any]) -> list:
    """What each act returns or raises, all begun at one moment."""
    found: list[Any] = [None] * len(acts)
    gate = threading.Barrier(len(acts))

    def run(place: int, act: Callable[[], Any]) -> None:
        try:
            gate.wait(30)
            found[place] = act()
        except BaseException as error:  # told to the test
            found[place] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(LONGEST_S)
    assert not any(thread.is_alive() for thread in threads), "a thread hangs"
    return found


def together(*acts: Callable[[], Any]) -> list:
    """What each act returns, all begun at one moment; what one raises is raised here."""
    found = outcomes(*acts)
    for one in found:
        if isinstance(one, BaseException):
            raise one
    return found


def until(holds: Callable[[], Any], seconds: float = 5.0, *, pause: float = 0.005) -> Any:
    """What a condition of another thread or process gives once it holds; the time is a ceiling, not a pause.

    returns  what it gave last, which is nothing true if the time has gone by
    """
    end = time.monotonic() + seconds
    while not (found := holds()) and time.monotonic() < end:
        time.sleep(pause)
    return found
