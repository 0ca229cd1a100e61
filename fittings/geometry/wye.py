"""Wyes: a round main that divides into two equal branches, leaning to both sides of its axis.

All three surfaces touch one sphere of the main's mean radius about the point where the axes meet, so every two of
them meet in a plane curve (Monge): see fixtures/authorities/wye.md.

Frames. The fitting's: origin at the middle of end A, Z along the main's axis, branch 1 leans to +X, branch 2 to −X.
A branch's own: Z along its axis to its free end, X away from the other branch (its throat, beside the main; its heel
is the crotch). Branch 2 is branch 1 turned by 180° about the main's axis.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .allowances import Allowances
from .curves import edge_length, quarter_steps, sampled, turn_positions
from .development import Development, FreeEnd, Segment, Sheet, assembled
from .errors import CannotBeMade, FieldProblem
from .parameters import MM_PER_IN, Kind, Param, built, range_text, with_unit
from .pattern import cylinder_segment, ruled_segment
from .practice import Practice
from .rolling import frame_at
from .rulings import developed_cone

SEAM_ANGLE = math.pi  # of all three: the main's beside branch 2, the branches' in the crotch
SHORTEST = 0.001  # in, of any element; less, and edges meet or cross
_CYLINDER_BELOW = 1e-9  # rad; a smaller taper is none
_RULINGS = 1024

PARAMS = (
    Param("diameter", "in", 1, 120, help="Inside diameter of the main.", required=True),
    Param(
        "branch_diameter", "in", 1, 120, help="Inside diameter of each branch at its free end.", required=True
    ),
    Param(
        "angle",
        "deg",
        0,
        90,
        low_open=True,
        default=45.0,
        help="Between the axis of the main and that of each branch; the branches are twice it apart.",
    ),
    Param(
        "main_length",
        "in",
        0,
        240,
        low_open=True,
        help="Along the main's axis from end A to the point where the axes meet.",
        required=True,
    ),
    Param(
        "branch_length",
        "in",
        0,
        240,
        low_open=True,
        help="Along a branch's axis from the point where the axes meet to its free end.",
        required=True,
    ),
)


@dataclass(frozen=True)
class WyeSpec:
    """A wye that can be made; lengths are inside dimensions [in], the angle [rad]."""

    diameter: float
    branch_diameter: float
    angle: float
    main_length: float
    branch_length: float


@dataclass(frozen=True)
class _Junction:
    """Its mean surfaces, seen from the point where the axes meet: ρ, r_b, φ, L, and the half-angle a of the cones."""

    radius: float
    branch_radius: float
    angle: float
    branch_length: float

    @property
    def taper(self) -> float:
        return branch_taper(self.radius, self.branch_radius, self.branch_length)

    @property
    def crotch_height(self) -> float:
        """Height of the two points where all three joints meet: (0, ±ρ, this)."""
        return self.radius * math.sin(self.taper) / (math.cos(self.angle) + math.cos(self.taper))

    @property
    def corner_angle(self) -> float:
        """Angle of those points round branch 1, between its side and its heel [rad]."""
        return math.atan2(self.radius, -self.crotch_height * math.sin(self.angle))

    def main_edge(self, psi):
        """Height of the main's edge above the point where the axes meet."""
        slope = math.sin(self.angle) / (math.cos(self.angle) + math.cos(self.taper))
        return self.crotch_height - self.radius * slope * np.abs(np.cos(psi))

    def cone_radius(self, along):
        return (self.radius - along * math.sin(self.taper)) / math.cos(self.taper)

    def branch_edge(self, psi):
        """Where a branch's elements begin, along its axis: in the plane with the main or in that with the other."""
        cos, sin_a, cos_a = np.cos(psi), math.sin(self.taper), math.cos(self.taper)
        sin_phi, cos_phi = math.sin(self.angle), math.cos(self.angle)
        at_main = self.radius * (sin_a + cos * sin_phi) / (1 + cos_phi * cos_a + sin_a * sin_phi * cos)
        inward = np.minimum(cos, 0.0)
        at_other = -self.radius * inward * cos_phi / (sin_phi * cos_a - sin_a * cos_phi * inward)
        return np.maximum(at_main, at_other)

    def branch_point(self, psi, along):
        """Points of a branch in a frame along its axes, its origin where the axes meet, shape (n, 3)."""
        around = self.cone_radius(along)
        return np.column_stack([around * np.cos(psi), around * np.sin(psi), along])


