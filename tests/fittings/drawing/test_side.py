"""Side views: as large as the formed fitting, with the figures of the order, nothing over anything else."""

import math
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from fittings.drawing import fitting_scene, fitting_svg, fitting_text, icon_scene, icon_svg, short_text
from fittings.drawing.scene import Path, Text, bounds
from fittings.drawing.solid import solid_of
from fittings.geometry import KINDS
from shared.units import fraction_text
from tests.fittings.drawing.kinds import CASES, IDS, PARAMS, SHEET, made, params
from tests.fittings.drawing.samples import elbow

THICK = SHEET.thickness_in
SIDES = [case for case in CASES if case[0] != "gored_elbow"]
SIDE_IDS = [f"{kind}-{name}" for kind, name in SIDES]


def extents(development) -> tuple[float, float, float, float]:
    """Left, bottom, right, top of the strips in space, seen along Y."""
    rows = [row for segment in development["segments"] for strip in segment["space"] for row in strip]
    points = np.array([point for row in rows for point in row])
    return (points[:, 0].min(), points[:, 2].min(), points[:, 0].max(), points[:, 2].max())


def drawn(scene, *roles):
    return [item for item in scene.items if isinstance(item, Path) and item.role in roles]


def test_every_kind_has_cases():
    assert set(KINDS) <= set(PARAMS)


@pytest.mark.parametrize("case", SIDES, ids=SIDE_IDS)
def test_the_outline_reaches_as_far_as_the_fitting(case):
    wanted = extents(made(case))
    # A chord of 48 round strays r (1 - cos 3.75 deg), 0.2 % of the radius; the outline is thinned by 0.05 %.
    assert solid_of(made(case)).outline.bounds == pytest.approx(
        wanted, abs=0.004 * (wanted[3] - wanted[1]) + 0.01
    )


@pytest.mark.parametrize("case", SIDES, ids=SIDE_IDS)
def test_the_scene_has_the_proportions_of_the_fitting(case):
    left, bottom, right, top = extents(made(case))
    scene = icon_scene(made(case), width=400, height=400)
    box = bounds(drawn(scene, "outline"))
    scale = (box[2] - box[0]) / (right - left)
    assert (box[3] - box[1]) == pytest.approx(scale * (top - bottom), rel=0.01)
    assert max(box[2] - box[0], box[3] - box[1]) > 300


# Closed formulas for the extents on the mean surface: inside size plus the thickness.
SIZES = {
    ("pipe", "pipe"): (10 + THICK, 48),
    ("reducer", "collars"): (20 + THICK, 2 + 12 + 3),
    ("reducer", "offset"): (20 + THICK, 2 + 12),
    ("reducer", "back"): (5 + 2 + 7 + THICK, 12),
    # Two bends and what is between: (10 - 24 (1 - cos 45)) / sin 45 = 4.2010; 24 sin 45 + 4.2010 cos 45 = 19.9411.
    ("offset", "short"): (10 + 8 + THICK, 19.9411),
    # Seen in the plane of its two axes: sqrt(8^2 + 6^2) = 10.
    ("offset", "rolled"): (10 + 8 + THICK, 19.9411),
    ("end_cap", "pan"): (12 + THICK, 1.5),
    ("tee", "tee"): (6 + THICK / 2 + 12, 20),
    ("tee", "aside"): (7 + THICK / 2 + 12, 20),
    ("square_to_round", "plain"): (20 + THICK, 18),
    ("square_to_round", "aside"): (10 + 3 + 7 + THICK, 18),
    ("conical_tee", "tee"): (6 + THICK / 2 + 14, 24),
    # Tips of the branches: 20 along the axis, 5 + t/2 square to it, at 45 deg.
    ("wye", "wide"): (
        2 * (20 + 5 + THICK / 2) * math.sin(math.pi / 4),
        10 + (25 + THICK / 2) * math.sin(math.pi / 4),
    ),
    ("wye", "equal"): (
        2 * (30 * 0.5 + (7 + THICK / 2) * math.sqrt(3) / 2),
        14 + 30 * math.sqrt(3) / 2 + (7 + THICK / 2) * 0.5,
    ),
}


@pytest.mark.parametrize("case", [case for case in SIZES if case[0] in KINDS], ids="-".join)
def test_extents_by_closed_formulas(case):
    left, bottom, right, top = solid_of(made(case)).outline.bounds
    assert (right - left, top - bottom) == pytest.approx(SIZES[case], abs=0.03)


def test_a_branch_meets_the_run_on_its_surface():
    if "tee" not in KINDS:
        return
    (joint,) = drawn(fitting_scene(made(("tee", "equal")), width=480, height=400), "joint")
    # Equal diameters meet in two planes, seen as two lines at 45 deg from the axis.
    corner = min(joint.points)
    for x, y in joint.points:
        assert abs(y - corner[1]) == pytest.approx(x - corner[0], abs=0.6)


