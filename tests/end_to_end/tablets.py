"""What a test looks at on the station's page."""

from __future__ import annotations

import time

from playwright.sync_api import expect


def bar(page, result: str):
    """The result bar that is seen, once it says this."""
    return page.locator(f".station-result .result:visible[data-moment={result}]")


def unsent(page):
    return page.locator("#unsent-words")


def refuse(page, scan, code: str) -> None:
    """A scan that the server refuses: of a piece of the list that was put on hold."""
    page.locator(f".next[data-code='{code}']").click()
    page.locator("[data-tap=hold]").click()
    page.locator("#hold-reasons button").first.click()
    expect(bar(page, "recorded")).to_contain_text("on hold")
    scan(page, code)
    expect(bar(page, "refused")).to_contain_text("on hold")


def comes(page, holds, seconds: float = 10.0) -> bool:
    """Whether something comes to hold while the browser goes on; the time is a ceiling, not a pause."""
    end = time.monotonic() + seconds
    while not holds():
        if time.monotonic() >= end:
            return False
        page.wait_for_timeout(20)
    return True
