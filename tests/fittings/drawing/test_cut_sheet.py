"""A drawn sheet read back: the SVG by an XML parser, the DXF by the DXF library, both measured by shapely."""

import io
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import ezdxf
import pytest
from reportlab.pdfbase.ttfonts import TTFont
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon

from fittings.drawing.cut_sheet import MarkLine, PlacedPiece, SheetDrawing, sheet_dxf, sheet_svg
from tests.fittings.drawing.samples import elbow

NAME = "{http://www.w3.org/2000/svg}"
FACE = Path(__file__).parents[3] / "travelers/documents/fonts/B612Mono-Bold.ttf"
MARGIN = 0.25


def placed(outline, turn, x, y):
    """Turned about the outline's own origin, then moved: by shapely, not by our own code."""
    moved = affinity.translate(affinity.rotate(LineString(outline), turn, origin=(0, 0)), x, y)
    return tuple(moved.coords)


def a_sheet(count=12, diameter=14.0, width=60.0, length=120.0, holes=False, turns=(0, 180), **changes):
    """Gores in columns from the front, an eighth of an inch apart, turned by turns in turn."""
    segments = elbow(diameter)["segments"]
    pieces, x, y, column = [], MARGIN, MARGIN, 0.0
    for number in range(count):
        segment, turn = segments[number % len(segments)], turns[number % len(turns)]
        left, low, right, high = LineString(placed(segment["cut_outline"], turn, 0, 0)).bounds
        if y + high - low > width - MARGIN:
            x, y, column = x + column + 0.125, MARGIN, 0.0
        at = (turn, x - left, y - low)
        middle = Polygon(placed(segment["cut_outline"], *at)).centroid
        pieces.append(
            PlacedPiece(
                number + 1,
                f"Gore {segment['position']} of 5",
                f"K3000{number:03d}X",
                placed(segment["cut_outline"], *at),
                (tuple(middle.buffer(0.75).exterior.coords)[:-1],) if holes else (),
                tuple(MarkLine(mark["name"], placed(mark["line"], *at)) for mark in segment["marks"]),
                segment["pattern"],
                ("order 1042, AHU-3",),
            )
        )
        column, y = max(column, right - left), y + high - low + 0.125
    used = x + column + MARGIN
    assert used <= length
    values = {"title": "Sheet 1 of cut plan 17", "width": width, "length": length, "margin": MARGIN}
    return SheetDrawing(**{**values, "used_length": used, "pieces": tuple(pieces), **changes})


SHEET = a_sheet()
WITH_HOLES = a_sheet(holes=True)
SMALL_PIECES = a_sheet(42, 5.0, turns=(0, 180, 90))


# -- SVG --------------------------------------------------------------------------


def points_of(data: str) -> list[list[tuple[float, float]]]:
    """The outlines of a path, each its points."""
    found = []
    for part in data.split("M")[1:]:
        numbers = [float(one) for one in re.findall(r"-?\d+\.?\d*", part)]
        found.append(list(zip(numbers[0::2], numbers[1::2], strict=True)))
    return found


def groups(root) -> dict[int, ET.Element]:
    return {int(one.get("data-feed")): one for one in root.iter(f"{NAME}g") if one.get("data-feed")}


def outline_of(group) -> Polygon:
    path = next(one for one in group.iter(f"{NAME}path") if one.get("class") in ("line joint", "hidden"))
    outline, *holes = points_of(path.get("d"))
    return Polygon(outline, holes)


def labels(root) -> dict[int, tuple[str, Polygon]]:
    """By feed number: the text of a piece, and the box that its letters take (advance of the face, ascent, descent)."""
    font, found = TTFont("B612Mono-Bold", FACE), {}
    for text in root.iter(f"{NAME}text"):
        bold = text.find(f"{NAME}tspan")
        if bold is None:
            continue
        words, size = "".join(text.itertext()), float(text.get("font-size"))
        x, base, half = float(text.get("x")), float(text.get("y")), font.stringWidth(words, size) / 2
        box = Polygon(
            [(x + u, base + v) for u, v in ((-half, 0.2 * size), (half, 0.2 * size), (half, -0.75 * size))]
            + [(x - half, base - 0.75 * size)]
        )
        turn = re.match(r"rotate\((\S+) (\S+) (\S+)\)", text.get("transform", "rotate(0 0 0)")).groups()
        angle, about_x, about_y = map(float, turn)
        found[int(bold.text)] = (words, affinity.rotate(box, angle, origin=(about_x, about_y)))
    return found


