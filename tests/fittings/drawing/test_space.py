"""The shaded view: what is nearest is what one sees, found anew by casting rays at the strips in space."""

import re
import time
import xml.etree.ElementTree as ET
from io import BytesIO

import numpy as np
import pypdfium2
import pytest
import shapely
from reportlab.pdfgen.canvas import Canvas

from fittings.drawing import space_scene, space_svg
from fittings.drawing.pdf import draw_scene
from fittings.drawing.scene import Facet, Text, bounds
from fittings.drawing.space import eye
from fittings.geometry import Allowances, Practice, develop, development_as_dict
from tests.fittings.drawing.kinds import CASES, IDS, SHEET, made
from tests.fittings.drawing.samples import elbow

SVG = "{http://www.w3.org/2000/svg}"
LIGHTEST_INSIDE, DARKEST_OUTSIDE = 0.52, 0.62


def facets(scene):
    return [item for item in scene.items if isinstance(item, Facet)]


def triangles(development):
    """(position, corners (3, 3) on the paper's axes, whether the outside faces the eye) of every strip."""
    middle = np.mean(
        [p for s in development["segments"] for strip in s["space"] for row in strip for p in row], axis=0
    )
    for segment in development["segments"]:
        for a, b in segment["space"]:
            a, b = np.array(a), np.array(b)
            for k in range(len(a) - 1):
                for corners in ((a[k], a[k + 1], b[k + 1]), (a[k], b[k + 1], b[k])):
                    corners = np.array(corners)
                    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
                    if segment["form"] == "flat" and normal @ (corners.mean(axis=0) - middle) < 0:
                        normal = -normal
                    if np.linalg.norm(normal) > 1e-9:
                        yield segment["position"], corners @ eye().T, (normal @ eye()[2]) > 0


