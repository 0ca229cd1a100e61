"""A round branch cut to a round main: one space curve, and what it is on the branch, on the main, and in space.

Frames. The main's axis is Z; the branch's axis leaves it on the +X side, leaning towards +Z by the angle, and passes it
sideways by the offset, at Y = offset. t is the angle round the branch: 0 on the acute side (the crotch, towards +Z),
180° on the other, seen so that the branch's own X, Y and Z are right-handed. φ is the angle round the main from +X
towards +Y.
"""

import math
from dataclasses import dataclass

import numpy as np

from .allowances import Allowances
from .curves import sampled, turn_positions
from .development import Sheet
from .errors import CannotBeMade, FieldProblem
from .outline import signed_area
from .parameters import MM_PER_IN, range_text, with_unit
from .pattern import cylinder_plates, cylinder_segment
from .rolling import frame_at

BRANCH_SEAM = math.pi  # on the obtuse side, away from the crotch; common practice, no source
SHORTEST = 0.001  # in of metal that must be left beside a cut
_CORNER = 1e-6  # in; nearer to the side of the main, the cut has a corner there
_BESIDE_HOLE = 0.25  # in of metal beside a hole, beyond the lap, for its plate to be cut round it
_TURN = 2 * math.pi


@dataclass(frozen=True)
class BranchCut:
    """Where a branch of radius r meets a main of radius R [in] at an angle [rad], past its axis by an offset [in]."""

    main_radius: float
    branch_radius: float
    angle: float
    offset: float = 0.0

    def reach(self, t):
        """q(t) = √(R² − (r sin t − e)²): X of the curve [in]."""
        across = self.branch_radius * np.sin(t) - self.offset
        return np.sqrt(np.maximum(self.main_radius**2 - across**2, 0.0))

    def along_branch(self, t):
        """s(t) = (q + r cos t cos b) / sin b, along the branch's axis from where it passes the main's [in]."""
        lean = self.branch_radius * np.cos(t) * math.cos(self.angle)
        return (self.reach(t) + lean) / math.sin(self.angle)

    def along_main(self, t):
        """z(t) = (q cos b + r cos t) / sin b, along the main's axis from where the branch's passes it [in]."""
        rise = self.reach(t) * math.cos(self.angle) + self.branch_radius * np.cos(t)
        return rise / math.sin(self.angle)

    def round_main(self, t):
        """φ(t), round the main from +X [rad]; within a quarter turn either way."""
        return np.arctan2(self.offset - self.branch_radius * np.sin(t), self.reach(t))

    @property
    def sides(self) -> tuple[float, float]:
        """Least and greatest φ of the curve [rad]."""
        r, e, main = self.branch_radius, self.offset, self.main_radius
        return tuple(math.asin(max(-1.0, min(1.0, (e + k * r) / main))) for k in (-1, 1))

    @property
    def corners(self) -> tuple[float, ...]:
        """Values of t within a turn where the branch reaches the side of the main, and the cut has a corner [rad]."""
        room = self.main_radius - self.branch_radius
        reached = ((math.pi / 2, -self.offset), (3 * math.pi / 2, self.offset))
        return tuple(t for t, sideways in reached if room - sideways <= _CORNER)

    def positions(self, start: float) -> np.ndarray:
        """Values of t round the branch from a start on a quarter: fine enough for the branch and for the main."""

        def on_both(t):
            on_branch = (self.branch_radius * t, self.along_branch(t))
            return np.column_stack([*on_branch, self.main_radius * self.round_main(t), self.along_main(t)])

        return sampled(on_both, start + _TURN * turn_positions(1))

    def frame(self, at: float) -> np.ndarray:
        """The branch's own frame: its axis from `at` [in] above where it passes the main's, X towards the crotch."""
        axis = np.array([math.sin(self.angle), 0.0, math.cos(self.angle)])
        crotch = np.array([-math.cos(self.angle), 0.0, math.sin(self.angle)])
        return frame_at(np.array([0.0, self.offset, 0.0]) + at * axis, crotch, axis)


