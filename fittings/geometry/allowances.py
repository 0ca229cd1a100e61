"""From the net outline to the outline that the table cuts: laps, edge bands and notches.

Rules of the shop, common practice, no source:
- An edge allowance is a band of constant width beside the net edge, measured square to it, so that the flange
  or swage pressed from it has one width all round.
- Each band is notched back at both seam ends, from the net corner along the line that halves the angle
  between the edge and the seam line: 45° where they are square. So no flange bunches up in the seam.
- The lap continues beyond the seam between the net ends of both edges. Beside an edge that has a band it is
  tapered by a quarter of the lap, and always by as much as the edge that it is closed under falls away, so
  that it never stands out beyond the edges. Both tapers together take at most 0.8 of the seam's length.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np
import shapely

from .errors import ParameterError
from .outline import closed_between, is_sound
from .parameters import Param, checked, problem

LARGEST = 6.0  # in
FREE_ENDS = ("end_a", "end_b", "end_c")
_LAP_TAPER = 0.25  # of the lap
_SAME_POINT = 5e-4  # in; closer points of a border count as one
_NO_WIDTH = 1e-6  # in
_GRID = 1e-4  # in; slivers finer than the display would cross themselves when rounded
_TAPER_LIMIT = 0.8  # of the seam's length


@dataclass(frozen=True)
class Allowances:
    """Metal added beyond the net outline [in], each 0 to 6.

    `lap` beyond the last seam end; `edge_a`, `edge_b` beyond edge A and edge B of each segment; `end_a`,
    `end_b` take their place at the two free ends of the fitting, and equal them where None; `end_c` at a third free
    end (a branch), and equals that of end B where None.
    """

    lap: float = 0.0
    edge_a: float = 0.0
    edge_b: float = 0.0
    end_a: float | None = None
    end_b: float | None = None
    end_c: float | None = None

    def __post_init__(self):
        problems = []
        for field in fields(self):
            value = getattr(self, field.name)
            if value is None and field.name in FREE_ENDS:
                continue
            try:
                checked(Param(field.name, "in", 0, LARGEST), value, prefix="allowances.")
            except ParameterError as error:
                problems.extend(error.problems)
        if problems:
            raise ParameterError(problems)

    @property
    def free_end_a(self) -> float:
        return self.edge_a if self.end_a is None else self.end_a

    @property
    def free_end_b(self) -> float:
        return self.edge_b if self.end_b is None else self.end_b

    @property
    def free_end_c(self) -> float:
        return self.free_end_b if self.end_c is None else self.end_c


def allowances_from(values: Mapping, unit: str = "in", *, base: Allowances | None = None) -> Allowances:
    """Allowances from the names and values of a request.

    values   any of lap, edge_a, edge_b, end_a, end_b, end_c, in `unit` [in or mm]; None counts as left out
    unit     'in' or 'mm'
    base     allowances for the names left out; without it they are 0 (the free ends: as the edges)
    returns  Allowances [in]
    raises   ParameterError naming every wrong or unknown field, as allowances.<name>
    source   names are those of the HTTP contract

    >>> allowances_from({'lap': 12.7}, 'mm')
    Allowances(lap=0.5, edge_a=0.0, edge_b=0.0, end_a=None, end_b=None, end_c=None)
    """
    if not isinstance(values, Mapping):
        raise ParameterError([problem("allowances", "Allowances", values, "an object of names and values")])
    names = [field.name for field in fields(Allowances)]
    found, problems = {}, []
    for name, value in values.items():
        if name not in names:
            problems.append(
                problem(f"allowances.{name}", f"Allowance “{name}”", value, "one of " + ", ".join(names))
            )
        elif value is not None:
            try:
                found[name] = checked(Param(name, "in", 0, LARGEST), value, unit, prefix="allowances.")
            except ParameterError as error:
                problems.extend(error.problems)
    if problems:
        raise ParameterError(problems)
    return replace(base or Allowances(), **found)


def band_edge(
    edge: np.ndarray, width: float, *, side: int, first_out=None, last_out=None, corners=()
) -> tuple[np.ndarray, np.ndarray]:
    """The outer border of an edge band, notched at both ends and at corners, and the points of the edge beneath it.

    At arc length s of a run between two notches the band is min(w, s tan γ₀, (L − s) tan γ₁) wide; γ is half the angle
    between the edge and the outward seam line at that end, or half the outer angle of a corner less 2°, so that the two
    bands part there. Where a corner points outward they part by themselves and end square.

    edge                 net edge from its first to its last seam end, shape (n, 2) [in]
    width                w of the band, square to the edge [in], > 0
    side                 +1 if the band lies to the left of the edge (edge B), −1 if to the right (edge A)
    first_out, last_out  outward direction of the seam lines at both ends, shape (2,); left out: along y
    corners              indices of points where the edge has a corner
    returns              (border, foot), both shape (m, 2) [in]; border begins and ends on the net corners
    source               parallel curve of a plane curve; the notch is common practice, no source

    >>> border, foot = band_edge(np.array([[0, 0], [10, 0]], float), 0.5, side=1)
    >>> border.round(9).tolist()
    [[0.0, 0.0], [0.5, 0.5], [9.5, 0.5], [10.0, 0.0]]
    """
    upright = np.array([0.0, float(side)])
    first_out, last_out = (upright if out is None else np.asarray(out) for out in (first_out, last_out))
    bounds = [0, *(k for k in sorted(corners) if 0 < k < len(edge) - 1), len(edge) - 1]
    runs = [edge[a : b + 1] for a, b in zip(bounds[:-1], bounds[1:], strict=True)]
    slopes = [_tangents(run) for run in runs]
    rises = [[_half_angle_tangent(slopes[0][0], first_out), None] for _ in runs]
    rises[-1][1] = _half_angle_tangent(-slopes[-1][-1], last_out)
    for k in range(len(runs) - 1):
        rises[k][1] = rises[k + 1][0] = _corner_tangent(slopes[k][-1], slopes[k + 1][0], side)
    borders, feet = zip(
        *(
            _run_border(run, slope, width, side, *rise)
            for run, slope, rise in zip(runs, slopes, rises, strict=True)
        ),
        strict=True,
    )
    joined = [np.vstack([parts[0], *(part[1:] for part in parts[1:])]) for parts in (borders, feet)]
    return joined[0], joined[1]


_SQUARE = np.pi / 2 - 1e-6  # rad; a notch so steep that the band ends square
_PARTED = np.pi / 90  # rad; bands that part at a corner stand open by twice as much


def _tangents(run):
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(run, axis=0).T))])
    order = 2 if len(run) > 2 else 1
    found = np.gradient(run, along, axis=0, edge_order=order)
    return found / np.hypot(*found.T)[:, None]


def _half_angle_tangent(way, out):
    cross, dot = way[0] * out[1] - way[1] * out[0], way @ out
    return float(np.tan(np.arctan2(abs(cross), dot) / 2))


def _corner_tangent(incoming, outgoing, side):
    """tan of half the outer angle at a corner, less a little so that the bands part; square at most."""
    cross, dot = incoming[0] * outgoing[1] - incoming[1] * outgoing[0], incoming @ outgoing
    half = (np.pi - side * np.arctan2(cross, dot)) / 2
    return float(np.tan(min(max(half - _PARTED, half / 2), _SQUARE)))


def _run_border(run, slope, width, side, rise_first, rise_last):
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(run, axis=0).T))])
    total = along[-1]
    meet = total * rise_last / (rise_first + rise_last)
    first, last = min(width / rise_first, meet), max(total - width / rise_last, meet)
    shoulders = [first] if last - first < _SAME_POINT else [first, last]
    inner = along[1:-1]
    apart = np.all(np.abs(inner[:, None] - shoulders) > _SAME_POINT, axis=1)
    at = np.sort(np.concatenate([[0.0, total], inner[apart], shoulders]))
    foot = np.column_stack([np.interp(at, along, run[:, k]) for k in (0, 1)])
    way = np.column_stack([np.interp(at, along, slope[:, k]) for k in (0, 1)])
    way /= np.hypot(*way.T)[:, None]
    band = np.minimum(np.minimum(width, at * rise_first), (total - at) * rise_last)
    reach = (side * np.maximum(band, 0.0))[:, None]
    return foot + reach * np.column_stack([-way[:, 1], way[:, 0]]), foot


def lap_tapers(edge_a, edge_b, next_a, next_b, *, lap, has_band_a, has_band_b) -> tuple[float, float]:
    """How far the lap is tapered at its far end, beside edge A and beside edge B.

    edge_a, edge_b  net edges, shape (n, 2) [in]
    next_a, next_b  net edges of the plate that the lap is closed under, from its x = 0 [in]
    lap             [in], > 0
    has_band_a, _b  whether that edge carries a band
    returns         (taper at edge A, taper at edge B) [in], ≥ 0
    source          common practice, no source

    >>> flat_a, flat_b = np.array([[0, 0], [9, 0]], float), np.array([[0, 2], [9, 2]], float)
    >>> lap_tapers(flat_a, flat_b, flat_a, flat_b, lap=1.0, has_band_a=True, has_band_b=False)
    (0.25, 0.0)
    """

    following_a, following_b = _beside_seam(next_a, next_b)

    def taper(following, side, has_band):
        ahead = following[: int(np.argmax(following[:, 0] >= lap)) + 1 or None]
        x = np.append(ahead[(ahead[:, 0] > 1e-9) & (ahead[:, 0] < lap), 0], lap)
        falls = side * (following[0, 1] - np.interp(x, ahead[:, 0], ahead[:, 1]))
        return max(_LAP_TAPER * lap if has_band else 0.0, lap * float(np.max(falls / x)))

    taper_a, taper_b = taper(following_a, -1, has_band_a), taper(following_b, 1, has_band_b)
    room = _TAPER_LIMIT * float(np.hypot(*(edge_b[-1] - edge_a[-1])))
    shrink = min(1.0, room / (taper_a + taper_b)) if taper_a + taper_b > 0 else 1.0
    return taper_a * shrink, taper_b * shrink


def _beside_seam(edge_a, edge_b):
    """Two edges seen from their first seam: x square to it into the metal, y along it from edge A."""
    up = edge_b[0] - edge_a[0]
    up = up / np.hypot(*up)
    axes = np.array([[up[1], -up[0]], up])
    return tuple((edge - edge_a[0]) @ axes.T for edge in (edge_a, edge_b))


def cut_outline(
    edge_a,
    edge_b,
    *,
    lap=0.0,
    width_a=0.0,
    width_b=0.0,
    next_a=None,
    next_b=None,
    corners_a=(),
    corners_b=(),
) -> np.ndarray:
    """The outline that the table cuts: net outline, lap, edge bands and notches.

    edge_a, edge_b        net edges from the first to the last seam end, shape (n, 2) [in]
    lap                   beyond the last seam end, square to it [in], ≥ 0
    width_a, width_b      band beyond edge A and edge B [in], ≥ 0
    next_a, next_b        edges of the plate that the lap is closed under [in]; the segment's own where left out
    corners_a, corners_b  indices of points where an edge has a corner
    returns               simple counter-clockwise outline that holds the net outline, shape (k, 2) [in]; that of a
                          cylinder is as wide as the stretch-out plus the lap
    source                module docstring; common practice, no source

    >>> flat_a, flat_b = np.array([[0, 0], [10, 0]], float), np.array([[0, 4], [10, 4]], float)
    >>> cut_outline(flat_a, flat_b, lap=1.0).tolist()
    [[0.0, 0.0], [10.0, 0.0], [11.0, 0.0], [11.0, 4.0], [10.0, 4.0], [0.0, 4.0]]
    """
    next_a, next_b = edge_a if next_a is None else next_a, edge_b if next_b is None else next_b
    first_up, last_up = (edge_b[k] - edge_a[k] for k in (0, -1))
    first_up, last_up = first_up / np.hypot(*first_up), last_up / np.hypot(*last_up)
    lower, lower_foot, upper, upper_foot = edge_a, edge_a, edge_b, edge_b
    # the tip of a triangle has no edge to flange; a band too narrow to show would only double its points
    width_a = 0.0 if len(edge_a) == 1 or width_a < _NO_WIDTH else width_a
    width_b = 0.0 if len(edge_b) == 1 or width_b < _NO_WIDTH else width_b
    if width_a > 0:
        lower, lower_foot = band_edge(
            edge_a, width_a, side=-1, first_out=-first_up, last_out=-last_up, corners=corners_a
        )
    if width_b > 0:
        upper, upper_foot = band_edge(
            edge_b, width_b, side=1, first_out=first_up, last_out=last_up, corners=corners_b
        )
    tongue = np.empty((0, 2))
    if lap > 0:
        at_a, at_b = lap_tapers(
            edge_a, edge_b, next_a, next_b, lap=lap, has_band_a=width_a > 0, has_band_b=width_b > 0
        )
        beyond = lap * np.array([last_up[1], -last_up[0]])
        tongue = np.array([edge_a[-1] + beyond + at_a * last_up, edge_b[-1] + beyond - at_b * last_up])
    direct = np.vstack([lower, tongue, upper[::-1]])
    is_upright = abs(first_up[0]) + abs(last_up[0]) < 1e-12
    beside = False
    if is_upright:
        bands = np.vstack([lower, upper])
        beside = bands[:, 0].min() < edge_a[0, 0] - 1e-9 or bands[:, 0].max() > edge_a[-1, 0] + 1e-9
    if not beside and is_sound(direct):
        return direct
    return _united(edge_a, edge_b, tongue, is_upright, (lower, lower_foot), (upper, upper_foot))


def _united(edge_a, edge_b, tongue, is_upright, *bands):
    """The same outline as a union of small pieces: for bands wider than the hollow of their edge."""
    strips = []
    for border, foot in bands:
        if border is foot:
            continue
        corners = np.stack([foot[:-1], foot[1:], border[1:], border[:-1]], axis=1)
        strips.extend(shapely.convex_hull(shapely.multipoints(quad)) for quad in corners)
    net = closed_between(edge_a, edge_b)
    band_area = shapely.union_all(strips)
    if is_upright:
        low, high = net[:, 1].min() - 1e3, net[:, 1].max() + 1e3
        band_area = shapely.intersection(band_area, shapely.box(edge_a[0, 0], low, edge_a[-1, 0], high))
    pieces = [shapely.polygons(net), band_area]
    if len(tongue):
        pieces.append(shapely.polygons(np.vstack([edge_a[-1], tongue, edge_b[-1]])))
    with np.errstate(divide="ignore", invalid="ignore"):  # a lap of next to nothing; the grid takes it away
        whole = shapely.set_precision(shapely.union_all(pieces), _GRID)
    parts = shapely.get_parts(whole)
    largest = parts[np.argmax(shapely.area(parts))]
    ring = shapely.get_coordinates(shapely.get_exterior_ring(shapely.orient_polygons(largest)))[:-1]
    first = int(np.argmin(np.hypot(*(ring - edge_a[0]).T)))
    return np.roll(ring, -first, axis=0)
