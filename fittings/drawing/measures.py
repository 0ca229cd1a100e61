"""What is measured on the side of each kind: anchored on the formed fitting, figures from its dimensions.

Lines are those of the mean surface (see `solid`), figures are the inside dimensions of the order. x to the right, y up.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from fittings.drawing.dimensions import inches
from fittings.drawing.facts import Development
from fittings.drawing.scene import Point
from fittings.drawing.solid import SIDE, Solid, is_plane
from shared.units import plain_number

Sizes = Mapping[str, float]


@dataclass(frozen=True)
class Face:
    """A free end seen from its side: letter, its two outermost points, and the direction out of the duct (unit)."""

    letter: str
    start: Point
    end: Point
    outward: Point
    centre: tuple[float, float, float]  # in space, and the direction out of the duct there
    normal: tuple[float, float, float]

    @property
    def middle(self) -> Point:
        return ((self.start[0] + self.end[0]) / 2, (self.start[1] + self.end[1]) / 2)

    @property
    def half(self) -> float:
        return math.dist(self.start, self.end) / 2


@dataclass(frozen=True)
class Level:
    """A dimension line across, under or over everything; `start` and `end` are where its extension lines begin."""

    start: Point
    end: Point
    text: str
    is_below: bool = True


@dataclass(frozen=True)
class Upright:
    """A dimension line up, beside everything."""

    start: Point
    end: Point
    text: str
    is_right: bool = True


@dataclass(frozen=True)
class Along:
    """A dimension line of any direction, beside what it measures; `off` is how far that reaches to the side [in]."""

    start: Point
    end: Point
    outward: Point
    text: str
    off: float = 0.0


Measure = Level | Upright | Along


@dataclass(frozen=True)
class View:
    """What is drawn round the side of a fitting. `extra`: lines (role, points, closed) that the solid lacks."""

    faces: tuple[Face, ...]
    measures: tuple[Measure, ...]
    notes: tuple[str, ...] = ()
    centres: tuple[tuple[Point, Point], ...] = ()
    extra: tuple[tuple[str, tuple[Point, ...], bool], ...] = ()


def view_of(development: Development, solid: Solid) -> View:
    """The view of a development; a kind without one of its own has the sizes of its ends and its extents."""
    sizes = {
        name: float(value)
        for name, value in development["dimensions"].items()
        if isinstance(value, int | float)
    }
    faces = faces_of(development, solid)
    made = VIEWS.get(str(development["kind"]), _any)
    try:
        return made(sizes, faces, solid)
    except KeyError:
        return _any(sizes, faces, solid)


def faces_of(development: Development, solid: Solid) -> dict[str, Face]:
    """The free ends by their letter in the development."""
    found: dict[str, Face] = {}
    for end in development.get("free_ends") or ():
        position = int(end["segment"])
        rows = [edge for edge in solid.edges if edge.position == position and not edge.is_joint]
        wanted = "a" if end["end"] == "a" else "b"
        rows = [edge for edge in rows if edge.row == wanted] or rows
        flat = [edge for edge in rows if is_plane(edge.points)] or rows
        if flat:
            found[end["end"]] = _face(end, np.concatenate([e.points for e in flat]), solid, position)
    return found


def _face(end: Mapping, points: np.ndarray, solid: Solid, position: int) -> Face:
    centred = points - points.mean(axis=0)
    normal = np.linalg.svd(centred, full_matrices=False)[2][2]
    body = np.concatenate([row for strip in solid.of(position) for row in (strip.a, strip.b)])
    if normal @ (points.mean(axis=0) - body.mean(axis=0)) < 0:
        normal = -normal
    seen = normal[SIDE] / max(np.hypot(*normal[SIDE]), 1e-9)
    across = np.array([-seen[1], seen[0]])
    flat = points[:, SIDE]
    along = flat @ across
    start, stop = flat[np.argmin(along)], flat[np.argmax(along)]
    letter = str(end["end"]).upper()
    centre = (points.min(axis=0) + points.max(axis=0)) / 2
    return Face(letter, _point(start), _point(stop), _point(seen), tuple(centre), tuple(normal))


def _point(array: np.ndarray) -> Point:
    return (float(array[0]), float(array[1]))


# -- parts of views ------------------------------------------------------------


def _across(face: Face, text: str) -> Measure:
    """The size of an end, measured beside its face."""
    ends = sorted((face.start, face.end))
    if abs(face.outward[0]) < 1e-3:
        return Level(ends[0], ends[1], text, is_below=face.outward[1] < 0)
    if abs(face.outward[1]) < 1e-3:
        ends.sort(key=lambda point: point[1])
        return Upright(ends[0], ends[1], text, is_right=face.outward[0] > 0)
    return Along(face.start, face.end, face.outward, text)


def _diameter(value: float) -> str:
    return f"Ø {inches(value)}"


def _right(face: Face) -> Point:
    return max(face.start, face.end)


def _left(face: Face) -> Point:
    return min(face.start, face.end)


def _axis(start: Point, end: Point) -> tuple[Point, Point]:
    return (start, end)


def _between(solid: Solid, low: Face, high: Face, text: str, *, is_right: bool = True) -> Upright:
    side = _right if is_right else _left
    return Upright(side(low), side(high), text, is_right)


# -- the kinds -------------------------------------------------------------------


def pipe(sizes: Sizes, faces: Mapping[str, Face], solid: Solid) -> View:
    a, b = faces["a"], faces["b"]
    measures = (
        _across(a, _diameter(sizes["diameter"])),
        _between(solid, a, b, inches(sizes["length"])),
    )
    return View((a, b), measures, centres=(_axis(a.middle, b.middle),))


def end_cap(sizes: Sizes, faces: Mapping[str, Face], solid: Solid) -> View:
    a = faces["a"]
    top = solid.outline.bounds[3]
    right = _right(a)
    measures = (
        _across(a, _diameter(sizes["diameter"])),
        Upright(right, (right[0], top), inches(sizes["depth"])),
    )
    return View((a,), measures, centres=(_axis(a.middle, (a.middle[0], top)),))


def reducer(sizes: Sizes, faces: Mapping[str, Face], solid: Solid) -> View:
    a, b = faces["a"], faces["b"]
    measures: list[Measure] = [
        _across(a, _diameter(sizes["diameter_a"])),
        _across(b, _diameter(sizes["diameter_b"])),
    ]
    first, last = sizes.get("collar_a", 0.0), sizes.get("collar_b", 0.0)
    base, tip = _right(a), _right(b)
    low, high = (base[0], base[1] + first), (tip[0], tip[1] - last)
    if first:
        measures.append(Upright(base, low, inches(first)))
    measures.append(Upright(low, high, inches(sizes["length"])))
    if last:
        measures.append(Upright(high, tip, inches(last)))
    centres = [_axis(a.middle, (a.middle[0], b.middle[1]))]
    if sizes.get("offset"):
        centres.append(_axis((b.middle[0], a.middle[1] + first), b.middle))
        top = (a.middle[0], b.middle[1])
        ends = sorted((top, b.middle))
        measures.append(Level(ends[0], ends[1], f"offset {inches(abs(sizes['offset']))}", is_below=False))
    return View((a, b), tuple(measures), centres=tuple(centres))


def offset(sizes: Sizes, faces: Mapping[str, Face], solid: Solid) -> View:
    a, b = faces["a"], faces["b"]
    roll = sizes.get("roll", 0.0)
    shown = sorted((a.middle[0], b.middle[0]))
    top = b.middle[1]
    told = f"true offset {inches(sizes['true_offset'])}" if roll else f"offset {inches(sizes['offset'])}"
    measures: list[Measure] = [
        _across(a, _diameter(sizes["diameter"])),
        Level((shown[0], top), (shown[1], top), told, is_below=False),
    ]
    side = b.middle[0] >= a.middle[0]
    measures.append(_between(solid, a, b, inches(sizes["length"]), is_right=side))
    notes = [f"{plain_number(sizes['angle'], 2)}°, R {inches(sizes['centerline_radius'])}"]
    if sizes.get("straight_between", 0) > 0.005:
        notes.append(f"{inches(sizes['straight_between'])} straight between the bends")
    if roll:
        notes.append(f"offset {inches(sizes['offset'])}, roll {inches(roll)}")
    centres = (_axis(a.middle, (a.middle[0], top)), _axis(b.middle, (b.middle[0], a.middle[1])))
    return View((a, b), tuple(measures), tuple(notes), centres)


def square_to_round(sizes: Sizes, faces: Mapping[str, Face], solid: Solid) -> View:
    a, b = faces["a"], faces["b"]
    measures: list[Measure] = [
        _across(a, inches(sizes["width"])),
        _across(b, _diameter(sizes["diameter"])),
        _between(solid, a, b, inches(sizes["length"])),
    ]
    aside, behind = sizes.get("offset_x", 0.0), sizes.get("offset_y", 0.0)
    centres = [_axis(a.middle, (a.middle[0], b.middle[1]))]
    if aside:
        ends = sorted(((a.middle[0], b.middle[1]), b.middle))
        measures.append(Level(ends[0], ends[1], f"offset X {inches(abs(aside))}", is_below=False))
        centres.append(_axis((b.middle[0], a.middle[1]), b.middle))
    notes = [f"opening {inches(sizes['width'])} × {inches(sizes['height'])}"]
    if behind:
        notes.append(f"offset Y {inches(abs(behind))}, {'away' if behind > 0 else 'towards you'}")
    return View((a, b), tuple(measures), tuple(notes), tuple(centres))


def tee(sizes: Sizes, faces: Mapping[str, Face], solid: Solid) -> View:
    a, b, c = faces["a"], faces["b"], faces["c"]
    branch, notes = _branch(sizes, _back(c, sizes.get("collar", 0.0)), axis_x=a.middle[0])
    middle = _meeting(c, a.middle[0])
    measures = [
        _across(a, _diameter(sizes["diameter"])),
        _across(c, _diameter(sizes["branch_diameter"])),
        *branch,
        _between(solid, a, b, inches(sizes["length"]), is_right=False),
    ]
    if a.start[1] + 0.02 < middle[1] < b.start[1] - 0.02:
        up = middle[1] - a.middle[1]
        measures.insert(0, Upright(_left(a), (_left(a)[0], middle[1]), inches(up), is_right=False))
    return View((a, b, c), tuple(measures), notes, (_axis(a.middle, b.middle), _axis(middle, c.middle)))


def saddle(sizes: Sizes, faces: Mapping[str, Face], solid: Solid) -> View:
    """The main that the branch sits on is drawn as hidden; it goes on beyond what is drawn."""
    b = faces["b"]
    branch, notes = _branch(sizes, b, axis_x=0.0)
    middle = _meeting(b, 0.0)
    radius = sizes["diameter"] / 2
    low, high = (solid.outline.bounds[at] for at in (1, 3))
    reach = max(radius, middle[1] - low, min(high - middle[1], 1.5 * radius)) + 0.25 * radius
    ends = ((-radius, middle[1] - reach), (radius, middle[1] - reach))
    main = (*ends, (radius, middle[1] + reach), (-radius, middle[1] + reach))
    measures = (
        Level(*ends, f"main {_diameter(sizes['diameter'])}"),
        _across(b, _diameter(sizes["branch_diameter"])),
        *branch,
    )
    centres = (_axis((0.0, middle[1] - reach), (0.0, middle[1] + reach)), _axis(middle, b.middle))
    return View((b,), measures, notes, centres, (("hidden", main, True),))


def conical_tee(sizes: Sizes, faces: Mapping[str, Face], solid: Solid) -> View:
    """A tee whose branch is a cone, with a straight collar at its end where there is one."""
    view = tee(sizes, faces, solid)
    c, collar = faces["c"], sizes.get("collar", 0.0)
    cone = f"cone from {_diameter(sizes['base_diameter'])} at the run's surface"
    more: list[Measure] = []
    if collar:
        outer = max((c.start, c.end), key=lambda point: point[1])
        inner = (outer[0] - c.outward[0] * collar, outer[1] - c.outward[1] * collar)
        up = (-c.outward[1], c.outward[0])
        more.append(Along(inner, outer, up, f"collar {inches(collar)}"))
    return View(view.faces, (*view.measures, *more), (*view.notes, cone), view.centres)


def wye(sizes: Sizes, faces: Mapping[str, Face], solid: Solid) -> View:
    a, b, c = faces["a"], faces["b"], faces["c"]
    middle = (a.middle[0], a.middle[1] + sizes["main_length"])
    measures = (
        _across(a, _diameter(sizes["diameter"])),
        _across(b, _diameter(sizes["branch_diameter"])),
        _across(c, _diameter(sizes["branch_diameter"])),
        Upright(_left(a), (_left(a)[0], middle[1]), inches(sizes["main_length"]), is_right=False),
        _length_along(middle, b, inches(sizes["branch_length"])),
    )
    centres = (
        _axis(a.middle, (middle[0], solid.outline.bounds[3])),
        _axis(middle, b.middle),
        _axis(middle, c.middle),
    )
    notes = (f"each branch {plain_number(sizes['angle'], 2)}° from the main",)
    return View((a, b, c), measures, notes, centres)


def reducing_elbow(sizes: Sizes, faces: Mapping[str, Face], solid: Solid) -> View:
    a, b = faces["a"], faces["b"]
    radius, angle = sizes["centerline_radius"], math.radians(sizes["angle"])
    first, last = sizes.get("collar_a", 0.0), sizes.get("collar_b", 0.0)
    bend = (a.middle[0] + radius, a.middle[1] + first)
    measures: list[Measure] = [
        _across(a, _diameter(sizes["diameter_a"])),
        _across(b, _diameter(sizes["diameter_b"])),
    ]
    notes = [f"{plain_number(sizes['angle'], 2)}°, R {inches(radius)}"]
    extra: list[tuple[str, tuple[Point, ...], bool]] = []
    if radius * (1 + math.cos(angle)) < 4 * solid.size:
        cross = 0.02 * solid.size
        for dx, dy in ((cross, 0.0), (0.0, cross)):
            ends = ((bend[0] - dx, bend[1] - dy), (bend[0] + dx, bend[1] + dy))
            extra.append(("centre", ends, False))
        measures.append(Level(a.middle, bend, f"R {inches(radius)}"))
        notes = [f"{plain_number(sizes['angle'], 2)}°"]
    for face, collar in ((a, first), (b, last)):
        if collar:
            outer = max((face.start, face.end), key=lambda point: math.dist(point, bend))
            inner = (outer[0] - face.outward[0] * collar, outer[1] - face.outward[1] * collar)
            heel = (
                (outer[0] - face.middle[0]) / max(face.half, 1e-9),
                (outer[1] - face.middle[1]) / max(face.half, 1e-9),
            )
            measures.append(Along(inner, outer, heel, inches(collar)))
    return View((a, b), tuple(measures), tuple(notes), extra=tuple(extra))


def _any(sizes: Sizes, faces: Mapping[str, Face], solid: Solid) -> View:
    measures = tuple(
        _across(face, inches(math.dist(face.start, face.end)))
        for face in faces.values()
        if abs(face.outward[0]) < 1e-3
    )
    return View(tuple(faces.values()), measures)


def _back(face: Face, length: float) -> Face:
    """A face moved back into its duct."""
    start, end = (
        (point[0] - face.outward[0] * length, point[1] - face.outward[1] * length)
        for point in (face.start, face.end)
    )
    return replace(face, start=start, end=end)


def _meeting(face: Face, axis_x: float) -> Point:
    """Where the axis of a branch meets that of the run."""
    reach = (face.middle[0] - axis_x) / (face.outward[0] or 1e-9)
    return (axis_x, face.middle[1] - reach * face.outward[1])


def _branch(sizes: Sizes, face: Face, *, axis_x: float) -> tuple[tuple[Measure, ...], tuple[str, ...]]:
    """The branch's length along its axis, its angle to the run, and how far off centre it sits."""
    middle = _meeting(face, axis_x)
    measures: list[Measure] = [_length_along(middle, face, inches(sizes["branch_length"]))]
    turn = sizes.get("angle", 90.0)
    notes = [f"branch at {plain_number(turn, 2)}°"]
    aside = sizes.get("branch_offset", 0.0)
    if aside:
        notes.append(f"branch {inches(abs(aside))} off center, {'away' if aside > 0 else 'towards you'}")
    return tuple(measures), tuple(notes)


def _length_along(start: Point, face: Face, text: str) -> Measure:
    """From a point of an axis to the middle of the face at its end: beside the branch, over it where it lies level."""
    if abs(face.outward[1]) < 1e-3:
        ends = sorted((start, face.middle))
        return Level(ends[0], ends[1], text, is_below=False)
    out = (face.outward[1], -face.outward[0])
    if out[1] > 0:
        out = (-out[0], -out[1])
    return Along(start, face.middle, out, text, off=face.half)


VIEWS: dict[str, Callable[[Sizes, Mapping[str, Face], Solid], View]] = {
    "pipe": pipe,
    "end_cap": end_cap,
    "reducer": reducer,
    "offset": offset,
    "tee": tee,
    "saddle": saddle,
    "square_to_round": square_to_round,
    "conical_tee": conical_tee,
    "wye": wye,
    "reducing_elbow": reducing_elbow,
}
