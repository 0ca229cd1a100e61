"""Flat patterns of segments: what the table cuts, the net outline in it, the marks, and the numbers to check it by."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from fittings.drawing.dimensions import across, along, arrow, extension, inches
from fittings.drawing.facts import Development, positions_text, role_title, seam_text
from fittings.drawing.scene import ADVANCE, Item, Path, Scene, Text, bounds, fitted, thinned

Segment = Mapping[str, Any]
PLATE_GAP = 0.04  # between plates drawn side by side, of the whole length


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
    whole = box(list(cut) + list(segment["net_outline"]))
    plates = _placed_plates(segment, whole)
    bottom = min([whole[1], *(box(points)[1] for points in plates)])
    right = max([whole[2], *(box(points)[2] for points in plates)])

    def build(scale: float) -> list[Item]:
        least = 0.15 / scale

        def path(points, role: str, closed: bool = True) -> Path:
            return Path(tuple((x * scale, y * scale) for x, y in thinned(points, least)), role, closed)

        items: list[Item] = [path(cut, "cut"), path(segment["net_outline"], "net")]
        items += [path(mark["line"], "mark", False) for mark in segment.get("marks") or ()]
        items += list(_numbers(segment, whole, scale, text_size))
        if plates:
            items += [path(points, "cut") for points in plates]
            items += list(_plate_numbers(segment, plates, scale, text_size, bounds(items)[1]))
        return items

    return fitted(
        build,
        model_width=right - whole[0],
        model_height=whole[3] - bottom,
        width=width,
        height=height,
        pad=text_size * 0.5,
        title=_title(development, segment),
    )


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
    marks = _marks_and_seam(segment) if drawn is segment else drawn.get("marks") or ()
    cut = outline_of(drawn)
    left, bottom, right, top = box(cut)
    mark_size = min(width / 20, height / 5)

    def build(scale: float) -> list[Item]:
        def path(points, role: str, closed: bool) -> Path:
            return Path(tuple((x * scale, y * scale) for x, y in thinned(points, 0.3 / scale)), role, closed)

        items: list[Item] = [path(cut, "picked", True)] if highlight else []
        items.append(path(cut, "outline", True))
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
    if segment.get("throat") is not None:
        text += f", throat {inches(segment['throat'])}, heel {inches(segment['heel'])}"
    return text


def _placed_plates(
    segment: Segment, whole: tuple[float, float, float, float]
) -> list[list[tuple[float, float]]]:
    """The plates' cut outlines in a row under the whole pattern, model inches."""
    placed = []
    gap = PLATE_GAP * (whole[2] - whole[0])
    plates = segment.get("plates") or ()
    if not plates:
        return []
    highest = max(box(plate["cut_outline"])[3] - box(plate["cut_outline"])[1] for plate in plates)
    x, y = whole[0], whole[1] - highest - 4 * gap
    for plate in plates:
        left, bottom, right, _ = box(plate["cut_outline"])
        placed.append([(px - left + x, py - bottom + y) for px, py in plate["cut_outline"]])
        x += right - left + gap
    return placed


def _numbers(
    segment: Segment, whole: tuple[float, float, float, float], scale: float, size: float
) -> Iterator[Item]:
    """Marks' names and lengths above; stretch-out, lap and blank below; blank height at the right."""
    left, bottom, right, top = (part * scale for part in whole)
    yield from _mark_names(segment, left, right, top, scale, size)
    net_left, net_bottom, net_right, _ = (part * scale for part in box(segment["net_outline"]))
    first = bottom - 1.7 * size
    blank = segment.get("blank") or {}
    if (
        segment.get("stretch_out")
        and abs(net_right - net_left - segment["stretch_out"] * scale) < 0.02 * scale
    ):
        yield extension((net_left, net_bottom), (net_left, first), size)
        yield extension((net_right, net_bottom), (net_right, first), size)
        yield from across(net_left, net_right, first, f"stretch-out {inches(segment['stretch_out'])}", size)
        first -= 1.75 * size
    if blank:
        yield extension((left, bottom), (left, first), size)
        yield extension((right, bottom), (right, first), size)
        yield from across(left, right, first, f"blank {inches(blank['width'])}", size)
        if segment.get("lap"):
            text = f"lap {inches(segment['lap'])}"
            yield Text(right + 0.9 * size, first - 0.38 * size, text, size, anchor="start")
        line = right + 1.3 * size
        yield extension((right, bottom), (line, bottom), size)
        yield extension((right, top), (line, top), size)
        yield from along((line, bottom), (line, top), (1, 0), inches(blank["height"]), size)


def _mark_names(
    segment: Segment, left: float, right: float, top: float, scale: float, size: float
) -> Iterator[Item]:
    """Names over the marks, with the length of the throat and the heel; equal names far apart stand twice."""
    rows: list[list[tuple[float, float]]] = [[], []]
    marks = sorted(_marks_and_seam(segment), key=lambda mark: (mark["name"] == "side", mark["line"][0][0]))
    told: set[str] = set()
    for mark in marks:
        name = str(mark["name"])
        x = scale * sum(point[0] for point in mark["line"]) / len(mark["line"])
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
        rows[free[0]].append((begin, end))
        base = top + (1.0 + 1.3 * free[0]) * size
        highest = scale * max(point[1] for point in mark["line"])
        if not any(a < x < b for a, b in rows[0]) or not free[0]:
            yield Path(((x, highest), (x, base - 0.3 * size)), "dimension")
        yield Text(at, base, text, size)


def _marks_and_seam(segment: Segment) -> list[Mapping[str, Any]]:
    """The marks, and the throat or heel that lies on the seam and so needs no mark on the metal."""
    marks = list(segment.get("marks") or ())
    at = seam_text(segment)
    if (
        at in ("throat", "heel")
        and segment.get(at) is not None
        and at not in [mark["name"] for mark in marks]
    ):
        edges = [segment["edge_a"][0], segment["edge_b"][0]]
        marks.append({"name": at, "line": edges})
    return marks


def _plate_numbers(
    segment: Segment, plates: list, scale: float, size: float, lowest: float
) -> Iterator[Item]:
    count = len(plates)
    for number, points in enumerate(plates, 1):
        left, bottom, right, _ = (part * scale for part in box(points))
        blank = segment["plates"][number - 1].get("blank") or {}
        text = f"plate {number} of {count}"
        yield Text((left + right) / 2, bottom - 1.3 * size, text, size, role="label")
        if blank:
            text = f"{inches(blank['width'])[:-3]} × {inches(blank['height'])}"
            yield Text((left + right) / 2, bottom - 2.6 * size, text, size)


def group_text(positions: tuple[int, ...], pieces: int) -> str:
    """Which segments share a pattern: "2–4 of 5, 3 equal"."""
    text = f"{positions_text(positions)} of {pieces}"
    return f"{text}, {len(positions)} equal" if len(positions) > 1 else text


def seam_note(segment: Segment) -> str:
    at = seam_text(segment)
    return f"seam at {at}" if at else ""
