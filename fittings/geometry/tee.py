"""Tees and laterals: a round branch on a round run, straight or leaning, on center or to one side.

Frames. The fitting's frame is that of the run: Z along its axis from end A to end B. The branch is on the +X side,
leans towards end B and lies off center towards +Y. The branch's own throat, 0°, is the crotch, on the side of end B.

Run and branch meet on the mean surfaces of both, so the hole and the edge of the branch are one curve in space. The
hole is cut net, the branch gets an edge allowance there (common practice, no source).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .allowances import Allowances
from .branch_cut import SHORTEST, BranchCut, branch_must_fit, branch_segment, extremes, run_segment
from .curves import edge_length
from .development import Development, FreeEnd, Segment, Sheet, assembled
from .errors import CannotBeMade, FieldProblem
from .parameters import MM_PER_IN, Kind, Param, built, range_text, with_unit
from .practice import Practice

LEAST_ANGLE = 10.0  # deg; flatter, the joint runs along the run; common practice, no source

PARAMS = (
    Param("diameter", "in", 1, 120, help="Inside diameter of the run.", required=True),
    Param("branch_diameter", "in", 1, 120, help="Inside diameter of the branch.", required=True),
    Param(
        "angle",
        "deg",
        LEAST_ANGLE,
        90,
        default=90.0,
        help="Between branch and run: 90 is a tee, less a lateral that leans towards end B.",
    ),
    Param("length", "in", 0, 240, low_open=True, help="Length of the run.", required=True),
    Param(
        "branch_length",
        "in",
        0,
        240,
        low_open=True,
        help="Along the branch's axis from the run's axis to the free end.",
        required=True,
    ),
    Param(
        "branch_offset",
        "in",
        -60,
        60,
        default=0.0,
        help="How far the branch's axis passes beside the run's; 0 is on center.",
        more=True,
    ),
    Param(
        "branch_at",
        "in",
        0,
        240,
        help="Where the axes cross, along the run from end A; left out: the middle.",
        more=True,
    ),
)


@dataclass(frozen=True)
class TeeSpec:
    """A tee that can be made; lengths are inside dimensions [in], the angle [rad]."""

    diameter: float
    branch_diameter: float
    length: float
    branch_length: float
    branch_at: float
    angle: float = math.pi / 2
    branch_offset: float = 0.0

    def cut(self, thickness: float) -> BranchCut:
        """Where the mean surfaces meet, for metal of a thickness [in]."""
        run, branch = ((inside + thickness) / 2 for inside in (self.diameter, self.branch_diameter))
        return BranchCut(run, branch, self.angle, self.branch_offset)


def spec_from(values: Mapping, *, thickness: float, unit: str = "in") -> TeeSpec:
    """A checked tee from the values of its parameters.

    values     every parameter of the kind, lengths [in], angle [deg]
    thickness  of the metal [in]
    unit       unit of lengths in sentences, 'in' or 'mm'
    returns    TeeSpec [in, rad]
    raises     CannotBeMade where the branch does not fit on the run
    source     limits: fixtures/authorities/tee.md

    >>> values = {param.name: param.default for param in PARAMS}
    >>> values |= {'diameter': 10.0, 'branch_diameter': 4.0, 'length': 18.0, 'branch_length': 9.0}
    >>> spec_from(values, thickness=0.0276).branch_at
    9.0
    """
    at = values["length"] / 2 if values["branch_at"] is None else values["branch_at"]
    spec = TeeSpec(
        diameter=values["diameter"],
        branch_diameter=values["branch_diameter"],
        length=values["length"],
        branch_length=values["branch_length"],
        branch_at=at,
        angle=math.radians(values["angle"]),
        branch_offset=values["branch_offset"],
    )
    cut = spec.cut(thickness)
    branch_must_fit(
        cut,
        diameter=spec.diameter,
        branch_diameter=spec.branch_diameter,
        branch_length=spec.branch_length,
        unit=unit,
    )
    first, last = (at + end for end in extremes(cut.along_main))
    if first < SHORTEST or last > spec.length - SHORTEST:
        raise CannotBeMade([hole_over_the_end(spec, values["branch_at"] is not None, first, last, unit)])
    return spec


def hole_over_the_end(spec, is_placed: bool, first: float, last: float, unit: str = "in") -> FieldProblem:
    """The problem of a hole that reaches past an end of its run.

    spec         with branch_at and length [in]
    is_placed    whether branch_at was given
    first, last  ends of the hole along the run from end A [in]
    unit         unit of lengths in sentences, 'in' or 'mm'
    returns      FieldProblem of branch_at, or of length where no place would do
    source       definition

    >>> spec = TeeSpec(diameter=10, branch_diameter=4, length=18, branch_length=9, branch_at=17)
    >>> hole_over_the_end(spec, True, 15.0, 19.0).limit
    'more than 2 and less than 16 in'
    """
    per_inch = MM_PER_IN if unit == "mm" else 1.0
    before, beyond = spec.branch_at - first, last - spec.branch_at
    needed = before + beyond if is_placed else 2 * max(before, beyond)
    reaches = (
        f"the hole for the branch reaches {with_unit(before, 'in', unit)} towards end A and "
        f"{with_unit(beyond, 'in', unit)} towards end B from where the axes cross"
    )
    if is_placed and spec.length > needed + 2 * SHORTEST:
        limit = "more than " + range_text(before, spec.length - beyond, "in", unit).replace(
            " to ", " and less than "
        )
        sentence = f"Branch at is {with_unit(spec.branch_at, 'in', unit)}; {reaches}, so it must be {limit}."
        return FieldProblem("branch_at", spec.branch_at * per_inch, limit, sentence)
    limit = f"more than {with_unit(needed, 'in', unit)}"
    sentence = f"Length is {with_unit(spec.length, 'in', unit)}; {reaches}, so it must be {limit}."
    return FieldProblem("length", spec.length * per_inch, limit, sentence)


def develop_tee(
    spec: TeeSpec, *, sheet: Sheet, allowances: Allowances, practice: Practice, unit: str = "in"
) -> Development:
    """The flat patterns of a tee: the run with its hole, the branch cut to the run.

    s(t) = (√(R² − (r sin t − e)²) + r cos t cos b) / sin b along the branch, t from the crotch

    spec        the tee [in, rad]
    sheet       the metal [in, lb/ft²]
    allowances  lap, edges, free ends [in]; edge_a at the joint, on the branch
    practice    the shop's usual ranges, for warnings
    unit        unit of lengths in warnings, 'in' or 'mm'
    returns     Development [in, in², lb]
    source      fixtures/authorities/tee.md

    >>> spec = TeeSpec(diameter=10, branch_diameter=4, length=18, branch_length=9, branch_at=9)
    >>> sheet = Sheet('galvanized', 24, 1e-9, 1.156)
    >>> tee = develop_tee(spec, sheet=sheet, allowances=Allowances(), practice=Practice())
    >>> [segment.role for segment in tee.segments], round(tee.dimensions['saddle_depth'], 4)
    (['run', 'branch'], 0.4174)
    """
    cut = spec.cut(sheet.thickness_in)
    branch, t = branch_segment(
        cut,
        branch_length=spec.branch_length,
        sheet=sheet,
        lap=allowances.lap,
        width_a=allowances.edge_a,
        width_b=allowances.free_end_c,
    )
    run = run_segment(
        cut.round_main(t[:-1]),
        spec.branch_at + cut.along_main(t[:-1]),
        mean_radius=cut.main_radius,
        length=spec.length,
        sheet=sheet,
        allowances=allowances,
    )
    frame = np.array(branch.pop("frame"))
    frame[2, 3] += spec.branch_at
    frame.setflags(write=False)
    segments = (
        Segment(position=1, role="run", frame=np.eye(4), **run),
        Segment(position=2, role="branch", frame=frame, **branch),
    )
    dimensions = _dimensions(spec, cut, sheet)
    quantities = {
        "diameter": spec.diameter,
        "length": spec.length,
        "branch_angle": math.degrees(spec.angle),
        "branch_ratio": spec.branch_diameter / spec.diameter,
        "stretch_out": segments[0].stretch_out,
    }
    ends = (("a", "Run end A", 0), ("b", "Run end B", 0), ("c", "Branch", 1))
    return assembled(
        "tee",
        segments,
        dimensions=dimensions,
        quantities=quantities,
        free_ends=[
            FreeEnd(letter, title, k + 1, segments[k].stretch_out, (spec.diameter, spec.branch_diameter)[k])
            for letter, title, k in ends
        ],
        joint_length=edge_length(segments[1].edge_a),
        sheet=sheet,
        practice=practice,
        unit=unit,
    )


def _dimensions(spec, cut, sheet):
    """Figures for tickets and drawings, inside dimensions unless the name says mean; the cut on the mean surfaces."""
    lowest, highest = extremes(cut.along_branch)
    first, last = extremes(cut.along_main)
    low, high = cut.sides
    return [
        ("diameter", spec.diameter, "in"),
        ("branch_diameter", spec.branch_diameter, "in"),
        ("mean_diameter", spec.diameter + sheet.thickness_in, "in"),
        ("branch_mean_diameter", spec.branch_diameter + sheet.thickness_in, "in"),
        ("angle", math.degrees(spec.angle), "deg"),
        ("length", spec.length, "in"),
        ("branch_length", spec.branch_length, "in"),
        ("branch_offset", spec.branch_offset, "in"),
        ("branch_at", spec.branch_at, "in"),
        ("saddle_depth", highest - lowest, "in"),
        ("shortest_branch_side", spec.branch_length - highest, "in"),
        ("longest_branch_side", spec.branch_length - lowest, "in"),
        ("hole_length", last - first, "in"),
        ("hole_width", cut.main_radius * (high - low), "in"),
        ("end_a_to_hole", spec.branch_at + first, "in"),
        ("end_b_to_hole", spec.length - spec.branch_at - last, "in"),
    ]


KIND = Kind(
    "tee",
    "Tee",
    PARAMS,
    built(spec_from, develop_tee, "thickness"),
    help="A straight run with a round branch: equal or smaller, square or leaning, on center or to one side.",
    ends=(("a", "Run end A"), ("b", "Run end B"), ("c", "Branch")),
)
