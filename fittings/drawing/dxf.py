"""Flat patterns at full scale: DXF for the cutting table, SVG for what reads no DXF.

Each different pattern stands once, with its positions and count; a segment made of plates stands as its plates.
Patterns lie one above another, an inch apart, nothing overlapping.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import StringIO
from xml.sax.saxutils import escape

from fittings.drawing.facts import Development, fitting_text, patterns, role_title
from fittings.drawing.pattern import box, group_text, outline_of
from shared.units import MM_PER_IN, plain_number

Outline = Sequence[Sequence[float]]
GAP_IN = 1.0
TEXT_IN = 0.5
LAYERS = (("CUT", 7), ("MARK", 5), ("TEXT", 3))
INSUNITS = {"in": 1, "mm": 4}  # of the DXF header


@dataclass(frozen=True)
class Part:
    """One outline to cut, placed on the sheet of patterns; all lengths [in]."""

    cut: tuple[tuple[float, float], ...]
    marks: tuple[tuple[tuple[float, float], ...], ...]
    text: str
    text_at: tuple[float, float]
    text_height: float


def parts(development: Development) -> list[Part]:
    """The parts to cut, each different one once, laid out upwards from the origin."""
    placed: list[Part] = []
    count = len(development["segments"])
    gauge = f"{development['gauge']} ga" if development.get("gauge") is not None else ""
    y = 0.0
    for group in patterns(development):
        segment = group.segment
        pieces = [(plate, number) for number, plate in enumerate(segment.get("plates") or (), 1)] or [
            (segment, 0)
        ]
        name = f"{role_title(segment.get('role', 'segment'))} {group_text(group.positions, count)}"
        for piece, number in pieces:
            cut = outline_of(piece)
            plate = f"plate {number} of {len(pieces)}" if number else ""
            text = ", ".join(part for part in (name, plate, gauge) if part)
            left, bottom, right, top = box(cut)
            dx, dy = -left, y - bottom
            height = _text_height(text, right - left, top - bottom)
            placed.append(
                Part(
                    cut=_shifted(cut, dx, dy),
                    marks=tuple(_shifted(mark["line"], dx, dy) for mark in piece.get("marks") or ()),
                    text=text,
                    text_at=((right - left) * 0.03, y + (top - bottom - height) / 2),
                    text_height=height,
                )
            )
            y += top - bottom + GAP_IN
    return placed


def _text_height(text: str, wide: float, high: float) -> float:
    """Letters that stay inside the part: at most a third of its height, and its length."""
    return max(0.05, min(TEXT_IN, high / 3, 0.9 * wide / (0.9 * max(len(text), 1))))


def _shifted(points: Outline, dx: float, dy: float) -> tuple[tuple[float, float], ...]:
    return tuple((float(x) + dx, float(y) + dy) for x, y in points)


def patterns_dxf(development: Development, unit: str = "in") -> bytes:
    """DXF (R2010) of the flat patterns at full scale.

    development  in inches
    unit         "in" or "mm": of the file, said in $INSUNITS
    layers       CUT: closed LWPOLYLINEs of the cut outlines; MARK: lines to mark; TEXT: what and how many
    raises       ValueError for another unit
    """
    if unit not in INSUNITS:
        raise ValueError(f"unit {unit!r} is neither in nor mm")
    import ezdxf  # half a second, and only the processes that write DXF pay it

    ezdxf.options.write_fixed_meta_data_for_testing = True  # no time stamps: equal patterns give equal files
    factor = MM_PER_IN if unit == "mm" else 1.0
    document = ezdxf.new("R2010", units=INSUNITS[unit])
    document.header["$MEASUREMENT"] = 1 if unit == "mm" else 0
    for name, color in LAYERS:
        document.layers.add(name, color=color)
    space = document.modelspace()
    for part in parts(development):
        space.add_lwpolyline(_scaled(part.cut, factor), close=True, dxfattribs={"layer": "CUT"})
        for mark in part.marks:
            space.add_lwpolyline(_scaled(mark, factor), dxfattribs={"layer": "MARK"})
        text = space.add_text(part.text, height=part.text_height * factor, dxfattribs={"layer": "TEXT"})
        text.set_placement((part.text_at[0] * factor, part.text_at[1] * factor))
    stream = StringIO()
    document.write(stream)
    return document.encode(stream.getvalue())


def _scaled(points: Outline, factor: float) -> list[tuple[float, float]]:
    return [(x * factor, y * factor) for x, y in points]


def patterns_svg(development: Development, unit: str = "in") -> str:
    """SVG of the flat patterns at full scale: width and height in `unit` ("in" or "mm"), user units the same."""
    if unit not in INSUNITS:
        raise ValueError(f"unit {unit!r} is neither in nor mm")
    factor = MM_PER_IN if unit == "mm" else 1.0
    placed = parts(development)
    right = max(box(part.cut)[2] for part in placed) * factor
    top = max(box(part.cut)[3] for part in placed) * factor
    line = plain_number(0.01 * factor, 4)
    title = escape(f"Flat patterns: {fitting_text(development)}")
    wide, high = plain_number(right), plain_number(top)
    body = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}{unit}" height="{high}{unit}" '
        f'viewBox="0 0 {wide} {high}" role="img"><title>{title}</title>'
        f'<g fill="none" stroke="#000" stroke-width="{line}">'
    ]
    for part in placed:
        body.append(f'<path class="cut" d="M{_points(part.cut, factor, top)}Z"/>')
        body += [f'<path class="mark" d="M{_points(mark, factor, top)}"/>' for mark in part.marks]
    body.append('</g><g fill="#000" stroke="none" font-family="sans-serif">')
    for part in placed:
        x, y = part.text_at[0] * factor, top - part.text_at[1] * factor
        body.append(
            f'<text x="{plain_number(x)}" y="{plain_number(y)}" '
            f'font-size="{plain_number(part.text_height * factor)}">{escape(part.text)}</text>'
        )
    body.append("</g></svg>")
    return "".join(body)


def _points(points: Outline, factor: float, top: float) -> str:
    return " ".join(f"{plain_number(x * factor)} {plain_number(top - y * factor)}" for x, y in points)


__all__ = ["Part", "parts", "patterns_dxf", "patterns_svg"]
