"""Straight pipe: one rolled cylinder with one lengthwise seam.

Frames. The fitting's frame is that of its only segment: Z along the axis from end A. A pipe has no throat; X is where
one is told to look from, and the seam lies opposite.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .allowances import Allowances
from .curves import turn_positions
from .development import Development, FreeEnd, Segment, Sheet, assembled
from .parameters import Kind, Param, built
from .pattern import cylinder_segment
from .practice import Practice

PARAMS = (
    Param("diameter", "in", 1, 120, help="Inside diameter of the duct.", required=True),
    Param("length", "in", 0.1, 240, help="Length from end A to end B.", required=True),
)


@dataclass(frozen=True)
class PipeSpec:
    """A straight pipe; inside diameter and length [in]."""

    diameter: float
    length: float


def develop_pipe(
    spec: PipeSpec, *, sheet: Sheet, allowances: Allowances, practice: Practice, unit: str = "in"
) -> Development:
    """The flat pattern of a straight pipe: a rectangle π (D + t) long and as wide as the pipe is long.

    spec        the pipe [in]
    sheet       the metal [in, lb/ft²]
    allowances  lap and edges [in]
    practice    the shop's usual ranges, for warnings
    unit        unit of lengths in warnings, 'in' or 'mm'
    returns     Development [in, in², lb]
    source      fixtures/authorities/pipe.md

    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156)
    >>> pipe = develop_pipe(PipeSpec(7, 60), sheet=sheet, allowances=Allowances(), practice=Practice())
    >>> round(pipe.segments[0].stretch_out, 3), pipe.segments[0].blank.height
    (22.078, 60.0)
    """
    mean_radius = (spec.diameter + sheet.thickness_in) / 2
    around = 2 * math.pi * mean_radius
    x = turn_positions(1) * around
    flat = cylinder_segment(
        np.column_stack([x, np.zeros(5)]),
        np.column_stack([x, np.full(5, spec.length)]),
        start_angle=math.pi,
        mean_radius=mean_radius,
        sheet=sheet,
        lap=allowances.lap,
        width_a=allowances.free_end_a,
        width_b=allowances.free_end_b,
        has_throat=False,
    )
    dimensions = [
        ("diameter", spec.diameter, "in"),
        ("mean_diameter", spec.diameter + sheet.thickness_in, "in"),
        ("length", spec.length, "in"),
    ]
    return assembled(
        "pipe",
        [Segment(position=1, role="pipe", frame=np.eye(4), **flat)],
        dimensions=dimensions,
        quantities={"diameter": spec.diameter, "length": spec.length, "stretch_out": around},
        free_ends=(
            FreeEnd("a", "End A", 1, around, spec.diameter),
            FreeEnd("b", "End B", 1, around, spec.diameter),
        ),
        joint_length=0.0,
        sheet=sheet,
        practice=practice,
        unit=unit,
    )


def spec_from(values: Mapping, *, unit: str = "in") -> PipeSpec:
    """A pipe from the checked values of its parameters.

    values   every parameter of the kind, lengths [in]
    unit     unit of lengths in sentences, 'in' or 'mm'; nothing is refused here
    returns  PipeSpec [in]
    source   fixtures/authorities/pipe.md

    >>> spec_from({'diameter': 7.0, 'length': 60.0}).length
    60.0
    """
    return PipeSpec(values["diameter"], values["length"])


KIND = Kind(
    "pipe",
    "Pipe",
    PARAMS,
    built(spec_from, develop_pipe),
    help="Straight round duct, rolled and seamed in one piece.",
)
