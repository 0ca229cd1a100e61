"""From the two edges of a segment to its flat pattern: outlines, holes, areas, weight, marks, plates."""

import hashlib
import math
from dataclasses import replace

import numpy as np
import shapely

from .curves import edge_length
from .development import BRAKE, CONE, CYLINDER, Blank, Mark, Plate, Sheet
from .net import Net
from .outline import extent, signed_area
from .parameters import number_text
from .plates import cut_of, equal_parts, plates_needed
from .surfaces import Cylinder, Ruled, unrolled

SQ_IN_PER_SQ_FT = 144.0
QUARTERS = {0: "throat", 1: "side", 2: "heel", 3: "side"}
_STRIP_STEPS = 48  # of a drawing in space, round a whole turn
_SAME = 1e-6
_NO_AREA = 1e-6  # in², what rounding leaves between two shapes


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
    too_round = not is_cylinder and net.covers_itself(lap)
    whole_widths = widths | {"lap": 0.0} if too_round else widths
    whole_cut = cut_of(net, net, **whole_widths)
    whole = _flat(net, whole_cut, sheet, whole_widths["lap"])[0]
    around = (
        float(net.edge_a[-1, 0]) if is_cylinder else max(edge_length(net.edge_a), edge_length(net.edge_b))
    )
    count, cuts, fits = plates_needed(net, sheet, widths, is_cylinder, whole_cut, too_round)
    plates = []
    if count > 1:
        pieces = []
        for k, part in enumerate(equal_parts(net, count)):
            turn, shift = part.upright()
            if is_cylinder:
                turn, shift = np.eye(2), np.array([-part.edge_a[0, 0], 0.0])
            settled = part.moved(turn, shift)
            pieces.extend((k, piece) for piece in _flat(settled, cuts[k] @ turn.T + shift, sheet, lap))
        for number, (k, piece) in enumerate(pieces, 1):
            plates.append(
                Plate(
                    number=number,
                    of=len(pieces),
                    x_from=around * k / count,
                    x_to=around * (k + 1) / count,
                    start_angle=start_angle + 2 * np.pi * k / count,
                    lap=lap,
                    **piece,
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


def _flat(net: Net, cut, sheet, lap) -> list[dict]:
    """What lies flat of a part: one piece, or several where a hole runs through it from end to end."""
    outline = net.outline()
    whole, whole_cut = shapely.polygons(outline), shapely.polygons(cut)
    holes, through = [], []
    for hole in net.holes:
        shape = shapely.polygons(hole)
        if shapely.contains(whole, shape):
            holes.append(hole)
        elif shapely.area(shapely.intersection(whole_cut, shape)) > _NO_AREA:
            through.append(shape)
    if not through:
        return [_piece(outline, cut, holes, net.marks, sheet)]
    shapes = shapely.union_all(through)
    behind = shapely.union_all([shapes, *_over_the_lap(net, shapes, lap)])
    pieces = []
    for rest in _parts(shapely.difference(whole_cut, behind)):
        own = _parts(shapely.intersection(shapely.difference(whole, shapes), rest))
        if own:
            inside = [hole for hole in holes if shapely.contains(own[0], shapely.polygons(hole))]
            marks = [
                mark for mark in net.marks if shapely.dwithin(own[0], shapely.linestrings(mark.line), _SAME)
            ]
            pieces.append(_piece(_ring(own[0]), _ring(rest), inside, marks, sheet))
    return pieces


def _piece(outline, cut, holes, marks, sheet):
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
        "marks": tuple(replace(mark, line=_fixed(mark.line)) for mark in marks),
    }


def _over_the_lap(net, shapes, lap):
    """Where holes run through the last end: the lap is cut straight on from them, as far as it goes."""
    last = np.array([net.edge_a[-1], net.edge_b[-1]])
    chords = shapely.get_parts(shapely.intersection(shapely.linestrings(last), shapes))
    beyond = [2 * lap, 0.0]
    for chord in chords:
        ends = shapely.get_coordinates(chord)
        yield shapely.convex_hull(shapely.multipoints(np.vstack([ends, ends + beyond])))


def _parts(shape):
    """Its polygons from below upwards, slivers left out."""
    parts = [part for part in shapely.get_parts(shape) if shapely.area(part) > _NO_AREA]
    return sorted(parts, key=lambda part: shapely.bounds(part)[1])


def _ring(polygon):
    """Its outer ring, counter-clockwise, first point not repeated."""
    return shapely.get_coordinates(shapely.get_exterior_ring(shapely.orient_polygons(polygon)))[:-1]


def cylinder_plates(edge_a, edge_b, *, sheet: Sheet, lap=0.0, width_a=0.0, width_b=0.0) -> int:
    """How many equal plates a rolled segment is made of.

    edge_a, edge_b    net edges in increasing x from 0, shape (n, 2) [in]
    sheet             the metal, with its longest and widest stock [in]
    lap               [in], ≥ 0
    width_a, width_b  edge allowances [in], ≥ 0
    returns           plates, ≥ 1
    source            definition; the rule of fewest equal plates is a house rule

    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156, 120, 60)
    >>> cylinder_plates([[0, 0], [190, 0]], [[0, 50], [190, 50]], sheet=sheet, lap=0.5)
    2
    """
    net, widths = _cylinder_net(edge_a, edge_b), {"lap": lap, "width_a": width_a, "width_b": width_b}
    return plates_needed(net, sheet, widths, True, cut_of(net, net, **widths))[0]


def _cylinder_net(edge_a, edge_b, **more):
    edge_a, edge_b = np.asarray(edge_a, float), np.asarray(edge_b, float)
    around = edge_a[-1, 0]
    return Net(edge_a, edge_b, edge_a[:, 0] / around, edge_b[:, 0] / around, **more)


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
            for line in _clear_of(element(x), holes):
                quarters.append(Mark(name if has_throat else "quarter", line, at=x / around))
    net = _cylinder_net(
        edge_a,
        edge_b,
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
    corners = np.concatenate([edge_a[list(corners_a), 0], edge_b[list(corners_b), 0]])
    x = np.unique(np.concatenate([np.linspace(0, around, _STRIP_STEPS + 1), corners]).round(9))
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


def _clear_of(line, holes):
    """The parts of an element that lie on metal, upwards."""
    if not len(holes):
        return [line]
    rest = shapely.difference(
        shapely.linestrings(line), shapely.union_all([shapely.polygons(h) for h in holes])
    )
    return sorted(
        (shapely.get_coordinates(part) for part in shapely.get_parts(rest)), key=lambda part: part[0, 1]
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
            [
                np.linspace(0, count - 1, _STRIP_STEPS + 1).round().astype(int),
                np.array([*(k for k, _ in bends), *corners_a, *corners_b], dtype=int),
            ]
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
    "cylinder_plates",
    "cylinder_segment",
    "flat_pattern",
    "pattern_key",
    "ruled_segment",
]
