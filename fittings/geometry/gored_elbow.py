"""Gored elbows: a turn made of straight mitered segments, two end gores and any number of middle gores.

Frames. The fitting's frame is that of segment 1: Z along the axis from end A, X towards the throat, so the
axis of the bend is the line X = R, Z = collar A. Segment k's is turned about it by k − 1 gore angles.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .allowances import Allowances
from .bend import RADIUS, SEAM_ANGLES, SEAMS, gores_must_not_cross, radius_from
from .curves import edge_length, quarter_steps, turn_positions
from .development import Development, FreeEnd, Segment, Sheet, assembled
from .errors import CannotBeMade, FieldProblem
from .parameters import Kind, Param, built, with_unit
from .pattern import cylinder_segment
from .practice import Practice, pieces_for, short_throat

STEEPEST_MITER = math.radians(85)  # beyond it the joint runs along the duct; common practice, no source

PARAMS = (
    Param("diameter", "in", 1, 120, help="Inside diameter of the duct.", required=True),
    Param("angle", "deg", 0, 180, low_open=True, help="Turn of the elbow.", required=True),
    Param("pieces", "count", 2, 60, help="Segments, end gores included; left out: the gore table decides."),
    *RADIUS,
    Param("collar_a", "in", 0, 240, default=0.0, help="Straight added to the end gore at end A.", more=True),
    Param("collar_b", "in", 0, 240, default=0.0, help="Straight added to the end gore at end B.", more=True),
    *SEAMS,
)


@dataclass(frozen=True)
class GoredElbowSpec:
    """A gored elbow that can be made; lengths are inside dimensions [in], the angle [rad]."""

    diameter: float
    angle: float
    pieces: int
    centerline_radius: float
    collar_a: float = 0.0
    collar_b: float = 0.0
    seam_at: str = "heel"
    stagger_seams: bool = False
    radius_given_as: str = "centerline_radius"

    @property
    def half_angle(self) -> float:
        """Miter half-angle α = θ / (2 (N − 1)) [rad]."""
        return self.angle / (2 * (self.pieces - 1))

    @property
    def throat_radius(self) -> float:
        return self.centerline_radius - self.diameter / 2


def gore_height(angle, *, centerline_radius, mean_radius, half_angle):
    """Height of an end gore above its square end, without collar, on the mean surface.

    h(ψ) = (R − r cos ψ) tan α

    angle              ψ, position round the duct from the throat [rad], any shape
    centerline_radius  R of the elbow [in], > 0
    mean_radius        r = (inside diameter + thickness) / 2 [in]
    half_angle         α, miter half-angle [rad], 0 < α < π/2
    returns            h [in], same shape as angle; least at the throat (ψ = 0), greatest at the heel (ψ = π)
    source             plane section of a right circular cylinder; worked examples in
                       fixtures/authorities/gored_elbow.md

    >>> round(float(gore_height(0.0, centerline_radius=21, mean_radius=7, half_angle=math.radians(11.25))), 4)
    2.7848
    """
    return (centerline_radius - mean_radius * np.cos(angle)) * math.tan(half_angle)


def spec_from(values: Mapping, *, practice: Practice, thickness: float, unit: str = "in") -> GoredElbowSpec:
    """A checked elbow from the values of its parameters.

    values     every parameter of the kind, lengths [in], angle [deg]
    practice   the shop's gore table, for pieces left out
    thickness  of the metal [in]
    unit       unit of lengths in sentences, 'in' or 'mm'
    returns    GoredElbowSpec [in, rad]
    raises     ParameterError where the two radii disagree; CannotBeMade where the edges would cross
    source     limits: fixtures/authorities/gored_elbow.md

    >>> values = {param.name: param.default for param in PARAMS}
    >>> values |= {'diameter': 14.0, 'angle': 90.0, 'pieces': 5}
    >>> spec_from(values, practice=Practice(), thickness=0.0276).centerline_radius
    21.0
    """
    diameter = values["diameter"]
    radius, given_as = radius_from(values, unit)
    pieces = values["pieces"]
    if pieces is None:
        pieces = pieces_for(values["angle"], diameter, values["gore_class"], practice.gore_rows)
    spec = GoredElbowSpec(
        diameter=diameter,
        angle=math.radians(values["angle"]),
        pieces=pieces,
        centerline_radius=radius,
        collar_a=values["collar_a"],
        collar_b=values["collar_b"],
        seam_at=values["seam_at"],
        stagger_seams=values["stagger_seams"],
        radius_given_as=given_as,
    )
    _must_be_makable(spec, thickness, unit)
    return spec


def _must_be_makable(spec, thickness, unit):
    if spec.half_angle > STEEPEST_MITER + 1e-12:
        least = math.ceil(spec.angle / (2 * STEEPEST_MITER) - 1e-9) + 1
        turn = with_unit(math.degrees(spec.angle), "deg")
        sentence = (
            f"Pieces is {spec.pieces}; a turn of {turn} needs at least {least}, or the miter is steeper than "
            f"{with_unit(math.degrees(STEEPEST_MITER), 'deg')} and runs along the duct."
        )
        raise CannotBeMade([FieldProblem("pieces", spec.pieces, f"at least {least}", sentence)])
    radius = spec.centerline_radius
    rise = gore_height(
        0.0,
        centerline_radius=radius,
        mean_radius=(spec.diameter + thickness) / 2,
        half_angle=spec.half_angle,
    )
    lengths = {"end gore at end A": rise + spec.collar_a, "end gore at end B": rise + spec.collar_b}
    if spec.pieces > 2:
        lengths["middle gore"] = 2 * rise
    gores_must_not_cross(
        lengths,
        radius=radius,
        given_as=spec.radius_given_as,
        diameter=spec.diameter,
        thickness=thickness,
        unit=unit,
    )


def develop_elbow(
    spec: GoredElbowSpec, *, sheet: Sheet, allowances: Allowances, practice: Practice, unit: str = "in"
) -> Development:
    """The flat patterns of a gored elbow.

    N pieces, α = θ / (2 (N − 1)), r = (D + t) / 2; an end gore is (R − r cos ψ) tan α + collar high, a middle
    gore 2 (R − r cos ψ) tan α.

    spec        the elbow [in, rad]
    sheet       the metal [in, lb/ft²]
    allowances  lap and edges [in]
    practice    the shop's usual ranges, for warnings
    unit        unit of lengths in warnings, 'in' or 'mm'
    returns     Development [in, in², lb]
    source      fixtures/authorities/gored_elbow.md

    >>> spec = GoredElbowSpec(diameter=12, angle=math.pi / 2, pieces=5, centerline_radius=18)
    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156)
    >>> elbow = develop_elbow(spec, sheet=sheet, allowances=Allowances(lap=0.5), practice=Practice())
    >>> [segment.role for segment in elbow.segments]
    ['end_gore', 'middle_gore', 'middle_gore', 'middle_gore', 'end_gore']
    """
    mean_radius = (spec.diameter + sheet.thickness_in) / 2
    patterns: dict[tuple, dict] = {}
    segments = []
    for position in range(1, spec.pieces + 1):
        place = "first" if position == 1 else "last" if position == spec.pieces else "middle"
        turned = spec.stagger_seams and position % 2 == 0
        if (place, turned) not in patterns:
            patterns[place, turned] = _gore(spec, place, turned, mean_radius, sheet, allowances)
        pattern = patterns[place, turned]
        role = "middle_gore" if place == "middle" else "end_gore"
        segments.append(
            Segment(position=position, role=role, frame=_frame(spec, position, mean_radius), **pattern)
        )
    dimensions = _dimensions(spec, sheet, segments)
    quantities = {
        **{name: value for name, value, _ in dimensions},
        "radius_ratio": spec.centerline_radius / spec.diameter,
        "throat_radius_ratio": spec.throat_radius / spec.diameter,
        "throat_length": segments[1].throat if spec.pieces > 2 else min(gore.throat for gore in segments),
        "heel_length": max(segment.heel for segment in segments),
        "stretch_out": segments[0].stretch_out,
    }
    warnings = ()
    if spec.pieces > 2:
        warnings = short_throat(segments[1].throat, allowances.edge_a, allowances.edge_b, unit)
    around = 2 * math.pi * mean_radius
    return assembled(
        "gored_elbow",
        segments,
        dimensions=dimensions,
        quantities=quantities,
        free_ends=(
            FreeEnd("a", "End A", 1, around, spec.diameter),
            FreeEnd("b", "End B", spec.pieces, around, spec.diameter),
        ),
        joint_length=sum(edge_length(segment.edge_b) for segment in segments[:-1]),
        sheet=sheet,
        practice=practice,
        unit=unit,
        warnings=warnings,
    )


def _gore(spec, place, turned, mean_radius, sheet, allowances):
    """Everything about one gore but its position; y = 0 at its lowest net point."""
    start = (SEAM_ANGLES[spec.seam_at] + (math.pi if turned else 0.0)) % (2 * math.pi)
    rise = mean_radius * math.tan(spec.half_angle)
    stretch_out = 2 * math.pi * mean_radius
    parts = turn_positions(quarter_steps(rise))
    radii = {
        "centerline_radius": spec.centerline_radius,
        "mean_radius": mean_radius,
        "half_angle": spec.half_angle,
    }
    height = gore_height(start + 2 * math.pi * parts, **radii)
    most = float(gore_height(math.pi, **radii))
    curve = np.column_stack([stretch_out * parts, height])
    quarters = turn_positions(1) * stretch_out
    flip, lift = np.array([1.0, -1.0]), np.array([0.0, most])
    if place == "first":
        edge_a = np.column_stack([quarters, np.zeros(5)])
        edge_b = curve + [0.0, spec.collar_a]
    elif place == "last":
        edge_a = curve * flip + lift
        edge_b = np.column_stack([quarters, np.full(5, most + spec.collar_b)])
    else:
        edge_a, edge_b = curve * flip + lift, curve + lift
    return cylinder_segment(
        edge_a,
        edge_b,
        start_angle=start,
        mean_radius=mean_radius,
        sheet=sheet,
        lap=allowances.lap,
        width_a=allowances.free_end_a if place == "first" else allowances.edge_a,
        width_b=allowances.free_end_b if place == "last" else allowances.edge_b,
    )


def _frame(spec, position, mean_radius):
    """Segment 1's frame turned about the axis of the bend; see the module docstring."""
    turn = 2 * spec.half_angle * (position - 1)
    most = float(
        gore_height(
            math.pi,
            centerline_radius=spec.centerline_radius,
            mean_radius=mean_radius,
            half_angle=spec.half_angle,
        )
    )
    own = np.array([spec.centerline_radius, 0.0, spec.collar_a if position == 1 else most])
    bend = np.array([spec.centerline_radius, 0.0, spec.collar_a])
    cos, sin = math.cos(turn), math.sin(turn)
    matrix = np.eye(4)
    matrix[:3, :3] = [[cos, 0.0, sin], [0.0, 1.0, 0.0], [-sin, 0.0, cos]]
    matrix[:3, 3] = bend - matrix[:3, :3] @ own
    matrix.setflags(write=False)
    return matrix


