"""Rows of a plan as drawings: each piece where its row says, by shapely's own turning and moving."""

from collections.abc import Iterable

import pytest
from shapely import affinity
from shapely.geometry import LineString, Polygon

from fittings.cut_sheets import sheet_contents
from fittings.drawing.cut_sheet import SheetDrawing
from fittings.models import CutPiece, CutSheet
from tests import factories_cutting as cutting
from tests.factories import NOW, elbow_params, line

TEE = {"diameter": 12, "branch_diameter": 8, "angle": 90, "length": 24, "branch_length": 14}


def by_hand(piece: CutPiece, points) -> LineString:
    """The points as the row places them."""
    turned = affinity.rotate(LineString(points), piece.rotation, origin=(0, 0))
    return affinity.translate(turned, piece.x, piece.y)


def flat_of(piece: CutPiece) -> dict:
    segment = piece.segment.fitting.line.development["segments"][piece.segment.position - 1]
    return segment["plates"][piece.plate - 1] if piece.plate else segment


def sheet_drawings(sheets: Iterable[CutSheet]) -> list[SheetDrawing]:
    return [content.drawing for content in sheet_contents(sheets)]


def sheet_drawing(sheet: CutSheet) -> SheetDrawing:
    return sheet_drawings([sheet])[0]


def rows_of(sheet: CutSheet) -> list[CutPiece]:
    return list(sheet.pieces.select_related("segment__fitting__line").order_by("feed"))


def test_each_piece_lies_where_its_row_says_with_its_holes_and_marks(shop):
    plan = cutting.made_plan(cutting.released(line(kind="tee", params=TEE)), turns=(0, 180, 90))
    for sheet, drawing in zip(
        plan.sheets.order_by("position"), sheet_drawings(plan.sheets.order_by("position")), strict=True
    ):
        rows = rows_of(sheet)
        assert [piece.feed for piece in drawing.pieces] == [row.feed for row in rows]
        for piece, row in zip(drawing.pieces, rows, strict=True):
            flat = flat_of(row)
            want = Polygon(by_hand(row, flat["cut_outline"]).coords)
            assert Polygon(piece.outline).symmetric_difference(want).area < 1e-6
            assert len(piece.holes) == len(flat["holes"])
            for hole, points in zip(piece.holes, flat["holes"], strict=True):
                assert Polygon(hole).symmetric_difference(Polygon(by_hand(row, points).coords)).area < 1e-6
            for mark, told in zip(piece.marks, flat["marks"], strict=True):
                assert mark.name == told["name"]
                assert LineString(mark.line).hausdorff_distance(by_hand(row, told["line"])) < 1e-6
    assert any(piece.holes for drawing in sheet_drawings(plan.sheets.all()) for piece in drawing.pieces)


def test_every_piece_of_the_order_is_drawn_once(shop):
    order = cutting.released()
    plan = cutting.made_plan(order)
    drawn = [piece.code for drawing in sheet_drawings(plan.sheets.all()) for piece in drawing.pieces]
    assert len(drawn) == 20 and len(set(drawn)) == 20
    labels = {piece.label for piece in sheet_drawings(plan.sheets.all())[0].pieces}
    assert labels == {f"Gore {number} of 5" for number in range(1, 6)}


def test_a_sheet_tells_its_size_its_place_and_the_remnant_behind_its_pieces(shop):
    plan = cutting.made_plan(cutting.released(), sent=True)
    first, second = plan.sheets.order_by("position")
    drawing = sheet_drawing(second)
    assert (drawing.width, drawing.length, drawing.offset, drawing.code) == (60, 120, 120, second.code)
    assert sheet_drawing(first).offset == 0
    x, y, wide, long = drawing.remnant
    assert (y, wide) == (0, 60) and x + long == pytest.approx(120)
    last = max(Polygon(piece.outline).bounds[2] for piece in drawing.pieces)
    assert last < x < last + 1
    assert drawing.remnant_code == second.remnants.get().code
    assert f"cut plan {plan.number}" in drawing.title


