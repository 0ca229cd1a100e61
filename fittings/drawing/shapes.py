"""The sides of fittings other than elbows: what is seen, which part is which segment, and what is measured.

End A is down, as with elbows. Lengths in inches, x to the right, y upwards; a shape needs nothing but the dimensions of
the development, and a development without them raises KeyError: whoever draws then falls back to the flat pattern.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from fittings.drawing.dimensions import inches
from fittings.drawing.facts import Development
from fittings.drawing.scene import Point
from shared.units import plain_number

Sizes = Mapping[str, float]


@dataclass(frozen=True)
class Shape:
    """lines: (role, points, closed); parts: outline by segment position; measures: (side, from, to, text).

    A measure's side is "below" or "above" (from and to are x) or "right" (they are y). Notes stand under the drawing.
    """

    lines: tuple[tuple[str, tuple[Point, ...], bool], ...]
    measures: tuple[tuple[str, float, float, str], ...]
    parts: Mapping[int, tuple[Point, ...]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def shape_of(development: Development) -> Shape:
    """The shape of a development; KeyError where its kind or a dimension is not known here."""
    sizes = {
        name: float(value)
        for name, value in development["dimensions"].items()
        if isinstance(value, int | float)
    }
    return SHAPES[development["kind"]](sizes, development)


def pipe(sizes: Sizes, development: Development) -> Shape:
    half, length = sizes["diameter"] / 2, sizes["length"]
    body = _box(-half, 0, half, length)
    axis = ("centre", ((0, -0.06 * length), (0, 1.06 * length)), False)
    measures = (("below", -half, half, _diameter(2 * half)), ("right", 0, length, inches(length)))
    return Shape((("outline", body, True), axis), measures, {1: body})


def end_cap(sizes: Sizes, development: Development) -> Shape:
    half, depth = sizes["diameter"] / 2, sizes["depth"]
    body = _box(-half, 0, half, depth)
    measures = (("below", -half, half, _diameter(2 * half)), ("right", 0, depth, inches(depth)))
    return Shape(
        (("outline", body, True), ("centre", ((0, -depth), (0, 2 * depth)), False)), measures, {1: body}
    )


def reducer(sizes: Sizes, development: Development) -> Shape:
    a, b, length = sizes["diameter_a"] / 2, sizes["diameter_b"] / 2, sizes["length"]
    offset = sizes.get("offset", 0.0)
    collar_a, collar_b = sizes.get("collar_a", 0.0), sizes.get("collar_b", 0.0)
    bottom, top = collar_a, collar_a + length
    left = [(-a, 0.0), (-a, bottom), (offset - b, top), (offset - b, top + collar_b)]
    right = [(a, 0.0), (a, bottom), (offset + b, top), (offset + b, top + collar_b)]
    body = _without_repeats([*right, *reversed(left)])
    lines = [("outline", body, True)]
    lines += [
        ("joint", (left[at], right[at]), False) for at, collar in ((1, collar_a), (2, collar_b)) if collar
    ]
    measures = [
        ("below", -a, a, _diameter(2 * a)),
        ("above", offset - b, offset + b, _diameter(2 * b)),
        ("right", bottom, top, inches(length)),
    ]
    if collar_a:
        measures.append(("right", 0, bottom, inches(collar_a)))
    if collar_b:
        measures.append(("right", top, top + collar_b, inches(collar_b)))
    notes = (f"offset {inches(offset)}",) if offset else ()
    return Shape(tuple(lines), tuple(measures), {1: body}, notes)


def offset_bend(sizes: Sizes, development: Development) -> Shape:
    """Two bends of N pieces, one turned half round about the middle of the other."""
    half, radius, rise = sizes["diameter"] / 2, sizes["centerline_radius"], sizes["offset"]
    angle = math.radians(sizes["angle"])
    straight = max((rise - 2 * radius * (1 - math.cos(angle))) / math.sin(angle), 0.0)
    length = sizes.get("length") or 2 * radius * math.sin(angle) + straight * math.cos(angle)
    count = len(development["segments"])
    pieces = int(sizes.get("pieces") or (count + 1) // 2)
    alpha = angle / (2 * (pieces - 1))

    def at(reach: float, turn: float, far: float) -> Point:
        return (reach * far * math.cos(turn) - radius, reach * far * math.sin(turn))

    turns = [(2 * j - 1) * alpha for j in range(1, pieces)]
    first = [
        ((radius - half - radius, 0.0), (half, 0.0)),
        *(
            (at(radius - half, t, 1 / math.cos(alpha)), at(radius + half, t, 1 / math.cos(alpha)))
            for t in turns
        ),
    ]

    def opposite(point: Point) -> Point:
        return (-rise - point[0], length - point[1])

    second = [(opposite(heel), opposite(throat)) for throat, heel in reversed(first)]
    middle = []
    if count == 2 * pieces:
        ends = (first[-1], second[0])
        middle = [tuple(((p[0] + q[0]) / 2, (p[1] + q[1]) / 2) for p, q in zip(*ends, strict=True))]
    cuts = [*first, *middle, *second]
    left, right = [cut[0] for cut in cuts], [cut[1] for cut in cuts]
    lines = [("outline", (*right, *reversed(left)), True), *(("joint", cut, False) for cut in cuts[1:-1])]
    parts = {
        number: (cuts[number - 1][0], cuts[number - 1][1], cuts[number][1], cuts[number][0])
        for number in range(1, len(cuts))
    }
    measures = (
        ("below", -half, half, _diameter(2 * half)),
        ("above", -rise, 0.0, inches(rise)),
        ("right", 0.0, length, inches(length)),
    )
    notes = (f"{plain_number(sizes['angle'], 2)}°, R {inches(radius)}",)
    return Shape(tuple(lines), measures, parts, notes)


def tee(sizes: Sizes, development: Development) -> Shape:
    half, length = sizes["diameter"] / 2, sizes["length"]
    run = _box(-half, 0, half, length)
    branch = _branch(sizes, half, length / 2)
    roles = {str(segment["role"]): int(segment["position"]) for segment in development["segments"]}
    branch_at = next((position for role, position in roles.items() if "branch" in role), 2)
    measures = (("below", -half, half, _diameter(2 * half)), ("right", 0, length, inches(length)))
    lines = (("outline", run, True), ("outline", branch, True), ("centre", ((0, 0), (0, length)), False))
    parts = {3 - branch_at if branch_at in (1, 2) else 1: run, branch_at: branch}
    return Shape(lines, measures, parts, _branch_notes(sizes))


def saddle(sizes: Sizes, development: Development) -> Shape:
    """The branch; the main that it sits on is drawn as hidden."""
    half = sizes["diameter"] / 2
    tall = 1.3 * max(
        sizes["diameter"], sizes["branch_diameter"] / math.sin(math.radians(sizes.get("angle", 90)))
    )
    main = _box(-half, 0, half, tall)
    branch = _branch(sizes, half, tall / 2)
    measures = (("below", -half, half, _diameter(2 * half)),)
    lines = (("hidden", main, True), ("outline", branch, True))
    return Shape(lines, measures, {1: branch}, _branch_notes(sizes))


def square_to_round(sizes: Sizes, development: Development) -> Shape:
    wide, half, length = sizes["width"] / 2, sizes["diameter"] / 2, sizes["length"]
    offset = sizes.get("offset_x", 0.0)
    body = ((-wide, 0), (wide, 0), (offset + half, length), (offset - half, length))
    folds = [("fold", (corner, (offset, length)), False) for corner in body[:2]]
    measures = (
        ("below", -wide, wide, inches(2 * wide)),
        ("above", offset - half, offset + half, _diameter(2 * half)),
        ("right", 0.0, length, inches(length)),
    )
    notes = [f"opening {inches(2 * wide)} × {inches(sizes['height'])}"]
    if offset or sizes.get("offset_y"):
        notes.append(f"offset {inches(offset)} × {inches(sizes.get('offset_y', 0.0))}")
    parts = {int(segment["position"]): body for segment in development["segments"]}
    return Shape((("outline", body, True), *folds), measures, parts, tuple(notes))


def _branch(sizes: Sizes, half: float, height: float) -> tuple[Point, ...]:
    """The branch from where it meets the run's surface, seen from the side, to its free end.

    A ruling of the branch at angle β lies u = r cos β across and z = r sin β in front; it meets x = √(R² − z²).
    """
    branch = min(sizes["branch_diameter"] / 2, half)
    turn = math.radians(sizes.get("angle", 90.0))
    aside = sizes.get("branch_offset", 0.0)
    along = (math.sin(turn), math.cos(turn))
    across = (-math.cos(turn), math.sin(turn))
    foot = []
    for step in range(25):
        beta = math.pi * step / 24
        u, z = branch * math.cos(beta), branch * math.sin(beta) + aside
        x = math.sqrt(max(half * half - min(abs(z), half) ** 2, 0.0))
        t = (x - u * across[0]) / along[0]
        foot.append((x, height + t * along[1] + u * across[1]))
    end = sizes["branch_length"]
    tip = (end * along[0], height + end * along[1])
    high = (tip[0] + branch * across[0], tip[1] + branch * across[1])
    low = (tip[0] - branch * across[0], tip[1] - branch * across[1])
    return (high, *foot, low)


def _branch_notes(sizes: Sizes) -> tuple[str, ...]:
    notes = [f"branch {_diameter(sizes['branch_diameter'])}, {inches(sizes['branch_length'])} from axis"]
    turn = f"{plain_number(sizes.get('angle', 90.0), 2)}°"
    aside = sizes.get("branch_offset", 0.0)
    notes.append(f"{turn}, {inches(aside)} off centre" if aside else turn)
    return tuple(notes)


def _diameter(value: float) -> str:
    return f"Ø {inches(value)}"


def _box(left: float, bottom: float, right: float, top: float) -> tuple[Point, ...]:
    return ((left, bottom), (right, bottom), (right, top), (left, top))


def _without_repeats(points: list[Point]) -> tuple[Point, ...]:
    return tuple(point for at, point in enumerate(points) if point != points[at - 1])


SHAPES: dict[str, Callable[[Sizes, Development], Shape]] = {
    "pipe": pipe,
    "end_cap": end_cap,
    "reducer": reducer,
    "offset": offset_bend,
    "tee": tee,
    "saddle": saddle,
    "square_to_round": square_to_round,
}
