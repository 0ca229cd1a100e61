"""Contrast of the token pairs that stand on each other, by WCAG 2.2 (1.4.3, 1.4.6, 1.4.11)."""

import re
from pathlib import Path

import pytest

TOKENS = Path(__file__).resolve().parents[2] / "shared" / "static" / "shared" / "tokens.css"
TEXT_AT_LEAST = {"office": 4.5, "tablet": 7.0, "tv": 7.0}
SHAPE_AT_LEAST = 3.0

TEXT_PAIRS = [
    *[(ink, ground) for ink in ("ink", "ink-soft") for ground in ("floor", "sheet", "field")],
    *[("alarm", ground) for ground in ("floor", "sheet", "field")],
    ("key-ink", "key"),
    ("sheet", "ink"),
    ("alarm-ink", "alarm-ground"),
    ("warn-ink", "warn-ground"),
    ("danger-ink", "danger-ground"),
    ("warning-ink", "warning-ground"),
    ("caution-ink", "caution-ground"),
]
SHAPE_PAIRS = [
    *[(mark, ground) for mark in ("alarm", "warn", "act", "ink-soft") for ground in ("floor", "sheet")],
    *[("edge", ground) for ground in ("floor", "sheet", "field")],
    *[("ink", ground) for ground in ("floor", "sheet", "field")],
    ("slat", "sheet"),
    ("key", "floor"),
    ("key", "sheet"),
    ("warn-ink", "warn-ground"),
]


def places() -> dict[str, dict[str, str]]:
    text = re.sub(r"/\*.*?\*/", "", TOKENS.read_text(), flags=re.DOTALL)
    blocks = dict(re.findall(r"(:root|\[data-place=\"\w+\"\]) \{(.*?)\}", text, flags=re.DOTALL))
    colours = {
        selector: dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6});", body))
        for selector, body in blocks.items()
    }
    everywhere = colours.pop(":root")
    return {selector.split('"')[1]: everywhere | own for selector, own in colours.items()}


def luminance(colour: str) -> float:
    """Relative luminance of #rrggbb (WCAG 2.2, definition).

    >>> luminance("#ffffff")
    1.0
    """
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.authority
def test_the_formula_gives_the_published_ratios():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)
    assert contrast("#595959", "#ffffff") == pytest.approx(7.0, abs=0.01)
    assert contrast("#ff0000", "#ffffff") == pytest.approx(4.0, abs=0.01)


def test_the_three_places_have_the_same_tokens():
    names = {place: set(colours) for place, colours in places().items()}
    assert set(names) == set(TEXT_AT_LEAST)
    assert len(set(map(frozenset, names.values()))) == 1


@pytest.mark.parametrize("place", TEXT_AT_LEAST)
def test_text_stands_out_from_its_ground(place):
    colours = places()[place]
    ratios = {pair: round(contrast(colours[pair[0]], colours[pair[1]]), 2) for pair in TEXT_PAIRS}
    assert {pair: ratio for pair, ratio in ratios.items() if ratio < TEXT_AT_LEAST[place]} == {}


@pytest.mark.parametrize("place", TEXT_AT_LEAST)
def test_edges_and_marks_stand_out_from_what_adjoins_them(place):
    colours = places()[place]
    ratios = {pair: round(contrast(colours[pair[0]], colours[pair[1]]), 2) for pair in SHAPE_PAIRS}
    assert {pair: ratio for pair, ratio in ratios.items() if ratio < SHAPE_AT_LEAST} == {}
