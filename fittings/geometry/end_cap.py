"""End caps: a disc whose edge is turned up, or a disc with a flange and a rolled ring joined to it.

Frames. The fitting's frame is that of segment 1: the open end A lies at Z = 0, the disc closes it at Z = depth. The
disc's pattern is seen from beyond it, from outside; its center is the middle of the pattern's box.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from .allowances import Allowances
from .curves import CHORD_TOLERANCE, turn_positions
from .development import FLAT, Blank, Development, FreeEnd, Mark, Plate, Segment, Sheet, assembled
from .errors import CannotBeMade, FieldProblem
from .outline import extent, signed_area
from .parameters import MM_PER_IN, Kind, Param, built, range_text, with_unit
from .pattern import SQ_IN_PER_SQ_FT, cylinder_segment, pattern_key
from .plates import MOST_PLATES, fits_stock
from .practice import Practice, Warned
from .rolling import frame_at

TURNED, RING = "turned", "ring"
DEEPEST_TURN = 1.0  # of the mean radius: the blank is then twice the cap; limiting drawing ratio, from memory
_LEAST_SIDES = 180  # of a circle: its area is then true to 2 in 10,000
_CROSS = 0.5  # in, half an arm of the center's cross
_ROW = 48  # steps of a drawing in space, round a whole turn

PARAMS = (
    Param(
        "diameter",
        "in",
        1,
        120,
        help="Inside diameter of the cap's own edge; no clearance over a duct is added.",
        required=True,
    ),
    Param(
        "depth",
        "in",
        0,
        240,
        low_open=True,
        help="Of the turned edge, or of the ring: from end A.",
        required=True,
    ),
    Param(
        "construction",
        "choice",
        default=TURNED,
        choices=(TURNED, RING),
        help="A disc with its edge turned up, or a flanged disc on a rolled ring.",
        more=True,
    ),
)


@dataclass(frozen=True)
class EndCapSpec:
    """An end cap that can be made; lengths are inside dimensions [in]."""

    diameter: float
    depth: float
    construction: str = TURNED


@dataclass(frozen=True, eq=False)
class Disc:
    """A disc round the flat point (center, center), its edge beyond the turn line turned down towards end A [in]."""

    center: float
    turn_radius: float
    height: float  # Z of the disc

    def to_space(self, points) -> np.ndarray:
        """Flat points, shape (n, 2) [in], on the formed disc, shape (n, 3) [in].

        The turn neither stretches nor shortens along the radius; round it, the turned edge is upset.
        """
        away = np.asarray(points, dtype=float).reshape(-1, 2) - self.center
        radius = np.hypot(*away.T)
        beyond = np.maximum(radius - self.turn_radius, 0.0)
        share = np.divide(radius - beyond, radius, out=np.ones_like(radius), where=radius > 0)
        return np.column_stack([away * share[:, None], self.height - beyond])


def circle(radius: float, center: float = 0.0, *, sides: int) -> np.ndarray:
    """A closed circle, counter-clockwise from its point of largest x, the first point repeated at the end.

    radius   [in], > 0
    center   of the circle, x and y alike [in]
    sides    of the polyline, a multiple of 4
    returns  shape (sides + 1, 2) [in]
    source   definition

    >>> circle(2.0, 2.0, sides=4).round(9).tolist()
    [[4.0, 2.0], [2.0, 4.0], [0.0, 2.0], [2.0, 0.0], [4.0, 2.0]]
    """
    angle = 2 * math.pi * turn_positions(sides // 4)
    angle[-1] = 0.0  # the same point as the first, to the last bit
    return center + radius * np.column_stack([np.cos(angle), np.sin(angle)])


def circle_sides(radius: float) -> int:
    """Sides of a circle's polyline: its chords within the tolerance, its area true to 2 in 10,000.

    sagitta = R (1 − cos(π / n)); area = π R² · sin(2π / n) / (2π / n)

    radius   [in], > 0
    returns  a multiple of 4
    source   regular polygon in a circle

    >>> circle_sides(7.0), circle_sides(60.0)
    (180, 388)
    """
    needed = math.pi / math.acos(1 - CHORD_TOLERANCE / radius) if radius > CHORD_TOLERANCE else 4
    return 4 * math.ceil(max(needed, _LEAST_SIDES) / 4)


def spec_from(values: Mapping, *, thickness: float, unit: str = "in") -> EndCapSpec:
    """A checked end cap from the values of its parameters.

    values     every parameter of the kind, lengths [in]
    thickness  of the metal [in]
    unit       unit of lengths in sentences, 'in' or 'mm'
    returns    EndCapSpec [in]
    raises     CannotBeMade where the edge is too deep to be turned up from a disc
    source     limits: fixtures/authorities/end_cap.md

    >>> spec_from({'diameter': 14.0, 'depth': 1.0, 'construction': 'turned'}, thickness=0.0276).depth
    1.0
    """
    spec = EndCapSpec(**{param.name: values[param.name] for param in PARAMS})
    deepest = DEEPEST_TURN * (spec.diameter + thickness) / 2
    if spec.construction == TURNED and spec.depth > deepest + 1e-9:
        limit = range_text(None, deepest, "in", unit)
        sentence = (
            f"Depth is {with_unit(spec.depth, 'in', unit)}; an edge turned up from a disc can be {limit} on this "
            "diameter. Use the construction “ring”."
        )
        value = spec.depth * (MM_PER_IN if unit == "mm" else 1.0)
        raise CannotBeMade([FieldProblem("depth", value, limit, sentence)])
    return spec


def develop_cap(
    spec: EndCapSpec, *, sheet: Sheet, allowances: Allowances, practice: Practice, unit: str = "in"
) -> Development:
    """The flat patterns of an end cap.

    r = (D + t) / 2; the turned form is cut as a disc of radius r + depth, the ring form as a disc of radius r and a
    ring 2 π r round and depth high.

    spec        the cap [in]
    sheet       the metal [in, lb/ft²]
    allowances  lap and edges [in]: the free end's at end A; at the joint the ring has edge B's, the disc edge A's
    practice    the shop's usual ranges, for warnings
    unit        unit of lengths in warnings, 'in' or 'mm'
    returns     Development [in, in², lb]
    source      fixtures/authorities/end_cap.md

    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156)
    >>> cap = develop_cap(EndCapSpec(14, 1), sheet=sheet, allowances=Allowances(), practice=Practice())
    >>> [segment.role for segment in cap.segments], round(cap.segments[0].blank.width, 4)
    (['disc'], 16.0276)
    """
    mean_radius = (spec.diameter + sheet.thickness_in) / 2
    around = 2 * math.pi * mean_radius
    if spec.construction == TURNED:
        disc = _disc(mean_radius, spec.depth, allowances.free_end_a, sheet, allowances.lap)
        segments = [Segment(position=1, role="disc", frame=frame_at([0, 0, 0], [1, 0, 0], [0, 0, 1]), **disc)]
        joint_length = 0.0
    else:
        x = around * turn_positions(1)
        ring = cylinder_segment(
            np.column_stack([x, np.zeros(5)]),
            np.column_stack([x, np.full(5, spec.depth)]),
            start_angle=0.0,
            mean_radius=mean_radius,
            sheet=sheet,
            lap=allowances.lap,
            width_a=allowances.free_end_a,
            width_b=allowances.edge_b,
            has_throat=False,
        )
        disc = _disc(mean_radius, 0.0, allowances.edge_a, sheet, allowances.lap)
        segments = [
            Segment(position=k + 1, role=role, frame=frame_at([0, 0, z], [1, 0, 0], [0, 0, 1]), **fields)
            for k, (role, z, fields) in enumerate((("ring", 0.0, ring), ("disc", spec.depth, disc)))
        ]
        joint_length = around
    dimensions = [
        ("diameter", spec.diameter, "in"),
        ("depth", spec.depth, "in"),
        ("mean_diameter", 2 * mean_radius, "in"),
        ("disc_diameter", float(np.ptp(disc["net_outline"][:, 0])), "in"),
    ]
    quantities = {"diameter": spec.diameter, "depth": spec.depth, "stretch_out": segments[0].stretch_out}
    return assembled(
        "end_cap",
        segments,
        dimensions=dimensions,
        quantities=quantities,
        free_ends=(FreeEnd("a", "Open end", 1, around, spec.diameter),),
        joint_length=joint_length,
        sheet=sheet,
        practice=practice,
        unit=unit,
        warnings=_in_strips(disc["plates"], unit),
    )


def _disc(turn_radius, depth, width, sheet, lap):
    """Every field of a disc's Segment but position, role and frame.

    Edge A is the edge towards end A: the rim of the net disc. Edge B is the turn line, the same circle where no edge is
    turned. Both are closed circles, their first point repeated.
    """
    rim = turn_radius + depth
    sides = circle_sides(rim + width)
    net = circle(rim, rim, sides=sides)
    cut = circle(rim + width, rim, sides=sides) if width > 0 else net
    line = circle(turn_radius, rim, sides=sides)
    arm = min(_CROSS, turn_radius / 4)
    cross = np.array([[-arm, 0.0], [arm, 0.0]])
    marks = [Mark("center", rim + cross), Mark("center", rim + cross[:, ::-1])]
    if depth > 0:
        marks.insert(0, Mark("bend", line, angle=math.pi / 2))
    whole = _flat(net[:-1], cut[:-1], marks, sheet)
    plates, fits = _strips(whole, sheet, lap)
    if plates:
        whole["cut_area"] = sum(plate.cut_area for plate in plates)
    surface = Disc(rim, turn_radius, depth)
    rows = [circle(radius, rim, sides=_ROW) for radius in (0.0, turn_radius, rim)]
    rows = [surface.to_space(row) for row in (rows if depth > 0 else rows[:2])]
    return dict(
        whole,
        form=FLAT,
        pattern=pattern_key(whole["net_outline"], whole["cut_outline"], sheet),
        stretch_out=None,
        throat=None,
        heel=None,
        lap=0.0,
        edge_a=net,
        edge_b=line,
        start_angle=0.0,
        seam_at="",
        seam_length=0.0,
        plates=plates,
        fits_stock=fits,
        surface=surface,
        strips=tuple(zip(rows[:-1], rows[1:], strict=True)),
    )


def _flat(net, cut, marks, sheet):
    area = signed_area(net)
    return {
        "net_outline": net,
        "cut_outline": cut,
        "holes": (),
        "net_area": area,
        "cut_area": signed_area(cut),
        "weight": area / SQ_IN_PER_SQ_FT * sheet.weight_lb_ft2,
        "blank": Blank(*extent(cut)),
        "marks": tuple(marks),
    }


def _strips(whole, sheet, lap):
    """(plates, whether they fit): where one disc does not fit, the fewest equal strips, each lapped to the next."""
    if fits_stock(whole["cut_outline"], sheet, may_turn=False):
        return (), True
    if sheet.longest_stock_in is not None and whole["blank"].height > sheet.longest_stock_in:
        return (), False  # every strip is, somewhere, as long as the disc is wide
    for count in range(2, MOST_PLATES + 1):
        plates = [_strip(whole, k, count, sheet, lap) for k in range(count)]
        if all(fits_stock(plate.cut_outline, sheet, may_turn=False) for plate in plates):
            return tuple(plates), True
    return (), False


def _strip(whole, k, count, sheet, lap):
    """Strip k of a disc between two chords; its lap follows the round of the disc."""
    across = float(np.ptp(whole["net_outline"][:, 0]))
    x_from, x_to = across * k / count, across * (k + 1) / count
    beyond = across  # past any allowance at the rim
    low = -beyond if k == 0 else x_from
    net_box, cut_box = (
        shapely.box(low, -beyond, across + beyond if k == count - 1 else x_to + more, across + beyond)
        for more in (0.0, lap)
    )
    net, cut = (
        shapely.get_coordinates(
            shapely.orient_polygons(shapely.intersection(shapely.polygons(whole[name]), box))
        )[:-1]
        for name, box in (("net_outline", net_box), ("cut_outline", cut_box))
    )
    marks = []
    for mark in whole["marks"]:
        parts = shapely.get_parts(shapely.intersection(shapely.linestrings(mark.line), net_box))
        parts = shapely.multilinestrings(parts[shapely.length(parts) > 0])
        marks.extend(
            Mark(mark.name, shapely.get_coordinates(line), angle=mark.angle)
            for line in shapely.get_parts(shapely.line_merge(parts))
        )
    corner = net.min(axis=0)
    marks = [Mark(mark.name, mark.line - corner, angle=mark.angle) for mark in marks]
    return Plate(
        number=k + 1,
        of=count,
        x_from=x_from,
        x_to=x_to,
        start_angle=0.0,
        lap=0.0 if k == count - 1 else lap,
        **_flat(net - corner, cut - corner, marks, sheet),
    )


def _in_strips(plates, unit):
    if not plates:
        return ()
    seams = sum(_chord(plate) for plate in plates[:-1])
    message = (
        f"The disc is larger than the stock: it is made of {len(plates)} strips, joined by "
        f"{with_unit(seams, 'in', unit)} of straight seam in all."
    )
    return (Warned("disc_in_strips", message),)


def _chord(plate):
    """Length of the straight seam at the last end of a strip."""
    x, y = plate.net_outline.T
    return float(np.ptp(y[x > x.max() - 1e-9]))


KIND = Kind(
    "end_cap",
    "End cap",
    PARAMS,
    built(spec_from, develop_cap, "thickness"),
    help="A disc that closes a duct, its edge turned up or joined to a rolled ring.",
    ends=(("a", "Open end"),),
)
