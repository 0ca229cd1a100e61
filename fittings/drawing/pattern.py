"""Flat patterns of segments: what the table cuts, the net outline in it, the marks, and the numbers to check it by."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from fittings.drawing import pattern_numbers as numbers
from fittings.drawing.dimensions import arrow, inches
from fittings.drawing.facts import Development, positions_text, role_title
from fittings.drawing.scene import Item, Path, Scene, bounds, fitted, moved, thinned

Segment = Mapping[str, Any]
PLATE_GAP = 0.04  # between plates drawn side by side, of the whole length
_CROWDED = 0.16  # of a bend line that is left out where several run together


def segment_at(development: Development, position: int) -> Segment:
    """The segment at a position from 1; LookupError where there is none."""
    for segment in development["segments"]:
        if segment["position"] == position:
            return segment
    raise LookupError(f"the fitting has no segment {position}")


def box(points: Sequence[Sequence[float]]) -> tuple[float, float, float, float]:
    """Left, bottom, right, top of an outline."""
    xs = [point[0] for point in points]
    ys = [point[1] for point in points]
    return (min(xs), min(ys), max(xs), max(ys))


def outline_of(segment: Segment) -> Sequence[Sequence[float]]:
    return segment.get("cut_outline") or segment["net_outline"]


def pattern_scene(
    development: Development, position: int, *, width: float, height: float, text_size: float
) -> Scene:
    """One segment's flat pattern with its dimensions; its plates, where it has any, side by side under it."""
    segment = segment_at(development, position)
    cut = outline_of(segment)
    whole = box([*cut, *segment["net_outline"]])
    plates = _row_of_plates(segment, whole[0])
    row = [box(plate["cut_outline"]) for plate in plates]
    right = max([whole[2], *(one[2] for one in row)])
    high = max((one[3] for one in row), default=0.0)

    used = 0.0  # the scale, known when the scene is

    def build(scale: float) -> list[Item]:
        nonlocal used
        used = scale
        items = list(_piece(segment, scale))
        items += numbers.numbers(segment, whole, scale, text_size, width)
        if plates:
            down = bounds(items)[1] - 0.7 * text_size - high * scale
            items += moved([path for plate in plates for path in _piece(plate, scale)], 0.0, down)
            items += numbers.plate_numbers(segment, row, scale, text_size, down)
        return items

    most = len(numbers.note_lines(segment, 0.0, text_size, width)) * numbers.LINE * text_size
    scene = fitted(
        build,
        model_width=right - whole[0],
        model_height=whole[3] - whole[1] + high,
        width=width,
        height=height - most,
        pad=text_size * 0.5,
        title=_title(development, segment),
    )
    lines = numbers.note_lines(segment, used, text_size, width)
    room = len(lines) * numbers.LINE * text_size
    drawn = moved(scene.items, 0.0, room)
    notes = numbers.notes(lines, scene.width / 2, bounds(drawn)[1], text_size)
    return Scene(scene.width, scene.height + room, (*drawn, *notes), scene.title)


def _piece(piece: Segment, scale: float) -> Iterator[Path]:
    """What is cut of a segment or a plate, its net outline, and its marks."""
    least = 0.15 / scale

    def path(points, role: str, closed: bool = True) -> Path:
        return Path(tuple((x * scale, y * scale) for x, y in thinned(points, least)), role, closed)

    yield path(outline_of(piece), "cut")
    if piece.get("net_outline"):
        yield path(piece["net_outline"], "net")
    for hole in piece.get("holes") or ():
        yield path(hole, "hole")
    marks = piece.get("marks") or ()
    ends = [(round(x, 2), round(y, 2)) for mark in marks for x, y in (mark["line"][0], mark["line"][-1])]
    for mark in marks:
        line, role = mark["line"], "mark" if mark.get("angle") is None else "fold"
        if role == "fold" and len(line) == 2:
            line = _apart(line, ends)
        yield path(line, role, False)