TOLD = ("diameter", "branch_diameter", "diameter_a", "diameter_b", "base_diameter", "length", "branch_length")
TOLD += ("main_length", "offset", "offset_x", "offset_y", "depth", "width", "height", "collar_a", "collar_b")
TOLD += ("branch_offset", "collar", "roll", "centerline_radius")


@pytest.mark.parametrize("case", CASES, ids=IDS)
def test_the_figures_are_those_of_the_order(case):
    texts = fitting_scene(made(case), width=480, height=400).texts()
    found = " | ".join(texts)
    for name, value in params(case).items():
        if name in TOLD and value:
            assert any(f"{fraction_text(value)} in" in text for text in texts), f"{name} is not in {found}"
    if params(case).get("angle"):
        assert f"{params(case)['angle']}°" in found
    assert {end["end"].upper() for end in made(case)["free_ends"]} <= set(texts)


@pytest.mark.parametrize("size", [(480, 400, 15), (330, 256, 13)], ids=["screen", "paper"])
@pytest.mark.parametrize("case", CASES, ids=IDS)
def test_texts_do_not_overlap_and_lie_in_the_picture(case, size):
    scene = fitting_scene(made(case), width=size[0], height=size[1], text_size=size[2])
    texts = [item for item in scene.items if isinstance(item, Text)]
    boxes = [bounds([item]) for item in texts]
    for at, (left, bottom, right, top) in enumerate(boxes):
        assert (
            left >= -0.01 and bottom >= -0.01 and right <= scene.width + 0.01 and top <= scene.height + 0.01
        )
        for other, box in zip(texts[:at], boxes[:at], strict=True):
            clear = (
                right <= box[0] + 0.1 or box[2] <= left + 0.1 or top <= box[1] + 0.1 or box[3] <= bottom + 0.1
            )
            assert clear, f"{texts[at].text} runs into {other.text}"


@pytest.mark.parametrize("case", SIDES, ids=SIDE_IDS)
def test_each_is_drawn_large_and_small_without_style(case):
    for text in (fitting_svg(made(case)), icon_svg(made(case)), icon_svg(made(case), highlight=1)):
        root = ET.fromstring(text)
        assert root.get("role") == "img" and "style" not in text and "nan" not in text
        assert "Flat pattern" not in text
    assert "picked" in icon_svg(made(case), highlight=1) and "picked" not in icon_svg(made(case))


@pytest.mark.parametrize(
    ("case", "count"),
    [(("saddle", "leaning"), 1), (("tee", "aside"), 1), (("reducer", "plain"), 0), (("pipe", "pipe"), 0)],
)
def test_what_lies_behind_is_hidden(case, count):
    if case[0] in KINDS:
        hidden = drawn(fitting_scene(made(case), width=480, height=400), "hidden")
        assert len(hidden) >= count and (count or not hidden)


@pytest.mark.parametrize("case", SIDES, ids=SIDE_IDS)
def test_without_strips_in_space_its_pattern_is_shown(case):
    development = made(case)
    old = dict(
        development, segments=[{k: v for k, v in s.items() if k != "space"} for s in development["segments"]]
    )
    for text in (fitting_svg(old), icon_svg(old), icon_svg(old, highlight=1)):
        assert "Flat pattern" in text


def test_an_unknown_kind_is_drawn_by_its_strips_or_its_pattern():
    odd = dict(made(("pipe", "pipe")), kind="bellmouth", dimensions={})
    assert "Flat pattern" not in fitting_svg(odd) and "A" in fitting_scene(odd, width=480, height=400).texts()
    assert "Flat pattern" in fitting_svg(dict(elbow(), kind="bellmouth"))


@pytest.mark.parametrize(
    ("case", "long", "short"),
    [
        (
            ("reducer", "offset"),
            "Reducer 20 to 14 in, offset 3 in, 12 in long",
            "Reducer 20 to 14, offset 3, 12 long",
        ),
        (("end_cap", "pan"), "End cap 12 in, 1 1/2 in deep", "End cap 12, 1 1/2 deep"),
        (
            ("tee", "lateral"),
            "Lateral 12 in, branch 8 in, 45°, 30 in long",
            "Lateral 12, branch 8, 45°, 30 long",
        ),
        (("saddle", "leaning"), "Saddle 8 in on 20 in, 60°", "Saddle 8 on 20, 60°"),
        (("wye", "wide"), "Wye 14 in, two branches 10 in, 45°", "Wye 14, two branches 10, 45°"),
        (
            ("reducing_elbow", "plain"),
            "Reducing elbow 14 to 10 in, 90°, 5 pieces, R 21 in",
            "Reducing elbow 14 to 10, 90°, 5 pieces, R 21",
        ),
    ],
)
def test_what_it_is_in_words(case, long, short):
    if case[0] in KINDS:
        assert (fitting_text(made(case)), short_text(made(case))) == (long, short)
