"""The numbers on a flat pattern: what a person measures on the cut piece. Paper units; `size` is that of the text."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import shapely

from fittings.drawing.dimensions import across, along, beside, extension, inches
from fittings.drawing.facts import seam_text
from fittings.drawing.scene import ADVANCE, ASCENT, Item, Path, Point, Text, bounds
from shared.units import plain_number

Segment = Mapping[str, Any]
Box = tuple[float, float, float, float]
Outline = Sequence[Sequence[float]]
CONE, BRAKE = "cone", "brake"
LINE = 1.4  # from one line of notes to the next, in heights of their text
_NARROW = 500  # paper units
_SAME_IN = 0.01  # lengths that are told as one


def box(points: Iterable[Sequence[float]]) -> Box:
    xs, ys = zip(*((point[0], point[1]) for point in points), strict=True)
    return (min(xs), min(ys), max(xs), max(ys))


def form_of(segment: Segment) -> str:
    return str(segment.get("form") or "cylinder")


def is_narrow(width: float) -> bool:
    """Whether a drawing is so narrow that long words go under it."""
    return width < _NARROW


def has_throat(segment: Segment) -> bool:
    """Whether it has a throat and a heel; what is straight all round has quarters instead."""
    names = {mark["name"] for mark in segment.get("marks") or ()}
    return bool(names & {"throat", "heel"}) or "seam_at" not in segment


def numbers(segment: Segment, whole: Box, scale: float, size: float, width: float) -> Iterator[Item]:
    """Every number of a segment in one piece. `whole`: the box of its outlines [in]."""
    left, bottom, right, top = (part * scale for part in whole)
    is_rolled_straight = form_of(segment) == "cylinder"
    taken: list[Box] = []
    if is_rolled_straight:
        yield from _mark_names(segment, left, right, top, scale, size)
        yield from _hole_heights(segment, left, scale, size)
        if not has_throat(segment) and not segment.get("holes"):
            yield from _seam(segment, scale, size, left)
    elif form_of(segment) != "flat":
        for item in _ruled(segment, scale, size, width):
            if isinstance(item, Text):
                taken.append(bounds([item]))
            yield item
    yield from _below(segment, (left, bottom, right, top), scale, size, taken)


def _below(segment: Segment, whole: Box, scale: float, size: float, taken: list[Box]) -> Iterator[Item]:
    """Holes, stretch-out, lap and blank under the pattern, the height of the blank at its right."""
    left, bottom, right, top = whole
    net_left, net_bottom, net_right, _ = (part * scale for part in box(segment["net_outline"]))
    first = min([bottom, *(other[1] for other in taken)]) - 1.7 * size
    if form_of(segment) == "cylinder":
        for hole in segment.get("holes") or ():
            yield from _hole_widths(hole, (net_left, net_bottom), first, scale, size)
            first -= 1.75 * size
    for name, (start, end), text in _widths(segment, scale):
        if not _fits(start, end, text, size):
            continue  # it stands in the notes
        for x in (start, end):
            under = [
                other[1] - 0.2 * size
                for other in taken
                if other[0] < x < other[2] and other[3] < bottom + size
            ]
            yield extension((x, min([bottom if name == "blank" else net_bottom, *under])), (x, first), size)
        yield from across(start, end, first, text, size)
        if name == "blank" and segment.get("lap"):
            lap = f"lap {inches(segment['lap'])}"
            yield Text(right + 0.9 * size, first - 0.38 * size, lap, size, anchor="start")
        first -= 1.75 * size
    blank = segment.get("blank") or {}
    if blank:
        line = max([right, *(other[2] for other in taken if other[3] > bottom)]) + 1.3 * size
        yield extension((right, bottom), (line, bottom), size)
        yield extension((right, top), (line, top), size)
        yield from along((line, bottom), (line, top), (1, 0), inches(blank["height"]), size)


def _widths(segment: Segment, scale: float) -> Iterator[tuple[str, tuple[float, float], str]]:
    """What is measured across the pattern: name, from where to where, and the words."""
    left, _, right, _ = box(segment["net_outline"])
    if form_of(segment) == "cylinder" and segment.get("stretch_out"):
        yield "stretch-out", (left * scale, right * scale), f"stretch-out {inches(segment['stretch_out'])}"
    if segment.get("blank"):
        cut = box([*(segment.get("cut_outline") or ()), *segment["net_outline"]])
        yield "blank", (cut[0] * scale, cut[2] * scale), f"blank {inches(segment['blank']['width'])}"


def _fits(start: float, end: float, text: str, size: float) -> bool:
    return end - start - 2.1 * size >= len(text) * ADVANCE * size


def _hole_widths(hole: Outline, seam: Point, y: float, scale: float, size: float) -> Iterator[Item]:
    """From the seam to the hole, and how wide the hole is where there is room for its figure."""
    left, bottom, right, top = (part * scale for part in box(hole))
    for x in (left, right):
        yield extension((x, (bottom + top) / 2), (x, y), size)
    yield extension(seam, (seam[0], y), size)
    yield from across(seam[0], left, y, inches((left - seam[0]) / scale), size, overflow="left")
    text = inches((right - left) / scale)
    if _fits(left, right, text, size):
        yield from across(left, right, y, text, size)


def note_lines(segment: Segment, scale: float, size: float, width: float) -> list[str]:
    """The words under everything, in lines that fit the width: also what has no room at its dimension line.

    scale   of the drawing; 0 for all that can ever stand there
    """
    words = []
    for name, ends, text in _widths(segment, scale):
        if not _fits(*ends, text, size):
            words.append(text)
            if name == "blank" and segment.get("lap"):
                words.append(f"lap {inches(segment['lap'])}")
    if form_of(segment) in (CONE, BRAKE) and (is_narrow(width) or _is_short_seam(segment, scale, size)):
        words.append(_seam_text(segment))
    words += _notes(segment)
    most = max(int((width - size) / (ADVANCE * size)), 12)
    lines: list[str] = []
    for text in words:
        for part in [text] if len(text) <= most else text.split(", "):
            if lines and len(lines[-1]) + len(part) + 3 <= most:
                lines[-1] = f"{lines[-1]} · {part}"
            else:
                lines.append(part)
    return lines


def notes(lines: Sequence[str], middle: float, bottom: float, size: float) -> Iterator[Text]:
    """The lines under each other, below `bottom`."""
    y = bottom - (0.6 + ASCENT) * size
    for line in lines:
        yield Text(middle, y, line, size)
        y -= LINE * size


def _notes(segment: Segment) -> Iterator[str]:
    form = form_of(segment)
    if form == "flat":
        left, _, right, _ = box(segment["net_outline"])
        yield f"disc Ø {inches(right - left)} without edges"
        for hole in segment.get("holes") or ():
            yield f"hole Ø {inches(box(hole)[2] - box(hole)[0])}"
        for mark in segment.get("marks") or ():
            if mark.get("angle") is not None:
                line = box(mark["line"])
                yield f"bend line Ø {inches(line[2] - line[0])}, {plain_number(mark['angle'], 1)}°"
        return
    if form == "cylinder":
        seam, edge = segment["edge_a"][0][0], segment["edge_a"]
        for hole in segment.get("holes") or ():
            left, bottom, right, top = box(hole)
            yield f"hole {inches(right - left)} × {inches(top - bottom)}"
            base = min(edge, key=lambda point: abs(point[0] - (left + right) / 2))[1]
            yield f"{inches(left - seam)} from the seam, {inches(bottom - base)} from edge A"
        return
    for name in "ab":
        edge = segment[f"edge_{name}"]
        text = f"edge {name.upper()} {inches(_length(edge))} along it"
        yield f"{text}, chord {inches(math.dist(edge[0], edge[-1]))}"
    bends = [mark for mark in segment.get("marks") or () if mark.get("angle") is not None]
    if bends:
        angles = sorted(mark["angle"] for mark in bends)
        low, high = plain_number(angles[0], 1), plain_number(angles[-1], 1)
        yield f"{len(bends)} bends of {low}°" if low == high else f"{len(bends)} bends of {low}° to {high}°"
        lengths = [inches(of(math.dist(*mark["line"]) for mark in bends)) for of in (min, max)]
        yield f"bend lines {lengths[0]} to {lengths[1]} long"


def _length(line: Outline) -> float:
    return sum(math.dist(a, b) for a, b in zip(line, line[1:], strict=False))


# -- what is rolled to a cone or braked ---------------------------------------


def _ruled(segment: Segment, scale: float, size: float, width: float) -> Iterator[Item]:
    """The seam, the letters of the edges, and the elements with their lengths, where they stand free."""

    def paper(point: Sequence[float]) -> Point:
        return (point[0] * scale, point[1] * scale)

    cut = segment.get("cut_outline") or segment["net_outline"]
    piece = shapely.make_valid(shapely.Polygon([paper(point) for point in cut])).buffer(0.15 * size)
    taken: list[Any] = [piece]

    def free(text: Text) -> bool:
        left, bottom, right, top = bounds([text])
        shape = shapely.box(left, bottom, right, top)
        if any(shape.intersects(other) for other in taken):
            return False
        taken.append(shape.buffer(0.25 * size))
        return True

    seam = [paper(segment["edge_a"][0]), paper(segment["edge_b"][0])]
    middle = paper(box_middle(segment["net_outline"]))
    out = _square(seam[0], seam[1], away_from=middle)
    line = [(x + out[0] * 1.2 * size, y + out[1] * 1.2 * size) for x, y in seam]
    text = "seam" if is_narrow(width) else _seam_text(segment)
    if _is_short_seam(segment, scale, size):
        text = ""
    found = list(along(line[0], line[1], out, text, size))
    told = next((item for item in found if isinstance(item, Text)), None)
    if text and told is not None:
        free(told)
        for point, end in zip(seam, line, strict=True):
            yield extension(point, end, size)
        yield from found
    lengths: dict[str, list[float]] = {}
    elements = [m for m in segment.get("marks") or () if m.get("angle") is None and len(m["line"]) == 2]
    for mark in sorted(elements, key=lambda mark: mark["name"] not in ("throat", "heel")):
        name = str(mark["name"])
        length = float(segment.get(name) or math.dist(*mark["line"]))
        if any(abs(length - other) < _SAME_IN for other in lengths.get(name, ())):
            continue
        words = f"{name} {inches(length)}"
        for end, outwards, reach in _ends([paper(point) for point in mark["line"]], (0.0, 1.0, 2.0, 3.0)):
            start = (end[0] + outwards[0] * reach * size, end[1] + outwards[1] * reach * size)
            text = beside(start, outwards, words, size)
            if free(text):
                lengths.setdefault(name, []).append(length)
                if reach:
                    tip = (reach + 0.35) * size
                    yield Path((end, (end[0] + outwards[0] * tip, end[1] + outwards[1] * tip)), "dimension")
                yield text
                break
    for text in _bend_angles(segment, scale, size):
        if free(text):
            yield text
    for name, sign in (("a", -1), ("b", 1)):
        at, way = _off_middle(segment[f"edge_{name}"])
        way = (-way[1] * sign, way[0] * sign)
        for reach in (0.0, 0.7, 1.4, 2.1):
            x, y = paper(at)
            start = (x + way[0] * reach * size, y + way[1] * reach * size)
            letter = beside(start, way, name.upper(), size, role="label")
            if free(letter):
                yield letter
                break


def _ends(line: list[Point], reaches: Sequence[float]) -> Iterator[tuple[Point, Point, float]]:
    """The upper end of an element, then its lower one, with the direction outwards; near places first."""
    low, high = sorted(line, key=lambda point: point[1])
    long = math.dist(low, high) or 1.0
    up = ((high[0] - low[0]) / long, (high[1] - low[1]) / long)
    for reach in reaches:
        yield high, up, reach
        yield low, (-up[0], -up[1]), reach


def _bend_angles(segment: Segment, scale: float, size: float) -> list[Text]:
    """The angle at each bend line, where there is room for all of them; else the notes say from what to what."""
    small = 0.85 * size
    found, ends = [], []
    for mark in segment.get("marks") or ():
        if mark.get("angle") is None or len(mark["line"]) != 2:
            continue
        line = [(x * scale, y * scale) for x, y in mark["line"]]
        end, outwards, _ = next(_ends(line, (0.0,)))
        words = f"{plain_number(mark['angle'], 1)}°"
        found.append(beside(end, outwards, words, small))
        ends.append(end)
    widest = max((text.width for text in found), default=0.0) + 0.4 * size
    is_roomy = all(math.dist(a, b) >= widest for k, a in enumerate(ends) for b in ends[:k])
    return found if is_roomy else []


def _is_short_seam(segment: Segment, scale: float, size: float) -> bool:
    """Whether arrows and words would not stand clear of the other end of a ring."""
    return segment["seam_length"] * scale < 2.5 * size


def _seam_text(segment: Segment) -> str:
    at = _element_at_seam(segment)
    length = inches(segment["seam_length"])
    return f"{at} {length}, seam" if at else f"seam {length}"


def _element_at_seam(segment: Segment) -> str:
    at = seam_text(segment)
    return at if at in ("throat", "heel") and has_throat(segment) else ""


def box_middle(points: Outline) -> Point:
    left, bottom, right, top = box(points)
    return ((left + right) / 2, (bottom + top) / 2)


def _square(start: Point, end: Point, *, away_from: Point) -> Point:
    """The direction square to a line, on the side that is away from a point."""
    length = math.dist(start, end) or 1e-9
    out = ((start[1] - end[1]) / length, (end[0] - start[0]) / length)
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    inwards = (away_from[0] - middle[0]) * out[0] + (away_from[1] - middle[1]) * out[1]
    return (-out[0], -out[1]) if inwards > 0 else out


def _off_middle(line: Outline) -> tuple[Point, Point]:
    """A point of a polyline between its middle and its quarter, where no mark is, and its direction there."""
    wanted, gone = 0.375 * _length(line), 0.0
    for a, b in zip(line, line[1:], strict=False):
        step = math.dist(a, b)
        if gone + step >= wanted and step > 0:
            part = (wanted - gone) / step
            way = ((b[0] - a[0]) / step, (b[1] - a[1]) / step)
            return (a[0] + part * (b[0] - a[0]), a[1] + part * (b[1] - a[1])), way
        gone += step
    return (line[0][0], line[0][1]), (1.0, 0.0)


# -- what is rolled to a cylinder ------------------------------------------------


def _seam(segment: Segment, scale: float, size: float, left: float) -> Iterator[Item]:
    low, high = (segment[f"edge_{name}"][0] for name in "ab")
    x = left - 1.3 * size
    ends = [(x, point[1] * scale) for point in (low, high)]
    for point, end in zip((low, high), ends, strict=True):
        yield extension((point[0] * scale, point[1] * scale), end, size)
    yield from along(ends[0], ends[1], (-1, 0), f"seam {inches(math.dist(low, high))}", size)


def _hole_heights(segment: Segment, left: float, scale: float, size: float) -> Iterator[Item]:
    """At the left: from edge A to the hole, and how high the hole is."""
    for hole in segment.get("holes") or ():
        _, bottom, _, top = box(hole)
        middle = (box(hole)[0] + box(hole)[2]) / 2
        base = min(segment["edge_a"], key=lambda point: abs(point[0] - middle))[1]
        x = left - 1.3 * size
        for level in (base, bottom, top):
            at = left if level == base else middle * scale
            yield extension((at, level * scale), (x, level * scale), size)
        yield from along((x, base * scale), (x, bottom * scale), (-1, 0), inches(bottom - base), size)
        yield from along((x, bottom * scale), (x, top * scale), (-1, 0), inches(top - bottom), size)


def _mark_names(
    segment: Segment, left: float, right: float, top: float, scale: float, size: float
) -> Iterator[Item]:
    """Names over the marks, with the length of the throat and the heel; equal names far apart stand twice."""
    rows: list[list[tuple[float, float]]] = [[], []]
    marks = sorted(marks_and_seam(segment), key=lambda mark: (mark["name"] == "side", mark["line"][0][0]))
    told: set[str] = set()
    places: set[tuple[str, int]] = set()
    for mark in marks:
        name = str(mark["name"])
        x = scale * sum(point[0] for point in mark["line"]) / len(mark["line"])
        if (name, round(x)) in places:
            continue  # parted by a hole
        length = segment.get(name) if name in ("throat", "heel") and name not in told else None
        text = f"{name} {inches(length)}" if length is not None else name
        half = len(text) * ADVANCE * size / 2
        at = min(max(x, left + half), right - half) if right - left > 2 * half else x
        begin, end = at - half - 0.4 * size, at + half + 0.4 * size
        levels = (0, 1) if length is not None else (0,)
        free = [n for n in levels if not any(begin < b and a < end for a, b in rows[n])]
        if not free:
            continue
        told.add(name)
        places.add((name, round(x)))
        rows[free[0]].append((begin, end))
        base = top + (1.0 + 1.3 * free[0]) * size
        highest = scale * max(point[1] for other in marks for point in other["line"] if other is mark)
        if not any(a < x < b for a, b in rows[0]) or not free[0]:
            yield Path(((x, max(highest, top)), (x, base - 0.3 * size)), "dimension")
        yield Text(at, base, text, size)


def marks_and_seam(segment: Segment) -> list[Mapping[str, Any]]:
    """The marks, and the throat or heel that lies on the seam and so needs no mark on the metal."""
    marks = list(segment.get("marks") or ())
    at = _element_at_seam(segment)
    if at and segment.get(at) is not None and at not in [mark["name"] for mark in marks]:
        edges = [segment["edge_a"][0], segment["edge_b"][0]]
        marks.append({"name": at, "line": edges})
    return marks


# -- plates ------------------------------------------------------------------------


def plate_numbers(
    segment: Segment, boxes: Sequence[Box], scale: float, size: float, lowest: float
) -> Iterator[Item]:
    """Under each plate its number and its blank, in rows where they would run together."""
    count = len(boxes)
    words = []
    for number, (left, _, right, _) in enumerate(boxes, 1):
        blank = segment["plates"][number - 1].get("blank") or {}
        text = f"{inches(blank['width'])[:-3]} × {inches(blank['height'])}" if blank else ""
        words.append(((left + right) / 2 * scale, f"plate {number} of {count}", text))
    nearest = min((b[0] - a[0] for a, b in zip(words, words[1:], strict=False)), default=math.inf)
    y = lowest
    for column, role in ((1, "label"), (2, "text")):
        widest = max(len(word[column]) for word in words) * ADVANCE * size + 0.5 * size
        rows = min(count, math.ceil(widest / max(nearest, 1e-6)))
        for number, word in enumerate(words):
            if word[column]:
                yield Text(word[0], y - 1.3 * size * (1 + number % rows), word[column], size, role=role)
        y -= 1.3 * size * rows