def _apart(line: Sequence[Sequence[float]], ends: list) -> list[tuple[float, float]]:
    """A bend line without its part in a corner where three or more meet: they would run into one blot there."""
    first, last = line
    parts = [_CROWDED if ends.count((round(x, 2), round(y, 2))) > 2 else 0.0 for x, y in line]
    dx, dy = last[0] - first[0], last[1] - first[1]
    return [
        (first[0] + dx * parts[0], first[1] + dy * parts[0]),
        (last[0] - dx * parts[1], last[1] - dy * parts[1]),
    ]


def pattern_icon(
    development: Development,
    position: int,
    *,
    width: float,
    height: float,
    plate: int = 0,
    highlight: bool = False,
) -> Scene:
    """The outline alone, of a segment or of one of its plates (from 1), an arrow on its throat."""
    segment = segment_at(development, position)
    plates = segment.get("plates") or ()
    drawn = plates[plate - 1] if 1 <= plate <= len(plates) else segment
    marks = numbers.marks_and_seam(segment) if drawn is segment else drawn.get("marks") or ()
    cut = outline_of(drawn)
    left, bottom, right, top = box(cut)
    mark_size = min(width / 20, height / 5)

    def build(scale: float) -> list[Item]:
        def path(points, role: str, closed: bool) -> Path:
            return Path(tuple((x * scale, y * scale) for x, y in thinned(points, 0.3 / scale)), role, closed)

        items: list[Item] = [path(cut, "picked", True)] if highlight else []
        items.append(path(cut, "outline", True))
        items += [path(hole, "outline", True) for hole in drawn.get("holes") or ()]
        for mark in marks:
            if mark["name"] == "throat":
                items.append(path(mark["line"], "mark", False))
                tip = max(((x * scale, y * scale) for x, y in mark["line"]), key=lambda point: point[1])
                items.append(arrow(tip, (0, -1), mark_size))
        return items

    return fitted(
        build,
        model_width=right - left,
        model_height=top - bottom,
        width=width,
        height=height,
        pad=min(width / 24, height / 10),
        title=_title(development, segment),
    )


def _title(development: Development, segment: Segment) -> str:
    count = len(development["segments"])
    text = f"Flat pattern of {role_title(segment.get('role', 'segment')).lower()} {segment['position']} of {count}"
    if segment.get("stretch_out"):
        text += f", stretch-out {inches(segment['stretch_out'])}"
    if segment.get("throat") is not None and numbers.has_throat(segment):
        text += f", throat {inches(segment['throat'])}, heel {inches(segment['heel'])}"
    return text


def _row_of_plates(segment: Segment, x: float) -> list[dict[str, list[Any]]]:
    """The plates side by side from x, standing on y = 0, in inches."""
    placed: list[dict[str, list[Any]]] = []
    plates = segment.get("plates") or ()
    gap = PLATE_GAP * sum(box(plate["cut_outline"])[2] - box(plate["cut_outline"])[0] for plate in plates)
    for plate in plates:
        left, bottom, right, _ = box(plate["cut_outline"])

        def shifted(points, dx=x - left, dy=-bottom):
            return [(px + dx, py + dy) for px, py in points]

        placed.append(
            {
                "cut_outline": shifted(plate["cut_outline"]),
                "net_outline": shifted(plate.get("net_outline") or ()),
                "holes": [shifted(hole) for hole in plate.get("holes") or ()],
                "marks": [dict(mark, line=shifted(mark["line"])) for mark in plate.get("marks") or ()],
            }
        )
        x += right - left + gap
    return placed


def group_text(positions: tuple[int, ...], pieces: int) -> str:
    """Which segments share a pattern: "2–4 of 5, 3 equal"."""
    text = f"{positions_text(positions)} of {pieces}"
    return f"{text}, {len(positions)} equal" if len(positions) > 1 else text
