"""The picture of a sheet drawn on a reportlab canvas, for black and white. Lengths in pt."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from fittings.drawing.cut_sheet_picture import SheetPicture, TurnedText
from fittings.drawing.pdf import FILL_GREY, LINES
from fittings.drawing.scene import ASCENT, FILLED, Path, Point, Text

PIECE, DASHED, THICK = "joint", "hidden", "outline"
Lines = Iterable[tuple[Iterable[Point], bool]]


def draw_picture(
    canvas: Any, picture: SheetPicture, x: float, y: float, *, font: str, strong: str, weight: float = 1.0
) -> None:
    """Draws the picture one to one, its lower left corner at (x, y).

    font, strong  names of registered fonts for texts, and for the numbers of pieces
    weight        factor of all line widths
    """
    canvas.saveState()
    canvas.translate(x, y)
    canvas.setLineJoin(1)
    canvas.setLineCap(1)
    looks: dict[str, list[tuple[Iterable[Point], bool]]] = {}
    for piece in picture.pieces:
        if piece.is_meant:
            looks.setdefault("picked", []).append((piece.outline, True))
    for item in picture.items:
        if isinstance(item, Path):
            looks.setdefault(item.role, []).append((item.points, item.closed))
    for piece in picture.pieces:
        role = DASHED if piece.is_done or piece.is_off else PIECE
        looks.setdefault(role, []).extend((line, True) for line in (piece.outline, *piece.holes))
        for mark in piece.marks:
            looks.setdefault(mark.role, []).append((mark.points, False))
        looks.setdefault(THICK, []).extend((line, False) for line in piece.sign)
    for role, lines in looks.items():
        _lines(canvas, role, lines, weight)
    canvas.setDash()
    canvas.setFillGray(0)
    for item in [*picture.items, *(piece.text for piece in picture.pieces if piece.text)]:
        if isinstance(item, TurnedText):
            _turned(canvas, item, font, strong)
        elif isinstance(item, Text):
            _level(canvas, item, font)
    canvas.restoreState()


def _lines(canvas: Any, role: str, lines: Lines, weight: float) -> None:
    drawn = canvas.beginPath()
    for points, is_closed in lines:
        for number, (px, py) in enumerate(points):
            (drawn.lineTo if number else drawn.moveTo)(px, py)
        if is_closed:
            drawn.close()
    if role in FILLED:
        canvas.setFillGray(FILL_GREY[role])
        canvas.drawPath(drawn, stroke=0, fill=1)
        return
    line, dashes = LINES[role]
    canvas.setLineWidth(line * weight)
    canvas.setDash([part * weight for part in dashes] or ())
    canvas.drawPath(drawn, stroke=1, fill=0)


def _level(canvas: Any, item: Text, font: str) -> None:
    canvas.setFont(font, item.size)
    draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
    draw[item.anchor](item.x, item.y, item.text)


def _turned(canvas: Any, item: TurnedText, font: str, strong: str) -> None:
    """Its bold beginning and the rest, centred together on the line's middle."""
    first = item.strong if item.strong and item.text.startswith(item.strong) else ""
    rest = item.text[len(first) :]
    parts = [(part, face) for part, face in ((first, strong), (rest, font)) if part]
    wide = sum(canvas.stringWidth(part, face, item.size) for part, face in parts)
    canvas.saveState()
    canvas.translate(item.x, item.y)
    canvas.rotate(item.angle)
    at = -wide / 2
    for part, face in parts:
        canvas.setFont(face, item.size)
        canvas.drawString(at, -ASCENT * item.size / 2, part)
        at += canvas.stringWidth(part, face, item.size)
    canvas.restoreState()


__all__ = ["draw_picture"]