def branch_taper(radius: float, branch_radius: float, branch_length: float) -> float:
    """Half-angle of the cone that touches the sphere of the main's radius and ends with the branch's.

    r_b cos a + L sin a = ρ,  a = asin(ρ / √(r_b² + L²)) − atan2(r_b, L)

    radius         ρ, mean radius of the main [in]
    branch_radius  r_b, mean radius at the branch's free end [in], ≤ ρ
    branch_length  L, along its axis from the middle of the sphere [in], L² ≥ ρ² − r_b²
    returns        a [rad], 0 for equal radii
    source         distance from a point to a tangent: fixtures/authorities/wye.md

    >>> branch_taper(6.0, 6.0, 20.0), round(math.degrees(branch_taper(6.0, 4.0, 20.0)), 4)
    (0.0, 5.7981)
    """
    away = math.hypot(branch_radius, branch_length)
    found = math.asin(min(1.0, radius / away)) - math.atan2(branch_radius, branch_length)
    return found if abs(found) > _CYLINDER_BELOW else 0.0


def shortest_branch(radius: float, branch_radius: float, angle: float) -> float:
    """The branch length at which the rim of a branch's free end touches the junction.

    The greatest of √(ρ² − r_b²): the rim on the sphere; r_b / tan φ: on the other branch's; (ρ − r_b cos φ) / sin φ:
    on the main, where the rim reaches back beside it

    radius         ρ, mean radius of the main [in]
    branch_radius  r_b, mean radius at the branch's free end [in], ≤ ρ
    angle          φ, between the axes of main and branch [rad], 0 < φ ≤ π/2
    returns        [in]; a branch must be longer
    source         fixtures/authorities/wye.md

    >>> round(shortest_branch(6.0, 4.0, math.pi / 4), 4), round(shortest_branch(6.0, 6.0, math.pi / 2), 4)
    (4.4721, 6.0)
    """
    at_sphere = math.sqrt(max(0.0, radius**2 - branch_radius**2))
    at_other = branch_radius / math.tan(angle)
    at_main = (radius - branch_radius * math.cos(angle)) / math.sin(angle)
    reaches_back = at_main * math.cos(angle) <= branch_radius * math.sin(angle)
    return max(at_sphere, at_other, at_main if reaches_back else 0.0)


def spec_from(values: Mapping, *, thickness: float, unit: str = "in") -> WyeSpec:
    """A checked wye from the values of its parameters.

    values     every parameter of the kind, lengths [in], angle [deg]
    thickness  of the metal [in]
    unit       unit of lengths in sentences, 'in' or 'mm'
    returns    WyeSpec [in, rad]
    raises     CannotBeMade where a branch is larger than the main, or a length ends inside the junction
    source     limits: fixtures/authorities/wye.md

    >>> values = {'diameter': 12.0, 'branch_diameter': 8.0, 'angle': 45.0, 'main_length': 10.0,
    ...           'branch_length': 20.0}
    >>> spec_from(values, thickness=0.0276).branch_length
    20.0
    """
    spec = WyeSpec(
        diameter=values["diameter"],
        branch_diameter=values["branch_diameter"],
        angle=math.radians(values["angle"]),
        main_length=values["main_length"],
        branch_length=values["branch_length"],
    )
    problem = _what_cannot_be_made(spec, thickness, unit)
    if problem:
        raise CannotBeMade([problem])
    return spec


def _junction(spec, thickness):
    return _Junction(
        (spec.diameter + thickness) / 2,
        (spec.branch_diameter + thickness) / 2,
        spec.angle,
        spec.branch_length,
    )


