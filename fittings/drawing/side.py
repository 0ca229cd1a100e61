"""Scenes of the shapes of `shapes`: lines, the picked part, and the measures round them."""

from __future__ import annotations

from collections.abc import Iterator

from fittings.drawing.dimensions import across, along, extension
from fittings.drawing.facts import Development, fitting_text
from fittings.drawing.scene import ASCENT, Item, Path, Scene, Text, bounds, fitted
from fittings.drawing.shapes import Shape, shape_of


def side_scene(
    development: Development, *, width: float, height: float, text_size: float, highlight: int | None = None
) -> Scene:
    """The fitting from its side with its measures; KeyError where the shape is not known."""
    shape = shape_of(development)

    def build(scale: float) -> list[Item]:
        items = list(_lines(shape, scale, highlight))
        return [*items, *_measures(shape, scale, text_size, bounds(items))]

    return _fitted(development, shape, build, width, height, text_size * 0.5, highlight)


def side_icon(
    development: Development, *, width: float, height: float, highlight: int | None = None
) -> Scene:
    """The fitting from its side, lines only; KeyError where the shape is not known."""
    shape = shape_of(development)

    def build(scale: float) -> list[Item]:
        return [item for item in _lines(shape, scale, highlight) if item.role != "centre"]

    return _fitted(development, shape, build, width, height, width / 24, highlight)


def _fitted(development, shape: Shape, build, width, height, pad, highlight) -> Scene:
    title = fitting_text(development)
    if highlight is not None:
        title = f"{title}; segment {highlight} of {len(development['segments'])}"
    left, bottom, right, top = bounds(_lines(shape, 1.0, None))
    return fitted(
        build,
        model_width=right - left,
        model_height=top - bottom,
        width=width,
        height=height,
        pad=pad,
        title=title,
    )


def _lines(shape: Shape, scale: float, highlight: int | None) -> Iterator[Path]:
    def path(points, role: str, closed: bool) -> Path:
        return Path(tuple((x * scale, y * scale) for x, y in points), role, closed)

    if highlight in shape.parts:
        yield path(shape.parts[highlight], "picked", True)
    for role, points, closed in shape.lines:
        yield path(points, role, closed)


def _measures(
    shape: Shape, scale: float, size: float, box: tuple[float, float, float, float]
) -> Iterator[Item]:
    left, bottom, right, top = box
    below, above, aside = bottom - 1.5 * size, top + 1.5 * size, right + 1.3 * size
    for side, start, end, text in shape.measures:
        start, end = start * scale, end * scale
        if side == "right":
            for y in (start, end):
                yield extension((right, y), (aside, y), size)
            yield from along((aside, start), (aside, end), (1, 0), text, size)
            continue
        line, edge = (below, bottom) if side == "below" else (above, top)
        for x in (start, end):
            yield extension((x, edge), (x, line), size)
        yield from across(start, end, line, text, size)
    y = below - (1.2 + ASCENT) * size
    for note in shape.notes:
        yield Text((left + right) / 2, y, note, size)
        y -= 1.4 * size
