"""What a test looks at on the station's page."""

from __future__ import annotations

import time


def bar(page, result: str):
    """The result bar that is seen, once it says this."""
    return page.locator(f".station-result .result:visible[data-moment={result}]")


def unsent(page):
    return page.locator("#unsent-words")


def comes(page, holds, seconds: float = 10.0) -> bool:
    """Whether something comes to hold while the browser goes on; the time is a ceiling, not a pause."""
    end = time.monotonic() + seconds
    while not holds():
        if time.monotonic() >= end:
            return False
        page.wait_for_timeout(20)
    return True
