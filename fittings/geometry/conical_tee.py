"""Conical tees and laterals: a round run with a branch that narrows from the run to its free end.

Frames. The fitting's frame is that of the run: Z along its axis from end A to end B. The branch is on the +X side and
leans towards end B. The branch's own throat, 0°, is the crotch, on the side of end B; t is the angle round the branch
from there. Run and branch meet on the mean surfaces of both. The hole is cut net, the branch gets an edge allowance
there (common practice, no source).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from .allowances import Allowances
from .bend import shown
from .branch_cut import BRANCH_SEAM, SHORTEST, BranchCut, branch_segment, extremes, run_segment
from .curves import edge_length, sampled, turn_positions
from .development import Development, FreeEnd, Segment, Sheet, assembled
from .errors import CannotBeMade, FieldProblem
from .parameters import Kind, Param, built, range_text, with_unit
from .pattern import ruled_segment
from .practice import Practice
from .reducer import collar_segment, collars_must_be_long_enough
from .rolling import frame_at
from .rulings import developed_cone, turn_of_rulings
from .tee import LEAST_ANGLE, hole_over_the_end

LONGEST = 240.0  # in
_TURN = 2 * math.pi
_CORNER = 1e-6  # in; nearer to touching the side of the run, the cut has corners there
_NO_TAPER = 1e-9  # radius lost in an inch

PARAMS = (
    Param("diameter", "in", 1, 120, help="Inside diameter of the run.", required=True),
    Param(
        "base_diameter",
        "in",
        1,
        120,
        help="Inside diameter of the cone where its axis leaves the run.",
        required=True,
    ),
    Param(
        "branch_diameter", "in", 1, 120, help="Inside diameter of the branch at its free end.", required=True
    ),
    Param(
        "angle",
        "deg",
        LEAST_ANGLE,
        90,
        default=90.0,
        help="Between branch and run: 90 is a tee, less a lateral that leans towards end B.",
    ),
    Param("length", "in", 0, LONGEST, low_open=True, help="Length of the run.", required=True),
    Param(
        "branch_length",
        "in",
        0,
        LONGEST,
        low_open=True,
        help="Along the branch's axis from the run's axis to the end of the cone, without collar.",
        required=True,
    ),
    Param("collar", "in", 0, LONGEST, default=0.0, help="Straight collar at the branch's free end."),
    Param(
        "branch_at",
        "in",
        0,
        LONGEST,
        help="Where the axes cross, along the run from end A; left out: the middle.",
        more=True,
    ),
)


@dataclass(frozen=True)
class ConeCut:
    """Where a cone meets a run of radius R at an angle b: r(d) = p − q d, d along its axis from the run's axis [in]."""

    main_radius: float
    radius: float  # p, of the cone where the axes cross [in]
    taper: float  # q, radius lost in an inch
    angle: float

    @property
    def sphere(self) -> float:
        """Radius of the sphere about the crossing of the axes that the cone touches, p cos a [in]."""
        return self.radius / math.hypot(1.0, self.taper)

    @property
    def touching(self) -> float:
        """t of the ruling nearest to the side of the run [rad]: cos t = −tan a / tan b."""
        return math.acos(max(-1.0, -self.taper / math.tan(self.angle)))

    def radius_at(self, along):
        return self.radius - self.taper * along

    def along_branch(self, t):
        """d(t): the greater root of the quadratic that puts a ruling on the run [in]."""
        sin, cos = math.sin(self.angle), math.cos(self.angle)
        rise, lean = sin + self.taper * cos * np.cos(t), self.radius * cos * np.cos(t)
        fall, aside = self.taper * np.sin(t), self.radius * np.sin(t)
        square = rise**2 + fall**2
        half = rise * lean + fall * aside
        room = half**2 - square * (lean**2 + aside**2 - self.main_radius**2)
        return (half + np.sqrt(np.maximum(room, 0.0))) / square

    def in_space(self, t, along=None):
        """Points of rulings at d, or where left out of the cut, in the frame of the run about the crossing, (n, 3)."""
        along = self.along_branch(t) if along is None else along
        radius = self.radius_at(along)
        sin, cos = math.sin(self.angle), math.cos(self.angle)
        return np.column_stack(
            [
                along * sin - radius * np.cos(t) * cos,
                -radius * np.sin(t),
                along * cos + radius * np.cos(t) * sin,
            ]
        )

    def flat(self, t, along):
        """Points of the cone laid flat, shape (n, 2) [in]."""
        return developed_cone(t, self.radius_at(along), along, math.atan(self.taper))

    def along_main(self, t):
        """z(t) of the cut [in]."""
        return self.in_space(t)[:, 2]

    def round_main(self, t):
        """φ(t) of the cut, round the run from +X [rad]."""
        x, y, _ = self.in_space(t).T
        return np.arctan2(y, x)


