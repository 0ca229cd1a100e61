"""From the two edges of a segment to its flat pattern: outlines, holes, areas, weight, marks, plates."""

import hashlib
import math
from dataclasses import replace

import numpy as np
import shapely

from .allowances import cut_outline
from .curves import edge_length
from .development import BRAKE, CONE, CYLINDER, Blank, Mark, Plate, Sheet
from .errors import CannotBeMade, FieldProblem
from .outline import closed_between, extent, signed_area
from .parameters import number_text
from .surfaces import Cylinder, Ruled, unrolled

SQ_IN_PER_SQ_FT = 144.0
MOST_PLATES = 12
QUARTERS = {0: "throat", 1: "side", 2: "heel", 3: "side"}
_STRIP_STEPS = 48  # of a drawing in space, round a whole turn
_SAME = 1e-6


def _fixed(points):
    array = np.array(points, dtype=float)
    array.setflags(write=False)
    return array


def pattern_key(net_outline, cut_outline_, sheet: Sheet, holes=()) -> str:
    """Short key shared by equal patterns of one metal.

    net_outline, cut_outline_  outlines, shape (n, 2) [in], compared to 0.001 in
    sheet                      material and gauge
    holes                      outlines, shape (n, 2) [in]
    returns                    the first 8 hexadecimal digits of a SHA-256
    source                     FIPS 180-4 (the digest); 8 digits are a house choice

    >>> square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
    >>> key = pattern_key(square, square, Sheet('galvanized', 24, 0.0276, 1.156))
    >>> key == pattern_key(square + 1e-7, square, Sheet('galvanized', 24, 0.0276, 1.156)), len(key)
    (True, 8)
    """
    digest = hashlib.sha256(f"{sheet.material}|{number_text(sheet.gauge)}".encode())
    for outline in (net_outline, cut_outline_, *holes):
        digest.update(b"|" + (np.round(outline * 1000.0) + 0.0).astype("<i8").tobytes())
    return digest.hexdigest()[:8]


def plate_count(stretch_out: float, lap: float, longest_stock: float | None) -> int:
    """Fewest equal plates so that each, with its lap, is no longer than the longest stock.

    stretch_out    of the whole segment [in]
    lap            of each plate [in]
    longest_stock  [in], None for no limit
    returns        plates, ≥ 1
    raises         CannotBeMade if the lap alone is as long as the stock
    source         definition; the rule of fewest equal plates is a house rule

    >>> plate_count(188.5, 0.5, 120.0), plate_count(119.5, 0.5, 120.0), plate_count(500.0, 0.5, None)
    (2, 1, 1)
    """
    if longest_stock is None:
        return 1
    room = longest_stock - lap
    if room <= 0:
        limit = f"less than {number_text(longest_stock)} in"
        sentence = f"Lap is {number_text(lap)} in; it must be {limit}, the longest stock."
        raise CannotBeMade([FieldProblem("allowances.lap", lap, limit, sentence)])
    return max(1, int(np.ceil(stretch_out / room - 1e-9)))


def fits_stock(outline, sheet: Sheet, *, may_turn: bool) -> bool:
    """Whether a cut outline can be laid on the stock, lengthwise or across.

    outline   shape (n, 2) [in]
    sheet     its longest and widest stock [in]
    may_turn  turned to any angle, as its least box allows; else as it lies, or by a quarter turn
    returns   bool
    source    the box of least area of a convex hull lies on one of its sides (shapely's minimum_rotated_rectangle)

    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156, 120, 60)
    >>> [fits_stock(np.array([[0, 0], [w, 0], [w, h], [0, h]], float), sheet, may_turn=False)
    ...  for w, h in ((120, 60), (50, 110), (70, 70))]
    [True, True, False]
    """
    if sheet.longest_stock_in is None and sheet.widest_stock_in is None:
        return True
    long, wide = (math.inf if one is None else one for one in (sheet.longest_stock_in, sheet.widest_stock_in))
    boxes = [extent(outline)]
    if may_turn:
        corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.multipoints(outline)))
        boxes.append(tuple(np.hypot(*(corners[1:3] - corners[:2]).T)))
    slack = 1e-6
    return any(max(box) <= long + slack and min(box) <= wide + slack for box in boxes)


