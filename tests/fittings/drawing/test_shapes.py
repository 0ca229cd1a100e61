"""Fittings other than elbows: their sides have their own proportions and their numbers."""

import xml.etree.ElementTree as ET

import pytest

from fittings.drawing import fitting_svg, icon_svg
from fittings.drawing.scene import Text, bounds
from fittings.drawing.shapes import shape_of
from fittings.drawing.side import side_scene


def made(kind, segments=1, roles=(), **sizes):
    names = roles or ["body"] * segments
    parts = [
        {
            "position": n,
            "role": role,
            "net_outline": [[0, 0], [1, 0], [1, 1]],
            "blank": {"width": 1, "height": 1},
        }
        for n, role in enumerate(names, 1)
    ]
    return {
        "kind": kind,
        "thickness": 0.03,
        "gauge": 24,
        "dimensions": sizes,
        "segments": parts,
        "warnings": [],
    }


CASES = {
    "pipe": made("pipe", diameter=10, length=48),
    "cap": made("end_cap", diameter=12, depth=1.5),
    "reducer": made("reducer", diameter_a=14, diameter_b=10, length=12, offset=2, collar_a=2, collar_b=1),
    "offset": made("offset", 5, diameter=8, offset=10, angle=45, centerline_radius=12, pieces=3),
    "tee": made(
        "tee", roles=("run", "branch"), diameter=12, branch_diameter=8, angle=90, length=20, branch_length=12
    ),
    "lateral": made(
        "tee", roles=("run", "branch"), diameter=12, branch_diameter=8, angle=45, length=30, branch_length=20
    ),
    "saddle": made("saddle", diameter=20, branch_diameter=8, angle=60, branch_length=16),
    "square": made("square_to_round", 2, width=20, height=12, diameter=14, length=18, offset_x=1, offset_y=0),
}


@pytest.mark.parametrize("name", CASES)
def test_each_is_drawn_large_and_small(name):
    for text in (fitting_svg(CASES[name]), icon_svg(CASES[name]), icon_svg(CASES[name], highlight=1)):
        root = ET.fromstring(text)
        assert root.get("role") == "img" and "style" not in text
    assert "picked" in icon_svg(CASES[name], highlight=1)
    assert "Flat pattern" not in fitting_svg(CASES[name]) + icon_svg(CASES[name])


def test_a_kind_that_is_not_known_is_shown_by_its_pattern():
    for text in (
        fitting_svg(made("bellmouth")),
        icon_svg(made("bellmouth")),
        icon_svg(made("pipe", diameter=10)),
    ):
        assert "Flat pattern" in text


@pytest.mark.parametrize("name", CASES)
def test_texts_do_not_overlap(name):
    scene = side_scene(CASES[name], width=480, height=400, text_size=15)
    boxes = [bounds([item]) for item in scene.items if isinstance(item, Text)]
    for at, (left, bottom, right, top) in enumerate(boxes):
        for other in boxes[:at]:
            assert right <= other[0] or other[2] <= left or top <= other[1] or other[3] <= bottom


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        ("pipe", {"Ø 10 in", "48 in"}),
        ("cap", {"Ø 12 in", "1 1/2 in"}),
        ("reducer", {"Ø 14 in", "Ø 10 in", "12 in", "2 in", "1 in", "offset 2 in"}),
        ("offset", {"Ø 8 in", "10 in", "45°, R 12 in"}),
        ("lateral", {"Ø 12 in", "30 in", "branch Ø 8 in, 20 in from axis", "45°"}),
        ("square", {"20 in", "Ø 14 in", "18 in", "opening 20 in × 12 in"}),
    ],
)
def test_measures(name, wanted):
    assert wanted <= set(side_scene(CASES[name], width=480, height=400, text_size=15).texts())


def test_an_offset_ends_parallel_and_aside():
    shape = shape_of(CASES["offset"])
    (_, outline, _) = shape.lines[0]
    half = len(outline) // 2
    right, left = outline[:half], outline[half:][::-1]
    assert left[0] == pytest.approx((-4, 0)) and right[0] == pytest.approx((4, 0))
    # 10 in aside: s = (10 - 24 (1 - cos 45)) / sin 45 = 4.2010; length = 24 sin 45 + s cos 45 = 19.9411.
    assert left[-1] == pytest.approx((-14, 19.9411), abs=1e-3)
    assert right[-1] == pytest.approx((-6, 19.9411), abs=1e-3)
    assert len(shape.parts) == 5


def test_a_branch_meets_the_run_on_its_surface():
    shape = shape_of(CASES["tee"])
    branch = shape.parts[2]
    # Top and bottom rulings meet the run's outermost line x = 6; the front one lies behind it at sqrt(36 - 16).
    assert branch[1] == pytest.approx((6, 14)) and branch[-2] == pytest.approx((6, 6))
    assert min(x for x, _ in branch) == pytest.approx(20**0.5)
    assert branch[0] == pytest.approx((12, 14)) and branch[-1] == pytest.approx((12, 6))
    assert shape.parts[1][0] == (-6, 0)
