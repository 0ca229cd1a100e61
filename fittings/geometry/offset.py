"""Offsets: two opposed gored bends that carry a duct sideways, with a straight between them.

Frames. The fitting's frame is that of segment 1: Z along the axis from end A, and the offset goes towards +X: the first
bend turns towards +X, the second back again, and end B lies at X = true offset, Z = length, its axis along Z. The
throat is that of the first bend, for every segment: it is at 0°, and there the second bend has its outer side. So seams
at the throat, or opposite, lie in one line from end to end.

A rolling offset, sideways by `offset` and square to that by `roll`, is the same fitting turned about its axis.

The two gores that face each other across the straight are one segment, the center gore: its edges are the inner
miters of both bends, and every element of it is equally long.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from .allowances import Allowances
from .bend import RADIUS, SEAM_ANGLES, SEAMS, gores_must_not_cross, radius_from
from .curves import edge_length, quarter_steps, turn_positions
from .development import Development, FreeEnd, Segment, Sheet, assembled
from .gored_elbow import gore_height
from .parameters import Kind, Param, built
from .pattern import cylinder_segment
from .practice import Practice, pieces_for, short_throat
from .rolling import frame_at
from .two_bends import LENGTH, OFFSET, TURN, bends_from, overall_length, smallest_offset

PARAMS = (
    Param("diameter", "in", 1, 120, help="Inside diameter of the duct.", required=True),
    OFFSET,
    TURN,
    LENGTH,
    Param(
        "pieces",
        "count",
        2,
        30,
        help="Pieces of each bend, end gores included; left out: the gore table decides.",
    ),
    *RADIUS,
    Param(
        "roll",
        "in",
        0,
        240,
        default=0.0,
        help="Shift square to the offset, of a rolling offset.",
        more=True,
    ),
    replace(SEAMS[0], help="Where the seams lie, as seen at the first bend."),
    *SEAMS[1:],
)


@dataclass(frozen=True)
class OffsetSpec:
    """An offset that can be made; lengths are inside dimensions [in], the angle [rad], pieces those of one bend."""

    diameter: float
    true_offset: float
    angle: float
    straight: float
    pieces: int
    centerline_radius: float
    roll: float = 0.0
    seam_at: str = "heel"
    stagger_seams: bool = False

    @property
    def half_angle(self) -> float:
        """Miter half-angle α = θ / (2 (N − 1)) [rad]."""
        return self.angle / (2 * (self.pieces - 1))

    @property
    def length(self) -> float:
        """Overall, along the axis of end A [in]."""
        return overall_length(
            centerline_radius=self.centerline_radius, angle=self.angle, straight=self.straight
        )

    @property
    def offset(self) -> float:
        return math.sqrt(max(self.true_offset**2 - self.roll**2, 0.0))


def spec_from(values: Mapping, *, practice: Practice, thickness: float, unit: str = "in") -> OffsetSpec:
    """A checked offset from the values of its parameters.

    values     every parameter of the kind, lengths [in], angle [deg]
    practice   the shop's gore table, for pieces left out
    thickness  of the metal [in]
    unit       unit of lengths in sentences, 'in' or 'mm'
    returns    OffsetSpec [in, rad]
    raises     ParameterError where too few are given or they disagree; CannotBeMade where the bends do not fit
    source     limits: fixtures/authorities/offset.md

    >>> values = {param.name: param.default for param in PARAMS}
    >>> values |= {'diameter': 8.0, 'centerline_radius': 12.0, 'offset': 14.0, 'angle': 45.0, 'pieces': 3}
    >>> round(spec_from(values, practice=Practice(), thickness=0.0276).straight, 4)
    9.8579
    """
    diameter = values["diameter"]
    radius, given_as = radius_from(values, unit)
    true_offset, angle, straight = bends_from(values, radius, unit)
    pieces = values["pieces"]
    if pieces is None:
        pieces = pieces_for(math.degrees(angle), diameter, values["gore_class"], practice.gore_rows)
    spec = OffsetSpec(
        diameter=diameter,
        true_offset=true_offset,
        angle=angle,
        straight=straight,
        pieces=pieces,
        centerline_radius=radius,
        roll=values["roll"],
        seam_at=values["seam_at"],
        stagger_seams=values["stagger_seams"],
    )
    rise = gore_height(
        0.0, centerline_radius=radius, mean_radius=(diameter + thickness) / 2, half_angle=spec.half_angle
    )
    gores_must_not_cross(
        {"end gore": rise} | ({"middle gore": 2 * rise} if pieces > 2 else {}),
        radius=radius,
        given_as=given_as,
        diameter=diameter,
        thickness=thickness,
        unit=unit,
    )
    return spec


def develop_offset(
    spec: OffsetSpec, *, sheet: Sheet, allowances: Allowances, practice: Practice, unit: str = "in"
) -> Development:
    """The flat patterns of an offset.

    N pieces a bend, α = θ / (2 (N − 1)), r = (D + t) / 2; a gore of the first bend is (R − r cos ψ) tan α high on each
    side of its middle, one of the second (R + r cos ψ) tan α, the center gore one of each and the straight.

    spec        the offset [in, rad]
    sheet       the metal [in, lb/ft²]
    allowances  lap and edges [in]
    practice    the shop's usual ranges, for warnings
    unit        unit of lengths in warnings, 'in' or 'mm'
    returns     Development [in, in², lb]
    source      fixtures/authorities/offset.md

    >>> spec = OffsetSpec(diameter=8, true_offset=14, angle=math.pi / 4, straight=9.8579, pieces=3,
    ...                   centerline_radius=12)
    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156)
    >>> dev = develop_offset(spec, sheet=sheet, allowances=Allowances(lap=0.5), practice=Practice())
    >>> [segment.role for segment in dev.segments]
    ['end_gore', 'middle_gore', 'center_gore', 'middle_gore', 'end_gore']
    """
    mean_radius = (spec.diameter + sheet.thickness_in) / 2
    most = (spec.centerline_radius + mean_radius) * math.tan(spec.half_angle)
    total = 2 * spec.pieces - 1
    patterns: dict[tuple, dict] = {}
    segments = []
    for position in range(1, total + 1):
        place = _place(spec, position)
        turned = spec.stagger_seams and position % 2 == 0
        if (place, turned) not in patterns:
            patterns[place, turned] = _gore(spec, place, turned, mean_radius, sheet, allowances)
        role = {"middle": "middle_gore", "center": "center_gore"}.get(place[0], "end_gore")
        frame = _frame(spec, position, most)
        segments.append(Segment(position=position, role=role, frame=frame, **patterns[place, turned]))
    dimensions = _dimensions(spec, sheet)
    shortest = min(min(gore.throat, gore.heel) for gore in segments if gore.role != "center_gore")
    if spec.pieces > 2:
        shortest = min(segments[1].throat, segments[1].heel)
    quantities = {
        **{name: value for name, value, _ in dimensions},
        "throat_radius_ratio": (spec.centerline_radius - spec.diameter / 2) / spec.diameter,
        "throat_length": shortest,
        "heel_length": max(max(gore.throat, gore.heel) for gore in segments),
        "offset_angle": math.degrees(spec.angle),
        "stretch_out": segments[0].stretch_out,
    }
    around = 2 * math.pi * mean_radius
    return assembled(
        "offset",
        segments,
        dimensions=dimensions,
        quantities=quantities,
        free_ends=(
            FreeEnd("a", "End A", 1, around, spec.diameter),
            FreeEnd("b", "End B", total, around, spec.diameter),
        ),
        joint_length=sum(edge_length(segment.edge_b) for segment in segments[:-1]),
        sheet=sheet,
        practice=practice,
        unit=unit,
        warnings=short_throat(shortest, allowances.edge_a, allowances.edge_b, unit)
        if spec.pieces > 2
        else (),
    )


def _place(spec, position):
    """What a segment is: ('first' | 'middle' | 'center' | 'last', the bend of its middle gore)."""
    if position == spec.pieces:
        return ("center", 0)
    if position in (1, 2 * spec.pieces - 1):
        return ("first" if position == 1 else "last", 0)
    return ("middle", 1 if position < spec.pieces else 2)


def _gore(spec, place, turned, mean_radius, sheet, allowances):
    """Everything about one segment but its position; y = 0 at its lowest net point."""
    start = (SEAM_ANGLES[spec.seam_at] + (math.pi if turned else 0.0)) % (2 * math.pi)
    around = 2 * math.pi * mean_radius
    parts = turn_positions(quarter_steps(mean_radius * math.tan(spec.half_angle)))
    radii = {
        "centerline_radius": spec.centerline_radius,
        "mean_radius": mean_radius,
        "half_angle": spec.half_angle,
    }
    most = float(gore_height(math.pi, **radii))

    def height(bend):  # the second bend has its own throat opposite
        return gore_height(start + 2 * math.pi * parts + (math.pi if bend == 2 else 0.0), **radii)

    name, bend = place
    low = {"first": None, "center": 1, "last": 2}.get(name, bend)
    high = {"first": 1, "center": 2, "last": None}.get(name, bend)
    middle = 0.0 if low is None else most
    beyond = middle + (spec.straight if name == "center" else 0.0)
    square = turn_positions(1) * around

    def edge(bend, base, side):
        if bend is None:
            return np.column_stack([square, np.full(5, base)])
        return np.column_stack([around * parts, base + side * height(bend)])

    return cylinder_segment(
        edge(low, middle, -1),
        edge(high, beyond, 1),
        start_angle=start,
        mean_radius=mean_radius,
        sheet=sheet,
        lap=allowances.lap,
        width_a=allowances.free_end_a if name == "first" else allowances.edge_a,
        width_b=allowances.free_end_b if name == "last" else allowances.edge_b,
    )


def _frame(spec, position, most):
    """Where a segment's own frame lies: its axis touches the arc of its bend at the middle of the gore."""
    radius, step, last = spec.centerline_radius, 2 * spec.half_angle, 2 * spec.pieces - 1
    turn = step * (min(position, last + 1 - position) - 1)

    def ahead(angle):
        return np.array([math.sin(angle), 0.0, math.cos(angle)])

    def inward(angle):
        return np.array([math.cos(angle), 0.0, -math.sin(angle)])

    center = np.array([radius, 0.0, 0.0])
    if position <= spec.pieces:
        touching = center - radius * inward(turn)
    else:
        end = center - radius * inward(spec.angle) + spec.straight * ahead(spec.angle)
        touching = end - radius * inward(spec.angle) + radius * inward(turn)
    origin = touching - (0.0 if position == 1 else most) * ahead(turn)
    return frame_at(origin, inward(turn), ahead(turn))