class Net:
    """A net pattern before allowances: two edges with the place of each point round the segment, from 0 to 1.

    edge_a, edge_b        polylines, shape (n, 2) [in]; at_a, at_b the places of their points, increasing from 0 to 1
    corners_a, corners_b  indices of points where the edge itself has a corner: flanges part there
    holes                 outlines, shape (n, 2) [in]
    marks                 Marks
    """

    def __init__(self, edge_a, edge_b, at_a, at_b, *, corners_a=(), corners_b=(), holes=(), marks=()):
        self.edge_a, self.edge_b = np.asarray(edge_a, float), np.asarray(edge_b, float)
        self.at_a, self.at_b = np.asarray(at_a, float), np.asarray(at_b, float)
        self.corners_a, self.corners_b = tuple(corners_a), tuple(corners_b)
        self.holes, self.marks = tuple(np.asarray(hole, float) for hole in holes), tuple(marks)

    def outline(self) -> np.ndarray:
        return closed_between(self.edge("a")[0], self.edge("b")[0])

    def edge(self, name: str) -> tuple[np.ndarray, tuple[int, ...]]:
        """Edge 'a' or 'b' with each point once (an apex has many rulings), and its corners among those points."""
        points, corners = getattr(self, f"edge_{name}"), getattr(self, f"corners_{name}")
        is_new = np.concatenate([[True], np.hypot(*np.diff(points, axis=0).T) > 1e-9])
        number = np.cumsum(is_new) - 1
        return points[is_new], tuple(sorted({int(number[corner]) for corner in corners}))

    def part(self, start: float, end: float) -> "Net":
        """The part between two places, still where it lies."""
        edges = {}
        for name in "ab":
            edge, at = getattr(self, f"edge_{name}"), getattr(self, f"at_{name}")
            inner = (at > start + 1e-9) & (at < end - 1e-9)
            ends = [[np.interp(place, at, edge[:, k]) for k in (0, 1)] for place in (start, end)]
            edges[f"edge_{name}"] = np.vstack([ends[:1], edge[inner], ends[1:]])
            places = np.concatenate([[start], at[inner], [end]])
            edges[f"at_{name}"] = (places - start) / (end - start)
            first = int(np.argmax(inner)) if inner.any() else 0
            corners = getattr(self, f"corners_{name}")
            edges[f"corners_{name}"] = tuple(k - first + 1 for k in corners if inner[k])
        marks = [
            replace(mark, at=(mark.at - start) / (end - start))
            for mark in self.marks
            if start + _SAME < mark.at < end - _SAME
        ]
        return Net(**edges, holes=self.holes, marks=marks)

    def moved(self, turn: np.ndarray, shift: np.ndarray) -> "Net":
        """Turned by a (2, 2) matrix, then shifted."""

        def move(points):
            return np.asarray(points) @ turn.T + shift

        return Net(
            move(self.edge_a),
            move(self.edge_b),
            self.at_a,
            self.at_b,
            corners_a=self.corners_a,
            corners_b=self.corners_b,
            holes=[move(hole) for hole in self.holes],
            marks=[replace(mark, line=move(mark.line)) for mark in self.marks],
        )


def _upright(net: Net) -> Net:
    """Turned so that the line from the middle of edge A to that of edge B stands upright, in the corner of the axes."""
    low, high = (
        np.array([np.interp(0.5, at, edge[:, k]) for k in (0, 1)])
        for edge, at in ((net.edge_a, net.at_a), (net.edge_b, net.at_b))
    )
    up = high - low
    cos, sin = up[1] / np.hypot(*up), up[0] / np.hypot(*up)
    turn = np.array([[cos, -sin], [sin, cos]])
    return net.moved(turn, -(net.outline() @ turn.T).min(axis=0))