def test_before_a_plan_is_sent_its_sheets_and_remnants_have_no_code(shop):
    drawing = sheet_drawing(cutting.made_plan(cutting.released()).sheets.first())
    assert (drawing.code, drawing.remnant_code) == ("", "") and drawing.remnant


def test_plates_of_a_segment_are_pieces_of_their_own_and_say_which(shop):
    order = cutting.released(line(quantity=1, params=elbow_params(diameter=48, radius_ratio=1)))
    plan = cutting.made_plan(order)
    found = [piece for content in sheet_contents(plan.sheets.all()) for piece in content.pieces]
    assert sorted((piece.label, piece.notes[0]) for piece in found) == sorted(
        (f"Gore {number} of 5", f"plate {plate} of 2") for number in range(1, 6) for plate in (1, 2)
    )
    for sheet, drawing in zip(plan.sheets.all(), sheet_drawings(plan.sheets.all()), strict=True):
        for piece, row in zip(drawing.pieces, rows_of(sheet), strict=True):
            assert Polygon(piece.outline).area == pytest.approx(flat_of(row)["cut_area"], rel=1e-3)


def height_at(outline, share: float) -> float:
    """How high a pattern is at a share of its length."""
    piece = Polygon(outline)
    left, low, right, high = piece.bounds
    x = left + share * (right - left)
    return piece.intersection(LineString([(x, low - 1), (x, high + 1)])).length


def test_a_piece_whose_seam_the_plan_moved_to_the_throat_is_highest_in_its_middle(shop):
    """A gore is cut open at its seam: the heel, its longest element, is then opposite the throat's seam."""
    sheet = cutting.made_plan(cutting.released(), turns=(0,)).sheets.first()
    before = {piece.code: piece.outline for piece in sheet_drawing(sheet).pieces}
    moved = sheet.pieces.get(feed=2)
    sheet.pieces.filter(pk=moved.pk).update(seam_at="throat")
    content = sheet_contents([sheet])[0]
    piece = content.drawing.pieces[1]
    assert height_at(before[piece.code], 0.5) < height_at(before[piece.code], 0.1)
    assert height_at(piece.outline, 0.5) > height_at(piece.outline, 0.1)
    assert Polygon(piece.outline).area == pytest.approx(Polygon(before[piece.code]).area, rel=0.01)
    assert "seam at throat" in content.pieces[1].notes and "seam at throat" in piece.lines
    assert content.drawing.pieces[2].outline == before[content.drawing.pieces[2].code]


def test_a_piece_that_was_taken_off_is_told_with_the_reason(shop):
    sheet = cutting.made_plan(cutting.released(), sent=True).sheets.first()
    sheet.pieces.filter(feed=3).update(is_live=False, off_at=NOW, off_reason="scratched", off_by="office")
    content = sheet_contents([sheet])[0]
    assert [piece.feed for piece in content.drawing.pieces if piece.is_off] == [3]
    assert content.pieces[2].is_off and content.pieces[2].off_reason == "scratched"


def test_lists_name_order_tag_line_and_size(shop):
    order = cutting.released(line(quantity=1, tag="EF-9"), number="7741")
    piece = sheet_contents(cutting.made_plan(order, turns=(90,)).sheets.all())[0].pieces[0]
    assert (piece.order_number, piece.line, piece.fitting_number, piece.tag) == ("7741", 1, 1, "EF-9")
    assert piece.long > 44 > piece.wide, "the box as developed, not as it lies"


@pytest.mark.parametrize("quantity", [2, 12])
def test_a_plan_of_any_size_is_read_with_three_queries(shop, django_assert_num_queries, quantity):
    plan = cutting.made_plan(cutting.released(line(quantity=quantity)), sent=True)
    sheets = list(plan.sheets.select_related("plan"))
    with django_assert_num_queries(3):
        sheet_drawings(sheets)


def test_no_sheets_are_no_drawings(db, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert sheet_drawings([]) == []
