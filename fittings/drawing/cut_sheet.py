"""A sheet to cut: what lies where on it, as SVG for screens and as DXF for the cutting table. Pure, lengths [in].

x runs along the sheet's length from the front of the table, y across its width, the origin is the sheet's corner.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from functools import lru_cache
from io import StringIO

import numpy as np

from fittings.drawing.cut_sheet_picture import sheet_picture, small_picture
from fittings.drawing.cut_sheet_svg import picture_svg
from fittings.drawing.dxf import INSUNITS, LAYERS, factor_of
from fittings.drawing.inside import TextPlace, text_place
from fittings.drawing.placed_sheet import Line, MarkLine, PlacedPiece, SheetDrawing

PART_MARK_IN = 0.5  # height of a part mark's capitals where the piece has room for it


def sheet_svg(
    drawing: SheetDrawing,
    *,
    highlight: str | None = None,
    is_done: Collection[str] = (),
    small: bool = False,
    width: float | None = None,
) -> str:
    """SVG of a sheet with its pieces, the front of the table at the left.

    highlight  code of the piece that is meant
    is_done    codes of the pieces that are cut: dashed, with a tick
    small      for lists: outlines only
    width      of the drawing in user units; left out, as wide as it is usually shown
    """
    make, usual = (small_picture, 320.0) if small else (sheet_picture, 1120.0)
    picture = make(drawing, width=width or usual, is_done=frozenset(is_done), highlight=highlight)
    return picture_svg(picture)


def sheet_dxf(drawing: SheetDrawing, unit: str = "in") -> bytes:
    """DXF (R2010) of one sheet at full scale, in feed order; what is cut of a piece follows what is marked on it.

    unit     "in" or "mm": of the file, said in $INSUNITS
    layers   MARK: lines to mark and bend lines; TEXT: the part mark, inside the piece; CUT: closed LWPOLYLINEs, the
             holes of a piece before its outline, which lets go of it
    raises   ValueError for another unit

    The sheet's edge is no entity: all three layers are worked on by the torch or the scriber, and neither has business
    there. The drawing's limits ($LIMMIN, $LIMMAX) are the sheet, its corner the origin.
    """
    import ezdxf  # half a second, and only the processes that write DXF pay it

    factor = factor_of(unit)
    ezdxf.options.write_fixed_meta_data_for_testing = True  # no time stamps: equal sheets give equal files
    document = ezdxf.new("R2010", units=INSUNITS[unit])
    document.header["$MEASUREMENT"] = 1 if unit == "mm" else 0
    for name, color in LAYERS:
        document.layers.add(name, color=color)
    space = document.modelspace()
    space.reset_limits((0.0, 0.0), (drawing.shown_length * factor, drawing.width * factor))
    for piece in sorted(drawing.pieces, key=lambda piece: piece.feed):
        if not piece.is_off:
            _add_piece(space, piece, factor)
    stream = StringIO()
    document.write(stream)
    return document.encode(stream.getvalue())


def _add_piece(space, piece: PlacedPiece, factor: float) -> None:
    def scaled(points: Line) -> list[tuple[float, float]]:
        return [(x * factor, y * factor) for x, y in points]

    for mark in piece.marks:
        space.add_lwpolyline(scaled(mark.line), dxfattribs={"layer": "MARK"})
    place = _mark_place(piece)
    text = space.add_text(
        piece.part_mark,
        height=place.height * factor,
        rotation=math.degrees(place.angle),
        dxfattribs={"layer": "TEXT"},
    )
    text.set_placement((place.x * factor, place.y * factor))
    for outline in (*piece.holes, piece.outline):
        space.add_lwpolyline(scaled(outline), close=True, dxfattribs={"layer": "CUT"})


def _mark_place(piece: PlacedPiece) -> TextPlace:
    """Where the part mark stands, worked out once for equal pieces that lie equally turned."""
    x, y = piece.outline[0]

    def own(lines) -> tuple[bytes, ...]:
        return tuple(np.round(np.asarray(line, dtype=float) - (x, y), 3).tobytes() for line in lines)

    lines = own(mark.line for mark in piece.marks)
    place = _own_place(own([piece.outline])[0], own(piece.holes), lines, len(piece.part_mark))
    return TextPlace(place.x + x, place.y + y, place.height, place.angle)


@lru_cache(maxsize=1024)
def _own_place(outline: bytes, holes: tuple[bytes, ...], marks: tuple[bytes, ...], letters: int) -> TextPlace:
    """The same from the outline's first point; a thousandth of an inch is far less than the room round the text."""

    def points(data: bytes) -> np.ndarray:
        return np.frombuffer(data).reshape(-1, 2)

    return text_place(
        points(outline),
        [points(hole) for hole in holes],
        letters,
        PART_MARK_IN,
        [points(mark) for mark in marks],
    )


__all__ = ["MarkLine", "PlacedPiece", "SheetDrawing", "sheet_dxf", "sheet_svg"]
