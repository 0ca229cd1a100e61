"""SVG of fittings and patterns: well formed, without styles, with the right number of gores and numbers."""

import math
import re
import time
import xml.etree.ElementTree as ET

import pytest

from fittings.drawing import fitting_svg, fitting_text, icon_svg, pattern_svg, patterns, positions_text
from fittings.drawing.elevation import elbow_icon, elbow_scene, segment_outline
from fittings.drawing.facts import elbow as facts_of
from fittings.drawing.pattern import pattern_icon
from fittings.drawing.scene import Path, Scene, Text, bounds
from fittings.drawing.svg import svg_text
from tests.fittings.drawing.samples import elbow

SVG = "{http://www.w3.org/2000/svg}"
CASES = {
    "five": elbow(),
    "two": elbow(4, 30, 2),
    "large": elbow(60, 90, 7, plates=2, thickness=0.0598),
    "u": elbow(10, 180, 12),
    "sixty": elbow(20, 90, 60, 40),
    "collars": elbow(14, 90, 5, collar_a=4, collar_b=2.5, start_angle=90),
    "tight": elbow(12, 45, 3, 6.2),
    "far": elbow(6, 7.5, 2, 60),
    "thin": elbow(3, 1, 2, 3),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize(
    "draw", [fitting_svg, icon_svg, lambda d: pattern_svg(d, 2)], ids=["side", "icon", "flat"]
)
def test_svg_is_well_formed_has_a_title_and_no_style(name, draw):
    text = draw(CASES[name])
    root = ET.fromstring(text)
    assert root.tag == SVG + "svg"
    assert root.get("role") == "img"
    assert root.find(SVG + "title").text == root.get("aria-label") != ""
    assert len(root.get("viewBox").split()) == 4
    assert "style" not in text
    for element in root.iter():
        assert "style" not in element.attrib
        assert not element.tag.endswith("style")
    assert not re.search(r"nan|inf", text)


@pytest.mark.parametrize("name", CASES)
def test_everything_lies_in_the_view_box(name):
    root = ET.fromstring(fitting_svg(CASES[name]))
    _, _, width, height = (float(part) for part in root.get("viewBox").split())
    for path in root.iter(SVG + "path"):
        numbers = [float(part) for part in re.findall(r"-?\d+\.?\d*", path.get("d"))]
        assert all(-0.01 <= x <= width + 0.01 for x in numbers[0::2])
        assert all(-0.01 <= y <= height + 0.01 for y in numbers[1::2])


@pytest.mark.parametrize(("name", "joints"), [("five", 4), ("two", 1), ("large", 6), ("u", 11)])
def test_the_drawing_has_a_line_at_each_mitre(name, joints):
    root = ET.fromstring(icon_svg(CASES[name]))
    (path,) = [p for p in root.iter(SVG + "path") if "joint" in p.get("class")]
    assert path.get("d").count("M") == joints


def test_the_dimensions_are_those_of_the_fitting():
    texts = elbow_scene(CASES["collars"], width=480, height=400, text_size=15).texts()
    assert {"Ø 14 in", "R 21 in", "90°", "4 in", "2 1/2 in", "A", "B"} <= set(texts)
    assert "R 14 in" in texts or "throat R 14 in" in texts


def test_texts_do_not_overlap():
    for name, case in CASES.items():
        scene = elbow_scene(case, width=480, height=400, text_size=15)
        boxes = [bounds([item]) for item in scene.items if isinstance(item, Text)]
        for at, (left, bottom, right, top) in enumerate(boxes):
            for other in boxes[:at]:
                clear = right <= other[0] or other[2] <= left or top <= other[1] or other[3] <= bottom
                assert clear, f"{name}: {scene.texts()[at]} runs into another text"


def test_corners_of_the_gores_are_tangent_to_the_throat_and_heel_arcs():
    # A polygon round a circle: each side touches it. R = 21, r = 7: sides at distance 14 and 28 from the bend's centre.
    found = facts_of(CASES["five"])
    for position in range(1, 6):
        throat_before, heel_before, heel_after, throat_after = segment_outline(found, position)
        for (ax, ay), (bx, by), wanted in ((throat_before, throat_after, 14), (heel_before, heel_after, 28)):
            distance = abs(ax * by - ay * bx) / math.hypot(bx - ax, by - ay)
            assert distance == pytest.approx(wanted, abs=1e-9)


def test_ends_are_square_and_as_wide_as_the_duct():
    found = facts_of(elbow(14, 60, 4, 21, collar_a=3, collar_b=2))
    first = segment_outline(found, 1)
    last = segment_outline(found, 4)
    assert first[0] == pytest.approx((14, -3)) and first[1] == pytest.approx((28, -3))
    across = (last[2][0] - last[3][0], last[2][1] - last[3][1])
    assert math.hypot(*across) == pytest.approx(14)
    assert math.degrees(math.atan2(across[1], across[0])) == pytest.approx(60)


def test_the_highlight_fills_the_gore_that_is_meant():
    drawn = elbow_icon(CASES["five"], width=96, height=96, highlight=2)
    (picked,) = [item for item in drawn.items if isinstance(item, Path) and item.role == "picked"]
    assert len(picked.points) == 4 and picked.closed
    # Gore 2 of 5 in 90° lies between the mitres at 11.25° and 33.75°.
    (outline,) = [item for item in drawn.items if isinstance(item, Path) and item.role == "outline"]
    centre = (min(x for x, _ in outline.points), min(y for _, y in outline.points))
    angles = sorted(math.degrees(math.atan2(y - centre[1], x - centre[0])) for x, y in picked.points)
    assert angles == pytest.approx([11.25, 11.25, 33.75, 33.75], abs=0.01)
    assert "gore 2 of 5" in icon_svg(CASES["five"], highlight=2)
    assert "picked" not in icon_svg(CASES["five"])


def test_description():
    assert fitting_text(CASES["five"]) == "Gored elbow 90°, 14 in, 5 pieces, R 21 in"
    assert fitting_text(CASES["far"]) == "Gored elbow 7.5°, 6 in, 2 pieces, R 60 in"


def test_equal_patterns_are_grouped():
    groups = patterns(CASES["five"])
    assert [group.positions for group in groups] == [(1, 5), (2, 3, 4)]
    assert [group.count for group in groups] == [2, 3]


@pytest.mark.parametrize(
    ("positions", "text"),
    [
        ((1,), "1"),
        ((2, 3, 4), "2–4"),
        ((1, 5), "1, 5"),
        ((2, 3), "2, 3"),
        ((2, 4, 6, 8), "2–8 even"),
        ((3, 5, 7), "3–7 odd"),
        ((1, 3, 4, 5, 9), "1, 3–5, 9"),
    ],
)
def test_positions_in_words(positions, text):
    assert positions_text(positions) == text


def test_flat_pattern_tells_its_numbers():
    # 14 in, 24 ga, R 21, 5 pieces: stretch-out 44.07, middle gore throat 5.56, heel 11.15 (both to a 32nd below).
    text = pattern_svg(CASES["five"], 2)
    for part in (
        "stretch-out 44 1/16 in",
        "throat 5 9/16 in",
        "heel 11 5/32 in",
        "lap 1/2 in",
        "blank 44 9/16 in",
    ):
        assert part in text
    assert "plate 2 of 2" in pattern_svg(CASES["large"], 3)


def test_throat_and_heel_are_told_however_crowded_it_is():
    # 60 in, 0.0598 in thick, R 90, 7 pieces: 2 (90 -+ 30.0299) tan(7.5 deg) = 15.790 and 31.604.
    text = pattern_svg(CASES["large"], 3)
    assert "throat 15 25/32 in" in text and "heel 31 19/32 in" in text


def test_a_plate_has_its_own_outline():
    whole, plate = (pattern_icon(CASES["large"], 2, width=100, height=30, plate=n) for n in (0, 1))
    sizes = []
    for scene in (whole, plate):
        (outline,) = [item for item in scene.items if isinstance(item, Path) and item.role == "outline"]
        left, bottom, right, top = bounds([outline])
        sizes.append((right - left) / (top - bottom))
    # 189.2 x 32.1 in whole, 94.8 x 32.1 in a plate.
    assert sizes[0] / sizes[1] == pytest.approx(189.18 / 94.84, rel=0.01)


def test_a_pattern_of_a_segment_that_is_not_there_is_a_lookup_error():
    with pytest.raises(LookupError, match="no segment 6"):
        pattern_svg(CASES["five"], 6)


def test_text_is_escaped():
    odd = elbow()
    odd["kind"] = "pipe"
    odd["segments"][0]["role"] = '<script>"&\x07'
    text = pattern_svg(odd, 1)
    assert "<script" not in text
    ET.fromstring(text)
    scene = Scene(100, 50, (Text(0, 0, '<b>"&\x00\ud800', 10),), "<i>")
    (element,) = ET.fromstring(svg_text(scene)).iter(SVG + "text")
    assert element.text == '<b>"&'


def test_the_same_development_gives_the_same_text():
    assert fitting_svg(elbow()) == fitting_svg(elbow())
    assert pattern_svg(elbow(), 1) == pattern_svg(elbow(), 1)


def test_a_five_piece_elbow_is_drawn_in_well_under_a_screen_refresh():
    best = min(_seconds(lambda: fitting_svg(CASES["five"])) for _ in range(20))
    assert best < 0.010


def _seconds(act) -> float:
    start = time.perf_counter()
    act()
    return time.perf_counter() - start
