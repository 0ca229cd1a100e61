"""The side of a gored elbow, with its own gores and proportions.

Model: the centre of the bend is the origin, end A looks down with its axis at x = R, the duct bends counter-clockwise.
Mitre j (1 … N−1) lies on the ray at (2j − 1)·α from end A; throat and heel polygons are tangent to the arcs R ∓ r, so
their corners are at (R ∓ r) / cos α on the mitres and at R ∓ r on the square ends.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from fittings.drawing.dimensions import across, along, arrow, beside, extension, inches
from fittings.drawing.facts import Development, Elbow, elbow, fitting_text
from fittings.drawing.scene import ADVANCE, ASCENT, Item, Path, Point, Scene, Text, arc, bounds, fitted
from shared.units import plain_number

HIGHEST = 1e4  # no fitting is larger; keeps a flat mitre from running away


def cross_section(found: Elbow, joint: int, across_part: float) -> Point:
    """A point of the cut between segments `joint` and `joint + 1`, in inches.

    joint        0 is end A, `pieces` is end B, between them the mitres
    across_part  −1 is the throat, 0 the axis, 1 the heel
    """
    reach = found.centerline_radius + across_part * found.radius
    if joint in (0, found.pieces):
        angle = 0.0 if joint == 0 else math.radians(found.angle)
        collar = found.collar_a if joint == 0 else found.collar_b
        back = -collar if joint == 0 else collar
        return (
            reach * math.cos(angle) - back * math.sin(angle),
            reach * math.sin(angle) + back * math.cos(angle),
        )
    angle = (2 * joint - 1) * found.half_angle
    reach = min(reach / math.cos(found.half_angle), HIGHEST)
    return (reach * math.cos(angle), reach * math.sin(angle))


def segment_outline(found: Elbow, position: int) -> tuple[Point, ...]:
    """The four corners of a segment as seen from the side, inches: throat, heel, heel, throat."""
    before, after = position - 1, position
    return (
        cross_section(found, before, -1),
        cross_section(found, before, 1),
        cross_section(found, after, 1),
        cross_section(found, after, -1),
    )


def is_centre_far(found: Elbow) -> bool:
    """Whether the centre of the bend lies so far off that drawing it would make the fitting small."""
    long = math.radians(found.angle) * found.centerline_radius + found.collar_a + found.collar_b
    return found.centerline_radius - found.radius > 1.6 * max(long, 2 * found.radius)


def outline_items(
    found: Elbow, scale: float, *, highlight: int | None, seams: dict[int, float]
) -> Iterator[Item]:
    """The fitting itself. `seams`: start angle [deg] by position, for those whose seam is drawn."""

    def paper(point: Point) -> Point:
        return (point[0] * scale, point[1] * scale)

    pieces = found.pieces
    if highlight is not None and 1 <= highlight <= pieces:
        yield Path(tuple(paper(p) for p in segment_outline(found, highlight)), "picked", closed=True)
    thickness = 2 * (found.centerline_radius - found.radius / 2) * math.tan(found.half_angle) * scale
    every = max(1, math.ceil(2.2 / max(thickness, 0.01)))
    for joint in range(1, pieces):
        if joint % every and joint not in (highlight, (highlight or 0) - 1):
            continue
        ends = (cross_section(found, joint, -1), cross_section(found, joint, 1))
        yield Path(tuple(paper(p) for p in ends), "joint")
    throat = [paper(cross_section(found, joint, -1)) for joint in range(pieces + 1)]
    heel = [paper(cross_section(found, joint, 1)) for joint in range(pieces + 1)]
    yield Path((*throat, *reversed(heel)), "outline", closed=True)
    for position, angle in seams.items():
        part = -math.cos(math.radians(angle))
        ends = (cross_section(found, position - 1, part), cross_section(found, position, part))
        behind = math.sin(math.radians(angle)) < -0.01
        yield Path(tuple(paper(p) for p in ends), "hidden" if behind else "seam")


def elbow_scene(
    development: Development,
    *,
    width: float,
    height: float,
    text_size: float,
    highlight: int | None = None,
) -> Scene:
    """The elevation with its dimensions: radii, diameter, angle, collars; ends and positions are named."""
    found = elbow(development)
    seams = {
        int(segment["position"]): float(segment["start_angle"])
        for segment in development["segments"]
        if segment.get("start_angle") is not None
    }

    def build(scale: float) -> list[Item]:
        items = list(outline_items(found, scale, highlight=highlight, seams=seams))
        fitting = bounds(items)
        items += _positions(found, scale, text_size)
        items += _ends(found, scale, text_size)
        items += _angle(found, scale, text_size)
        items += _radii(found, scale, text_size, fitting[1], fitting[0])
        items += _collars(found, scale, text_size)
        return items

    return _fitted(found, build, width, height, pad=text_size * 0.5, title=_title(development, highlight))


def elbow_icon(
    development: Development, *, width: float, height: float, highlight: int | None = None
) -> Scene:
    """The elevation as a small line drawing: no dimensions."""
    found = elbow(development)

    def build(scale: float) -> list[Item]:
        return list(outline_items(found, scale, highlight=highlight, seams={}))

    return _fitted(found, build, width, height, pad=width / 24, title=_title(development, highlight))


def _fitted(found: Elbow, build, width: float, height: float, *, pad: float, title: str) -> Scene:
    corners = [cross_section(found, joint, part) for joint in range(found.pieces + 1) for part in (-1, 1)]
    wide = max(x for x, _ in corners) - min(x for x, _ in corners)
    high = max(y for _, y in corners) - min(y for _, y in corners)
    return fitted(
        build, model_width=wide, model_height=high, width=width, height=height, pad=pad, title=title
    )


def _title(development: Development, highlight: int | None) -> str:
    text = fitting_text(development)
    if highlight is None:
        return text
    return f"{text}; gore {highlight} of {len(development['segments'])}"


def _positions(found: Elbow, scale: float, size: float) -> Iterator[Item]:
    """Position numbers, where every gore is thick enough to hold one."""
    digits = len(str(found.pieces)) * ADVANCE * size
    thinnest = (
        scale * 2 * found.centerline_radius * math.tan(found.half_angle) / (2 if found.pieces > 2 else 1)
    )
    if thinnest < 1.1 * math.hypot(digits, ASCENT * size) or 2 * found.radius * scale < 2 * size:
        return
    for position in range(1, found.pieces + 1):
        corners = [cross_section(found, position - 1, 0.36), cross_section(found, position, 0.36)]
        x = scale * (corners[0][0] + corners[1][0]) / 2
        y = scale * (corners[0][1] + corners[1][1]) / 2
        yield Text(x, y - ASCENT * size / 2, str(position), size, role="label")


def _ends(found: Elbow, scale: float, size: float) -> Iterator[Item]:
    """The letters of the ends, off the middle of their faces."""
    x, y = cross_section(found, 0, 0)
    yield Text(x * scale + 0.85 * size, y * scale - 1.35 * size, "A", size, role="label")
    b = cross_section(found, found.pieces, 0)
    angle = math.radians(found.angle)
    yield beside((b[0] * scale, b[1] * scale), (-math.sin(angle), math.cos(angle)), "B", size, role="label")


def _angle(found: Elbow, scale: float, size: float) -> Iterator[Item]:
    """The angle of the bend round its centre: an arc where there is room inside the throat, else beside the centre."""
    angle = math.radians(found.angle)
    text = f"{plain_number(found.angle, 2)}°"
    if is_centre_far(found):
        x, y = (
            cross_section(found, found.pieces // 2, -1)
            if found.pieces % 2 == 0
            else (
                (found.centerline_radius - found.radius) * math.cos(angle / 2),
                (found.centerline_radius - found.radius) * math.sin(angle / 2),
            )
        )
        yield beside((x * scale, y * scale), (-math.cos(angle / 2), -math.sin(angle / 2)), text, size)
        return
    wide = len(text) * ADVANCE * size
    throat = scale * (found.centerline_radius - found.radius)
    cross = 0.35 * size
    yield Path(((-cross, 0), (cross, 0)), "centre")
    yield Path(((0, -cross), (0, cross)), "centre")
    middle = (math.cos(angle / 2), math.sin(angle / 2))
    box = math.hypot(wide, ASCENT * size)
    radius = 0.62 * throat
    if radius < box * 0.75 + size or angle * radius < 2.2 * size:
        if throat > wide + 1.2 * size and angle > 1.0:
            yield Text(middle[0] * 0.52 * throat, middle[1] * 0.52 * throat - ASCENT * size / 2, text, size)
            return
        yield beside((-0.5 * size * middle[0], -0.5 * size * middle[1]), (-middle[0], -middle[1]), text, size)
        return
    for ray in (0.0, angle):
        far = (throat - 0.3 * size, 0.0)
        near = (0.7 * size, 0.0)
        cosine, sine = math.cos(ray), math.sin(ray)
        yield Path(
            ((near[0] * cosine, near[0] * sine), (far[0] * cosine, far[0] * sine)),
            "dimension",
        )
    yield Path(arc(radius, 0.0, angle), "dimension")
    yield arrow((radius, 0.0), (0, -1), size)
    yield arrow(
        (radius * math.cos(angle), radius * math.sin(angle)), (-math.sin(angle), math.cos(angle)), size
    )
    reach = radius - 0.35 * size - box / 2
    yield Text(middle[0] * reach, middle[1] * reach - ASCENT * size / 2, text, size)


def _radii(found: Elbow, scale: float, size: float, bottom: float, left: float) -> Iterator[Item]:
    """Below the fitting: centreline radius, and under it throat radius and diameter."""
    centre = scale * found.centerline_radius
    throat = scale * (found.centerline_radius - found.radius)
    heel = scale * (found.centerline_radius + found.radius)
    face = -scale * found.collar_a
    first = bottom - 2.4 * size
    second = first - 1.75 * size
    yield extension((throat, face), (throat, second), size)
    yield extension((heel, face), (heel, second), size)
    yield Path(((centre, face - 0.3 * size), (centre, first - 0.35 * size)), "centre")
    yield from across(throat, heel, second, f"Ø {inches(2 * found.radius)}", size, overflow="right")
    radius_text = f"R {inches(found.centerline_radius)}"
    throat_radius = found.centerline_radius - found.radius
    if is_centre_far(found):
        # Foreshortened: the lines run towards the centre and break off.
        for end, y, text in (
            (centre, first, radius_text),
            (throat, second, f"throat R {inches(throat_radius)}"),
        ):
            start = min(left, end - 4 * size)
            yield Path(((start, y), (end, y)), "dimension")
            zigzag = ((start, y), (start - 0.3 * size, y + 0.5 * size), (start - 0.6 * size, y - 0.5 * size))
            yield Path((*zigzag, (start - 0.9 * size, y), (start - 1.6 * size, y)), "dimension")
            yield arrow((end, y), (1, 0), size)
            yield Text(start - 1.9 * size, y - ASCENT * size / 2, text, size, anchor="end")
        return
    yield extension((0, -0.5 * size), (0, second if throat_radius > 0.01 else first), size)
    yield from across(0, centre, first, radius_text, size, overflow="left", avoid=(throat,))
    if throat_radius > 0.01:
        text = f"throat R {inches(throat_radius)}"
        long = throat >= 2.1 * size + len(text) * ADVANCE * size
        yield from across(
            0, throat, second, text if long else text.removeprefix("throat "), size, overflow="left"
        )


def _collars(found: Elbow, scale: float, size: float) -> Iterator[Item]:
    """Straight collars, measured outside the heel."""
    angle = math.radians(found.angle)
    off = 1.3 * size
    heel = scale * (found.centerline_radius + found.radius)
    for length, turn, sign in ((found.collar_a, 0.0, -1), (found.collar_b, angle, 1)):
        if not length:
            continue
        outward = (math.cos(turn), math.sin(turn))
        tangent = (-math.sin(turn) * sign, math.cos(turn) * sign)
        begin = (outward[0] * heel, outward[1] * heel)
        end = (begin[0] + tangent[0] * length * scale, begin[1] + tangent[1] * length * scale)
        lines = []
        for point in (begin, end):
            lines.append((point[0] + outward[0] * off, point[1] + outward[1] * off))
            yield extension(point, lines[-1], size)
        yield from along(lines[0], lines[1], outward, inches(length), size)