def extremes(function) -> tuple[float, float]:
    """Least and greatest value of a function of the angle round a branch.

    function  of angles [rad], shape (n,), to values [in], shape (n,); with corners at quarters only
    returns   (least, greatest) [in], to 1e-6 of its second difference over a quarter of a degree
    source    search on a grid, then on a finer one about its best point

    >>> [round(value, 9) for value in extremes(lambda t: 3 + np.cos(t - 0.1))]
    [2.0, 4.0]
    """
    step = math.radians(0.25)
    t = np.arange(1440) * step
    values = function(t)
    best = [t[pick(values)] for pick in (np.argmin, np.argmax)]
    near = np.linspace(-step, step, 2001)
    return float(function(best[0] + near).min()), float(function(best[1] + near).max())


def branch_must_fit(
    cut: BranchCut, *, diameter: float, branch_diameter: float, branch_length: float, unit: str = "in"
) -> None:
    """Refuse a branch that is larger than the main, passes beside it, or ends before its own cut does.

    cut                       the cut [in, rad]
    diameter, branch_diameter inside diameters [in]
    branch_length             from the main's axis to the free end [in]
    unit                      unit of lengths in sentences, 'in' or 'mm'
    returns                   None
    raises                    CannotBeMade naming branch_diameter, branch_offset or branch_length
    source                    geometry of two cylinders; fixtures/authorities/tee.md

    >>> branch_must_fit(BranchCut(5, 2, math.pi / 2), diameter=10, branch_diameter=4, branch_length=8)
    """
    per_inch = MM_PER_IN if unit == "mm" else 1.0
    room = cut.main_radius - cut.branch_radius
    if room < -1e-9:
        limit = range_text(None, branch_diameter + 2 * room, "in", unit)
        sentence = (
            f"Branch diameter is {with_unit(branch_diameter, 'in', unit)}; on a diameter of "
            f"{with_unit(diameter, 'in', unit)} it can be {limit}."
        )
        problem = FieldProblem("branch_diameter", branch_diameter * per_inch, limit, sentence)
        raise CannotBeMade([problem])
    if abs(cut.offset) > room + 1e-9:
        limit = range_text(-room, room, "in", unit) if room > 1e-9 else f"0 {unit}"
        sentence = (
            f"Branch offset is {with_unit(cut.offset, 'in', unit)}; it can be {limit}: farther out, the branch "
            "reaches past the side of what it sits on."
        )
        raise CannotBeMade([FieldProblem("branch_offset", cut.offset * per_inch, limit, sentence)])
    highest = extremes(cut.along_branch)[1]
    if branch_length < highest + SHORTEST:
        limit = f"more than {with_unit(highest, 'in', unit)}"
        sentence = (
            f"Branch length is {with_unit(branch_length, 'in', unit)}; its cut reaches "
            f"{with_unit(highest, 'in', unit)} along its axis, so it must be {limit}."
        )
        raise CannotBeMade([FieldProblem("branch_length", branch_length * per_inch, limit, sentence)])