def words(root) -> list[str]:
    return ["".join(text.itertext()) for text in root.iter(f"{NAME}text")]


@pytest.mark.parametrize("sheet", [SHEET, WITH_HOLES, SMALL_PIECES, a_sheet(6, turns=(90,), width=60)])
def test_text_lies_inside_its_own_piece_and_is_never_tiny(sheet):
    root = ET.fromstring(sheet_svg(sheet))
    found = labels(root)
    assert found
    for feed, (text, box) in found.items():
        assert outline_of(groups(root)[feed]).buffer(0.2).contains(box), f"{text} of piece {feed}"
    sizes = [float(text.get("font-size")) for text in root.iter(f"{NAME}text")]
    assert min(sizes) >= 9.5


def test_large_pieces_have_number_and_label_small_ones_the_number_alone():
    assert {text for text, _ in labels(ET.fromstring(sheet_svg(SHEET))).values()} == {
        f"{piece.feed} {piece.label}" for piece in SHEET.pieces
    }
    few = labels(ET.fromstring(sheet_svg(SMALL_PIECES, width=700)))
    assert "3" in {text for text, _ in few.values()}
    assert all(text.split()[0] == str(feed) for feed, (text, _) in few.items())


def test_a_text_in_a_long_thin_piece_runs_along_it():
    root = ET.fromstring(sheet_svg(a_sheet(6, turns=(90,), width=60)))
    text, box = labels(root)[1]
    left, low, right, high = box.bounds
    assert text == "1 Gore 1 of 5" and high - low > 3 * (right - left)


def test_pieces_lie_where_they_lie_on_the_sheet_to_scale():
    root = ET.fromstring(sheet_svg(WITH_HOLES))
    edge = Polygon(points_of(next(one for one in root.iter(f"{NAME}path")).get("d"))[0])
    left, top, right, low = edge.bounds
    scale = (right - left) / 120.0
    assert (low - top) / scale == pytest.approx(60.0, abs=0.1)
    for piece in WITH_HOLES.pieces:
        drawn = affinity.scale(
            affinity.translate(outline_of(groups(root)[piece.feed]), -left, -low),
            1 / scale,
            -1 / scale,
            origin=(0, 0),
        )
        true = Polygon(piece.outline, piece.holes)
        assert drawn.symmetric_difference(true).area < 0.01 * true.area
        assert drawn.hausdorff_distance(true) < 0.06


def test_the_front_of_the_table_the_remnant_and_the_sizes_are_told():
    remnant = (SHEET.used_length, 0.0, 60.0, 120.0 - SHEET.used_length)
    kept = a_sheet(remnant=remnant, remnant_code="K3000R1X")
    told = words(ET.fromstring(sheet_svg(kept)))
    assert "Front of the table" in told and "120 in" in told and "60 in" in told
    assert any(text.startswith("Remnant K3000R1X, 60 × ") for text in told)
    assert "Front edge, 120 in along" in words(ET.fromstring(sheet_svg(a_sheet(offset=120.0))))


def test_the_remnant_is_hatched_inside_itself_and_nowhere_else():
    kept = a_sheet(remnant=(100.0, 0.0, 60.0, 20.0))
    root = ET.fromstring(sheet_svg(kept))
    box = next(one for one in root.iter(f"{NAME}path") if one.get("class") == "hidden")
    remnant = Polygon(points_of(box.get("d"))[0])
    hatch = next(one for one in root.iter(f"{NAME}path") if one.get("class") == "dim")
    slanting = [
        LineString(line)
        for line in points_of(hatch.get("d"))
        if line[0][0] != line[1][0] and line[0][1] != line[1][1]
    ]
    assert len(slanting) > 20
    assert all(remnant.buffer(0.2).contains(line) for line in slanting)


def test_a_coil_is_as_long_as_what_is_cut_off_it():
    told = words(ET.fromstring(sheet_svg(a_sheet(length=240.0, used_length=100.5, is_coil=True))))
    assert "100 1/2 in" in told and "240 in" not in told


