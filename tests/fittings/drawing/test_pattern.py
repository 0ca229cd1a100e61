"""Flat patterns of every form: their numbers are those of the development, nothing runs over anything else."""

import math
import xml.etree.ElementTree as ET

import pytest
import shapely

from fittings.drawing import pattern_icon, pattern_scene, pattern_svg, patterns
from fittings.drawing.facts import seam_text
from fittings.drawing.scene import Path, Text, bounds
from fittings.geometry import KINDS
from shared.units import fraction_text
from tests.fittings.drawing.kinds import CASES, made

PATTERNS = [(case, group.positions[0]) for case in CASES for group in patterns(made(case))]
IDS = [f"{kind}-{name}-{position}" for (kind, name), position in PATTERNS]
SIZES = {"wide": (760, 400, 15), "narrow": (420, 400, 13)}


def segment_of(pattern):
    case, position = pattern
    return made(case)["segments"][position - 1]


def scene_of(pattern, size="wide"):
    case, position = pattern
    width, height, text_size = SIZES[size]
    return pattern_scene(made(case), position, width=width, height=height, text_size=text_size)


def length(line):
    return sum(math.dist(a, b) for a, b in zip(line, line[1:], strict=False))


@pytest.mark.parametrize("pattern", PATTERNS, ids=IDS)
@pytest.mark.parametrize("size", SIZES)
def test_the_numbers_are_those_of_the_pattern(pattern, size):
    segment, text = segment_of(pattern), " | ".join(scene_of(pattern, size).texts())

    def told(words, value):
        assert f"{words}{fraction_text(value)} in" in text, text

    told("blank ", segment["blank"]["width"])
    told("", segment["blank"]["height"])
    if segment["form"] == "cylinder":
        told("stretch-out ", segment["stretch_out"])
    elif segment["form"] in ("cone", "brake"):
        told("", segment["seam_length"])
        for name in "ab":
            edge = segment[f"edge_{name}"]
            told(f"edge {name.upper()} ", length(edge))
            told("chord ", math.dist(edge[0], edge[-1]))
    else:
        told("disc Ø ", 2 * math.sqrt(segment["net_area"] / math.pi))  # a circle has the area of its pattern
    if segment["lap"]:
        told("lap ", segment["lap"])
    names = {mark["name"] for mark in segment["marks"]}
    for name in names & {"throat", "heel"}:
        told(f"{name} ", segment[name])
    for hole in segment["holes"]:
        left, bottom, right, top = shapely.Polygon(hole).bounds
        for value in (right - left, top - bottom, left, bottom - segment["edge_a"][0][1]):
            told("", value)
    bends = [mark["angle"] for mark in segment["marks"] if "angle" in mark]
    if len(bends) > 1:
        assert f"{len(bends)} bends of {min(bends):.1f}° to {max(bends):.1f}°" in text


@pytest.mark.parametrize("pattern", PATTERNS, ids=IDS)
@pytest.mark.parametrize("size", SIZES)
def test_texts_do_not_overlap_and_lie_in_the_picture(pattern, size):
    scene = scene_of(pattern, size)
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


@pytest.mark.parametrize("pattern", PATTERNS, ids=IDS)
def test_what_is_drawn_is_as_large_as_the_pattern(pattern):
    segment, scene = segment_of(pattern), scene_of(pattern)
    drawn = {
        role: [i for i in scene.items if isinstance(i, Path) and i.role == role] for role in ("cut", "hole")
    }
    plates = segment.get("plates") or []
    assert len(drawn["cut"]) == 1 + len(plates)
    assert len(drawn["hole"]) == len(segment["holes"]) + sum(len(plate["holes"]) for plate in plates)
    wanted = [shapely.Polygon(piece["cut_outline"]) for piece in (segment, *plates)]
    whole = shapely.Polygon(drawn["cut"][0].points)
    scale = math.sqrt(whole.area / wanted[0].area)
    for path, polygon in zip(drawn["cut"], wanted, strict=True):
        found = shapely.Polygon(path.points)
        assert found.area == pytest.approx(polygon.area * scale**2, rel=0.01)
        low, high = found.bounds[:2], found.bounds[2:]
        sizes = (polygon.bounds[2] - polygon.bounds[0], polygon.bounds[3] - polygon.bounds[1])
        assert (high[0] - low[0], high[1] - low[1]) == pytest.approx([one * scale for one in sizes], abs=0.4)


@pytest.mark.parametrize("pattern", PATTERNS, ids=IDS)
def test_marks_are_drawn_by_what_they_mean(pattern):
    segment, scene = segment_of(pattern), scene_of(pattern)
    pieces = [segment, *(segment.get("plates") or [])]
    marks = [mark for piece in pieces for mark in piece["marks"]]
    for role, wanted in (
        ("fold", [mark for mark in marks if "angle" in mark]),
        ("mark", [mark for mark in marks if "angle" not in mark]),
    ):
        assert len([i for i in scene.items if isinstance(i, Path) and i.role == role]) == len(wanted)


@pytest.mark.parametrize("pattern", PATTERNS, ids=IDS)
def test_svg_and_icon_are_well_formed(pattern):
    case, position = pattern
    for is_narrow in (False, True):
        text = pattern_svg(made(case), position, is_narrow=is_narrow)
        root = ET.fromstring(text)
        assert "style" not in text and "nan" not in text
        assert float(root.get("viewBox").split()[3]) <= 700
    scene = pattern_icon(made(case), position, width=200, height=80)
    assert [item for item in scene.items if item.role == "outline"]


def test_what_is_alike_all_round_has_no_throat_at_its_seam():
    if "pipe" in KINDS:
        (segment,) = made(("pipe", "pipe"))["segments"]
        assert seam_text(segment) == ""
        assert not any("heel" in text or "throat" in text for text in scene_of((("pipe", "pipe"), 1)).texts())
    assert seam_text(made(("gored_elbow", "five"))["segments"][0]) == "heel"