def branch_segment(
    cut: BranchCut, *, branch_length: float, sheet: Sheet, lap: float, width_a: float, width_b: float
) -> tuple[dict, np.ndarray]:
    """A branch cut to its main: every field of a Segment but position and role, the frame as if the main's Z = 0
    were where the axes pass each other.

    cut               the cut on the mean surface of the branch [in, rad]
    branch_length     from the main's axis to the free end [in]
    sheet             the metal
    lap               [in], ≥ 0
    width_a, width_b  allowances at the cut and at the free end [in], ≥ 0
    returns           (fields [in, in², lb], t of the points of edge A [rad])
    source            parallel line development; rule branch-unequal in fixtures/authorities/tee.json

    >>> fields, t = branch_segment(BranchCut(5, 2, math.pi / 2), branch_length=8, lap=0, width_a=0, width_b=0,
    ...                            sheet=Sheet('galvanized', 24, 0.0276, 1.156))
    >>> round(fields['throat'], 4), round(fields['stretch_out'], 4)
    (3.0, 12.5664)
    """
    t = cut.positions(BRANCH_SEAM)
    height = cut.along_branch(t)
    lowest = float(height.min())
    around = _TURN * cut.branch_radius
    square = turn_positions(1) * around
    corners = [int(np.argmin(np.abs((t - corner + math.pi) % _TURN - math.pi))) for corner in cut.corners]
    segment = cylinder_segment(
        np.column_stack([around * (t - BRANCH_SEAM) / _TURN, height - lowest]),
        np.column_stack([square, np.full(5, branch_length - lowest)]),
        start_angle=BRANCH_SEAM,
        mean_radius=cut.branch_radius,
        sheet=sheet,
        lap=lap,
        width_a=width_a,
        width_b=width_b,
        corners_a=corners,
    )
    return dict(segment, frame=cut.frame(lowest)), t


def run_segment(
    angle, height, *, mean_radius: float, length: float, sheet: Sheet, allowances: Allowances
) -> dict:
    """A run with a hole in its +X side: every field of a Segment but position, role and frame.

    The seam lies opposite the branch, at 180°. A run of several plates is turned so that the hole stays whole in one of
    them where it can, and otherwise so that no seam passes close to an end of the hole.

    angle, height  points of the hole: round the run from +X [rad], within ± π/2; along it from end A [in]; shape (n,)
    mean_radius    r of the run [in]
    length         of the run [in]
    sheet          the metal
    allowances     lap and free ends; the hole is cut net (common practice, no source)
    returns        dict [in, in², lb]
    source         a cylinder is developable

    >>> t = np.linspace(0, 2 * math.pi, 40)[:-1]
    >>> run = run_segment(0.4 * np.cos(t), 9 + 2 * np.sin(t), mean_radius=5, length=18, allowances=Allowances(),
    ...                   sheet=Sheet('galvanized', 24, 0.0276, 1.156))
    >>> len(run['holes']), run['seam_at']
    (1, 'heel')
    """
    square = turn_positions(1) * _TURN * mean_radius
    edges = [np.column_stack([square, np.full(5, end)]) for end in (0.0, length)]
    widths = {
        "lap": allowances.lap,
        "width_a": allowances.free_end_a,
        "width_b": allowances.free_end_b,
    }
    count = cylinder_plates(*edges, sheet=sheet, **widths)
    beside = (allowances.lap + _BESIDE_HOLE) / mean_radius
    start = _start_beside_hole(count, float(np.min(angle)), float(np.max(angle)), beside)
    hole = np.column_stack([mean_radius * ((angle - start) % _TURN), height])
    return cylinder_segment(
        *edges,
        start_angle=start,
        mean_radius=mean_radius,
        sheet=sheet,
        holes=[hole if signed_area(hole) > 0 else hole[::-1]],
        **widths,
    )


def _start_beside_hole(count, low, high, beside):
    """Angle of the first seam of a run of `count` plates with a hole from `low` to `high` [rad]."""
    if count == 1:
        return math.pi
    step = _TURN / count
    centered = ((low + high) / 2 + step / 2) % _TURN
    starts = [(math.pi + step * part) % _TURN for part in (0, 0.5, 0.25, 0.75)] + [centered]
    best, most = math.pi, -1.0
    for start in starts:
        first, last = (low - start) % _TURN, (high - start) % _TURN
        if last - first < high - low - 1e-9:
            continue  # the seam itself would run through the hole
        clear = min(min(end % step, step - end % step) for end in (first, last))
        is_whole = math.floor(first / step) == math.floor(last / step)
        if clear >= beside and is_whole:
            return start
        if min(clear, beside) > most:
            best, most = start, min(clear, beside)
    return best
