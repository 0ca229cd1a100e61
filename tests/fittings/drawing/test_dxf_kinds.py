"""Every kind's patterns as DXF and SVG, read back by the DXF library, measured by shapely."""

import io
import math
import re
import xml.etree.ElementTree as ET

import ezdxf
import pytest
import shapely
from ezdxf.fonts import fonts

from fittings.drawing import pattern_dxf, patterns, patterns_dxf, patterns_svg
from tests.fittings.drawing.kinds import CASES, IDS, made


def read(data: bytes):
    document = ezdxf.read(io.StringIO(data.decode("utf-8")))
    audit = document.audit()
    assert not audit.errors and not audit.fixes
    return document


def pieces(document):
    """Outline with its holes, of each piece."""
    lines = document.modelspace().query('LWPOLYLINE[layer=="CUT"]')
    assert all(line.closed for line in lines)
    rings = [shapely.Polygon([(x, y) for x, y, *_ in line.get_points()]) for line in lines]
    assert all(ring.is_valid for ring in rings)
    outer = [ring for ring in rings if not any(o.contains(ring) for o in rings if o is not ring)]
    inner = [ring for ring in rings if ring not in outer]
    return [
        shapely.Polygon(ring.exterior, [hole.exterior for hole in inner if ring.contains(hole)])
        for ring in outer
    ]


def wanted(development):
    for group in patterns(development):
        yield from group.segment.get("plates") or [group.segment]


@pytest.mark.parametrize("case", CASES, ids=IDS)
@pytest.mark.parametrize(("unit", "insunits", "scale"), [("in", 1, 1.0), ("mm", 4, 25.4)])
def test_outlines_holes_and_areas_are_those_of_the_patterns(case, unit, insunits, scale):
    document = read(patterns_dxf(made(case), unit))
    assert document.header["$INSUNITS"] == insunits
    found, want = pieces(document), list(wanted(made(case)))
    assert len(found) == len(want)
    for polygon, piece in zip(found, want, strict=True):
        assert len(polygon.interiors) == len(piece["holes"])
        left, bottom, right, top = polygon.bounds
        sizes = (piece["blank"]["width"] * scale, piece["blank"]["height"] * scale)
        assert (right - left, top - bottom) == pytest.approx(sizes, abs=0.001 * scale)
        cut = piece["cut_area"]
        if piece.get("plates"):
            cut = sum(plate["cut_area"] for plate in piece["plates"])
        # Coordinates are rounded to 0.0001: the area is off by less than half of that along the whole outline.
        assert polygon.area == pytest.approx(cut * scale**2, abs=(0.0001 * polygon.length + 0.001) * scale**2)


@pytest.mark.parametrize("case", CASES, ids=IDS)
def test_every_text_lies_inside_its_piece_and_outside_the_holes(case):
    document = read(patterns_dxf(made(case)))
    found = pieces(document)
    texts = document.modelspace().query('TEXT[layer=="TEXT"]')
    assert len(texts) == len(found)
    for text, polygon in zip(texts, found, strict=True):
        height, turn = text.dxf.height, math.radians(text.dxf.rotation)
        wide = fonts.make_font("txt.shx", cap_height=height).text_width(text.dxf.text)
        x, y, _ = text.dxf.insert
        corners = [(0, -0.25 * height), (wide, -0.25 * height), (wide, height), (0, height)]
        box = [
            (x + u * math.cos(turn) - v * math.sin(turn), y + u * math.sin(turn) + v * math.cos(turn))
            for u, v in corners
        ]
        assert polygon.contains(shapely.Polygon(box))
        assert -90.01 <= text.dxf.rotation <= 90.01  # never upside down
        assert height >= 0.04


@pytest.mark.parametrize("case", CASES, ids=IDS)
def test_marks_lie_on_their_pieces(case):
    document = read(patterns_dxf(made(case)))
    found = shapely.union_all([polygon.buffer(1e-3) for polygon in pieces(document)])
    marks = document.modelspace().query('LWPOLYLINE[layer=="MARK"]')
    assert len(marks) == sum(len(piece["marks"]) for piece in wanted(made(case)))
    for mark in marks:
        assert found.contains(shapely.LineString([(x, y) for x, y, *_ in mark.get_points()]))


@pytest.mark.parametrize("case", CASES, ids=IDS)
def test_one_pattern_alone(case):
    for group in patterns(made(case)):
        by_key, by_position = (
            pattern_dxf(made(case), which) for which in (group.pattern, group.positions[-1])
        )
        assert by_key == by_position
        found = pieces(read(by_key))
        want = group.segment.get("plates") or [group.segment]
        assert len(found) == len(want)
        for at, polygon in enumerate(found):
            assert all(polygon.distance(other) > 0.9 for other in found[:at])
        assert [p.exterior.length for p in found] == pytest.approx(
            [shapely.Polygon(piece["cut_outline"]).exterior.length for piece in want], rel=1e-6
        )


def test_a_pattern_that_is_not_there_is_a_lookup_error():
    for which in (99, "no such key"):
        with pytest.raises(LookupError, match="no pattern"):
            pattern_dxf(made(("gored_elbow", "five")), which)


@pytest.mark.parametrize("case", CASES, ids=IDS)
@pytest.mark.parametrize(("unit", "scale"), [("in", 1.0), ("mm", 25.4)])
def test_the_svg_says_the_same(case, unit, scale):
    text = patterns_svg(made(case), unit)
    root = ET.fromstring(text)
    assert "style" not in text

    def area(path):
        numbers = [float(part) for part in re.findall(r"-?\d+\.?\d*", path.get("d"))]
        return shapely.Polygon(list(zip(numbers[0::2], numbers[1::2], strict=True))).area

    found = {name: [] for name in ("cut", "hole", "mark", "fold")}
    for path in root.iter("{http://www.w3.org/2000/svg}path"):
        found[path.get("class")].append(path)
    want = list(wanted(made(case)))
    assert [area(path) for path in found["cut"]] == pytest.approx(
        [shapely.Polygon(piece["cut_outline"]).area * scale**2 for piece in want], rel=1e-3
    )
    assert [area(path) for path in found["hole"]] == pytest.approx(
        [shapely.Polygon(hole).area * scale**2 for piece in want for hole in piece["holes"]], rel=1e-3
    )
    marks = [mark for piece in want for mark in piece["marks"]]
    assert len(found["fold"]) == len([mark for mark in marks if "angle" in mark])
    assert len(found["mark"]) + len(found["fold"]) == len(marks)