def _what_cannot_be_made(spec, thickness, unit):
    def refused(field, title, limit, why):
        value = getattr(spec, field)
        sentence = f"{title} is {with_unit(value, 'in', unit)}; it must be {limit}: {why}."
        return FieldProblem(field, value * (MM_PER_IN if unit == "mm" else 1.0), limit, sentence)

    if spec.branch_diameter > spec.diameter * (1 + 1e-9):
        limit = range_text(None, spec.diameter, "in", unit)
        why = "a branch of a wye is not larger than its main"
        return refused("branch_diameter", "Branch diameter", limit, why)
    junction = _junction(spec, thickness)
    least = shortest_branch(junction.radius, junction.branch_radius, junction.angle)
    shortest = spec.branch_length - float(junction.branch_edge(np.array([0.0, math.pi])).max())
    if spec.branch_length <= least or shortest < SHORTEST:
        limit = "more than " + with_unit(least, "in", unit)
        why = "its free end cuts into the junction; a larger angle or a smaller branch may help"
        return refused("branch_length", "Branch length", limit, why)
    lowest = float(junction.main_edge(0.0))
    if spec.main_length + lowest < SHORTEST:
        limit = "more than " + with_unit(-lowest, "in", unit)
        why = "end A cuts into the joint with a branch"
        return refused("main_length", "Main length", limit, why)
    return None


def develop_wye(
    spec: WyeSpec, *, sheet: Sheet, allowances: Allowances, practice: Practice, unit: str = "in"
) -> Development:
    """The flat patterns of a wye: the main, and the branches, which share a pattern.

    spec        the wye [in, rad]
    sheet       the metal [in, lb/ft²]
    allowances  lap and edges [in]
    practice    the shop's usual ranges, for warnings
    unit        unit of lengths in warnings, 'in' or 'mm'
    returns     Development [in, in², lb]
    source      fixtures/authorities/wye.md

    >>> spec = WyeSpec(diameter=12, branch_diameter=8, angle=math.pi / 4, main_length=10, branch_length=20)
    >>> wye = develop_wye(spec, sheet=Sheet('galvanized', 24, 0.0276, 1.156), allowances=Allowances(),
    ...                   practice=Practice())
    >>> [segment.role for segment in wye.segments], wye.segments[1].pattern == wye.segments[2].pattern
    (['main', 'branch', 'branch'], True)
    """
    junction = _junction(spec, sheet.thickness_in)
    main = _main(spec, junction, sheet, allowances)
    segments = [Segment(position=1, role="main", frame=frame_at([0, 0, 0], [1, 0, 0], [0, 0, 1]), **main)]
    patterns: dict[float, dict] = {}
    lowest = float(junction.branch_edge(_turn_with(junction.corner_angle)).min())
    for position, lean, width in ((2, 1.0, allowances.free_end_b), (3, -1.0, allowances.free_end_c)):
        if width not in patterns:
            patterns[width] = _branch(junction, lowest, sheet, allowances, width)
        cos, sin = math.cos(spec.angle), math.sin(spec.angle)
        axis = np.array([lean * sin, 0.0, cos])
        origin = np.array([0.0, 0.0, spec.main_length]) + lowest * axis
        frame = frame_at(origin, [lean * cos, 0.0, -sin], axis)
        segments.append(Segment(position=position, role="branch", frame=frame, **patterns[width]))
    dimensions = _dimensions(spec, junction, sheet)
    branch_around = 2 * math.pi * junction.branch_radius
    return assembled(
        "wye",
        segments,
        dimensions=dimensions,
        quantities={
            "diameter": spec.diameter,
            "branch_angle": math.degrees(spec.angle),
            "branch_ratio": spec.branch_diameter / spec.diameter,
            "taper_angle": math.degrees(junction.taper),
            "stretch_out": max(segment.stretch_out for segment in segments),
        },
        free_ends=(
            FreeEnd("a", "Main", 1, 2 * math.pi * junction.radius, spec.diameter),
            FreeEnd("b", "Branch 1", 2, branch_around, spec.branch_diameter),
            FreeEnd("c", "Branch 2", 3, branch_around, spec.branch_diameter),
        ),
        joint_length=edge_length(segments[0].edge_b) + _crotch_length(junction),
        sheet=sheet,
        practice=practice,
        unit=unit,
    )


def _turn_with(corner):
    """A turn from the seam, with the quarters and the two corners."""
    quarters = SEAM_ANGLE + 2 * math.pi * turn_positions(1)
    found = np.sort(np.append(quarters, [2 * math.pi - corner, 2 * math.pi + corner]))
    return found[np.append(True, np.diff(found) > 1e-9)]