def flat_pattern(
    net: Net, *, sheet: Sheet, lap, width_a, width_b, is_cylinder: bool, start_angle=0.0
) -> dict:
    """Outlines, holes, areas, weight, blank, marks and plates of a net pattern.

    net               the Net
    sheet             the metal; what exceeds its longest and widest stock is made of plates
    lap               beyond the last seam end [in], ≥ 0
    width_a, width_b  edge allowances [in], ≥ 0
    is_cylinder       plates keep their x along the circumference; else they are turned upright
    start_angle       of the first end round the duct [rad]
    returns           the fields of a Segment that follow from its flat pattern [in, in², lb]
    source            areas: Gauss's formula; weight = area / 144 × weight per square foot

    >>> net = Net([[0, 0], [12, 0]], [[0, 12], [12, 12]], [0, 1], [0, 1])
    >>> flat = flat_pattern(net, sheet=Sheet('galvanized', 24, 0.0276, 1.156), lap=0, width_a=0, width_b=0,
    ...                     is_cylinder=True)
    >>> flat['net_area'], flat['weight'], flat['blank']
    (144.0, 1.156, Blank(width=12.0, height=12.0))
    """
    widths = {"lap": lap, "width_a": width_a, "width_b": width_b}
    whole = _flat(net, net, sheet, **widths)
    around = (
        float(net.edge_a[-1, 0]) if is_cylinder else max(edge_length(net.edge_a), edge_length(net.edge_b))
    )
    count, fits = _plates_needed(net, whole, sheet, widths, is_cylinder)
    plates = []
    if count > 1:
        parts = [net.part(k / count, (k + 1) / count) for k in range(count)]
        for k, part in enumerate(parts):
            if is_cylinder:
                settled = part.moved(np.eye(2), np.array([-part.edge_a[0, 0], 0.0]))
            else:
                settled = _upright(part)
            plates.append(
                Plate(
                    number=k + 1,
                    of=count,
                    x_from=around * k / count,
                    x_to=around * (k + 1) / count,
                    start_angle=start_angle + 2 * np.pi * k / count,
                    lap=lap,
                    **_flat(settled, parts[(k + 1) % count], sheet, **widths),
                )
            )
        whole["cut_area"] = sum(plate.cut_area for plate in plates)
    return dict(
        whole,
        edge_a=_fixed(net.edge("a")[0]),
        edge_b=_fixed(net.edge("b")[0]),
        stretch_out=around,
        seam_length=float(np.hypot(*(net.edge_b[-1] - net.edge_a[-1]))),
        start_angle=start_angle,
        lap=lap,
        plates=tuple(plates),
        fits_stock=fits,
        pattern=pattern_key(whole["net_outline"], whole["cut_outline"], sheet, whole["holes"]),
    )


def _plates_needed(net, whole, sheet, widths, is_cylinder):
    """(count, whether the plates fit the stock): the fewest equal plates that do; else what the longest stock asks."""
    least = 1
    if is_cylinder:
        least = plate_count(float(net.edge_a[-1, 0]), widths["lap"], sheet.longest_stock_in)
    elif sheet.longest_stock_in is not None:
        plate_count(0.0, widths["lap"], sheet.longest_stock_in)
    for count in range(least, max(least, MOST_PLATES) + 1):
        parts = [net] if count == 1 else [net.part(k / count, (k + 1) / count) for k in range(count)]
        cuts = [whole["cut_outline"]] if count == 1 else []
        for k, part in enumerate(parts if count > 1 else ()):
            cuts.append(_cut(part, parts[(k + 1) % count], **widths))
        if all(fits_stock(cut, sheet, may_turn=not is_cylinder) for cut in cuts):
            return count, True
    return least, False


def _cut(net, following, *, lap, width_a, width_b):
    edge_a, corners_a = net.edge("a")
    edge_b, corners_b = net.edge("b")
    return cut_outline(
        edge_a,
        edge_b,
        lap=lap,
        width_a=width_a,
        width_b=width_b,
        next_a=following.edge("a")[0],
        next_b=following.edge("b")[0],
        corners_a=corners_a,
        corners_b=corners_b,
    )


def _flat(net: Net, following: Net, sheet, *, lap, width_a, width_b):
    outline = net.outline()
    cut = _cut(net, following, lap=lap, width_a=width_a, width_b=width_b)
    holes = []
    for hole in net.holes:
        shape, whole = shapely.polygons(hole), shapely.polygons(outline)
        if shapely.contains(whole, shape):
            holes.append(hole)
        elif shapely.area(shapely.intersection(whole, shape)) > 1e-9:  # a plate's end runs through it
            outline, cut = (_without(one, shape) for one in (outline, cut))
    open_area = sum(abs(signed_area(hole)) for hole in holes)
    net_area = signed_area(outline) - open_area
    return {
        "net_outline": _fixed(outline),
        "cut_outline": _fixed(cut),
        "holes": tuple(_fixed(hole) for hole in holes),
        "net_area": net_area,
        "cut_area": signed_area(cut) - open_area,
        "weight": net_area / SQ_IN_PER_SQ_FT * sheet.weight_lb_ft2,
        "blank": Blank(*extent(cut)),
        "marks": tuple(replace(mark, line=_fixed(mark.line)) for mark in net.marks),
    }


