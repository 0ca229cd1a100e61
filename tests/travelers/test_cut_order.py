"""Sheets in the order of cutting and pieces in their places, on layouts that are written by hand."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from fittings.cutting import Layout, Part, Placement, Stock, Unplaced, Work
from fittings.cutting.layout import sheet_of
from tests.travelers.cut_floor import NOW, released, requested, stock
from travelers.cut_order import in_order
from travelers.cut_parts import Parts, PlanPiece, Shape, parts_of, plan_pieces, work_of

SQUARE = np.array([[0, 0], [4, 0], [4, 4], [0, 4]], float)
SHEET = Stock("sheet", 48, 120)


def pieces(**ranks: list[int]) -> Parts:
    """Shapes by name, each with pieces of the ranks given."""
    shapes, parts, number = {}, [], 0
    for key, own in ranks.items():
        shapes[key] = Shape(key, (SQUARE,), ("",))
        for rank in own:
            number += 1
            shapes[key].pieces.append(PlanPiece(number, f"{key}{rank}", key, 0, 1, None, rank))
        parts.append(Part(key, len(own), SQUARE))
    return Parts(shapes, tuple(parts), {key: key for key in shapes})


def layout(parts: Parts, *sheets: str, out: str = "") -> Layout:
    """Each sheet is told by the names of what lies on it, one behind the other; `out` by what has no place."""
    work = Work(parts.parts, (SHEET,))
    placed = [
        sheet_of(work, SHEET, [Placement(key, 1 + 5 * at, 1) for at, key in enumerate(keys)])
        for keys in sheets
    ]
    left = tuple(Unplaced(key, out.count(key), f"No room for {key}.") for key in sorted(set(out)))
    return Layout(tuple(placed), left)


def codes(parts: Parts, *sheets: str, out: str = "") -> list[list[str]]:
    return [
        [one.piece.code for one in sheet.pieces]
        for sheet in in_order(layout(parts, *sheets, out=out), parts)[0]
    ]


def test_the_sheet_with_the_most_urgent_piece_is_cut_first():
    assert codes(pieces(a=[3, 3, 3], b=[0]), "aa", "ab") == [["a3", "b0"], ["a3", "a3"]]


def test_of_sheets_that_can_take_the_most_urgent_piece_the_one_that_takes_more_of_them_is_first():
    assert codes(pieces(a=[0, 0, 0, 5], b=[5]), "ab", "aaa") == [["a0", "a0", "a0"], ["a5", "b5"]]


def test_equal_pieces_go_to_their_places_in_the_order_of_urgency():
    assert codes(pieces(a=[0, 1, 2, 3]), "aa", "aa") == [["a0", "a1"], ["a2", "a3"]]


def test_what_has_no_place_is_the_least_urgent_with_its_reason():
    parts = pieces(a=[0, 1, 2], b=[0])
    _, out = in_order(layout(parts, "ab", out="aa"), parts)
    assert [(piece.code, why) for piece, why in out] == [("a1", "No room for a."), ("a2", "No room for a.")]


def test_a_layout_that_loses_a_piece_is_not_taken():
    parts = pieces(a=[0, 1, 2])
    with pytest.raises(ValueError, match="1 pieces have no place"):
        in_order(layout(parts, "aa"), parts)


def test_the_seam_that_the_layout_chose_is_the_pieces():
    place = [Placement("a", 1, 1), Placement("a", 19, 9, 180.0, alternative=1)]
    long = SQUARE * [2, 1]
    shape = Shape("a", (SQUARE, long), ("", "throat"))
    shape.pieces.extend([PlanPiece(at, f"a{at}", "a", 0, 1, None, at) for at in range(2)])
    parts = Parts({"a": shape}, (Part("a", 2, SQUARE, (long,)),), {"a": "a"})
    sheets, _ = in_order(Layout((sheet_of(Work(parts.parts, (SHEET,)), SHEET, place),)), parts)
    assert [(one.seam_at, one.area, one.rotation) for one in sheets[0].pieces] == [
        ("", 16, 0),
        ("throat", 32, 180),
    ]


# -- parts from the database -------------------------------------------------


@pytest.mark.usefixtures("shop")
def test_equal_outlines_of_several_orders_are_one_part_as_urgent_as_the_first():
    released("2026-03-20", quantity=2, pieces=5)
    released("2026-03-05", quantity=1, pieces=5)
    stock()
    plan = requested()
    parts = parts_of(plan_pieces(plan))
    assert sorted(part.count for part in parts.parts) == [3, 3, 9]
    assert {part.urgency for part in parts.parts} == {0}
    by_rank = parts_of(plan_pieces(plan), by_rank=True)
    assert sorted((part.urgency, part.count) for part in by_rank.parts) == [
        (0, 1),
        (0, 1),
        (0, 3),
        (1, 2),
        (1, 2),
        (1, 6),
    ]


@pytest.mark.usefixtures("shop")
def test_parts_have_the_same_ids_each_time():
    for pieces_ in (3, 5):
        released(quantity=2, pieces=pieces_)
    released(quantity=1, kind="pipe", params={"diameter": 60, "length": 40})
    stock()
    plan = requested()
    first, second = (parts_of(plan_pieces(plan), seams="free") for _ in range(2))
    assert [part.id for part in first.parts] == [part.id for part in second.parts]
    assert len({part.id for part in first.parts}) == len(first.parts)
    assert sum(part.count for part in first.parts) == plan.pieces.count()
    assert work_of(first, [SHEET], plan).rules.gap == plan.gap_in


@pytest.mark.usefixtures("shop")
def test_free_seams_are_alternatives_of_the_gores_alone():
    released(quantity=1, pieces=5)
    released(quantity=1, kind="pipe", params={"diameter": 8, "length": 20})
    stock()
    shapes = parts_of(plan_pieces(requested()), seams="free").shapes
    assert sorted(shape.seams for shape in shapes.values()) == [
        ("",),
        ("", "throat"),
        ("", "throat"),
        ("", "throat"),
    ]


@pytest.mark.usefixtures("shop")
def test_alternating_seams_are_turned_at_every_second_gore():
    released(quantity=1, pieces=5)
    stock()
    shapes = parts_of(plan_pieces(requested()), seams="alternating").shapes
    turned = {
        piece.position for shape in shapes.values() if shape.seams == ("throat",) for piece in shape.pieces
    }
    assert turned == {2, 4}


@pytest.mark.usefixtures("shop")
def test_ranks_follow_the_dates():
    for days in (9, 3, 9):
        released((NOW + timedelta(days=days)).date().isoformat(), quantity=1, pieces=2)
    released(None, quantity=1, pieces=2)
    stock()
    assert [piece.rank for piece in plan_pieces(requested())] == [0, 0, 1, 1, 1, 1, 2, 2]
