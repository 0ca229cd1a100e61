"""Takes the pictures of the README from the demo shop: `python -m tests.pictures`.

The app runs as `manage.py up` runs it, with its own data in a temporary folder: this checkout's data is not touched.
The board and the tablet show the shop in the middle of a working day, some of it played, whatever day and time it is.
"""

from __future__ import annotations

import io
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pypdfium2
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "fixtures" / "pictures"
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
BOARD = {"width": 1920, "height": 1080}
STATION = {"width": 1180, "height": 820}
OFFICE = {"width": 1440, "height": 900}
PHONE = {"width": 390, "height": 844}
TRAVELER_WIDTH_PX = 900
STARTS_WITHIN_S = 300
MOST_BYTES = 400_000
STATION_CODE = "ROLL-1"
TRAVELER_OF = "R-52"
HOUR_SHOWN = 10
PLAYED_MINUTES, PLAY_SPEED = 45, 120
EVERY_DAY = """
from django.utils import timezone
from fittings import services, tables
from shared.roles import OFFICE, Actor
rows = [dict(row, days="Mon Tue Wed Thu Fri Sat Sun") for row in tables.rows("shifts")]
data = {"rows": rows, "version": tables.versions_in_force()["shifts"], "note": ""}
services.table_change(name="shifts", data=data, actor=Actor("office", OFFICE), now=timezone.now())
"""
LINES = (
    {"quantity": "12", "diameter": "14", "angle": "90", "tag": "AHU-3"},
    {"quantity": "4", "diameter": "14 1/2", "angle": "45", "tag": "AHU-4"},
    {"quantity": "6", "diameter": "22", "angle": "90", "centerline_radius": "33", "tag": "AHU-5"},
)


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as data, shop(data) as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
        office = sign_in(browser, address, "office", OFFICE)
        save("order-entry", order_entry(office))
        save("traveler", traveler(office))
        save("pattern-desk", pattern_desk(office, "wye"))
        save("pattern-desk-phone", pattern_desk(sign_in(browser, address, "office", PHONE), "tee"))
        save("what-if", what_if(office))
        save("cut-plan", page_of(office, "/cut-plans/2/"))
        save("cut-sheet", page_of(office, "/cut-sheets/1/"))
        working_day(address)
        save("board", board(sign_in(browser, address, "display", BOARD)))
        for name, picture in stations(browser, address):
            save(name, picture)
        browser.close()


# -- the app --------------------------------------------------------------------


@contextmanager
def shop(data: str) -> Iterator[str]:
    """The demo shop on a free port, as `up` serves it; stopped afterwards."""
    port = free_port()
    environment = os.environ | {"SHOPFLOOR_DATA": data, "SHOPFLOOR_HOST": "127.0.0.1"}
    environment |= {"SHOPFLOOR_TIME_ZONE": zone_in_the_shift()}
    environment.pop("DATABASE_URL", None)
    command = [sys.executable, "manage.py", "up", "--port", str(port)]
    running = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL)
    address = f"http://127.0.0.1:{port}"
    try:
        wait_for(f"{address}/api/v1/health/", running)
        os.environ |= {name: environment[name] for name in ("SHOPFLOOR_DATA", "SHOPFLOOR_TIME_ZONE")}
        yield address
    finally:
        running.terminate()
        running.wait(30)


def zone_in_the_shift() -> str:
    """A zone in which it is mid-morning, so that a good part of the shift lies ahead. (Etc/GMT-3 is UTC+3.)"""
    ahead = (HOUR_SHOWN - time.gmtime().tm_hour + 11) % 24 - 11
    return f"Etc/GMT{-ahead:+d}" if ahead else "Etc/GMT"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_for(url: str, running: subprocess.Popen) -> None:
    limit = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < limit:
        if running.poll() is not None:
            raise SystemExit(f"The app did not start: it ended with {running.returncode}.")
        try:
            with urllib.request.urlopen(url, timeout=5):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    raise SystemExit(f"The app did not answer within {STARTS_WITHIN_S} s.")


def manage(*arguments: str) -> str:
    command = [sys.executable, "manage.py", *arguments]
    return subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout.strip()


def chromium() -> str:
    found = next((path for path in map(shutil.which, BROWSERS) if path), None)
    if found is None:
        raise SystemExit(f"No Chromium: looked for {', '.join(BROWSERS)}.")
    return found


# -- pages ----------------------------------------------------------------------


def profile(browser: Browser, address: str, size: dict[str, int]) -> BrowserContext:
    return browser.new_context(viewport=size, base_url=address, reduced_motion="reduce")


def sign_in(browser: Browser, address: str, name: str, size: dict[str, int]) -> Page:
    page = profile(browser, address, size).new_page()
    page.goto("/sign-in/")
    page.get_by_label("User name").fill(name)
    page.get_by_label("Password").fill(f"round-duct-{name}")
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "sign-in" not in url)
    return page


