"""The pieces of a plan as parts to nest: equal outlines together, other seam places as alternatives, by urgency."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import groupby
from typing import Any

import numpy as np

from fittings.cut_outlines import OPPOSITE, piece_pattern, seam_choices, seam_ordered, seam_places
from fittings.cut_settings import FREE, ORDERED
from fittings.cutting import Part, Rules, Stock, Work
from fittings.cutting.work import area_of
from fittings.models import CutPlan, OrderLine, StockItem
from travelers.cut_work import CUT, NO_DATE
from travelers.models import OPEN_STATES, TaskState

ALTERNATING = "alternating"
"""Seams as `stagger_seams` would have them: what a plan compares itself with, never what it does by itself."""
SCARCE = 0.55
"""Beyond this share of all stock on hand the stock may not do for all, and parts are told apart by urgency."""


@dataclass(frozen=True, eq=False)
class PlanPiece:
    """A piece of a plan. `rank` counts from 0 by date and priority; equal ranks are equally urgent."""

    pk: int
    code: str
    pattern: str
    plate: int
    position: int
    line: OrderLine
    rank: int
    ended: str = ""  # why it need not be cut any more


@dataclass(frozen=True, eq=False)
class Shape:
    """One outline that pieces share, and the alternatives that do as well; `seams` says each one's seam place."""

    key: str
    outlines: tuple[np.ndarray, ...]
    seams: tuple[str, ...]
    pieces: list[PlanPiece] = field(default_factory=list)

    @cached_property
    def area(self) -> float:
        return abs(area_of(self.outlines[0]))


@dataclass(frozen=True)
class Parts:
    """Shapes by key, and the parts made of them: `shape_of` names each part's shape."""

    shapes: Mapping[str, Shape]
    parts: tuple[Part, ...]
    shape_of: Mapping[str, str]


def plan_pieces(plan: CutPlan) -> list[PlanPiece]:
    """The pieces that a plan holds, the most urgent first. Two queries."""
    found = plan.pieces.filter(is_live=True, segment__tasks__operation=CUT).values(
        "pk",
        "plate",
        "pattern",
        "segment__code",
        "segment__position",
        "segment__state",
        "segment__fitting__line_id",
        "segment__fitting__number",
        "segment__fitting__order_id",
        "segment__fitting__line__position",
        "segment__fitting__order__due_on",
        "segment__fitting__order__priority",
        "segment__tasks__state",
    )
    rows = sorted(found, key=lambda row: (*_urgency(row), *_place(row)))
    lines = OrderLine.objects.select_related("order").in_bulk(
        {row["segment__fitting__line_id"] for row in rows}
    )
    pieces = []
    for rank, (_, equal) in enumerate(groupby(rows, _urgency)):
        pieces += [
            PlanPiece(
                row["pk"],
                row["segment__code"],
                row["pattern"],
                row["plate"],
                row["segment__position"],
                lines[row["segment__fitting__line_id"]],
                rank,
                "" if row["segment__tasks__state"] in OPEN_STATES else _ended(row),
            )
            for row in equal
        ]
    return pieces


def _urgency(row: Mapping[str, Any]) -> tuple:
    return row["segment__fitting__order__due_on"] or NO_DATE, row["segment__fitting__order__priority"]


def _place(row: Mapping[str, Any]) -> tuple:
    return (
        row["segment__fitting__order_id"],
        row["segment__fitting__line__position"],
        row["segment__fitting__number"],
        row["segment__position"],
        row["plate"],
        row["pk"],
    )


def _ended(row: Mapping[str, Any]) -> str:
    if row["segment__tasks__state"] == TaskState.DONE:
        return "It was cut while the plan was made."
    return "It was cancelled or scrapped while the plan was made."


