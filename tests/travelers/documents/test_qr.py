"""The code: smallest version, decodable, refused where it cannot be scanned; the fonts that stand beside it."""

import hashlib
from pathlib import Path

import numpy as np
import pytest
import qrcode
import zxingcpp
from qrcode.constants import ERROR_CORRECT_Q
from qrcode.util import MODE_ALPHA_NUM, QRData, lost_point

from travelers.documents import text
from travelers.documents.qr import MODULES, draw_qr, runs, size_of


def symbol(code: str) -> np.ndarray:
    dark = np.zeros((MODULES + 8, MODULES + 8), bool)
    for row, column, length in runs(code):
        dark[row + 4, column + 4 : column + 4 + length] = True
    return dark


def decoded(dark: np.ndarray):
    image = np.where(np.kron(dark, np.ones((4, 4), bool)), 0, 255).astype(np.uint8)
    return zxingcpp.read_barcode(image)


@pytest.mark.parametrize("code", ["K3000A", "K3000A2BX", "ZZZZZZZZZZ", "0000000000", "K3ABCDEFGH"])
def test_a_code_decodes_as_it_was(code):
    found = decoded(symbol(code))
    assert found.text == code
    assert found.ec_level == "Q"
    assert symbol(code).shape == (29, 29)  # version 1 and its quiet zone


def test_the_symbol_is_the_encoders_with_one_of_its_best_masks():
    for number in range(40):
        code = f"K3{number * 104729 % 10**7:07d}"
        ours = symbol(code)[4:-4, 4:-4].tolist()
        points = {}
        for mask in range(8):
            theirs = qrcode.QRCode(version=1, error_correction=ERROR_CORRECT_Q, mask_pattern=mask, border=0)
            theirs.add_data(QRData(code, mode=MODE_ALPHA_NUM), optimize=0)
            theirs.make(fit=False)
            if theirs.modules == ours:
                chosen = mask
            points[mask] = lost_point(theirs.modules)
        assert points[chosen] <= 1.15 * min(
            points.values()
        )  # the encoder counts look-alikes a little otherwise


def test_many_codes_decode():
    for number in range(300):
        code = f"K3{number * 7919 % 10**6:06d}"
        assert decoded(symbol(code)).text == code


def test_a_fifth_of_the_symbol_may_be_lost():
    dark = symbol("K3000A2BX")
    dark[14:18, 13:17] ^= True  # two codewords of data
    assert decoded(dark).text == "K3000A2BX"


@pytest.mark.parametrize("code", ["", "k3000a", "K3 000", "K3000A2BXK3000A2BX", "Ä"])
def test_what_does_not_fit_is_refused(code):
    with pytest.raises(ValueError, match="does not fit"):
        runs(code)


def test_modules_too_small_to_scan_are_refused():
    with pytest.raises(ValueError, match="too small"):
        draw_qr(None, "K3000A2BX", 0, 0, module_mm=0.5)


def test_size_with_quiet_zone():
    assert size_of(1.0) == pytest.approx(29 * 72 / 25.4)


def test_fonts_are_the_ones_that_were_checked_in():
    folder = Path(text.__file__).parent / "fonts"
    sums = dict(reversed(line.split("  ")) for line in (folder / "SHA256SUMS").read_text().splitlines())
    assert set(sums) == {f"{name}.ttf" for name in text.FONTS}
    for name, wanted in sums.items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == wanted
    assert "SIL OPEN FONT LICENSE" in (folder / "LICENCE").read_text()


def test_text_is_shrunk_then_cut_to_its_box():
    for raw in ("short", "a tag of middling length", "X" * 200, "two words " * 30):
        shown, size = text.fit(raw, text.BOLD, 20, 120, 10)
        assert text.width_of(shown, text.BOLD, size) <= 120
        assert 10 <= size <= 20
    assert text.fit("short", text.BOLD, 20, 120, 10) == ("short", 20)
    assert text.fit("X" * 200, text.BOLD, 20, 120, 10)[0].endswith("…")


def test_wrapped_lines_fit_and_lose_nothing_before_the_last():
    raw = "one two three four five six seven eight nine ten " + "W" * 90
    lines = text.wrap(raw, text.PLAIN, 11, 130, 50)
    assert all(text.width_of(line, text.PLAIN, 11) <= 130 for line in lines)
    assert "".join(lines).replace(" ", "") == raw.replace(" ", "")
    assert len(text.wrap(raw, text.PLAIN, 11, 130, 3)) == 3


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        ("ＡＨＵ－３", "AHU-3"),
        ("e\u0301", "é"),
        ("e\u0301\u0323\u0323", "e"),
        ("Şł", "S\ufffd"),
        ("a\u202eb\u200f", "ab"),
        ("a\r\n\tb\x00", "a b"),
        ("🔥", "\ufffd"),
        ("½ × 3°", "½ × 3°"),
        ("  a   b ", "a b"),
    ],
)
def test_cleaned_text(raw, shown):
    assert text.clean(raw) == shown
