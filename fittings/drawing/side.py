"""Scenes of a fitting from its side: the lines of `solid`, the picked part, and what `measures` says of the kind."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import shapely

from fittings.drawing.dimensions import across, along, extension
from fittings.drawing.facts import Development, fitting_text
from fittings.drawing.measures import Along, Face, Level, View, view_of
from fittings.drawing.scene import (
    ADVANCE,
    ASCENT,
    Item,
    Path,
    Point,
    Scene,
    Text,
    bounds,
    fitted,
    thinned,
)
from fittings.drawing.solid import Solid, solid_of

Box = tuple[float, float, float, float]


def side_scene(
    development: Development, *, width: float, height: float, text_size: float, highlight: int | None = None
) -> Scene:
    """The fitting from its side with its measures; KeyError where its development has no strips in space."""
    solid = solid_of(development)
    view = view_of(development, solid)
    drawn = list(_model_lines(solid, view))

    def build(scale: float) -> list[Item]:
        items = list(_lines(drawn, solid, scale, highlight))
        items += _centres(view, scale, text_size)
        box = bounds(items)
        letters = [_letter(face, scale, text_size) for face in view.faces]
        items += letters
        items += _positions(solid, letters, scale, text_size)
        items += _measures(view, scale, text_size, box)
        items += _notes(view, text_size, bounds(items))
        return items

    return _fitted(development, drawn, build, width, height, text_size * 0.5, highlight)


def side_icon(
    development: Development, *, width: float, height: float, highlight: int | None = None
) -> Scene:
    """The fitting from its side, lines only; KeyError where its development has no strips in space."""
    solid = solid_of(development)
    drawn = [line for line in _model_lines(solid, View((), ())) if line[0] != "hidden"]

    def build(scale: float) -> list[Item]:
        return list(_lines(drawn, solid, scale, highlight))

    return _fitted(development, drawn, build, width, height, width / 24, highlight)


def _fitted(development, drawn, build, width, height, pad, highlight) -> Scene:
    title = fitting_text(development)
    if highlight is not None:
        title = f"{title}; segment {highlight} of {len(development['segments'])}"
    left, bottom, right, top = bounds(Path(tuple(points), role) for role, points, _ in drawn)
    return fitted(
        build,
        model_width=right - left,
        model_height=top - bottom,
        width=width,
        height=height,
        pad=pad,
        title=title,
    )


def _model_lines(solid: Solid, view: View) -> Iterator[tuple[str, list[Point], bool]]:
    """(role, points [in], closed): the outline, what lies in it, what the view adds."""
    for region in shapely.get_parts(solid.outline):
        for ring in (region.exterior, *region.interiors):
            if shapely.Polygon(ring).area > solid.tolerance**2:
                yield "outline", [(x, y) for x, y in ring.coords][:-1], True
    for role, points in solid.lines():
        yield role, [(float(x), float(y)) for x, y in points], False
    for role, points, is_closed in view.extra:
        yield role, list(points), is_closed


def _lines(drawn: list, solid: Solid, scale: float, highlight: int | None) -> Iterator[Path]:
    def path(points: Iterable[Point], role: str, closed: bool) -> Path:
        kept = thinned(list(points), 0.1 / scale)
        return Path(tuple((x * scale, y * scale) for x, y in kept), role, closed)

    region = solid.silhouettes.get(highlight or 0)
    for part in shapely.get_parts(region) if region is not None else ():
        if part.geom_type == "Polygon":
            yield path(part.exterior.coords[:-1], "picked", True)
        else:  # a disc from its edge
            wide = part.buffer(max(2.5 / scale, 0.02 * solid.size), cap_style="flat")
            yield path(wide.exterior.coords[:-1], "picked", True)
    for role, points, is_closed in drawn:
        yield path(points, role, is_closed)


def _centres(view: View, scale: float, size: float) -> Iterator[Path]:
    past = 0.45 * size
    for start, end in view.centres:
        length = math.dist(start, end)
        if length * scale > 1.5 * size:
            ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
            first = (start[0] * scale - past * ux, start[1] * scale - past * uy)
            yield Path((first, (end[0] * scale + past * ux, end[1] * scale + past * uy)), "centre")


def _letter(face: Face, scale: float, size: float) -> Text:
    """Off the face, beside the axis."""
    x, y = face.middle[0] * scale, face.middle[1] * scale
    aside = (-face.outward[1], face.outward[0])
    if aside[0] < -1e-9 or (abs(aside[0]) < 1e-9 and aside[1] < 0):
        aside = (-aside[0], -aside[1])
    out = 0.35 * size + 0.5 * ASCENT * size
    x += face.outward[0] * out + aside[0] * 0.75 * size
    y += face.outward[1] * out + aside[1] * 0.75 * size
    return Text(x, y - ASCENT * size / 2, face.letter, size, role="label")


def _positions(solid: Solid, letters: list[Text], scale: float, size: float) -> list[Text]:
    """Position numbers, where every segment has room for its own."""
    if len(solid.positions) < 2:
        return []
    found = []
    for position in solid.positions:
        text = str(position)
        region = solid.silhouettes[position]
        others = [other for place, other in solid.silhouettes.items() if place != position]
        alone = region.difference(shapely.union_all(others))
        parts = [part for part in shapely.get_parts([alone, region]) if part.geom_type == "Polygon"]
        if not parts:
            return []
        region = max(parts[:-1], key=lambda part: part.area, default=parts[-1])
        half = (len(text) * ADVANCE * size / 2 + 0.15 * size) / scale
        high = (ASCENT * size / 2 + 0.15 * size) / scale
        middle = region.centroid
        wide = region.bounds[2] - region.bounds[0]
        for part in (-0.22, 0.22, -0.12, 0.12, -0.32, 0.32, 0.0):
            x, y = middle.x + part * wide, middle.y
            if region.contains(shapely.box(x - half, y - high, x + half, y + high)):
                break
        else:
            return []
        found.append(Text(x * scale, y * scale - ASCENT * size / 2, text, size, role="label"))
    return found


def _measures(view: View, scale: float, size: float, box: Box) -> Iterator[Item]:
    left, bottom, right, top = box
    letters = {face.letter: face for face in view.faces}
    rows: dict[tuple[str, int], list[Box]] = {}
    for measure in view.measures:
        if isinstance(measure, Along):
            yield from _along(measure, scale, size, letters)
        elif isinstance(measure, Level):
            side = "below" if measure.is_below else "above"
            has_letter = any((face.outward[1] < -0.9) == measure.is_below for face in view.faces)
            first = (2.1 if has_letter else 1.4) * size
            passing = [
                x * scale
                for other in view.measures
                if isinstance(other, Level) and other is not measure and other.is_below == measure.is_below
                for x in (other.start[0], other.end[0])
            ]
            for row in range(9):
                off = first + 1.75 * row * size
                y = bottom - off if measure.is_below else top + off
                items = list(
                    across(
                        measure.start[0] * scale, measure.end[0] * scale, y, measure.text, size, avoid=passing
                    )
                )
                if _is_free(rows, (side, row), bounds(items)):
                    break
            for x, edge in (measure.start, measure.end):
                yield extension((x * scale, edge * scale), (x * scale, y), size)
            yield from items
        else:
            side = "right" if measure.is_right else "left"
            sign = 1 if measure.is_right else -1
            edge = right if measure.is_right else left
            has_letter = any(face.outward[0] * sign > 0.9 for face in view.faces)
            first = (1.9 if has_letter else 1.3) * size
            off = first
            for row in range(6):
                x = edge + sign * off
                ends = ((x, measure.start[1] * scale), (x, measure.end[1] * scale))
                items = list(along(*ends, (sign, 0), measure.text, size))
                found = bounds(items)
                if _is_free(rows, (side, row), found):
                    break
                off = (
                    max(sign * (other[2 if sign > 0 else 0] - edge) for other in rows[side, row]) + 1.1 * size
                )
            for point, end in zip((measure.start, measure.end), ends, strict=True):
                yield extension((point[0] * scale, point[1] * scale), end, size)
            yield from items


def _is_free(rows: dict, key: tuple[str, int], box: Box) -> bool:
    """Whether nothing in the row overlaps the box, which is then put there."""
    there = rows.setdefault(key, [])
    if key[0] in ("below", "above"):
        free = all(box[2] < other[0] or other[2] < box[0] for other in there)
    else:
        free = all(box[3] <= other[1] + 1e-6 or other[3] <= box[1] + 1e-6 for other in there)
    if free:
        there.append(box)
    return free


def _along(measure: Along, scale: float, size: float, letters: dict[str, Face]) -> Iterator[Item]:
    is_face = any({measure.start, measure.end} == {face.start, face.end} for face in letters.values())
    off = measure.off * scale + (1.9 if is_face else 1.2) * size
    lines = []
    for point in (measure.start, measure.end):
        at = (point[0] * scale, point[1] * scale)
        lines.append((at[0] + measure.outward[0] * off, at[1] + measure.outward[1] * off))
        yield extension(at, lines[-1], size)
    part = 0.5 if is_face else 0.7  # a branch's length is told where it is off the run
    yield from along(lines[0], lines[1], measure.outward, measure.text, size, part=part)


def _notes(view: View, size: float, box: Box) -> Iterator[Text]:
    y = box[1] - (0.7 + ASCENT) * size
    for note in view.notes:
        yield Text((box[0] + box[2]) / 2, y, note, size)
        y -= 1.4 * size