@dataclass(frozen=True)
class ConicalTeeSpec:
    """A conical tee that can be made; lengths are inside dimensions [in], the angle [rad]."""

    diameter: float
    base_diameter: float
    branch_diameter: float
    length: float
    branch_length: float
    branch_at: float
    angle: float = math.pi / 2
    collar: float = 0.0

    def crown(self, thickness: float) -> float:
        """Along the branch's axis from the run's axis to where it leaves the run, R / sin b [in]."""
        return (self.diameter + thickness) / 2 / math.sin(self.angle)

    def cut(self, thickness: float) -> ConeCut:
        """Where the mean surfaces meet, for metal of a thickness [in]."""
        crown = self.crown(thickness)
        taper = (self.base_diameter - self.branch_diameter) / 2 / (self.branch_length - crown)
        base = (self.base_diameter + thickness) / 2
        return ConeCut((self.diameter + thickness) / 2, base + taper * crown, taper, self.angle)


def spec_from(values: Mapping, *, thickness: float, unit: str = "in") -> ConicalTeeSpec:
    """A checked conical tee from the values of its parameters.

    values     every parameter of the kind, lengths [in], angle [deg]
    thickness  of the metal [in]
    unit       unit of lengths in sentences, 'in' or 'mm'
    returns    ConicalTeeSpec [in, rad]
    raises     CannotBeMade where a ruling of the cone misses the run, or the hole reaches past an end
    source     limits: fixtures/authorities/conical_tee.md

    >>> values = {param.name: param.default for param in PARAMS}
    >>> values |= {'diameter': 10.0, 'base_diameter': 6.0, 'branch_diameter': 4.0, 'length': 18.0}
    >>> spec_from(values | {'branch_length': 9.0}, thickness=0.0276).branch_at
    9.0
    """
    at = values["length"] / 2 if values["branch_at"] is None else values["branch_at"]
    spec = ConicalTeeSpec(
        diameter=values["diameter"],
        base_diameter=values["base_diameter"],
        branch_diameter=values["branch_diameter"],
        length=values["length"],
        branch_length=values["branch_length"],
        branch_at=at,
        angle=math.radians(values["angle"]),
        collar=values["collar"],
    )
    collars_must_be_long_enough(spec, unit, ("collar",))
    problem = (
        _wrong_diameters(spec, unit)
        or _short_branch(spec, thickness, unit)
        or _wide_base(spec, thickness, unit)
        or _cut_past_the_end(spec, thickness, unit)
    )
    if problem:
        raise CannotBeMade([problem])
    first, last = (at + end for end in extremes(spec.cut(thickness).along_main))
    if first < SHORTEST or last > spec.length - SHORTEST:
        raise CannotBeMade([hole_over_the_end(spec, values["branch_at"] is not None, first, last, unit)])
    return spec


def _wrong_diameters(spec, unit):
    for name, most in (("base_diameter", spec.diameter), ("branch_diameter", spec.base_diameter)):
        value = getattr(spec, name)
        if value > most + 1e-9:
            limit = range_text(None, most, "in", unit)
            title, whole = (
                ("Base diameter", "the run") if name == "base_diameter" else ("Branch diameter", "its base")
            )
            sentence = (
                f"{title} is {with_unit(value, 'in', unit)}; it can be {limit}, the diameter of {whole}."
            )
            return FieldProblem(name, shown(value, unit), limit, sentence)
    return None


def _short_branch(spec, thickness, unit):
    crown = spec.crown(thickness)
    if spec.branch_length >= crown + SHORTEST:
        return None
    limit = f"more than {with_unit(crown, 'in', unit)}"
    sentence = (
        f"Branch length is {with_unit(spec.branch_length, 'in', unit)}; the branch's axis leaves the run at "
        f"{with_unit(crown, 'in', unit)} from the run's axis, so it must be {limit}."
    )
    return FieldProblem("branch_length", shown(spec.branch_length, unit), limit, sentence)


def _wide_base(spec, thickness, unit):
    """Every ruling meets the run where the sphere in the cone is no larger than that in the run."""
    cut = spec.cut(thickness)
    if cut.sphere <= cut.main_radius + 1e-9:
        return None
    far, run, end = spec.branch_length, cut.main_radius, (spec.branch_diameter + thickness) / 2
    steepest = (run * math.sqrt(far**2 + end**2 - run**2) - end * far) / (far**2 - run**2)
    limit = range_text(None, spec.branch_diameter + 2 * steepest * (far - spec.crown(thickness)), "in", unit)
    sentence = (
        f"Base diameter is {with_unit(spec.base_diameter, 'in', unit)}; the cone would pass beside the run: with this "
        f"branch diameter and branch length it can be {limit}."
    )
    return FieldProblem("base_diameter", shown(spec.base_diameter, unit), limit, sentence)