def _dimensions(spec, sheet):
    """Figures for tickets and drawings, inside dimensions unless the name says mean."""
    radius, angle, diameter = spec.centerline_radius, spec.angle, spec.diameter
    return [
        ("diameter", diameter, "in"),
        ("mean_diameter", diameter + sheet.thickness_in, "in"),
        ("offset", spec.offset, "in"),
        ("roll", spec.roll, "in"),
        ("true_offset", spec.true_offset, "in"),
        ("angle", math.degrees(angle), "deg"),
        ("length", spec.length, "in"),
        ("travel", spec.straight + 2 * radius * math.tan(angle / 2), "in"),
        ("takeoff", radius * math.tan(angle / 2), "in"),
        ("straight_between", spec.straight, "in"),
        (
            "smallest_offset_without_straight",
            smallest_offset(centerline_radius=radius, angle=angle),
            "in",
        ),
        ("pieces", spec.pieces, "count"),
        ("segments", 2 * spec.pieces - 1, "count"),
        ("gore_angle", math.degrees(2 * spec.half_angle), "deg"),
        ("miter_angle", math.degrees(spec.half_angle), "deg"),
        ("radius_ratio", radius / diameter, ""),
        ("centerline_radius", radius, "in"),
        ("throat_radius", radius - diameter / 2, "in"),
        ("heel_radius", radius + diameter / 2, "in"),
    ]


KIND = Kind(
    "offset",
    "Offset",
    PARAMS,
    built(spec_from, develop_offset, "practice", "thickness"),
    help="Two opposed bends that carry the duct sideways, with a straight between them.",
)