def _main(spec, junction, sheet, allowances):
    """Everything about the main but its position; its edge B has a corner at both sides."""
    around = 2 * math.pi * junction.radius
    steps = quarter_steps(junction.crotch_height - float(junction.main_edge(0.0)))
    parts = turn_positions(steps)
    quarters = turn_positions(1) * around
    height = spec.main_length + junction.main_edge(SEAM_ANGLE + 2 * math.pi * parts)
    return cylinder_segment(
        np.column_stack([quarters, np.zeros(5)]),
        np.column_stack([around * parts, height]),
        start_angle=SEAM_ANGLE,
        mean_radius=junction.radius,
        sheet=sheet,
        lap=allowances.lap,
        width_a=allowances.free_end_a,
        width_b=allowances.edge_b,
        corners_b=(steps, 3 * steps),
    )


def _branch(junction, lowest, sheet, allowances, free_end):
    """Everything about a branch but its position; its own origin lies at the lowest point of its edge A."""
    corner, length, taper = junction.corner_angle, junction.branch_length, junction.taper
    breaks = _turn_with(corner)
    widths = {"lap": allowances.lap, "width_a": allowances.edge_a, "width_b": free_end}

    def flat(psi):
        """Both edges, side by side, as the pattern has them."""
        along = (junction.branch_edge(psi), np.full(len(psi), length))
        return np.hstack([developed_cone(psi, junction.cone_radius(z), z, taper) for z in along])

    keep = sampled(flat, breaks)
    corners = [int(np.argmin(np.abs(keep - at))) for at in (2 * math.pi - corner, 2 * math.pi + corner)]
    if not taper:
        x = junction.radius * (keep - SEAM_ANGLE)
        return cylinder_segment(
            np.column_stack([x, junction.branch_edge(keep) - lowest]),
            np.column_stack([x[[0, -1]], [length - lowest] * 2]),
            start_angle=SEAM_ANGLE,
            mean_radius=junction.radius,
            sheet=sheet,
            corners_a=corners,
            **widths,
        )
    psi = np.union1d(keep, np.linspace(keep[0], keep[-1], _RULINGS + 1))
    psi = psi[np.isin(psi, keep) | (np.abs(psi - keep[_nearest(keep, psi)]) > 1e-9)]
    kept = np.searchsorted(psi, keep)
    down = [0.0, 0.0, lowest]
    return ruled_segment(
        junction.branch_point(psi, junction.branch_edge(psi)) - down,
        junction.branch_point(psi, np.full(len(psi), length)) - down,
        keep=kept,
        at=(psi - SEAM_ANGLE) / (2 * math.pi),
        start_angle=SEAM_ANGLE,
        sheet=sheet,
        corners_a=kept[corners],
        has_throat=True,
        **widths,
    )


def _nearest(sorted_values, values):
    above = np.clip(np.searchsorted(sorted_values, values), 1, len(sorted_values) - 1)
    return above - (values - sorted_values[above - 1] < sorted_values[above] - values)


def _crotch_length(junction):
    """Length of the joint between the branches."""
    corner = junction.corner_angle
    psi = np.linspace(corner, 2 * math.pi - corner, _RULINGS + 1)
    return edge_length(junction.branch_point(psi, junction.branch_edge(psi)))


def _dimensions(spec, junction, sheet):
    """Figures for tickets and drawings, inside dimensions unless the name says mean."""
    reach = spec.branch_length * math.sin(spec.angle)
    rise = spec.branch_length * math.cos(spec.angle)
    heel = float(junction.branch_edge(math.pi))
    crotch = math.hypot(heel, float(junction.cone_radius(heel)))
    return [
        ("diameter", spec.diameter, "in"),
        ("branch_diameter", spec.branch_diameter, "in"),
        ("angle", math.degrees(spec.angle), "deg"),
        ("included_angle", math.degrees(2 * spec.angle), "deg"),
        ("main_length", spec.main_length, "in"),
        ("branch_length", spec.branch_length, "in"),
        ("mean_diameter", spec.diameter + sheet.thickness_in, "in"),
        ("taper_angle", math.degrees(junction.taper), "deg"),
        ("branch_spread", 2 * reach, "in"),
        ("end_to_branch_ends", spec.main_length + rise, "in"),
        ("end_to_crotch", spec.main_length + crotch, "in"),
    ]


KIND = Kind(
    "wye",
    "Wye",
    PARAMS,
    built(spec_from, develop_wye, "thickness"),
    help="A round main that divides into two equal branches, each straight or tapered.",
    ends=(("a", "Main"), ("b", "Branch 1"), ("c", "Branch 2")),
)
