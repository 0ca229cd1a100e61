"""Reducing elbows: gored elbows that taper along their bend, every gore a round cone.

The axis is the polygon round the arc of the center line, its corners at the miters, as in a gored elbow. A sphere
stands at each corner; every gore is the cone round the spheres of its two corners, and all have the same taper, so
two neighbors meet in a plane (Monge): see fixtures/authorities/reducing_elbow.md.

Frames. The fitting's: origin at the middle of end A, Z along the axis, X towards the throat. A gore's own stands at the
first end of its axis (end A's collar or the corner before it), Z along its axis, X towards the throat.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from .allowances import Allowances
from .bend import LARGEST_RATIO, RADIUS, SEAM_ANGLES, SEAMS, SHORTEST_THROAT, radius_from, shown
from .curves import edge_length
from .development import Development, FreeEnd, Segment, Sheet, assembled
from .errors import CannotBeMade, FieldProblem
from .gored_elbow import STEEPEST_MITER
from .parameters import Kind, Param, built, number_text, range_text, with_unit
from .pattern import cylinder_segment, ruled_segment
from .practice import Practice, pieces_for, short_throat
from .reducer import STEEPEST_TAPER, collar_segment, collars_must_be_long_enough
from .rolling import frame_at
from .rulings import developed_cone, kept_of_turn, turn_of_rulings

_NO_TAPER = 1e-9  # rad; a smaller taper is none

PARAMS = (
    Param("diameter_a", "in", 1, 120, help="Inside diameter at end A.", required=True),
    Param("diameter_b", "in", 1, 120, help="Inside diameter at end B.", required=True),
    Param("angle", "deg", 0, 180, low_open=True, help="Turn of the elbow.", required=True),
    Param(
        "pieces",
        "count",
        2,
        60,
        help="Gores, collars not counted; left out: the gore table decides by the larger diameter.",
    ),
    replace(RADIUS[0], help="Centerline radius over the larger diameter; left out: 1.5."),
    RADIUS[1],
    Param("collar_a", "in", 0, 240, default=0.0, help="Straight collar at end A, a piece of its own."),
    Param("collar_b", "in", 0, 240, default=0.0, help="Straight collar at end B, a piece of its own."),
    *SEAMS,
)


@dataclass(frozen=True)
class ReducingElbowSpec:
    """A reducing elbow that can be made; lengths are inside dimensions [in], the angle [rad]."""

    diameter_a: float
    diameter_b: float
    angle: float
    pieces: int
    centerline_radius: float
    collar_a: float = 0.0
    collar_b: float = 0.0
    seam_at: str = "heel"
    stagger_seams: bool = False
    radius_given_as: str = "centerline_radius"

    @property
    def larger(self) -> float:
        return max(self.diameter_a, self.diameter_b)

    @property
    def half_angle(self) -> float:
        """Miter half-angle α = θ / (2 (N − 1)) [rad]."""
        return self.angle / (2 * (self.pieces - 1))

    @property
    def half_length(self) -> float:
        """Axis of an end gore, half that of a middle gore: R tan α [in]."""
        return self.centerline_radius * math.tan(self.half_angle)

    @property
    def axis_length(self) -> float:
        """Of the polygon from end to end, without collars [in]."""
        return 2 * (self.pieces - 1) * self.half_length

    @property
    def taper(self) -> float:
        """Half-angle a of every cone, positive where the elbow narrows from end A to end B [rad]."""
        taper = math.atan2((self.diameter_a - self.diameter_b) / 2, self.axis_length)
        return taper if abs(taper) > _NO_TAPER else 0.0

    @property
    def throat_radius(self) -> float:
        return self.centerline_radius - self.larger / 2


def miter_height(angle, *, radius, distance, taper, half_angle):
    """Height of the miter plane over the square section of a cone, along its axis.

    The cone narrows from its section by tan a along the axis; its axis bends by 2 α towards ψ = 0 at the distance d.
    With ρ = (r − d tan a) cos a, the sphere at that corner:
    z(ψ) = (d cos α + ρ sin a / cos α − r cos ψ sin α) / (cos α − tan a cos ψ sin α)

    angle       ψ, position round the duct from the throat [rad], any shape
    radius      r of the section on the mean surface [in], > 0
    distance    d from the section to the corner of the axis [in]
    taper       a, half-angle of the cone, positive where it narrows [rad]
    half_angle  α, half the bend of the axis [rad], |a| + α < π/2
    returns     z [in], same shape as angle
    source      two cones about one sphere meet in a plane: fixtures/authorities/reducing_elbow.md

    >>> straight = miter_height(np.array([0, math.pi]), radius=7, distance=21 * math.tan(math.radians(11.25)),
    ...                         taper=0.0, half_angle=math.radians(11.25))
    >>> straight.round(4).tolist()  # as the end gore of a gored elbow
    [2.7848, 5.5695]
    """
    sphere = (radius - distance * math.tan(taper)) * math.cos(taper)
    shift = sphere * math.sin(taper) / math.cos(half_angle)
    across = np.cos(angle) * math.sin(half_angle)
    height = distance * math.cos(half_angle) + shift - radius * across
    return height / (math.cos(half_angle) - math.tan(taper) * across)


@dataclass(frozen=True)
class _Gore:
    """The cone of one gore: radius at the first end of its axis, length of the axis, which ends are mitered."""

    radius: float
    length: float
    taper: float
    half_angle: float
    first: bool
    last: bool

    def radius_at(self, z):
        return self.radius - z * math.tan(self.taper)

    def heights(self, angle):
        """(z of edge A, z of edge B) at the angles ψ."""
        shape = {"taper": self.taper, "half_angle": self.half_angle}
        low, high = np.zeros_like(angle), np.full_like(angle, self.length)
        if not self.last:
            high = miter_height(angle, radius=self.radius, distance=self.length, **shape)
        if not self.first:  # the same cone seen from its other end
            shape["taper"] = -self.taper
            far = self.radius_at(self.length)
            low = self.length - miter_height(angle, radius=far, distance=self.length, **shape)
        return low, high

    def edges(self, angle):
        return tuple(
            np.column_stack([self.radius_at(z) * np.cos(angle), self.radius_at(z) * np.sin(angle), z])
            for z in self.heights(angle)
        )

    def flat_edges(self, angle):
        return np.column_stack(
            [developed_cone(angle, self.radius_at(z), z, self.taper) for z in self.heights(angle)]
        )


def _gores(spec, thickness):
    radius = (spec.diameter_a + thickness) / 2
    found = []
    for k in range(spec.pieces):
        first, last = k == 0, k == spec.pieces - 1
        length = spec.half_length * (1 if first or last else 2)
        gore = _Gore(radius, length, spec.taper, spec.half_angle, first, last)
        found.append(gore)
        radius = gore.radius_at(length)
    return found


def spec_from(
    values: Mapping, *, practice: Practice, thickness: float, unit: str = "in"
) -> ReducingElbowSpec:
    """A checked reducing elbow from the values of its parameters.

    values     every parameter of the kind, lengths [in], angle [deg]
    practice   the shop's gore table, for pieces left out
    thickness  of the metal [in]
    unit       unit of lengths in sentences, 'in' or 'mm'
    returns    ReducingElbowSpec [in, rad]
    raises     ParameterError where the two radii disagree; CannotBeMade where edges would cross or cones lie flat
    source     limits: fixtures/authorities/reducing_elbow.md

    >>> values = {param.name: param.default for param in PARAMS}
    >>> values |= {'diameter_a': 14.0, 'diameter_b': 10.0, 'angle': 90.0, 'pieces': 5}
    >>> spec_from(values, practice=Practice(), thickness=0.0276).centerline_radius
    21.0
    """
    larger = max(values["diameter_a"], values["diameter_b"])
    radius, given_as = radius_from({**values, "diameter": larger}, unit)
    pieces = values["pieces"]
    if pieces is None:
        pieces = _pieces_from_table(values, larger, practice)
    spec = ReducingElbowSpec(
        diameter_a=values["diameter_a"],
        diameter_b=values["diameter_b"],
        angle=math.radians(values["angle"]),
        pieces=pieces,
        centerline_radius=radius,
        collar_a=values["collar_a"],
        collar_b=values["collar_b"],
        seam_at=values["seam_at"],
        stagger_seams=values["stagger_seams"],
        radius_given_as=given_as,
    )
    collars_must_be_long_enough(spec, unit)
    problem = _steep_miter(spec) or _small_radius(spec, unit) or _flat(spec, thickness, unit)
    problem = problem or _crossing(spec, thickness, unit)
    if problem:
        raise CannotBeMade([problem])
    return spec


def _pieces_from_table(values, larger, practice):
    """As the gore table says for the larger diameter; a diameter that it lacks is named as the field it came from."""
    try:
        return pieces_for(values["angle"], larger, values["gore_class"], practice.gore_rows)
    except CannotBeMade as error:
        name = "diameter_a" if values["diameter_a"] == larger else "diameter_b"
        raise CannotBeMade(
            [
                FieldProblem(name, one.value, one.limit, one.sentence) if one.field == "diameter" else one
                for one in error.problems
            ]
        ) from None


def _steep_miter(spec):
    if spec.half_angle <= STEEPEST_MITER + 1e-12:
        return None
    least = math.ceil(spec.angle / (2 * STEEPEST_MITER) - 1e-9) + 1
    sentence = (
        f"Pieces is {spec.pieces}; a turn of {with_unit(math.degrees(spec.angle), 'deg')} needs at least {least}, "
        f"or the miter is steeper than {with_unit(math.degrees(STEEPEST_MITER), 'deg')} and runs along the duct."
    )
    return FieldProblem("pieces", spec.pieces, f"at least {least}", sentence)


def _radius_problem(spec, least, sentence, unit):
    """A problem of the radius, named as it was given; `least` is the least radius [in], or a text."""
    if spec.radius_given_as == "radius_ratio":
        value = spec.centerline_radius / spec.larger
        ratio = least if isinstance(least, str) else math.ceil(least / spec.larger * 1e4 - 1e-6) / 1e4
        limit = least if isinstance(least, str) else f"at least {number_text(ratio)}"
    else:
        value = shown(spec.centerline_radius, unit)
        limit = least if isinstance(least, str) else range_text(least, None, "in", unit)
    name = spec.radius_given_as.replace("_", " ")
    return FieldProblem(spec.radius_given_as, value, limit, sentence.format(name=name, limit=limit))


def _small_radius(spec, unit):
    if spec.throat_radius >= -1e-9:
        return None
    throat = with_unit(spec.throat_radius, "in", unit)
    sentence = f"Throat radius is {throat}; it cannot be below zero: the {{name}} must be {{limit}}."
    return _radius_problem(spec, spec.larger / 2, sentence, unit)


def _is_flat(spec):
    """Taper and miter together must leave the plane across the cone."""
    return abs(spec.taper) > STEEPEST_TAPER - spec.half_angle


def _flat(spec, thickness, unit):
    if not _is_flat(spec):
        return None
    taper, miter = (with_unit(math.degrees(angle), "deg") for angle in (abs(spec.taper), spec.half_angle))
    most = with_unit(math.degrees(STEEPEST_TAPER), "deg")
    sentence = (
        f"The gores taper by {taper} from their axis and are mitered by {miter}; together it can be at most {most}. "
        "The {name} must be {limit}; diameters that differ less or another number of pieces help too."
    )
    return _radius_problem(spec, _least_radius(spec, thickness), sentence, unit)


def _shortest_throats(spec, thickness):
    """Least length of each gore along its elements [in], in order from end A."""
    for gore in _gores(spec, thickness):
        low, high = gore.heights(np.linspace(0, math.pi, 17))
        yield float((high - low).min()) / math.cos(spec.taper)


def _crossing(spec, thickness, unit):
    for number, shortest in enumerate(_shortest_throats(spec, thickness), 1):
        if shortest < SHORTEST_THROAT:
            length = with_unit(shortest, "in", unit)
            sentence = (
                f"The edges of gore {number} meet or cross at the throat: its throat length on the mean surface is "
                f"{length}. The {{name}} must be {{limit}}; fewer pieces or diameters that differ less help "
                "too."
            )
            return _radius_problem(spec, _least_radius(spec, thickness), sentence, unit)
    return None


def _least_radius(spec, thickness):
    """The least radius with which these diameters, pieces and angle can be made [in], rounded up; or what to say."""

    def can_be_made(radius):
        tried = replace(spec, centerline_radius=radius)
        return not _is_flat(tried) and min(_shortest_throats(tried, thickness)) >= SHORTEST_THROAT

    low, high = max(spec.centerline_radius, spec.larger / 2), LARGEST_RATIO * spec.larger
    if not can_be_made(high):
        return f"larger than {number_text(LARGEST_RATIO)} diameters, which is no elbow"
    for _ in range(24):
        middle = (low + high) / 2
        low, high = (low, middle) if can_be_made(middle) else (middle, high)
    return math.ceil(high * 1000) / 1000


def develop_reducing_elbow(
    spec: ReducingElbowSpec, *, sheet: Sheet, allowances: Allowances, practice: Practice, unit: str = "in"
) -> Development:
    """The flat patterns of a reducing elbow, in order from end A: collar, gores, collar.

    N gores, α = θ / (2 (N − 1)), axis 2 (N − 1) R tan α long; the mean radius falls evenly along it from (D_a + t) / 2
    to (D_b + t) / 2.

    spec        the elbow [in, rad]
    sheet       the metal [in, lb/ft²]
    allowances  lap and edges [in]
    practice    the shop's usual ranges, for warnings
    unit        unit of lengths in warnings, 'in' or 'mm'
    returns     Development [in, in², lb]
    source      fixtures/authorities/reducing_elbow.md

    >>> spec = ReducingElbowSpec(diameter_a=14, diameter_b=10, angle=math.pi / 2, pieces=3, centerline_radius=21)
    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156)
    >>> elbow = develop_reducing_elbow(spec, sheet=sheet, allowances=Allowances(), practice=Practice())
    >>> [(segment.role, segment.form) for segment in elbow.segments]
    [('end_gore', 'cone'), ('middle_gore', 'cone'), ('end_gore', 'cone')]
    """
    gores = _gores(spec, sheet.thickness_in)
    pieces = [("collar_a", None)] * (spec.collar_a > 0)
    pieces += [("gore", k) for k in range(spec.pieces)]
    pieces += [("collar_b", None)] * (spec.collar_b > 0)
    patterns: dict[tuple, dict] = {}
    segments = []
    for position, (name, k) in enumerate(pieces, 1):
        turned = spec.stagger_seams and position % 2 == 0
        widths = {
            "lap": allowances.lap,
            "width_a": allowances.free_end_a if position == 1 else allowances.edge_a,
            "width_b": allowances.free_end_b if position == len(pieces) else allowances.edge_b,
        }
        start = (SEAM_ANGLES[spec.seam_at] + (math.pi if turned else 0.0)) % (2 * math.pi)
        if name == "gore":
            key = (gores[k], start, tuple(widths.values()))
            if key not in patterns:
                patterns[key] = _pattern(gores[k], start, sheet, widths)
            lowest, pattern = patterns[key]
            role = "end_gore" if k in (0, spec.pieces - 1) else "middle_gore"
            segments.append(Segment(position=position, role=role, frame=_frame(spec, k, lowest), **pattern))
            continue
        diameter = (spec.diameter_a if name == "collar_a" else spec.diameter_b) + sheet.thickness_in
        collar = collar_segment(
            diameter, getattr(spec, name), start_angle=start, sheet=sheet, has_throat=True, **widths
        )
        frame = np.eye(4) if name == "collar_a" else _frame(spec, spec.pieces)
        segments.append(Segment(position=position, role="collar", frame=frame, **collar))
    only_gores = [one for one in segments if one.role != "collar"]
    middle = [one.throat for one in only_gores[1:-1]]
    dimensions = _dimensions(spec, sheet)
    quantities = {
        **{name: value for name, value, _ in dimensions},
        "diameter": spec.larger,
        "radius_ratio": spec.centerline_radius / spec.larger,
        "throat_radius_ratio": spec.throat_radius / spec.larger,
        "included_angle": 2 * math.degrees(abs(spec.taper)),
        "throat_length": min(middle or [one.throat for one in only_gores]),
        "heel_length": max(one.heel for one in only_gores),
        "stretch_out": max(one.stretch_out for one in segments),
    }
    around = [math.pi * (end + sheet.thickness_in) for end in (spec.diameter_a, spec.diameter_b)]
    return assembled(
        "reducing_elbow",
        segments,
        dimensions=dimensions,
        quantities=quantities,
        free_ends=(
            FreeEnd("a", "End A", 1, around[0], spec.diameter_a),
            FreeEnd("b", "End B", len(segments), around[1], spec.diameter_b),
        ),
        joint_length=sum(edge_length(one.edge_b) for one in segments[:-1]),
        sheet=sheet,
        practice=practice,
        unit=unit,
        warnings=short_throat(min(middle), allowances.edge_a, allowances.edge_b, unit) if middle else (),
    )


def _pattern(gore, start, sheet, widths):
    """(height of its own origin over the first end of its axis, fields of its Segment)."""
    keep = kept_of_turn(lambda part: gore.flat_edges(start + 2 * math.pi * part))
    turn = turn_of_rulings(start)
    common = {"sheet": sheet, "start_angle": start, "has_throat": True, **widths}
    if gore.taper:
        return 0.0, ruled_segment(*gore.edges(turn), keep=keep, **common)
    low, high = gore.heights(turn[keep])
    x, lowest = gore.radius * (turn[keep] - start), float(low.min())
    edges = (np.column_stack([x, z - lowest]) for z in (low, high))
    return lowest, cylinder_segment(*edges, mean_radius=gore.radius, **common)


def _frame(spec, k, lowest=0.0):
    """Of gore k, counted from 0, raised along its axis; k = N stands for the collar at end B."""
    at = np.array([0.0, 0.0, spec.collar_a])
    for j in range(k):
        turn = 2 * spec.half_angle * j
        length = spec.half_length * (1 if j in (0, spec.pieces - 1) else 2)
        at += length * np.array([math.sin(turn), 0.0, math.cos(turn)])
    turn = 2 * spec.half_angle * min(k, spec.pieces - 1)
    cos, sin = math.cos(turn), math.sin(turn)
    return frame_at(at + lowest * np.array([sin, 0.0, cos]), [cos, 0.0, -sin], [sin, 0.0, cos])


def _dimensions(spec, sheet):
    """Figures for tickets and drawings, inside dimensions unless the name says mean."""
    end_b = _frame(spec, spec.pieces)
    rows = [
        ("pieces", spec.pieces, "count"),
        ("angle", math.degrees(spec.angle), "deg"),
        ("gore_angle", math.degrees(2 * spec.half_angle), "deg"),
        ("miter_angle", math.degrees(spec.half_angle), "deg"),
        ("diameter_a", spec.diameter_a, "in"),
        ("diameter_b", spec.diameter_b, "in"),
        ("mean_diameter_a", spec.diameter_a + sheet.thickness_in, "in"),
        ("mean_diameter_b", spec.diameter_b + sheet.thickness_in, "in"),
        ("centerline_radius", spec.centerline_radius, "in"),
        ("radius_ratio", spec.centerline_radius / spec.larger, ""),
        ("throat_radius", spec.throat_radius, "in"),
        ("taper_angle", math.degrees(abs(spec.taper)), "deg"),
        ("axis_length", spec.axis_length, "in"),
        ("collar_a", spec.collar_a, "in"),
        ("collar_b", spec.collar_b, "in"),
        ("end_to_end", float(np.linalg.norm(end_b[:3, 3] + spec.collar_b * end_b[:3, 2])), "in"),
    ]
    if spec.angle < math.pi - 1e-9:  # the center lines of the two ends of a half turn never meet
        for end in "ab":
            reach = spec.centerline_radius * math.tan(spec.angle / 2) + getattr(spec, f"collar_{end}")
            rows.append((f"center_to_end_{end}", reach, "in"))
    return rows


KIND = Kind(
    "reducing_elbow",
    "Reducing elbow",
    PARAMS,
    built(spec_from, develop_reducing_elbow, "practice", "thickness"),
    help="A gored elbow that tapers along its bend from one round diameter to another.",
)
