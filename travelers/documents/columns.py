"""The columns of the table of segments: those that its rows have something in, and how each cell is written."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from fittings.drawing import positions_text
from shared.units import decimal_text, fraction_text
from travelers.documents.data import SegmentRow
from travelers.documents.page import BODY, INNER, SMALL, Paper
from travelers.documents.text import BOLD, MONO_BOLD, PLAIN
from travelers.forms import SAME_IN, counted

LENGTH_SIZE = 12.5
NOTHING = "–"
GAP = 6.0


@dataclass(frozen=True)
class Cell:
    """What stands in a cell: a text, and a smaller one under it."""

    text: str
    under: str = ""


@dataclass(frozen=True)
class Column:
    title: str
    width: float
    cell: Callable[[SegmentRow], Cell]
    font: str = PLAIN
    size: float = BODY


def table_columns(rows: Sequence[SegmentRow]) -> tuple[Column, ...]:
    """Only columns that say something of these rows, together as wide as the page."""
    found = [Column("Segment", 84, _segment, BOLD, 14)]
    if len({row.sizes for row in rows}) > 1 or any(len(row.sizes) > 1 for row in rows):
        found.append(Column("Inside", 50, _sizes, MONO_BOLD, LENGTH_SIZE))
    if any(row.stretch_out is not None for row in rows):
        found.append(_length_column("Stretch-out", 80, lambda row: row.stretch_out))
    found += _element_columns(rows)
    if any(row.lap for row in rows):
        found.append(_length_column("Lap", 40, lambda row: row.lap or None))
    found.append(_length_column("Blank long", 80, lambda row: row.blank_width))
    found.append(_length_column("Blank wide", 70, lambda row: row.blank_height))
    found += _last_column(rows)
    scale = INNER / sum(column.width for column in found)
    return tuple(replace(column, width=column.width * scale) for column in found)


def _element_columns(rows: Sequence[SegmentRow]) -> list[Column]:
    """Throat and heel, and the side where it stands apart; one length where all are equal."""
    known = [row for row in rows if row.throat is not None and row.heel is not None]
    if not known:
        return []
    if not any(row.sides or abs(row.throat - row.heel) >= SAME_IN for row in known):
        title = "Slant" if all(row.form == "cone" for row in known) else "Length"
        return [_length_column(title, 72, lambda row: row.throat)]
    if not any(row.has_throat for row in known):
        return [
            _length_column("Shortest", 72, lambda row: _extreme(row, min)),
            _length_column("Longest", 72, lambda row: _extreme(row, max)),
        ]
    has_sides = any(row.sides for row in rows)
    width = 62 if has_sides else 72
    found = [
        _length_column("Throat", width, lambda row: row.throat),
        _length_column("Heel", width, lambda row: row.heel),
    ]
    if has_sides:
        found.append(Column("Sides", width, _sides, MONO_BOLD, LENGTH_SIZE))
    return found


def _last_column(rows: Sequence[SegmentRow]) -> list[Column]:
    """Where the seam is, and under it what else there is: holes, plates, an edge to bend."""
    has_seam = any(row.seam_at for row in rows)
    if not has_seam and not any(map(_also, rows)):
        return []

    def cell(row: SegmentRow) -> Cell:
        also = ", ".join(_also(row))
        return Cell(row.seam_at or NOTHING, also) if has_seam else Cell(also or NOTHING)

    return [Column("Seam at" if has_seam else "Also", 44, cell)]


def _extreme(row: SegmentRow, which: Callable) -> float | None:
    known = [length for length in (row.throat, row.heel, *row.sides) if length is not None]
    return which(known) if known else None


def _length_column(title: str, width: float, length: Callable[[SegmentRow], float | None]) -> Column:
    """The fraction large, the decimal under it."""

    def cell(row: SegmentRow) -> Cell:
        value = length(row)
        return Cell(NOTHING) if value is None else Cell(fraction_text(value), decimal_text(value))

    return Column(title, width, cell, MONO_BOLD, LENGTH_SIZE)


def _segment(row: SegmentRow) -> Cell:
    equal = f"  × {len(row.positions)}" if len(row.positions) > 1 else ""
    is_said = row.form == "round" or row.form in row.role.lower()
    role = row.role if is_said else f"{row.role}, {row.form}"
    return Cell(f"{positions_text(row.positions)}{equal}", role)


def _sizes(row: SegmentRow) -> Cell:
    if not row.sizes:
        return Cell(NOTHING)
    return Cell(
        fraction_text(row.sizes[0]), f"to {fraction_text(row.sizes[1])}" if len(row.sizes) > 1 else ""
    )


def _sides(row: SegmentRow) -> Cell:
    if not row.sides:
        return Cell(NOTHING)
    if len(row.sides) > 1:
        return Cell(fraction_text(row.sides[0]), f"and {fraction_text(row.sides[1])}")
    return Cell(fraction_text(row.sides[0]), decimal_text(row.sides[0]))


def _also(row: SegmentRow) -> list[str]:
    counts = ((row.holes, "hole"), (row.plates if row.plates > 1 else 0, "plate"), (row.edge_bends, "bend"))
    return [counted(number, noun) for number, noun in counts if number]


def draw_head(paper: Paper, columns: Sequence[Column], left: float, base: float) -> None:
    for column in columns:
        with paper.tag("TH"):
            paper.line(column.title, left, base, column.width - GAP, SMALL + 0.5, floor=7)
        left += column.width


def draw_row(paper: Paper, columns: Sequence[Column], row: SegmentRow, left: float, base: float) -> None:
    for column in columns:
        cell = column.cell(row)
        with paper.tag("TD"):
            paper.line(cell.text, left, base, column.width - GAP, column.size, font=column.font, floor=7.5)
            if cell.under:
                paper.line(cell.under, left, base - 12, column.width - GAP, SMALL, floor=7)
        left += column.width