def cast(development, spots):
    """For each spot on the paper's axes: (position, is outside) of the nearest triangle there, or None."""
    positions, corners, outside = zip(*triangles(development), strict=True)
    corners = np.array(corners)
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
    area = np.where(np.abs(area) < 1e-12, np.inf, area)
    x, y = spots[:, 0][:, None], spots[:, 1][:, None]
    v = ((x - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (y - a[:, 1])) / area
    w = ((b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (x - a[:, 0]) * (b[:, 1] - a[:, 1])) / area
    depth = a[:, 2] + v * (b[:, 2] - a[:, 2]) + w * (c[:, 2] - a[:, 2])
    depth = np.where((v >= 0) & (w >= 0) & (v + w <= 1) & np.isfinite(area), depth, -np.inf)
    best = np.argmax(depth, axis=1)
    hit = np.isfinite(depth.max(axis=1))
    return [(positions[k], outside[k]) if is_hit else None for k, is_hit in zip(best, hit, strict=True)]


def seen(scene, spots):
    """The shade of the last facet over each spot of the paper, or None."""
    shown = facets(scene)
    outlines = shapely.make_valid(shapely.polygons([shapely.linearrings(f.points) for f in shown]))
    spot, facet = shapely.STRtree(outlines).query(shapely.points(spots), predicate="within")
    last = np.full(len(spots), -1)
    np.maximum.at(last, spot, facet)
    return [shown[k].shade if k >= 0 else None for k in last]


@pytest.mark.parametrize("case", CASES, ids=IDS)
def test_the_nearest_surface_is_the_one_that_is_seen(case):
    development = made(case)
    position = development["segments"][-1]["position"]
    scene, picked = space_scene(development), space_scene(development, highlight=position)
    box = bounds(facets(scene))
    points = np.array(
        [p for s in development["segments"] for strip in s["space"] for row in strip for p in row]
    )
    flat = points @ eye().T
    low, high = flat.min(axis=0)[:2], flat.max(axis=0)[:2]
    scale = max((box[2] - box[0]) / (high[0] - low[0]), (box[3] - box[1]) / (high[1] - low[1]))
    centre = np.array([box[0] + box[2], box[1] + box[3]]) / 2
    spots = np.random.default_rng(7).uniform(box[:2], box[2:], (500, 2))
    model = (spots - centre) / scale + (low + high) / 2
    wanted = cast(development, model)
    found, with_pick = seen(scene, spots), seen(picked, spots)
    wrong = 0
    for want, shade, other in zip(wanted, found, with_pick, strict=True):
        if want is None or shade is None:
            wrong += (want is None) != (shade is None)
            continue
        wrong += want[1] != (shade >= DARKEST_OUTSIDE)
        wrong += (want[0] == position) != (shade != other)
    assert wrong <= 8, (
        f"{wrong} of 500 spots show another surface than the nearest"
    )  # edges, half a unit wide


@pytest.mark.parametrize("case", CASES, ids=IDS)
def test_svg_is_small_has_letters_and_no_style(case):
    text = space_svg(made(case))
    assert len(text.encode()) < 60_000
    assert "style" not in text and not re.search(r"nan|inf\b", text)
    root = ET.fromstring(text)
    letters = [element.text for element in root.iter(SVG + "text")]
    assert letters == [end["end"].upper() for end in made(case)["free_ends"]]
    _, _, width, height = (float(part) for part in root.get("viewBox").split())
    for path in root.iter(SVG + "path"):
        numbers = [float(part) for part in re.findall(r"-?\d+\.?\d*", path.get("d"))]
        assert all(-1 <= x <= width + 1 for x in numbers[0::2])
        assert all(-1 <= y <= height + 1 for y in numbers[1::2])


@pytest.mark.parametrize("case", CASES, ids=IDS)
@pytest.mark.parametrize("size", [(480, 400, 15), (160, 130, 12)], ids=["large", "small"])
def test_letters_stand_clear_of_the_body_and_in_the_picture(case, size):
    scene = space_scene(made(case), width=size[0], height=size[1], text_size=size[2])
    body = shapely.union_all(shapely.make_valid([shapely.Polygon(f.points) for f in facets(scene)]))
    for item in scene.items:
        if isinstance(item, Text):
            box = bounds([item])
            assert not shapely.box(*box).intersects(body)
            assert box[0] >= 0 and box[1] >= 0 and box[2] <= scene.width and box[3] <= scene.height


def test_a_frozen_development_without_strips_is_a_key_error():
    with pytest.raises(KeyError):
        space_svg(elbow())


def test_a_nine_piece_elbow_is_quick_and_small():
    params = {"diameter": 14, "angle": 90, "pieces": 9}
    made_of_nine = develop(
        "gored_elbow", params, sheet=SHEET, allowances=Allowances(lap=0.5), practice=Practice()
    )
    development = development_as_dict(made_of_nine)
    took, usual = [], []
    for _ in range(25):
        start = time.process_time()
        text = space_svg(development)
        took.append(time.process_time() - start)
        start = time.process_time()
        # texts of numbers, as the drawing is: some 15 ms where it takes some 18
        " ".join(f"{at * 0.37:.3f}" for at in range(57_000))
        usual.append(time.process_time() - start)
    assert min(took) < 1.5 * min(usual)
    assert len(text.encode()) < 60_000


@pytest.mark.parametrize(("pieces", "most"), [(13, 60_000), (24, 90_000), (60, 150_000)])
def test_an_elbow_of_many_pieces_does_not_grow_with_them(pieces, most):
    params = {"diameter": 14, "angle": 180, "pieces": pieces, "radius_ratio": 3}
    found = develop("gored_elbow", params, sheet=SHEET, allowances=Allowances(lap=0.5), practice=Practice())
    assert len(space_svg(development_as_dict(found)).encode()) < most


def test_a_pdf_shows_the_same_greys():
    scene = space_scene(made(("gored_elbow", "five")), width=300, height=240)
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=(300, 240))
    draw_scene(canvas, scene, 0, 0, 300, 240, font="Helvetica")
    canvas.save()
    page = np.array(pypdfium2.PdfDocument(buffer.getvalue())[0].render(scale=2).to_pil().convert("L")) / 255
    spots = np.random.default_rng(3).uniform((20, 20), (280, 220), (300, 2))
    wrong = 0
    for (x, y), shade in zip(spots, seen(scene, spots), strict=True):
        pixel = page[int((240 - y) * 2), int(x * 2)]
        wrong += abs(pixel - (1.0 if shade is None else shade)) > 0.04
    assert wrong < 25  # lines and letters
