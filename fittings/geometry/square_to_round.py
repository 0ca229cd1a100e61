"""Square to round: a braked transition from a rectangular end to a round one.

The surface is the convex hull of both ends: the outward direction φ touches the rectangle along a side (φ a multiple of
90°) or at a corner, and the circle at one point. So it is four flat triangles, each on a side of the rectangle with its
tip where the circle's tangent is parallel to that side, and between them four parts of oblique cones with their tips in
the corners. This holds for any sizes and offsets.

Frame. End A, the rectangle, lies at Z = 0 with its center in the origin, width along X and height along Y; end B, the
circle, at Z = length, its center at (offset x, offset y).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .allowances import Allowances
from .curves import CHORD_TOLERANCE
from .development import BRAKE, Development, FreeEnd, Segment, Sheet, assembled
from .errors import CannotBeMade, FieldProblem
from .parameters import MM_PER_IN, Kind, Param, built, with_unit
from .pattern import ruled_segment
from .practice import Practice
from .rolling import frame_at

CLOSEST_EDGES = 0.001  # in; less, and the edges of both ends meet
# in along the round end, between bend lines: the spacing of division lines on large rounds in B. Coey, Pattern
# Development: Sheet Metal Level 4 (BCcampus, 2023), ch. 1; that it holds for bends is common practice, no source
BEND_SPACING = 2.0
FEWEST_BENDS, MOST_BENDS = 3, 20  # at a corner, where left out
SEAM_SIDES = {"height": (2, 0), "width": (3, 1)}  # the one to take of equal ones first
SIDE_NAMES = ("plus_x", "plus_y", "minus_x", "minus_y")
ENDS = (("a", "Rectangular end"), ("b", "Round end"))
_DENSE = 400  # rulings of a quarter's cone, at least

PARAMS = (
    Param("width", "in", 1, 120, help="Inside width of the rectangular end, along X.", required=True),
    Param("height", "in", 1, 120, help="Inside height of the rectangular end, along Y.", required=True),
    Param("diameter", "in", 1, 120, help="Inside diameter of the round end.", required=True),
    Param("length", "in", 0, 240, low_open=True, help="From end to end, square to both.", required=True),
    Param("offset_x", "in", -240, 240, default=0.0, help="Shift of the round end's center along the width."),
    Param("offset_y", "in", -240, 240, default=0.0, help="Shift of the round end's center along the height."),
    Param(
        "seam_at",
        "choice",
        choices=("width", "height"),
        help="The side whose middle has the seam; left out: where the seam is shortest.",
        more=True,
    ),
    Param(
        "bends_per_corner",
        "count",
        1,
        MOST_BENDS,
        help="Bend lines at each corner, the edges of the flats included; left out: about 2 in apart.",
        more=True,
    ),
)


@dataclass(frozen=True)
class SquareToRoundSpec:
    """A square to round that can be made; lengths are inside dimensions [in]."""

    width: float
    height: float
    diameter: float
    length: float
    offset_x: float = 0.0
    offset_y: float = 0.0
    seam_at: str | None = None
    bends_per_corner: int | None = None


@dataclass(frozen=True)
class _Surface:
    """The mean surface: half sizes of the rectangle, radius and center of the circle [in].

    Sides and the corner after each are counted by quarters from +X, as in SIDE_NAMES, any whole number.
    """

    half_sizes: tuple[float, float]
    radius: float
    center: tuple[float, float, float]

    def round_end(self, quarters):
        """Points of the circle, shape (n, 3), in directions in quarters of a turn from +X."""
        angle = np.asarray(quarters, float) * (math.pi / 2)
        return self.center + self.radius * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=-1)

    def corner(self, quarter):
        signs = ((1, 1), (-1, 1), (-1, -1), (1, -1))[quarter % 4]
        return np.array([*np.multiply(signs, self.half_sizes), 0.0])

    def middle(self, quarter):
        """The middle of a side."""
        return (self.corner(quarter - 1) + self.corner(quarter)) / 2

    def overhang(self, quarter):
        """How far the circle reaches beyond a side, seen along the axis."""
        across = self.round_end(quarter) - self.middle(quarter)
        return float(across[quarter % 2]) * (1 if quarter % 4 < 2 else -1)

    def altitude(self, quarter):
        """Of the flat triangle on a side."""
        return math.hypot(self.center[2], self.overhang(quarter))

    def seam(self, quarter):
        """Length of a seam from the middle of a side to the tip of its triangle."""
        return float(np.linalg.norm(self.round_end(quarter) - self.middle(quarter)))

    def corner_lines(self, quarter):
        """Lengths of lines from a corner to its quarter of the circle, shape (n,); half a degree apart."""
        return np.linalg.norm(self.round_end(quarter + np.linspace(0, 1, 181)) - self.corner(quarter), axis=1)


def spec_from(values: Mapping, *, thickness: float, unit: str = "in") -> SquareToRoundSpec:
    """A checked square to round from the values of its parameters.

    values     every parameter of the kind, lengths [in]
    thickness  of the metal [in]
    unit       unit of lengths in sentences, 'in' or 'mm'
    returns    SquareToRoundSpec [in]
    raises     CannotBeMade where the two ends meet
    source     limits: fixtures/authorities/square_to_round.md

    >>> values = {param.name: param.default for param in PARAMS}
    >>> values |= {'width': 12.0, 'height': 12.0, 'diameter': 8.0, 'length': 8.0}
    >>> spec_from(values, thickness=0.0276).offset_x
    0.0
    """
    spec = SquareToRoundSpec(**{param.name: values[param.name] for param in PARAMS})
    surface = _surface(spec, thickness)
    closest = min(min(surface.altitude(quarter), surface.corner_lines(quarter).min()) for quarter in range(4))
    if closest < CLOSEST_EDGES:
        limit = f"at least {with_unit(CLOSEST_EDGES, 'in', unit)}"
        sentence = (
            f"Length is {with_unit(spec.length, 'in', unit)}; where the round end lies over an edge of the "
            f"rectangle it must be {limit}, or the edges of both ends meet."
        )
        value = spec.length * (MM_PER_IN if unit == "mm" else 1.0)
        raise CannotBeMade([FieldProblem("length", value, limit, sentence)])
    return spec


def _surface(spec, thickness):
    return _Surface(
        half_sizes=((spec.width + thickness) / 2, (spec.height + thickness) / 2),
        radius=(spec.diameter + thickness) / 2,
        center=(spec.offset_x, spec.offset_y, spec.length),
    )


def develop_transition(
    spec: SquareToRoundSpec, *, sheet: Sheet, allowances: Allowances, practice: Practice, unit: str = "in"
) -> Development:
    """The flat pattern of a square to round.

    The rulings are laid out one after another: along half a side to its tip, from the corner over a quarter of the
    circle, from the next half side to its tip, four times.

    spec        the transition [in]
    sheet       the metal [in, lb/ft²]
    allowances  lap and edges [in]
    practice    the shop's usual ranges, for warnings
    unit        unit of lengths in warnings, 'in' or 'mm'
    returns     Development [in, in², lb]
    source      fixtures/authorities/square_to_round.md

    >>> sheet = Sheet('galvanized', 24, 1e-9, 1.156)
    >>> made = develop_transition(SquareToRoundSpec(12, 12, 8, 8), sheet=sheet, allowances=Allowances(),
    ...                           practice=Practice())
    >>> round(made.dimensions['shortest_corner_line'], 4), round(made.dimensions['altitude_plus_x'], 4)
    (9.1716, 8.2462)
    """
    surface = _surface(spec, sheet.thickness_in)
    start = _seam_side(surface, spec.seam_at)
    places = _bend_places(surface, spec.bends_per_corner)
    fields = ruled_segment(
        **_rulings(surface, start, places),
        sheet=sheet,
        form=BRAKE,
        start_angle=start * math.pi / 2,
        lap=allowances.lap,
        width_a=allowances.free_end_a,
        width_b=allowances.free_end_b,
    )
    segment = Segment(
        position=1, role="transition", frame=frame_at([0, 0, 0], [1, 0, 0], [0, 0, 1]), **fields
    )
    dimensions = _dimensions(spec, surface, sheet.thickness_in, len(places))
    quantities = {name: value for name, value, _ in dimensions} | {"stretch_out": segment.stretch_out}
    return assembled(
        "square_to_round",
        [segment],
        dimensions=dimensions,
        quantities=quantities,
        free_ends=(
            FreeEnd("a", ENDS[0][1], 1, 4 * sum(surface.half_sizes), width=spec.width, height=spec.height),
            FreeEnd("b", ENDS[1][1], 1, 2 * math.pi * surface.radius, spec.diameter),
        ),
        joint_length=0.0,
        sheet=sheet,
        practice=practice,
        unit=unit,
    )


def _seam_side(surface, seam_at):
    """The side whose middle has the seam: the shortest seam, of equal ones the first in SEAM_SIDES."""
    sides = [side for name in SEAM_SIDES if seam_at in (None, name) for side in SEAM_SIDES[name]]
    return min(sides, key=lambda side: round(surface.seam(side), 6))


def _bend_places(surface, count):
    """Places of the bend lines of a corner over its quarter of the circle, 0 to 1."""
    if count is None:
        quarter = surface.radius * math.pi / 2
        count = min(max(math.ceil(quarter / BEND_SPACING) + 1, FEWEST_BENDS), MOST_BENDS)
    return np.linspace(0.0, 1.0, count) if count > 1 else np.array([0.5])


def _rulings(surface, start, places):
    """Rulings, and which to keep, as ruled_segment takes them."""
    needed = (math.pi / 4) / math.acos(1 - CHORD_TOLERANCE / surface.radius)
    steps = max(len(places) - 1, 2)  # between bend lines
    kept = steps * math.ceil(needed / steps)
    dense = kept * math.ceil(_DENSE / kept)
    arc, quarter = np.arange(dense + 1) / dense, surface.radius * math.pi / 2
    rows_a, rows_b, at, keep, corners, bends = [], [], [], [], [], []
    for k in range(4):
        side, first = start + k, k * (dense + 2)
        corner, end = surface.corner(side), surface.round_end(side + arc)
        rows_a.extend([surface.middle(side)[None], np.repeat(corner[None], dense + 1, axis=0)])
        rows_b.extend([end[:1], end])
        flats = surface.half_sizes[(side + 1) % 2], surface.half_sizes[side % 2]
        along = np.concatenate([[0.0], flats[0] + arc * quarter, [sum(flats) + quarter]])
        at.append((k + along[:-1] / along[-1]) / 4)
        keep.extend([first, *range(first + 1, first + dense + 2, dense // kept)])
        corners.append(first + 1)
        angles = _bend_angles(surface, side, places)
        bends.extend(
            (first + 1 + round(place * dense), angle) for place, angle in zip(places, angles, strict=True)
        )
    return {
        "space_a": np.vstack([*rows_a, surface.middle(start)[None]]),
        "space_b": np.vstack([*rows_b, surface.round_end(start)[None]]),
        "at": np.append(np.concatenate(at), 1.0),
        "keep": [*keep, 4 * (dense + 2)],
        "corners_a": corners,
        "bends": bends,
    }


def _bend_angles(surface, side, places):
    """Angle at each bend line of a corner: between the flat facets, or triangles, on both its sides [rad]."""
    corner = surface.corner(side)
    lines = surface.round_end(side + places) - corner
    along = [corner - surface.corner(side - 1), surface.corner(side + 1) - corner]
    tips = surface.round_end(side + np.arange(2)) - corner
    normals = np.cross([along[0], *lines[1:], along[1]], [tips[0], *lines[:-1], tips[1]])  # outward
    before, after = normals[:-1], normals[1:]
    turn = np.arctan2(np.linalg.norm(np.cross(before, after), axis=1), np.einsum("ij,ij->i", before, after))
    return turn.tolist()


def _dimensions(spec, surface, thickness, bends):
    """Figures for tickets and drawings; corner lines, altitudes and slope on the mean surface, the rest inside."""
    lines = np.concatenate([surface.corner_lines(side) for side in range(4)])
    steepest = max(abs(surface.overhang(side)) for side in range(4))
    return [
        ("width", spec.width, "in"),
        ("height", spec.height, "in"),
        ("diameter", spec.diameter, "in"),
        ("length", spec.length, "in"),
        ("offset_x", spec.offset_x, "in"),
        ("offset_y", spec.offset_y, "in"),
        ("mean_width", spec.width + thickness, "in"),
        ("mean_height", spec.height + thickness, "in"),
        ("mean_diameter", spec.diameter + thickness, "in"),
        *((f"altitude_{name}", surface.altitude(side), "in") for side, name in enumerate(SIDE_NAMES)),
        ("longest_corner_line", float(lines.max()), "in"),
        ("shortest_corner_line", float(lines.min()), "in"),
        ("slope_angle", math.degrees(math.atan2(steepest, spec.length)), "deg"),
        ("bends_per_corner", bends, "count"),
        ("bends", 4 * bends, "count"),
    ]


KIND = Kind(
    "square_to_round",
    "Square to round",
    PARAMS,
    built(spec_from, develop_transition, "thickness"),
    help="A braked transition from a rectangular end to a round one.",
    ends=ENDS,
)