def _dimensions(spec, sheet, segments):
    """Figures for tickets and drawings, inside dimensions unless the name says mean."""
    radius, angle = spec.centerline_radius, spec.angle
    tip = np.array(
        [-radius, 0.0, spec.collar_b]
    )  # center of end B seen from the bend's axis, in end B's frame
    turn = segments[-1].frame[:3, :3]
    end_b = np.array([radius, 0.0, spec.collar_a]) + turn @ tip
    rows = [
        ("pieces", spec.pieces, "count"),
        ("angle", math.degrees(angle), "deg"),
        ("gore_angle", math.degrees(2 * spec.half_angle), "deg"),
        ("miter_angle", math.degrees(spec.half_angle), "deg"),
        ("diameter", spec.diameter, "in"),
        ("mean_diameter", spec.diameter + sheet.thickness_in, "in"),
        ("centerline_radius", radius, "in"),
        ("throat_radius", spec.throat_radius, "in"),
        ("heel_radius", radius + spec.diameter / 2, "in"),
        ("collar_a", spec.collar_a, "in"),
        ("collar_b", spec.collar_b, "in"),
        ("end_to_end", float(np.linalg.norm(end_b)), "in"),
    ]
    if angle < math.pi - 1e-9:  # the center lines of the two ends of a half turn never meet
        for end, collar in (("a", spec.collar_a), ("b", spec.collar_b)):
            rows.append((f"center_to_end_{end}", radius * math.tan(angle / 2) + collar, "in"))
    return rows


KIND = Kind(
    "gored_elbow",
    "Gored elbow",
    PARAMS,
    built(spec_from, develop_elbow, "practice", "thickness"),
    help="A turn made of straight mitered segments: two end gores and any number of middle gores.",
)