def _without(outline, shape):
    rest = shapely.get_parts(shapely.difference(shapely.polygons(outline), shape))
    largest = rest[np.argmax(shapely.area(rest))]
    return shapely.get_coordinates(shapely.get_exterior_ring(shapely.orient_polygons(largest)))[:-1]


def cylinder_segment(
    edge_a,
    edge_b,
    *,
    start_angle,
    mean_radius,
    sheet: Sheet,
    lap=0.0,
    width_a=0.0,
    width_b=0.0,
    corners_a=(),
    corners_b=(),
    holes=(),
    has_throat=True,
    marks=(),
) -> dict:
    """A rolled segment from its edges: every field of a Segment but position, role and frame.

    edge_a, edge_b        net edges in increasing x from 0 to 2 π r, shape (n, 2) [in]; y along the axis
    start_angle           of x = 0 round the duct from the throat [rad]
    mean_radius           r = (inside diameter + thickness) / 2 [in]
    sheet                 the metal
    lap                   [in], ≥ 0
    width_a, width_b      edge allowances [in], ≥ 0
    corners_a, corners_b  indices of points where an edge has a corner
    holes                 outlines, shape (n, 2) [in]
    has_throat            marks at the quarters are throat, side, heel; else all 'quarter'
    marks                 more Marks
    returns               dict [in, in², lb]
    source                a cylinder is developable: lengths along and round it are kept

    >>> r = 12 / (2 * math.pi)
    >>> pipe = cylinder_segment([[0, 0], [12, 0]], [[0, 12], [12, 12]], start_angle=math.pi, mean_radius=r,
    ...                         sheet=Sheet('galvanized', 24, 0.0276, 1.156))
    >>> pipe['stretch_out'], pipe['throat'], [mark.name for mark in pipe['marks']]
    (12.0, 12.0, ['side', 'throat', 'side'])
    """
    edge_a, edge_b = np.asarray(edge_a, float), np.asarray(edge_b, float)
    around = float(edge_a[-1, 0])
    first = round(start_angle / (math.pi / 2))

    def element(x):
        return np.array([[x, np.interp(x, *edge_a.T)], [x, np.interp(x, *edge_b.T)]])

    quarters = []
    offset = start_angle % (
        math.pi / 2
    )  # seams usually lie on a quarter; where not, the quarters still are marked
    for k in range(5):
        x = ((k * math.pi / 2 - offset) / (2 * math.pi)) * around
        if _SAME < x < around - _SAME:
            name = QUARTERS[round((start_angle + x / mean_radius) / (math.pi / 2)) % 4]
            quarters.append(Mark(name if has_throat else "quarter", element(x), at=x / around))
    net = Net(
        edge_a,
        edge_b,
        edge_a[:, 0] / around,
        edge_b[:, 0] / around,
        corners_a=corners_a,
        corners_b=corners_b,
        holes=holes,
        marks=(*quarters, *marks),
    )
    widths = {"lap": lap, "width_a": width_a, "width_b": width_b}
    flat = flat_pattern(net, sheet=sheet, **widths, is_cylinder=True, start_angle=start_angle)
    ends = {}
    for name, angle in (("throat", 0.0), ("heel", math.pi)):
        x = ((angle - start_angle) % (2 * math.pi)) / (2 * math.pi) * around
        low, high = element(x)[:, 1]
        ends[name] = float(high - low)
    surface = Cylinder(mean_radius, start_angle)
    x = np.linspace(0, around, _STRIP_STEPS + 1)
    rows = tuple(
        _fixed(surface.to_space(np.column_stack([x, np.interp(x, *edge.T)]))) for edge in (edge_a, edge_b)
    )
    is_quarter = abs(start_angle / (math.pi / 2) - first) < 1e-9
    return dict(
        flat,
        **ends,
        form=CYLINDER,
        seam_at=QUARTERS[first % 4] if has_throat and is_quarter else "",
        surface=surface,
        strips=(rows,),
    )


