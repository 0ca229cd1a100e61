"""Full-scale patterns read back by the DXF library and measured by shapely."""

import io
import re
import xml.etree.ElementTree as ET

import ezdxf
import pytest
from shapely.geometry import Polygon

from fittings.drawing import patterns_dxf, patterns_svg
from tests.fittings.drawing.samples import elbow

ELBOW = elbow()
PLATES = elbow(60, 90, 7, plates=2)


def read(data: bytes):
    return ezdxf.read(io.StringIO(data.decode("utf-8")))


def cut(document) -> list[Polygon]:
    lines = document.modelspace().query('LWPOLYLINE[layer=="CUT"]')
    assert all(line.closed for line in lines)
    return [Polygon([(x, y) for x, y, *_ in line.get_points()]) for line in lines]


@pytest.mark.parametrize(("unit", "insunits", "scale"), [("in", 1, 1.0), ("mm", 4, 25.4)])
def test_each_different_pattern_stands_once_at_full_scale(unit, insunits, scale):
    document = read(patterns_dxf(ELBOW, unit))
    assert document.header["$INSUNITS"] == insunits
    assert {"CUT", "MARK", "TEXT"} <= {layer.dxf.name for layer in document.layers}
    polygons = cut(document)
    wanted = [Polygon(ELBOW["segments"][position]["cut_outline"]) for position in (0, 1)]
    assert [p.area for p in polygons] == pytest.approx([w.area * scale**2 for w in wanted])
    for polygon, want in zip(polygons, wanted, strict=True):
        assert polygon.is_valid
        low, high = polygon.bounds[:2], polygon.bounds[2:]
        assert high[0] - low[0] == pytest.approx((want.bounds[2] - want.bounds[0]) * scale)
        assert high[1] - low[1] == pytest.approx((want.bounds[3] - want.bounds[1]) * scale)


@pytest.mark.parametrize("development", [ELBOW, PLATES, elbow(20, 90, 60, 40)])
def test_patterns_do_not_overlap(development):
    polygons = cut(read(patterns_dxf(development, "in")))
    for at, polygon in enumerate(polygons):
        assert all(polygon.distance(other) > 0.9 for other in polygons[:at])


def test_marks_and_texts_lie_on_their_patterns():
    document = read(patterns_dxf(ELBOW, "in"))
    polygons = cut(document)
    marks = document.modelspace().query('LWPOLYLINE[layer=="MARK"]')
    assert len(marks) == sum(len(ELBOW["segments"][position]["marks"]) for position in (0, 1))
    for mark in marks:
        points = [(x, y) for x, y, *_ in mark.get_points()]
        assert any(
            polygon.buffer(1e-6).contains(Polygon([*points, points[0]]).boundary) for polygon in polygons
        )
    texts = document.modelspace().query('TEXT[layer=="TEXT"]')
    assert [text.dxf.text for text in texts] == [
        "End gore 1, 5 of 5, 2 equal, 24 ga",
        "Middle gore 2–4 of 5, 3 equal, 24 ga",
    ]


def test_a_segment_of_plates_is_cut_as_its_plates():
    document = read(patterns_dxf(PLATES, "in"))
    assert len(cut(document)) == 4  # two patterns of two plates
    words = [text.dxf.text for text in document.modelspace().query("TEXT")]
    assert "plate 2 of 2" in words[1]


def test_equal_patterns_give_equal_files():
    assert patterns_dxf(elbow(), "mm") == patterns_dxf(elbow(), "mm")


def test_another_unit_is_refused():
    with pytest.raises(ValueError, match="neither in nor mm"):
        patterns_dxf(ELBOW, "cm")


@pytest.mark.parametrize(("unit", "scale"), [("in", 1.0), ("mm", 25.4)])
def test_full_scale_svg_has_its_true_size(unit, scale):
    text = patterns_svg(ELBOW, unit)
    root = ET.fromstring(text)
    assert "style" not in text
    assert root.get("width").endswith(unit)
    wide = float(root.get("width").removesuffix(unit))
    assert wide == pytest.approx((44.0689 + 0.5) * scale, abs=0.002 * scale)
    assert root.get("viewBox") == f"0 0 {root.get('width')[:-2]} {root.get('height')[:-2]}"
    paths = [p for p in root.iter("{http://www.w3.org/2000/svg}path") if p.get("class") == "cut"]
    areas = []
    for path in paths:
        numbers = [float(part) for part in re.findall(r"-?\d+\.?\d*", path.get("d"))]
        areas.append(Polygon(list(zip(numbers[0::2], numbers[1::2], strict=True))).area)
    wanted = [Polygon(ELBOW["segments"][position]["cut_outline"]).area * scale**2 for position in (0, 1)]
    assert areas == pytest.approx(wanted, rel=1e-3)
