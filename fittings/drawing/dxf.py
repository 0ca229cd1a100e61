"""Flat patterns at full scale: DXF for the cutting table, SVG for what reads no DXF.

Each different pattern stands once, with its positions and count; a segment made of plates stands as its plates.
Patterns lie one above another, an inch apart, nothing overlapping.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from io import StringIO
from xml.sax.saxutils import escape

from fittings.drawing.facts import Development, fitting_text
from fittings.drawing.sheet import Line, Part, parts, parts_of
from shared.units import MM_PER_IN, plain_number

LAYERS = (("CUT", 7), ("MARK", 5), ("TEXT", 3))
INSUNITS = {"in": 1, "mm": 4}  # of the DXF header


def factor_of(unit: str) -> float:
    """Units of the file in an inch; ValueError for another unit than in or mm."""
    if unit not in INSUNITS:
        raise ValueError(f"unit {unit!r} is neither in nor mm")
    return MM_PER_IN if unit == "mm" else 1.0


def patterns_dxf(development: Development, unit: str = "in") -> bytes:
    """DXF (R2010) of all flat patterns at full scale.

    development  in inches
    unit         "in" or "mm": of the file, said in $INSUNITS
    layers       CUT: closed LWPOLYLINEs of the cut outlines and of their holes; MARK: lines to mark and bend lines;
                 TEXT: what and how many, inside each outline
    raises       ValueError for another unit
    """
    factor_of(unit)
    return _dxf(parts(development), unit)


def pattern_dxf(development: Development, which: int | str, unit: str = "in") -> bytes:
    """DXF of one flat pattern alone, its plates side by side; layers as in `patterns_dxf`.

    which   position of a segment from 1, or the key of a pattern
    raises  LookupError where the fitting has none such; ValueError for another unit
    """
    factor_of(unit)
    return _dxf(parts_of(development, which), unit)


def _dxf(placed: Sequence[Part], unit: str) -> bytes:
    import ezdxf  # half a second, and only the processes that write DXF pay it

    ezdxf.options.write_fixed_meta_data_for_testing = True  # no time stamps: equal patterns give equal files
    factor = factor_of(unit)
    document = ezdxf.new("R2010", units=INSUNITS[unit])
    document.header["$MEASUREMENT"] = 1 if unit == "mm" else 0
    for name, color in LAYERS:
        document.layers.add(name, color=color)
    space = document.modelspace()
    for part in placed:
        for outline in (part.cut, *part.holes):
            space.add_lwpolyline(_scaled(outline, factor), close=True, dxfattribs={"layer": "CUT"})
        for mark in part.marks:
            space.add_lwpolyline(_scaled(mark.line, factor), dxfattribs={"layer": "MARK"})
        place = part.place
        turn = math.degrees(place.angle)
        text = space.add_text(
            part.text, height=place.height * factor, rotation=turn, dxfattribs={"layer": "TEXT"}
        )
        text.set_placement((place.x * factor, place.y * factor))
    stream = StringIO()
    document.write(stream)
    return document.encode(stream.getvalue())


def _scaled(points: Line, factor: float) -> list[tuple[float, float]]:
    return [(x * factor, y * factor) for x, y in points]


def patterns_svg(development: Development, unit: str = "in") -> str:
    """SVG of the flat patterns at full scale: width and height in `unit` ("in" or "mm"), user units the same."""
    factor = factor_of(unit)
    placed = parts(development)
    right = max(part.box[2] for part in placed) * factor
    top = max(part.box[3] for part in placed) * factor
    line, dash = (plain_number(size * factor, 4) for size in (0.01, 0.12))
    title = escape(f"Flat patterns: {fitting_text(development)}")
    wide, high = plain_number(right), plain_number(top)
    body = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}{unit}" height="{high}{unit}" '
        f'viewBox="0 0 {wide} {high}" role="img"><title>{title}</title>'
        f'<g fill="none" stroke="#000" stroke-width="{line}">'
    ]
    for part in placed:
        body.append(f'<path class="cut" d="M{_points(part.cut, factor, top)}Z"/>')
        body += [f'<path class="hole" d="M{_points(hole, factor, top)}Z"/>' for hole in part.holes]
        for mark in part.marks:
            role = "mark" if mark.angle is None else "fold"
            dashes = "" if mark.angle is None else f' stroke-dasharray="{dash}"'
            body.append(f'<path class="{role}"{dashes} d="M{_points(mark.line, factor, top)}"/>')
    body.append('</g><g fill="#000" stroke="none" font-family="sans-serif">')
    for part in placed:
        place = part.place
        x, y = plain_number(place.x * factor), plain_number(top - place.y * factor)
        turn = plain_number(-math.degrees(place.angle))
        turned = "" if turn in ("0", "-0") else f' transform="rotate({turn} {x} {y})"'
        size = plain_number(place.height * factor)
        body.append(f'<text x="{x}" y="{y}"{turned} font-size="{size}">{escape(part.text)}</text>')
    body.append("</g></svg>")
    return "".join(body)


def _points(points: Line, factor: float, top: float) -> str:
    return " ".join(f"{plain_number(x * factor)} {plain_number(top - y * factor)}" for x, y in points)


__all__ = ["INSUNITS", "factor_of", "pattern_dxf", "patterns_dxf", "patterns_svg"]