def test_the_picture_says_what_it_shows_and_carries_no_style():
    text = sheet_svg(SHEET)
    root = ET.fromstring(text)
    assert root.get("role") == "img" and root.find(f"{NAME}title").text == SHEET.title
    assert root.find(f"{NAME}desc").text.startswith("60 × 120 in, 12 pieces")
    assert "style" not in text and "script" not in text
    first = groups(root)[1].find(f"{NAME}title").text
    assert first == "1: Gore 1 of 5, K3000000X, order 1042, AHU-3"


def test_the_piece_that_is_meant_is_filled_and_no_other():
    root = ET.fromstring(sheet_svg(SHEET, highlight="K3000004X"))
    filled = [
        feed for feed, group in groups(root).items() if group.find(f"{NAME}path").get("class") == "picked"
    ]
    assert filled == [5]


def test_pieces_that_are_cut_are_dashed_with_a_tick_and_say_so():
    done = {"K3000001X", "K3000007X"}
    root = ET.fromstring(sheet_svg(SHEET, is_done=done))
    for feed, group in groups(root).items():
        classes = [path.get("class") for path in group.iter(f"{NAME}path")]
        is_done = group.get("data-code") in done
        assert ("hidden" in classes) == is_done
        assert ("line" in classes) == is_done, "the tick"
        assert group.find(f"{NAME}title").text.endswith(", done") == is_done
        if is_done:
            tick = next(path for path in group.iter(f"{NAME}path") if path.get("class") == "line")
            line = LineString(points_of(tick.get("d"))[0])
            assert outline_of(group).contains(line)
            assert not labels(root)[feed][1].buffer(-1).intersects(line)


def test_marks_are_broken_where_a_text_stands():
    root = ET.fromstring(sheet_svg(SHEET))
    for feed, (_, box) in labels(root).items():
        for path in groups(root)[feed].iter(f"{NAME}path"):
            if path.get("class") == "mark":
                assert not any(
                    box.buffer(-0.5).intersects(LineString(line)) for line in points_of(path.get("d"))
                )


def test_the_small_picture_of_sixty_pieces_is_small_and_true_to_a_third_of_an_inch():
    sixty = a_sheet(60, 5.0)
    text = sheet_svg(sixty, small=True, highlight="K3000003X", is_done={"K3000005X"})
    assert len(text.encode()) < 25_000
    root = ET.fromstring(text)
    assert not list(root.iter(f"{NAME}text")) and 'class="mark"' not in text
    paths = {path.get("class"): points_of(path.get("d")) for path in root.iter(f"{NAME}path")}
    assert (len(paths["line joint"]), len(paths["hidden"]), len(paths["picked"])) == (59, 1, 1)
    left, _, right, low = Polygon(paths["line"][0]).bounds
    scale = (right - left) / 120.0
    drawn = [
        Polygon([((x - left) / scale, (low - y) / scale) for x, y in line]) for line in paths["line joint"]
    ]
    rest = [Polygon(piece.outline) for piece in sixty.pieces if piece.code != "K3000005X"]
    for one, true in zip(drawn, rest, strict=True):
        assert one.hausdorff_distance(true) < 0.35


# -- DXF --------------------------------------------------------------------------


def read(data: bytes):
    return ezdxf.read(io.StringIO(data.decode("utf-8")))


def entities(document) -> list[tuple[str, object]]:
    """Layer and entity in the order of the file."""
    return [(entity.dxf.layer, entity) for entity in document.modelspace()]


def polygon(entity) -> Polygon:
    return Polygon([(x, y) for x, y, *_ in entity.get_points()])


def text_box(entity) -> Polygon:
    """As wide as if each letter took the height of a capital: wider than a plotter's fonts."""
    x, y, _ = entity.dxf.insert
    wide, high = len(entity.dxf.text) * entity.dxf.height, entity.dxf.height
    box = Polygon([(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)])
    return affinity.rotate(box, entity.dxf.rotation, origin=(x, y))


