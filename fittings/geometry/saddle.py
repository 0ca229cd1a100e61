"""Saddles: a round branch cut to lie on the outside of a round main that is already there.

Frames. The fitting's frame is that of the main, which is no part of it: Z along the main's axis, the origin where the
branch's axis passes it. The branch is on the +X side, leans towards +Z and lies off center towards +Y; its own throat,
0°, is the crotch, on the +Z side.

The branch's mean surface is cut to the main's outside, radius D / 2 + t. Edge A is the saddle edge, with the allowance
of a free end for the flange that lies on the main; the hole in the main is told by its length and width.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from .allowances import Allowances
from .branch_cut import BranchCut, branch_must_fit, branch_segment, extremes
from .development import Development, FreeEnd, Segment, Sheet, assembled
from .parameters import Kind, Param, built
from .practice import Practice
from .tee import LEAST_ANGLE

PARAMS = (
    Param("diameter", "in", 1, 120, help="Inside diameter of the main.", required=True),
    Param("branch_diameter", "in", 1, 120, help="Inside diameter of the branch.", required=True),
    Param("angle", "deg", LEAST_ANGLE, 90, default=90.0, help="Between branch and main."),
    Param(
        "branch_length",
        "in",
        0,
        240,
        low_open=True,
        help="Along the branch's axis from the main's axis to the free end.",
        required=True,
    ),
    Param(
        "branch_offset",
        "in",
        -60,
        60,
        default=0.0,
        help="How far the branch's axis passes beside the main's; 0 is on center.",
        more=True,
    ),
)


@dataclass(frozen=True)
class SaddleSpec:
    """A saddle that can be made; lengths are inside dimensions [in], the angle [rad]."""

    diameter: float
    branch_diameter: float
    branch_length: float
    angle: float = math.pi / 2
    branch_offset: float = 0.0

    def cut(self, thickness: float) -> BranchCut:
        """Where the branch's mean surface meets the main's outside, both of a thickness [in]."""
        main, branch = self.diameter / 2 + thickness, (self.branch_diameter + thickness) / 2
        return BranchCut(main, branch, self.angle, self.branch_offset)


def spec_from(values: Mapping, *, thickness: float, unit: str = "in") -> SaddleSpec:
    """A checked saddle from the values of its parameters.

    values     every parameter of the kind, lengths [in], angle [deg]
    thickness  of the metal [in]
    unit       unit of lengths in sentences, 'in' or 'mm'
    returns    SaddleSpec [in, rad]
    raises     CannotBeMade where the branch does not fit on the main
    source     limits: fixtures/authorities/saddle.md

    >>> values = {param.name: param.default for param in PARAMS}
    >>> values |= {'diameter': 10.0, 'branch_diameter': 4.0, 'branch_length': 9.0}
    >>> round(math.degrees(spec_from(values, thickness=0.0276).angle))
    90
    """
    spec = SaddleSpec(
        diameter=values["diameter"],
        branch_diameter=values["branch_diameter"],
        branch_length=values["branch_length"],
        angle=math.radians(values["angle"]),
        branch_offset=values["branch_offset"],
    )
    branch_must_fit(
        spec.cut(thickness),
        diameter=spec.diameter,
        branch_diameter=spec.branch_diameter,
        branch_length=spec.branch_length,
        unit=unit,
    )
    return spec


def develop_saddle(
    spec: SaddleSpec, *, sheet: Sheet, allowances: Allowances, practice: Practice, unit: str = "in"
) -> Development:
    """The flat pattern of a saddle.

    s(t) = (√(R² − (r sin t − e)²) + r cos t cos b) / sin b along the branch, t from the crotch, R = D / 2 + t

    spec        the saddle [in, rad]
    sheet       the metal, of the main too [in, lb/ft²]
    allowances  lap and free ends [in]; end A is the saddle edge
    practice    the shop's usual ranges, for warnings
    unit        unit of lengths in warnings, 'in' or 'mm'
    returns     Development [in, in², lb]
    source      fixtures/authorities/saddle.md

    >>> spec = SaddleSpec(diameter=6.625, branch_diameter=4.5, branch_length=8)
    >>> sheet = Sheet('galvanized', 24, 1e-9, 1.156)
    >>> saddle = develop_saddle(spec, sheet=sheet, allowances=Allowances(), practice=Practice())
    >>> round(saddle.dimensions['saddle_depth'], 4)
    0.8814
    """
    cut = spec.cut(sheet.thickness_in)
    branch, _ = branch_segment(
        cut,
        branch_length=spec.branch_length,
        sheet=sheet,
        lap=allowances.lap,
        width_a=allowances.free_end_a,
        width_b=allowances.free_end_b,
    )
    segment = Segment(position=1, role="branch", **branch)
    quantities = {
        "diameter": spec.branch_diameter,
        "branch_angle": math.degrees(spec.angle),
        "branch_ratio": spec.branch_diameter / spec.diameter,
        "stretch_out": segment.stretch_out,
    }
    return assembled(
        "saddle",
        [segment],
        dimensions=_dimensions(spec, cut, sheet),
        quantities=quantities,
        free_ends=[FreeEnd("b", "Branch end", 1, segment.stretch_out, spec.branch_diameter)],
        joint_length=0.0,
        sheet=sheet,
        practice=practice,
        unit=unit,
    )


def _dimensions(spec, cut, sheet):
    """Figures for tickets and drawings, inside dimensions unless the name says mean; the hole on the main's outside."""
    lowest, highest = extremes(cut.along_branch)
    first, last = extremes(cut.along_main)
    low, high = cut.sides
    return [
        ("diameter", spec.diameter, "in"),
        ("branch_diameter", spec.branch_diameter, "in"),
        ("branch_mean_diameter", spec.branch_diameter + sheet.thickness_in, "in"),
        ("main_outside_diameter", spec.diameter + 2 * sheet.thickness_in, "in"),
        ("angle", math.degrees(spec.angle), "deg"),
        ("branch_length", spec.branch_length, "in"),
        ("branch_offset", spec.branch_offset, "in"),
        ("saddle_depth", highest - lowest, "in"),
        ("shortest_branch_side", spec.branch_length - highest, "in"),
        ("longest_branch_side", spec.branch_length - lowest, "in"),
        ("hole_length", last - first, "in"),
        ("hole_width", cut.main_radius * (high - low), "in"),
    ]


KIND = Kind(
    "saddle",
    "Saddle",
    PARAMS,
    built(spec_from, develop_saddle, "thickness"),
    help="A round branch cut to lie on the outside of a round main.",
    ends=(("a", "Saddle edge"), ("b", "Branch end")),
    lies_on=("a",),
)