def _cut_past_the_end(spec, thickness, unit):
    def room(branch_length):
        longer = replace(spec, branch_length=branch_length)
        return branch_length - extremes(longer.cut(thickness).along_branch)[1] - SHORTEST

    if room(spec.branch_length) >= 0:
        return None
    low, high = spec.branch_length, LONGEST
    if room(high) < 0:
        limit = f"more than {with_unit(LONGEST, 'in', unit)}"
    else:
        for _ in range(30):
            middle = (low + high) / 2
            low, high = (middle, high) if room(middle) < 0 else (low, middle)
        limit = range_text(high, None, "in", unit)
    sentence = (
        f"Branch length is {with_unit(spec.branch_length, 'in', unit)}; the cut to the run would reach past the end "
        f"of the cone: it must be {limit}."
    )
    return FieldProblem("branch_length", shown(spec.branch_length, unit), limit, sentence)


def develop_conical_tee(
    spec: ConicalTeeSpec, *, sheet: Sheet, allowances: Allowances, practice: Practice, unit: str = "in"
) -> Development:
    """The flat patterns of a conical tee: the run with its hole, the cone cut to the run, a collar if it has one.

    spec        the tee [in, rad]
    sheet       the metal [in, lb/ft²]
    allowances  lap, edges, free ends [in]; edge_a at the joint with the run, on the branch
    practice    the shop's usual ranges, for warnings
    unit        unit of lengths in warnings, 'in' or 'mm'
    returns     Development [in, in², lb]
    source      fixtures/authorities/conical_tee.md

    >>> spec = ConicalTeeSpec(diameter=10, base_diameter=6, branch_diameter=4, length=18, branch_length=9,
    ...                       branch_at=9, collar=2)
    >>> tee = develop_conical_tee(spec, sheet=Sheet('galvanized', 24, 0.0276, 1.156), allowances=Allowances(),
    ...                           practice=Practice())
    >>> [(segment.role, segment.form) for segment in tee.segments]
    [('run', 'cylinder'), ('branch', 'cone'), ('collar', 'cylinder')]
    """
    cut = spec.cut(sheet.thickness_in)
    t = _kept(cut, spec.branch_length)
    run = run_segment(
        cut.round_main(t[:-1]),
        spec.branch_at + cut.along_main(t[:-1]),
        mean_radius=cut.main_radius,
        length=spec.length,
        sheet=sheet,
        allowances=allowances,
    )
    widths = {
        "lap": allowances.lap,
        "width_a": allowances.edge_a,
        "width_b": allowances.edge_b if spec.collar else allowances.free_end_c,
    }
    lowest = extremes(cut.along_branch)[0]
    if cut.taper > _NO_TAPER:
        branch = dict(_branch(cut, spec, t, lowest, sheet, widths), frame=_frame(spec, lowest))
    else:
        branch = _straight_branch(cut, spec, sheet, widths)
    segments = [
        Segment(position=1, role="run", frame=np.eye(4), **run),
        Segment(position=2, role="branch", **branch),
    ]
    if spec.collar:
        collar = collar_segment(
            spec.branch_diameter + sheet.thickness_in,
            spec.collar,
            start_angle=BRANCH_SEAM,
            sheet=sheet,
            has_throat=True,
            **dict(widths, width_a=allowances.edge_a, width_b=allowances.free_end_c),
        )
        frame = _frame(spec, spec.branch_length)
        segments.append(Segment(position=3, role="collar", frame=frame, **collar))
    dimensions = _dimensions(spec, cut, sheet)
    quantities = {
        **{name: value for name, value, _ in dimensions},
        "branch_angle": math.degrees(spec.angle),
        "branch_ratio": spec.branch_diameter / spec.diameter,
        "stretch_out": max(segment.stretch_out for segment in segments),
    }
    around = math.pi * (spec.diameter + sheet.thickness_in)
    branch_around = math.pi * (spec.branch_diameter + sheet.thickness_in)
    return assembled(
        "conical_tee",
        segments,
        dimensions=dimensions,
        quantities=quantities,
        free_ends=(
            FreeEnd("a", "Run end A", 1, around, spec.diameter),
            FreeEnd("b", "Run end B", 1, around, spec.diameter),
            FreeEnd("c", "Branch", len(segments), branch_around, spec.branch_diameter),
        ),
        joint_length=edge_length(segments[1].edge_a) + (branch_around if spec.collar else 0.0),
        sheet=sheet,
        practice=practice,
        unit=unit,
    )