@pytest.mark.parametrize(("unit", "insunits", "scale"), [("in", 1, 1.0), ("mm", 4, 25.4)])
def test_the_dxf_is_sound_closed_and_inside_the_sheet(unit, insunits, scale):
    document = read(sheet_dxf(WITH_HOLES, unit))
    audit = document.audit()
    assert not audit.errors and not audit.fixes
    assert document.header["$INSUNITS"] == insunits
    assert tuple(document.header["$LIMMAX"])[:2] == pytest.approx((120 * scale, 60 * scale))
    metal = Polygon([(0, 0), (120 * scale, 0), (120 * scale, 60 * scale), (0, 60 * scale)])
    found = entities(document)
    assert {layer for layer, _ in found} == {"CUT", "MARK", "TEXT"}
    for layer, entity in found:
        if layer == "CUT":
            assert entity.dxftype() == "LWPOLYLINE" and entity.closed and polygon(entity).is_valid
            assert metal.buffer(-MARGIN * scale + 1e-6).contains(polygon(entity))
        elif layer == "MARK":
            assert metal.contains(LineString([(x, y) for x, y, *_ in entity.get_points()]))


def test_each_piece_is_cut_once_at_full_scale_its_holes_before_its_outline_in_feed_order():
    shuffled = SheetDrawing(**{**vars(WITH_HOLES), "pieces": tuple(reversed(WITH_HOLES.pieces))})
    found = [polygon(entity) for layer, entity in entities(read(sheet_dxf(shuffled))) if layer == "CUT"]
    assert len(found) == 2 * len(WITH_HOLES.pieces)
    for piece, hole, outline in zip(WITH_HOLES.pieces, found[0::2], found[1::2], strict=True):
        assert outline.symmetric_difference(Polygon(piece.outline)).area < 1e-6
        assert hole.symmetric_difference(Polygon(piece.holes[0])).area < 1e-6


def test_what_is_marked_on_a_piece_comes_before_it_is_cut_out():
    free: list[Polygon] = []
    for layer, entity in entities(read(sheet_dxf(WITH_HOLES))):
        if layer == "CUT":
            free.append(polygon(entity))
            continue
        x, y, *_ = entity.dxf.insert if layer == "TEXT" else entity.get_points()[0]
        assert not any(one.buffer(-1e-3).contains(Point(x, y)) for one in free)


def test_the_part_mark_lies_inside_its_piece_and_outside_its_holes():
    document = read(sheet_dxf(WITH_HOLES))
    texts = [entity for layer, entity in entities(document) if layer == "TEXT"]
    assert [text.dxf.text for text in texts] == [f"{piece.feed} {piece.code}" for piece in WITH_HOLES.pieces]
    for text, piece in zip(texts, WITH_HOLES.pieces, strict=True):
        assert Polygon(piece.outline, piece.holes).contains(text_box(text))
        assert text.dxf.height > 0.15


def test_a_sheet_of_small_pieces_turned_each_way_has_each_part_mark_inside():
    texts = [entity for layer, entity in entities(read(sheet_dxf(SMALL_PIECES))) if layer == "TEXT"]
    for text, piece in zip(texts, SMALL_PIECES.pieces, strict=True):
        assert Polygon(piece.outline).contains(text_box(text)), text.dxf.text


def test_no_line_of_the_file_is_the_edge_of_the_sheet():
    for _, entity in entities(read(sheet_dxf(SHEET))):
        if entity.dxftype() == "LWPOLYLINE":
            xs = [x for x, *_ in entity.get_points()]
            assert max(xs) < 120.0 - 1e-6 and max(xs) - min(xs) < 119.0


def test_equal_sheets_give_equal_files():
    assert sheet_dxf(a_sheet()) == sheet_dxf(a_sheet())


def test_what_was_taken_off_is_crossed_out_and_not_cut():
    pieces = list(SHEET.pieces)
    pieces[3] = PlacedPiece(**{**vars(pieces[3]), "is_off": True})
    without = SheetDrawing(**{**vars(SHEET), "pieces": tuple(pieces)})
    document = read(sheet_dxf(without))
    texts = [entity.dxf.text for layer, entity in entities(document) if layer == "TEXT"]
    assert len(texts) == 11 and not any(pieces[3].code in text for text in texts)
    group = groups(ET.fromstring(sheet_svg(without)))[4]
    assert "is-off" in group.get("class") and group.find(f"{NAME}title").text.endswith(", taken off")
    cross = next(path for path in group.iter(f"{NAME}path") if path.get("class") == "line")
    first, second = (LineString(line) for line in points_of(cross.get("d")))
    assert first.crosses(second)


def test_another_unit_is_refused():
    with pytest.raises(ValueError, match="neither in nor mm"):
        sheet_dxf(SHEET, "cm")
