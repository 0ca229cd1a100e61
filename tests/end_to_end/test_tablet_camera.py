"""The camera as a scanner, fed with a film of printed labels."""

from __future__ import annotations

import io
import shutil

import pytest
from PIL import Image, ImageFilter
from playwright.sync_api import expect

from tests.conftest import ARGUMENTS, BROWSERS
from tests.travelers.documents.reading import codes as codes_in
from tests.travelers.documents.reading import corners, pages
from travelers import papers
from travelers.models import Scan

from .conftest import TABLET
from .tablets import bar, comes

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

WIDTH, HEIGHT = 1280, 720
SYMBOL = 220  # width of a label's code in the picture, as when held a hand's breadth from the camera [pixels]
TABLE = (150, 148, 140)


@pytest.fixture
def printed(shop):
    """What stands round a code on the printed labels of the order: a picture of it, SYMBOL wide, by the code."""
    found = {}
    for page in pages(papers.labels(number="1042", query={})):
        sheet = Image.fromarray(page)
        for code in codes_in(page):
            left, top, right, bottom = corners(code)
            size = right - left
            round_it = (left - size / 3, top - size / 3, right + 1.2 * size, bottom + size / 3)
            scale = SYMBOL / size
            piece = sheet.crop([int(edge) for edge in round_it])
            found[code.text] = piece.resize(
                [int(side * scale) for side in piece.size], Image.Resampling.BICUBIC
            )
    return found


def picture(*placed, turned: float = 0, blurred: float = 0.8) -> Image.Image:
    """What the camera sees: labels on the table, the middle of each code at its x and y, turned, a little unsharp."""
    scene = Image.new("RGB", (WIDTH, HEIGHT), TABLE)
    for label, x, y in placed:
        middle = SYMBOL * (1 / 3 + 1 / 2)
        scene.paste(label, (int(x - middle), int(y - middle)))
    return scene.rotate(turned, fillcolor=TABLE, resample=Image.Resampling.BICUBIC).filter(
        ImageFilter.GaussianBlur(blurred)
    )


@pytest.fixture
def filmed(chromium, open_browser, tablet, tmp_path):
    """A tablet whose camera sees these pictures one after another, over and over."""
    opened = []

    def make(code: str, frames):
        film = tmp_path / "camera.mjpeg"
        with film.open("wb") as file:
            for frame in frames:
                jpeg = io.BytesIO()
                frame.save(jpeg, "JPEG", quality=80)
                file.write(jpeg.getvalue())
        fake = [
            "--use-fake-device-for-media-stream",
            "--use-fake-ui-for-media-stream",
            f"--use-file-for-fake-video-capture={film}",
        ]
        path = next(found for found in map(shutil.which, BROWSERS) if found)
        opened.append(chromium.browser_type.launch(executable_path=path, args=[*ARGUMENTS, *fake]))
        return tablet(code, page=open_browser(TABLET, browser=opened[-1]))

    yield make
    for browser in opened:
        browser.close()


def is_filming(page) -> bool:
    return page.evaluate("Boolean(document.getElementById('camera-video').srcObject)")


def test_a_label_held_before_the_camera_is_scanned(filmed, scan, printed, badges, codes):
    """Not quite straight and not quite sharp; nothing is read of the pictures without a code before it."""
    empty = [picture()] * 5
    page = filmed(
        "CUT-1", [*empty, *[picture((printed[codes[0]], 640, 360), turned=turn) for turn in (-8, -7, -6, -5)]]
    )
    scan(page, badges["Ana Ruiz"])
    page.get_by_role("button", name="Camera").click()
    expect(bar(page, "recorded")).to_contain_text("Gore 1 of 5 cut.")
    expect(page.locator("#camera")).to_be_hidden()
    assert comes(page, lambda: not is_filming(page))
    assert Scan.objects.get().code == codes[0]


def test_of_two_labels_the_one_under_the_mark_counts(filmed, scan, printed, badges, codes):
    page = filmed("CUT-1", [picture((printed[codes[3]], 200, 360), (printed[codes[1]], 660, 380))] * 3)
    scan(page, badges["Ana Ruiz"])
    page.get_by_role("button", name="Camera").click()
    expect(bar(page, "recorded")).to_contain_text("Gore 2 of 5 cut.")
    assert Scan.objects.get().code == codes[1]


def test_a_label_beside_the_mark_is_left_alone_until_the_camera_is_closed(
    filmed, scan, printed, badges, codes
):
    page = filmed("CUT-1", [picture((printed[codes[0]], 180, 360))] * 3)
    scan(page, badges["Ana Ruiz"])
    page.get_by_role("button", name="Camera").click()
    expect(page.locator("#camera-says")).to_have_text("Hold the code under the mark.")
    page.wait_for_timeout(1_500)
    expect(page.locator("#camera")).to_be_visible()
    assert is_filming(page)
    page.locator("#camera [data-close]").click()
    expect(page.locator("#camera")).to_be_hidden()
    assert comes(page, lambda: not is_filming(page))
    assert not Scan.objects.exists()


def test_a_badge_before_the_camera_signs_in(filmed, badges):
    """Badges carry the same kind of code as pieces."""
    import qrcode

    code = qrcode.make(badges["Ben Okafor"]).resize((SYMBOL, SYMBOL)).convert("RGB")
    scene = Image.new("RGB", (WIDTH, HEIGHT), (255, 255, 255))
    scene.paste(code, ((WIDTH - SYMBOL) // 2, (HEIGHT - SYMBOL) // 2))
    page = filmed("CUT-1", [scene] * 3)
    page.get_by_role("button", name="Camera").click()
    expect(page.locator("#badge-name")).to_have_text("Ben Okafor")


def test_without_the_network_the_camera_scans_too(filmed, scan, printed, badges, codes):
    """The decoder is on the device once it was used; the scan is kept."""
    page = filmed("CUT-1", [picture((printed[codes[2]], 640, 360))] * 3)
    scan(page, badges["Ana Ruiz"])
    page.get_by_role("button", name="Camera").click()
    expect(bar(page, "recorded")).to_contain_text("Gore 3 of 5 cut.")
    page.context.set_offline(True)
    page.wait_for_timeout(1_100)
    page.get_by_role("button", name="Camera").click()
    expect(bar(page, "waiting")).to_be_visible()
    expect(page.locator("#unsent-words")).to_contain_text("1 not sent")
    assert Scan.objects.count() == 1