def _kept(cut, branch_length):
    """Values of t for the points of the pattern: fine enough for the branch, its free end and the run."""

    def everywhere(t):
        edges = [cut.flat(t, cut.along_branch(t)), cut.flat(t, np.full_like(t, branch_length))]
        return np.column_stack([cut.main_radius * cut.round_main(t), cut.along_main(t), *edges])

    near = np.array([_TURN - cut.touching, _TURN + cut.touching])
    breaks = np.sort(np.concatenate([BRANCH_SEAM + _TURN * turn_positions(1), near]))
    return sampled(everywhere, breaks[np.concatenate([[True], np.diff(breaks) > 1e-7])])


def _branch(cut, spec, kept, lowest, sheet, widths):
    t = np.union1d(kept, turn_of_rulings(BRANCH_SEAM))
    is_far = np.concatenate([[True], np.diff(t) > 1e-9])  # a quarter may be there twice, apart by rounding
    t = t[is_far]
    keep = np.searchsorted(t, kept + 1e-8) - 1
    corners = ()
    if cut.main_radius - cut.sphere <= _CORNER:
        corners = [int(np.argmin(np.abs(t - at))) for at in (_TURN - cut.touching, _TURN + cut.touching)]

    def ring(along):
        radius = cut.radius_at(along)
        return np.column_stack([radius * np.cos(t), radius * np.sin(t), along - lowest])

    return ruled_segment(
        ring(cut.along_branch(t)),
        ring(np.full_like(t, spec.branch_length)),
        keep=keep,
        at=(t - BRANCH_SEAM) / _TURN,
        sheet=sheet,
        start_angle=BRANCH_SEAM,
        corners_a=corners,
        has_throat=True,
        **widths,
    )


def _straight_branch(cut, spec, sheet, widths):
    """A branch as wide as its base, as that of a plain tee."""
    plain = BranchCut(cut.main_radius, cut.radius, cut.angle)
    branch, _ = branch_segment(plain, branch_length=spec.branch_length, sheet=sheet, **widths)
    frame = np.array(branch["frame"])
    frame[2, 3] += spec.branch_at
    frame.setflags(write=False)
    return dict(branch, frame=frame)


def _frame(spec, along):
    """Of what stands on the branch's axis at a distance from that of the run, X towards the crotch."""
    sin, cos = math.sin(spec.angle), math.cos(spec.angle)
    return frame_at([along * sin, 0.0, spec.branch_at + along * cos], [-cos, 0.0, sin], [sin, 0.0, cos])


def _dimensions(spec, cut, sheet):
    """Figures for tickets and drawings, inside dimensions unless the name says mean; the cut on the mean surfaces."""
    lowest, highest = extremes(cut.along_branch)
    first, last = extremes(cut.along_main)
    taper = math.degrees(math.atan(cut.taper))
    return [
        ("diameter", spec.diameter, "in"),
        ("base_diameter", spec.base_diameter, "in"),
        ("branch_diameter", spec.branch_diameter, "in"),
        ("mean_diameter", spec.diameter + sheet.thickness_in, "in"),
        ("base_mean_diameter", spec.base_diameter + sheet.thickness_in, "in"),
        ("branch_mean_diameter", spec.branch_diameter + sheet.thickness_in, "in"),
        ("angle", math.degrees(spec.angle), "deg"),
        ("length", spec.length, "in"),
        ("branch_length", spec.branch_length, "in"),
        ("collar", spec.collar, "in"),
        ("branch_at", spec.branch_at, "in"),
        ("taper_angle", taper, "deg"),
        ("included_angle", 2 * taper, "deg"),
        ("saddle_depth", highest - lowest, "in"),
        ("hole_length", last - first, "in"),
        ("hole_width", 2 * cut.main_radius * extremes(cut.round_main)[1], "in"),
        ("end_a_to_hole", spec.branch_at + first, "in"),
        ("end_b_to_hole", spec.length - spec.branch_at - last, "in"),
    ]


KIND = Kind(
    "conical_tee",
    "Conical tee",
    PARAMS,
    built(spec_from, develop_conical_tee, "thickness"),
    help="A straight run with a branch that narrows from its base on the run to its free end, square or leaning.",
    ends=(("a", "Run end A"), ("b", "Run end B"), ("c", "Branch")),
)
