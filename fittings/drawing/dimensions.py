"""Dimension lines: extension lines, arrows, and the number where it can be read. Paper units."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from fittings.drawing.scene import ADVANCE, ASCENT, Item, Path, Point, Text
from shared.units import fraction_text


def inches(value: float) -> str:
    """A length as the tape is read, with its unit."""
    return f"{fraction_text(value)} in"


def arrow(tip: Point, direction: Point, size: float) -> Path:
    """A filled arrowhead at `tip`, pointing along the unit vector `direction`."""
    length, half = 0.75 * size, 0.2 * size
    back = (tip[0] - direction[0] * length, tip[1] - direction[1] * length)
    side = (-direction[1] * half, direction[0] * half)
    corners = (tip, (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1]))
    return Path(corners, "arrow", closed=True)


def extension(start: Point, end: Point, size: float) -> Path:
    """From just off the thing measured to just past the dimension line."""
    length = math.hypot(end[0] - start[0], end[1] - start[1])
    if length < 1e-9:
        return Path((start, end), "dimension")
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    gap, past = min(0.25 * size, length / 2), 0.35 * size
    return Path(
        ((start[0] + ux * gap, start[1] + uy * gap), (end[0] + ux * past, end[1] + uy * past)), "dimension"
    )


def across(
    left: float,
    right: float,
    y: float,
    text: str,
    size: float,
    *,
    overflow: str = "right",
    avoid: Sequence[float] = (),
) -> Iterator[Item]:
    """A horizontal dimension line from left to right at y. Where the number is too wide, it stands at `overflow`.

    avoid   x of lines that cross: where one would run through the number, it goes into the widest part between them
    """
    wide = len(text) * ADVANCE * size
    base = y - ASCENT * size / 2
    middle = (left + right) / 2
    room = right - left - 2.1 * size
    crossing = sorted(x for x in avoid if left < x < right)
    if any(abs(x - middle) < wide / 2 + 0.4 * size for x in crossing):
        stops = [left + 0.5 * size, *crossing, right - 0.5 * size]
        start, end = max(zip(stops, stops[1:], strict=False), key=lambda part: part[1] - part[0])
        room, middle = end - start - 1.1 * size, (start + end) / 2
    if room >= wide:
        gap = wide / 2 + 0.25 * size
        yield Path(((left, y), (middle - gap, y)), "dimension")
        yield Path(((middle + gap, y), (right, y)), "dimension")
        yield arrow((left, y), (-1, 0), size)
        yield arrow((right, y), (1, 0), size)
        yield Text(middle, base, text, size)
        return
    tail = 1.5 * size
    yield Path(((left - tail, y), (right + tail, y)), "dimension")
    yield arrow((left, y), (1, 0), size)
    yield arrow((right, y), (-1, 0), size)
    if overflow == "right":
        yield Text(right + tail + 0.3 * size, base, text, size, anchor="start")
    else:
        yield Text(left - tail - 0.3 * size, base, text, size, anchor="end")


def along(
    start: Point, end: Point, outward: Point, text: str, size: float, *, part: float = 0.5
) -> Iterator[Item]:
    """A dimension line of any direction; the number stands level beside it, on the side of `outward` (unit vector).

    part    how far from start to end the number stands
    """
    length = math.hypot(end[0] - start[0], end[1] - start[1]) or 1e-9
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    if length >= 2.2 * size:
        yield Path((start, end), "dimension")
        yield arrow(start, (-ux, -uy), size)
        yield arrow(end, (ux, uy), size)
    else:
        tail = 1.5 * size
        yield Path(
            ((start[0] - ux * tail, start[1] - uy * tail), (end[0] + ux * tail, end[1] + uy * tail)),
            "dimension",
        )
        yield arrow(start, (ux, uy), size)
        yield arrow(end, (-ux, -uy), size)
    middle = (start[0] + part * (end[0] - start[0]), start[1] + part * (end[1] - start[1]))
    yield beside(middle, outward, text, size)


def beside(point: Point, outward: Point, text: str, size: float, role: str = "text") -> Text:
    """Level text whose box lies off a line through `point`, on the side of `outward` (unit vector, square to it)."""
    wide, high = len(text) * ADVANCE * size, ASCENT * size
    off = 0.45 * size + abs(outward[0]) * wide / 2 + abs(outward[1]) * high / 2
    x = point[0] + outward[0] * off
    y = point[1] + outward[1] * off
    return Text(x, y - high / 2, text, size, role)