def parts_of(pieces: Iterable[PlanPiece], *, seams: str = ORDERED, by_rank: bool = False) -> Parts:
    """Equal outlines as one part each, with a stable id; the same pieces give the same parts.

    pieces   the most urgent first
    seams    ordered; free: throat and heel as alternatives where the order leaves it open; alternating
    by_rank  a part for each rank, so that the less urgent of equal pieces stay out where the stock is short; else a
             part is as urgent as its most urgent piece
    """
    shapes: dict[str, Shape] = {}
    known: dict[tuple, Shape] = {}
    by_outlines: dict[tuple, Shape] = {}
    for piece in pieces:
        where = (piece.line.pk, piece.position, piece.plate)
        if where not in known:
            outlines, places = _outlines(piece, seams)
            same = (piece.pattern, piece.plate, *(outline.tobytes() for outline in outlines))
            if same not in by_outlines:
                by_outlines[same] = Shape(_key(piece, shapes), outlines, places)
                shapes[by_outlines[same].key] = by_outlines[same]
            known[where] = by_outlines[same]
        known[where].pieces.append(piece)
    parts, shape_of = [], {}
    for key in sorted(shapes):
        shape = shapes[key]
        ranks = (
            groupby(shape.pieces, lambda piece: piece.rank)
            if by_rank
            else [(shape.pieces[0].rank, shape.pieces)]
        )
        for rank, equal in ranks:
            id_ = f"{key}@{rank}" if by_rank else key
            parts.append(Part(id_, len(list(equal)), shape.outlines[0], shape.outlines[1:], rank))
            shape_of[id_] = key
    return Parts(shapes, tuple(parts), shape_of)


def _key(piece: PlanPiece, taken: Mapping[str, Any]) -> str:
    """The pattern, its plate, and a number where outlines differ that have the same pattern."""
    key = f"{piece.pattern}/{piece.plate}" if piece.plate else piece.pattern
    number, found = 1, key
    while found in taken:
        number += 1
        found = f"{key}#{number}"
    return found


def _outlines(piece: PlanPiece, seams: str) -> tuple[tuple[np.ndarray, ...], tuple[str, ...]]:
    """The outlines that do for a piece, and the seam place of each, blank for as ordered."""
    line, position, plate = piece.line, piece.position, piece.plate
    patterns = {"": piece_pattern(line, position, plate, "")}
    if seams == FREE:
        patterns |= seam_choices(line, position, plate)
    elif seams == ALTERNATING and position % 2 == 0 and may_alternate(piece):
        place = OPPOSITE[seam_ordered(line)]
        patterns = {place: piece_pattern(line, position, plate, place)}
    outlines = tuple(np.asarray(pattern["cut_outline"], float) for pattern in patterns.values())
    return outlines, tuple(patterns)


def may_alternate(piece: PlanPiece) -> bool:
    """Whether its seam could be turned by 180° as staggered seams are: at throat or heel, and the order leaves it."""
    places = seam_places(piece.line, piece.position, piece.plate)
    return bool(places) and seam_ordered(piece.line) in OPPOSITE


def stock_of(items: Sequence[StockItem], table_length: float) -> dict[str, tuple[Stock, StockItem]]:
    """Stock items as the nesting core takes them, by name. A coil's length is what the table takes."""
    found: dict[str, tuple[Stock, StockItem]] = {}
    for item in items:
        is_coil = item.form == StockItem.Form.COIL
        name = item.name if item.name not in found else f"{item.name} ({item.pk})"
        length = min(item.length_in, table_length) if is_coil else item.length_in
        stock = Stock(name, item.width_in, length, None if is_coil else item.count, is_coil)
        found[name] = (stock, item)
    return found


def is_scarce(pieces: Parts, stock: Iterable[Stock]) -> bool:
    """Whether the stock on hand may not do for all."""
    stock = list(stock)
    if any(one.count is None for one in stock):
        return False
    there = sum(one.count * one.width * one.length for one in stock)
    return sum(shape.area * len(shape.pieces) for shape in pieces.shapes.values()) > SCARCE * there


def work_of(parts: Parts, stock: Iterable[Stock], plan: CutPlan, **rules: Any) -> Work:
    """The work of a plan. raises WorkError"""
    chosen = {"gap": plan.gap_in, "margin": plan.margin_in, "turns": plan.turns} | rules
    return Work(parts.parts, tuple(stock), Rules(**chosen))
