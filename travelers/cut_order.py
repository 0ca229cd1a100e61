"""Which sheet is cut first and which piece goes to which place, so that late work leaves the table first."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fittings.cutting import Layout, PlacedSheet, Unplaced, placed_outline
from fittings.cutting.feed import feed_numbers
from fittings.cutting.work import area_of
from travelers.cut_parts import Parts, PlanPiece


@dataclass(frozen=True, eq=False)
class PlacedPiece:
    """A piece in its place: turned counter-clockwise by `rotation` [deg] about its outline's own origin, then moved."""

    piece: PlanPiece
    x: float
    y: float
    rotation: float
    seam_at: str
    area: float
    feed: int
    outline: np.ndarray


@dataclass(frozen=True, eq=False)
class OrderedSheet:
    """A sheet with its pieces by feed number."""

    sheet: PlacedSheet
    pieces: tuple[PlacedPiece, ...]

    @property
    def area(self) -> float:
        """Of its pieces as they are cut: with the seam at the throat the lap is shorter than at the heel."""
        return sum(piece.area for piece in self.pieces)


def in_order(layout: Layout, parts: Parts) -> tuple[list[OrderedSheet], list[tuple[PlanPiece, str]]]:
    """The sheets in the order of cutting, each with its pieces by feed number; and what did not go on, with why.

    The next sheet is always one that has a place for the most urgent piece that is left, and among those the one that
    takes the most urgent pieces. Equal pieces go to their places in the order of urgency.
    """
    waiting = {key: deque(shape.pieces) for key, shape in parts.shapes.items()}
    wants = [Counter(parts.shape_of[one.part] for one in sheet.placements) for sheet in layout.sheets]
    left = dict.fromkeys(range(len(layout.sheets)))
    ordered = []
    while left:
        at = _next(left, wants, waiting)
        del left[at]
        ordered.append(_filled(layout.sheets[at], parts, waiting))
    why = {parts.shape_of[one.part]: why_said(one) for one in layout.unplaced}
    unplaced = [(piece, why.get(key, "")) for key, pieces in waiting.items() for piece in pieces]
    if len(unplaced) != sum(one.count for one in layout.unplaced):
        raise ValueError(f"{len(unplaced)} pieces have no place, the layout leaves another number out")
    return ordered, sorted(unplaced, key=lambda pair: (pair[0].rank, pair[0].pk))


def why_said(left_out: Unplaced, name: str = "The piece") -> str:
    """Why parts were left out, with a name for people in place of the part's id."""
    why = left_out.why
    return name + why.removeprefix(left_out.part) if why.startswith(f"{left_out.part} ") else why


def _next(left: Mapping[int, None], wants: Sequence[Counter], waiting: Mapping[str, deque[PlanPiece]]) -> int:
    """The sheet to be cut next."""
    open_ = {key for at in left for key in wants[at]}
    urgent = min(waiting[key][0].rank for key in open_)
    first = {key for key in open_ if waiting[key][0].rank == urgent}
    candidates = [at for at in left if not first.isdisjoint(wants[at])]
    return min(candidates, key=lambda at: (_takes(wants[at], waiting), at))


def _takes(wanted: Counter, waiting: Mapping[str, deque[PlanPiece]]) -> list[tuple[int, int]]:
    """How urgent the pieces are that a sheet would take: ranks from the most urgent, each with minus its number."""
    ranks: Counter = Counter()
    for key, count in wanted.items():
        queue = waiting[key]
        ranks.update(queue[at].rank for at in range(count))
    return [(rank, -ranks[rank]) for rank in sorted(ranks)]


def _filled(sheet: PlacedSheet, parts: Parts, waiting: Mapping[str, deque[PlanPiece]]) -> OrderedSheet:
    shapes = [parts.shapes[parts.shape_of[one.part]] for one in sheet.placements]
    outlines = [
        placed_outline(shape.outlines[one.alternative], one)
        for shape, one in zip(shapes, sheet.placements, strict=True)
    ]
    numbered = sorted(
        zip(feed_numbers(outlines), sheet.placements, shapes, outlines, strict=True), key=lambda row: row[0]
    )
    return OrderedSheet(
        sheet,
        tuple(
            PlacedPiece(
                waiting[shape.key].popleft(),
                one.x,
                one.y,
                one.rotation,
                shape.seams[one.alternative],
                abs(area_of(outline)),
                feed,
                outline,
            )
            for feed, one, shape, outline in numbered
        ),
    )