def shot(page: Page) -> bytes:
    page.evaluate("document.fonts.ready")
    return page.screenshot()


def order_entry(page: Page) -> bytes:
    page.goto("/orders/new/")
    page.get_by_label("Customer", exact=True).fill("Example Mechanical")
    page.locator("[name=purchase_order]").fill("PO-7760")
    page.locator("[name=due]").fill("Thursday")
    for at, line in enumerate(LINES):
        if at:
            page.locator("[data-add-line]").click()
        for name, text in line.items():
            page.locator(f"[name=line-{at}-{name}]").fill(text)
    page.wait_for_selector(f".preview-title:has-text('{LINES[-1]['diameter']} in')")
    page.locator(f"[name=line-{len(LINES) - 1}-tag]").focus()
    expect(page.locator("[data-totals]")).to_contain_text(re.compile(r"Fittings\s*22"), timeout=60_000)
    return shot(page)


def traveler(page: Page) -> bytes:
    """The first page of the travelers of an order for a lot of elbows."""
    page.goto(f"/orders/?q={TRAVELER_OF}")
    page.locator(".order-table th a").first.click()
    link = page.get_by_role("link", name="Travelers, PDF")
    sheet = pypdfium2.PdfDocument(page.context.request.get(link.get_attribute("href")).body())[0]
    image = sheet.render(scale=TRAVELER_WIDTH_PX / sheet.get_width()).to_pil()
    held = io.BytesIO()
    image.save(held, "PNG")
    return held.getvalue()


def pattern_desk(page: Page, kind: str) -> bytes:
    page.goto(f"/pattern-desk/?kind={kind}")
    page.wait_for_selector("svg.fitting-drawing:not(.icon)")
    return shot(page)


def what_if(page: Page) -> bytes:
    """A second roll, asked for and answered."""
    page.goto("/what-if/")
    page.get_by_label("Name", exact=True).fill("A second roll")
    page.get_by_label("Roll: stations more").fill("1")
    page.get_by_label("How often").select_option("20")
    page.get_by_role("button", name="Simulate").click()
    page.wait_for_selector("#whole-title", timeout=120_000)
    return shot(page)


def page_of(page: Page, address: str) -> bytes:
    """A page as it stands when all of its pictures are there."""
    page.goto(address, wait_until="networkidle")
    return shot(page)


def working_day(address: str) -> None:
    """A part of a day's work, through the API; the shop works on this day, whichever it is."""
    manage("shell", "-c", EVERY_DAY)
    speed, minutes = f"{PLAY_SPEED}", f"{PLAYED_MINUTES}"
    manage("play_shift", "--url", address, "--speed", speed, "--minutes", minutes)


def board(page: Page) -> bytes:
    page.goto("/board/")
    page.wait_for_selector(".floor")
    return shot(page)


def stations(browser: Browser, address: str) -> Iterator[tuple[str, bytes]]:
    """A tablet as its badge comes in, after a scan with a piece of its list at hand, and without the network."""
    context = profile(browser, address, STATION)
    secret = manage("api_key", STATION_CODE)
    context.add_cookies([{"name": "tablet_key", "value": secret, "url": address, "httpOnly": True}])
    page = context.new_page()
    page.goto("/station/")
    page.wait_for_selector("#station[data-ready=yes]")
    badge = manage("badges").splitlines()[0].split("\t")[0]
    burst(page, badge)
    page.wait_for_selector("#daily:not([hidden])")
    yield "station-start", shot(page)
    burst(page, page.locator(".next").first.get_attribute("data-code"))
    page.wait_for_selector(".result[data-moment=recorded]")
    page.locator(".next").first.click()
    page.wait_for_selector(".next[aria-pressed=true]")
    page.wait_for_selector("#piece .number")
    yield "station", shot(page)
    context.set_offline(True)
    burst(page, page.locator(".next").first.get_attribute("data-code"))
    page.wait_for_selector(".result[data-moment=waiting]")
    yield "station-offline", shot(page)


def burst(page: Page, code: str) -> None:
    """A scanner that types."""
    page.evaluate(
        """(text) => {
            for (const key of [...text, "Enter"])
                document.body.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true}));
        }""",
        code,
    )


# -- files ------------------------------------------------------------------------


def save(name: str, png: bytes) -> None:
    """As small as it goes without loss; with a palette where that is still too large."""
    path = FOLDER / f"{name}.png"
    image = Image.open(io.BytesIO(png)).convert("RGB")
    image.save(path, "PNG", optimize=True)
    if path.stat().st_size > MOST_BYTES:
        image.quantize(colors=256, dither=Image.Dither.NONE).save(path, "PNG", optimize=True)
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise SystemExit(f"{path.name} has {size:,} bytes; it can be {MOST_BYTES:,}.")
    print(f"{path.relative_to(ROOT)}: {image.width} × {image.height}, {size:,} bytes")


if __name__ == "__main__":
    main()