def ruled_segment(
    space_a,
    space_b,
    *,
    keep,
    sheet: Sheet,
    form: str = CONE,
    at=None,
    start_angle=0.0,
    lap=0.0,
    width_a=0.0,
    width_b=0.0,
    corners_a=(),
    corners_b=(),
    has_throat=False,
    bends=(),
) -> dict:
    """A segment of any developable strip of rulings: every field of a Segment but position, role and frame.

    space_a, space_b      ends of the rulings on edge A and edge B in the segment's own frame, shape (n, 3) [in]; dense
                          (some 2,000 round), ψ increasing, edge A at end A
    keep                  indices of the rulings that become points of the pattern, increasing, first and last included
    sheet                 the metal
    form                  'cone' or 'brake'
    at                    place of each ruling round the segment, 0 to 1, shape (n,); left out: even steps
    start_angle           of the first ruling round the duct [rad]
    lap                   [in], ≥ 0
    width_a, width_b      edge allowances [in], ≥ 0
    corners_a, corners_b  indices, of the dense rulings, where an edge has a corner; must be among `keep`
    has_throat            marks at the quarters are throat, side, heel; else all 'quarter'
    bends                 pairs of a dense index, among `keep`, and the angle to brake along its ruling [rad]
    returns               dict [in, in², lb]; stretch_out is the longer edge, throat and heel the elements at 0°, 180°
    source                unrolled(): lengths on a developable surface are kept

    >>> psi = np.linspace(0, 2 * math.pi, 2001)
    >>> ring = np.column_stack([np.cos(psi), np.sin(psi), 0 * psi])
    >>> cone = ruled_segment(4 * ring, 2.5 * ring + [0, 0, 4], keep=range(0, 2001, 10),
    ...                      sheet=Sheet('galvanized', 24, 0.0276, 1.156))
    >>> round(cone['seam_length'], 4), round(cone['stretch_out'], 3)
    (4.272, 25.133)
    """
    space_a, space_b = np.asarray(space_a, float), np.asarray(space_b, float)
    count = len(space_a)
    places = np.linspace(0.0, 1.0, count) if at is None else np.asarray(at, float)
    flat_a, flat_b = unrolled(space_a, space_b)
    keep = np.asarray(list(keep), int)
    corner_a, corner_b = (
        tuple(int(np.searchsorted(keep, corner)) for corner in corners) for corners in (corners_a, corners_b)
    )

    def ruling(k):
        return np.array([flat_a[k], flat_b[k]])

    marks = [Mark("bend", ruling(k), at=float(places[k]), angle=angle) for k, angle in bends]
    turn = 2 * math.pi
    elements = {}
    if form == CONE:
        first = start_angle % (math.pi / 2)
        for k in range(5):
            place = (k * math.pi / 2 - first) / turn
            if _SAME < place < 1 - _SAME:
                name = QUARTERS[round((start_angle + place * turn) / (math.pi / 2)) % 4]
                nearest = int(np.argmin(np.abs(places - place)))
                mark = Mark(name if has_throat else "quarter", ruling(nearest), at=float(places[nearest]))
                marks.append(mark)
        for name, angle in (("throat", 0.0), ("heel", math.pi)):
            nearest = int(np.argmin(np.abs(places - ((angle - start_angle) % turn) / turn)))
            elements[name] = float(np.hypot(*(flat_b[nearest] - flat_a[nearest])))
    net = Net(
        flat_a[keep],
        flat_b[keep],
        places[keep],
        places[keep],
        corners_a=corner_a,
        corners_b=corner_b,
        marks=marks,
    )
    widths = {"lap": lap, "width_a": width_a, "width_b": width_b}
    flat = flat_pattern(net, sheet=sheet, **widths, is_cylinder=False, start_angle=start_angle)
    shown = np.unique(
        np.concatenate(
            [np.linspace(0, count - 1, _STRIP_STEPS + 1).round().astype(int), *[[k] for k, _ in bends]]
        )
    )
    quarter = round(start_angle / (math.pi / 2))
    on_quarter = has_throat and abs(start_angle / (math.pi / 2) - quarter) < 1e-9
    return dict(
        flat,
        throat=elements.get("throat"),
        heel=elements.get("heel"),
        form=form,
        seam_at=QUARTERS[quarter % 4] if on_quarter else "",
        surface=Ruled(flat_a, flat_b, space_a, space_b),
        strips=((_fixed(space_a[shown]), _fixed(space_b[shown])),),
    )


__all__ = [
    "BRAKE",
    "Net",
    "cylinder_segment",
    "fits_stock",
    "flat_pattern",
    "pattern_key",
    "plate_count",
    "ruled_segment",
]
