"""Reducers: a round cone between two diameters, concentric or offset, with a straight collar at either end.

Frames. Z along the axis from end A; the middle of end B is shifted by the offset towards X. Every segment's own frame
stands at the middle of its own end A, without turning.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .allowances import Allowances
from .bend import shown
from .curves import edge_length
from .development import Development, FreeEnd, Segment, Sheet, assembled
from .errors import CannotBeMade, FieldProblem
from .parameters import Kind, Param, built, range_text, with_unit
from .pattern import cylinder_segment, ruled_segment
from .practice import Practice
from .rolling import frame_at
from .rulings import kept_rulings, turn_of_rulings

STEEPEST_TAPER = math.radians(85)  # beyond it the cone is nearly a flat ring; common practice, no source
SHORTEST_COLLAR = 0.1  # in; house rule, as a pipe's
_EQUAL = 1e-9  # in; radii this close make no cone

PARAMS = (
    Param("diameter_a", "in", 1, 120, help="Inside diameter at end A.", required=True),
    Param("diameter_b", "in", 1, 120, help="Inside diameter at end B.", required=True),
    Param("length", "in", 0.1, 240, help="Of the cone along its axis, without collars.", required=True),
    Param("offset", "in", 0, 240, default=0.0, help="Shift of end B's center to one side; 0: concentric."),
    Param("collar_a", "in", 0, 240, default=0.0, help="Straight collar at end A, a piece of its own."),
    Param("collar_b", "in", 0, 240, default=0.0, help="Straight collar at end B, a piece of its own."),
    Param(
        "seam_at",
        "choice",
        default="shortest",
        choices=("shortest", "longest", "side"),
        help="Which element of an offset cone the seams lie on; side is halfway between.",
        more=True,
    ),
)


@dataclass(frozen=True)
class ReducerSpec:
    """A reducer that can be made; inside diameters and lengths [in]."""

    diameter_a: float
    diameter_b: float
    length: float
    offset: float = 0.0
    collar_a: float = 0.0
    collar_b: float = 0.0
    seam_at: str = "shortest"

    @property
    def reduction(self) -> float:
        """Half the difference of the diameters [in], ≥ 0."""
        return abs(self.diameter_a - self.diameter_b) / 2

    @property
    def steepest(self) -> float:
        """Taper of the steepest side from the axis [rad]."""
        return math.atan2(self.offset + self.reduction, self.length)

    @property
    def included(self) -> float:
        """Angle between the two sides in the plane of the offset [rad]."""
        return self.steepest - math.atan2(self.offset - self.reduction, self.length)

    @property
    def start_angle(self) -> float:
        """Of the seams from X [rad]: the short side is towards the offset where end B is the smaller one."""
        shortest = 0.0 if self.diameter_a >= self.diameter_b else math.pi
        turn = {"shortest": 0.0, "side": math.pi / 2, "longest": math.pi}[self.seam_at]
        return (shortest + turn) % (2 * math.pi)


def element_length(angle, *, radius_a, radius_b, length, offset):
    """Length of the element of a cone between two parallel circles.

    l(ψ)² = L² + (e + (b − a) cos ψ)² + ((b − a) sin ψ)²

    angle              ψ, position round both circles from the side of the offset [rad], any shape
    radius_a, radius_b a, b of the two circles, on the mean surface [in], > 0
    length             L between their planes [in], > 0
    offset             e, shift of the second center towards ψ = 0 [in]
    returns            l [in], same shape as angle
    source             F. S. Kidder, Triangulation Applied to Sheet Metal Pattern Cutting (1920), chs. III, VI: plan
                       length and height are the sides of a right triangle; fixtures/authorities/reducer.md

    >>> elements = element_length(np.array([0, math.pi / 2, math.pi]), radius_a=6, radius_b=4, length=10, offset=2)
    >>> elements.round(4).tolist()
    [10.0, 10.3923, 10.7703]
    """
    change = radius_b - radius_a
    return np.sqrt(length**2 + (offset + change * np.cos(angle)) ** 2 + (change * np.sin(angle)) ** 2)


def spec_from(values: Mapping, *, unit: str = "in") -> ReducerSpec:
    """A checked reducer from the values of its parameters.

    values   every parameter of the kind, lengths [in]
    unit     unit of lengths in sentences, 'in' or 'mm'
    returns  ReducerSpec [in]
    raises   CannotBeMade where the cone is nearly a flat ring
    source   limits: fixtures/authorities/reducer.md

    >>> values = {param.name: param.default for param in PARAMS}
    >>> spec = spec_from(values | {'diameter_a': 12.0, 'diameter_b': 8.0, 'length': 10.0})
    >>> round(math.degrees(spec.steepest), 2)
    11.31
    """
    spec = ReducerSpec(**{param.name: values[param.name] for param in PARAMS})
    collars_must_be_long_enough(spec, unit)
    if spec.steepest > STEEPEST_TAPER + 1e-12:
        least = (spec.offset + spec.reduction) / math.tan(STEEPEST_TAPER)
        limit = range_text(least, None, "in", unit)
        sentence = (
            f"Length is {with_unit(spec.length, 'in', unit)}; for these diameters and this offset it must be {limit}, "
            f"or a side tapers more than {with_unit(math.degrees(STEEPEST_TAPER), 'deg')} and is nearly flat."
        )
        raise CannotBeMade([FieldProblem("length", shown(spec.length, unit), limit, sentence)])
    return spec


def collars_must_be_long_enough(spec, unit: str = "in", names=("collar_a", "collar_b")) -> None:
    """Refuse collars too short to be pieces of their own.

    spec     any spec with these collars [in]; 0 is no collar
    unit     unit of lengths in sentences, 'in' or 'mm'
    names    of the collars
    returns  None
    raises   CannotBeMade naming every such collar
    source   house rule; no outside source

    >>> collars_must_be_long_enough(ReducerSpec(12, 8, 10, collar_a=0.05))
    Traceback (most recent call last):
    fittings.geometry.errors.CannotBeMade: Collar a is 0.05 in; it can be 0, or at least 0.1 in.
    """
    problems = []
    for name in names:
        length = getattr(spec, name)
        if 0 < length < SHORTEST_COLLAR - 1e-9:
            limit = f"0, or {range_text(SHORTEST_COLLAR, None, 'in', unit)}"
            title = name.replace("_", " ").capitalize()
            sentence = f"{title} is {with_unit(length, 'in', unit)}; it can be {limit}."
            problems.append(FieldProblem(name, shown(length, unit), limit, sentence))
    if problems:
        raise CannotBeMade(problems)


def develop_reducer(
    spec: ReducerSpec, *, sheet: Sheet, allowances: Allowances, practice: Practice, unit: str = "in"
) -> Development:
    """The flat patterns of a reducer, in order from end A: collar, cone, collar.

    The mean surface lies between circles of the mean diameters, D + t, at both ends; rulings join points at the same
    angle of both circles, which is a cone, oblique where there is an offset.

    spec        the reducer [in]
    sheet       the metal [in, lb/ft²]
    allowances  lap and edges [in]
    practice    the shop's usual ranges, for warnings
    unit        unit of lengths in warnings, 'in' or 'mm'
    returns     Development [in, in², lb]
    source      fixtures/authorities/reducer.md

    >>> spec = ReducerSpec(diameter_a=12, diameter_b=8, length=10, collar_b=2)
    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156)
    >>> reducer = develop_reducer(spec, sheet=sheet, allowances=Allowances(), practice=Practice())
    >>> [segment.role for segment in reducer.segments], round(reducer.dimensions['slant'], 3)
    (['cone', 'collar'], 10.198)
    """
    names = [name for name in ("collar_a", "cone", "collar_b") if name == "cone" or getattr(spec, name) > 0]
    ends = {
        "a": {"collar_a": 0.0, "cone": spec.collar_a, "collar_b": spec.collar_a + spec.length},
        "shift": {"collar_a": 0.0, "cone": 0.0, "collar_b": spec.offset},
    }
    segments = []
    for position, name in enumerate(names, 1):
        widths = {
            "lap": allowances.lap,
            "width_a": allowances.free_end_a if position == 1 else allowances.edge_a,
            "width_b": allowances.free_end_b if position == len(names) else allowances.edge_b,
        }
        if name == "cone":
            pattern = _cone(spec, sheet, widths)
        else:
            diameter = spec.diameter_a if name == "collar_a" else spec.diameter_b
            pattern = collar_segment(
                diameter + sheet.thickness_in,
                getattr(spec, name),
                start_angle=spec.start_angle,
                sheet=sheet,
                **widths,
            )
        frame = frame_at([ends["shift"][name], 0.0, ends["a"][name]], [1, 0, 0], [0, 0, 1])
        role = "cone" if name == "cone" else "collar"
        segments.append(Segment(position=position, role=role, frame=frame, **pattern))
    around = {end: math.pi * (getattr(spec, f"diameter_{end}") + sheet.thickness_in) for end in "ab"}
    dimensions = _dimensions(spec, sheet)
    steepest = spec.offset + spec.reduction
    quantities = {
        **{name: value for name, value, _ in dimensions},
        "diameter": max(spec.diameter_a, spec.diameter_b),
        "length_over_reduction": spec.length / steepest if steepest > _EQUAL else None,
        "stretch_out": max(segment.stretch_out for segment in segments),
    }
    return assembled(
        "reducer",
        segments,
        dimensions=dimensions,
        quantities=quantities,
        free_ends=(
            FreeEnd("a", "End A", 1, around["a"], spec.diameter_a),
            FreeEnd("b", "End B", len(segments), around["b"], spec.diameter_b),
        ),
        joint_length=sum(edge_length(segment.edge_b) for segment in segments[:-1]),
        sheet=sheet,
        practice=practice,
        unit=unit,
    )


def collar_segment(
    mean_diameter, length, *, start_angle, sheet: Sheet, lap, width_a, width_b, has_throat=False
) -> dict:
    """A straight collar: every field of a Segment but position, role and frame.

    mean_diameter     inside diameter + thickness [in]
    length            [in], > 0
    start_angle       of its seam from X [rad]
    sheet             the metal
    lap               [in], ≥ 0
    width_a, width_b  edge allowances [in], ≥ 0
    has_throat        whether its quarters are named throat, side, heel
    returns           dict [in, in², lb]
    source            a rolled cylinder, π D by its length

    >>> collar = collar_segment(8.0, 2.0, start_angle=0.0, sheet=Sheet('galvanized', 24, 0.0276, 1.156), lap=0.5,
    ...                         width_a=0.0, width_b=0.0)
    >>> round(collar['stretch_out'], 3), collar['form']
    (25.133, 'cylinder')
    """
    quarters = np.arange(5) / 4 * math.pi * mean_diameter
    return cylinder_segment(
        np.column_stack([quarters, np.zeros(5)]),
        np.column_stack([quarters, np.full(5, length)]),
        start_angle=start_angle,
        mean_radius=mean_diameter / 2,
        sheet=sheet,
        lap=lap,
        width_a=width_a,
        width_b=width_b,
        has_throat=has_throat,
    )


def _cone(spec, sheet, widths):
    if spec.reduction < _EQUAL and spec.offset < _EQUAL:  # nothing tapers or leans
        diameter = spec.diameter_a + sheet.thickness_in
        return collar_segment(diameter, spec.length, start_angle=spec.start_angle, sheet=sheet, **widths)
    turn = turn_of_rulings(spec.start_angle)
    ring = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(len(turn))])
    low = ring * (spec.diameter_a + sheet.thickness_in) / 2
    high = ring * (spec.diameter_b + sheet.thickness_in) / 2 + [spec.offset, 0.0, spec.length]
    return ruled_segment(
        low, high, keep=kept_rulings(low, high), sheet=sheet, start_angle=spec.start_angle, **widths
    )


def _dimensions(spec, sheet):
    """Figures for tickets and drawings, inside dimensions unless the name says mean; the apex is the mean surface's."""
    larger, smaller = (
        (pick(spec.diameter_a, spec.diameter_b) + sheet.thickness_in) / 2 for pick in (max, min)
    )
    short, long = (float(math.hypot(spec.length, spec.offset + sign * spec.reduction)) for sign in (-1, 1))
    rows = [
        ("diameter_a", spec.diameter_a, "in"),
        ("diameter_b", spec.diameter_b, "in"),
        ("length", spec.length, "in"),
        ("offset", spec.offset, "in"),
        ("collar_a", spec.collar_a, "in"),
        ("collar_b", spec.collar_b, "in"),
        ("overall_length", spec.collar_a + spec.length + spec.collar_b, "in"),
        ("mean_diameter_a", spec.diameter_a + sheet.thickness_in, "in"),
        ("mean_diameter_b", spec.diameter_b + sheet.thickness_in, "in"),
        ("taper_angle", math.degrees(spec.steepest), "deg"),
        ("included_angle", math.degrees(spec.included), "deg"),
    ]
    is_cone = spec.reduction > _EQUAL
    if spec.offset < _EQUAL:
        rows.append(("slant", long, "in"))
        if is_cone:
            whole = larger / spec.reduction * long
            rows += [
                ("outer_radius", whole, "in"),
                ("inner_radius", whole - long, "in"),
                ("sector_angle", 360.0 * spec.reduction / long, "deg"),
            ]
    else:
        rows += [("shortest_element", short, "in"), ("longest_element", long, "in")]
        if is_cone:
            rows += [
                ("apex_height", spec.length * larger / spec.reduction, "in"),
                ("apex_plan_offset", spec.offset * larger / spec.reduction, "in"),
            ]
    return rows


KIND = Kind(
    "reducer",
    "Reducer",
    PARAMS,
    built(spec_from, develop_reducer),
    help="A cone between two round diameters, concentric or offset, with a collar at either end if wanted.",
)
