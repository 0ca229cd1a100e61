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
_LAP_TAPER = 0.25  # of the lap
_SAME_POINT = 5e-4  # in; closer points of a border count as one
_GRID = 1e-4  # in; slivers finer than the display would cross themselves when rounded
_TAPER_LIMIT = 0.8  # of the seam's length


@dataclass(frozen=True)
class Allowances:
    """Metal added beyond the net outline [in], each 0 to 6.

    `lap` beyond x = stretch-out; `edge_a`, `edge_b` beyond edge A and edge B of each segment; `end_a`,
    `end_b` take their place at the two free ends of the fitting, and equal them where None.
    """

    lap: float = 0.0
    edge_a: float = 0.0
    edge_b: float = 0.0
    end_a: float | None = None
    end_b: float | None = None

    def __post_init__(self):
        problems = []
        for field in fields(self):
            value = getattr(self, field.name)
            if value is None and field.name in ("end_a", "end_b"):
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


def allowances_from(values: Mapping, unit: str = "in", *, base: Allowances | None = None) -> Allowances:
    """Allowances from the names and values of a request.

    values   any of lap, edge_a, edge_b, end_a, end_b, in `unit` [in or mm]; None counts as left out
    unit     'in' or 'mm'
    base     allowances for the names left out; without it they are 0 (the free ends: as the edges)
    returns  Allowances [in]
    raises   ParameterError naming every wrong or unknown field, as allowances.<name>
    source   names are those of the HTTP contract

    >>> allowances_from({'lap': 12.7}, 'mm')
    Allowances(lap=0.5, edge_a=0.0, edge_b=0.0, end_a=None, end_b=None)
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


def band_edge(edge: np.ndarray, width: float, *, side: int) -> tuple[np.ndarray, np.ndarray]:
    """The outer border of an edge band, notched at both ends, and the points of the net edge beneath it.

    At arc length s the band is min(w, s tan γ₀, (L − s) tan γ₁) wide; γ is half the angle between edge and
    seam line at that end.

    edge     net edge in increasing x, shape (n, 2) [in]
    width    w of the band, square to the edge [in], > 0
    side     +1 if the band lies above the edge (edge B), −1 if below (edge A)
    returns  (border, foot), both shape (m, 2) [in]; border begins and ends on the net corners
    source   parallel curve of a plane curve; the notch is common practice, no source

    >>> border, foot = band_edge(np.array([[0, 0], [10, 0]], float), 0.5, side=1)
    >>> border.round(9).tolist()
    [[0.0, 0.0], [0.5, 0.5], [9.5, 0.5], [10.0, 0.0]]
    """
    x, y = edge[:, 0], edge[:, 1]
    slope = np.gradient(y, x, edge_order=2 if len(x) > 2 else 1)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    total = along[-1]
    # the seam line runs outward; an edge that climbs towards the band's side leaves it less room
    rise_first = np.tan((np.pi / 2 - np.arctan(side * slope[0])) / 2)
    rise_last = np.tan((np.pi / 2 + np.arctan(side * slope[-1])) / 2)
    meet = total * rise_last / (rise_first + rise_last)
    first, last = min(width / rise_first, meet), max(total - width / rise_last, meet)
    shoulders = [first] if last - first < _SAME_POINT else [first, last]
    inner = along[1:-1]
    apart = np.all(np.abs(inner[:, None] - shoulders) > _SAME_POINT, axis=1)
    at = np.sort(np.concatenate([[0.0, total], inner[apart], shoulders]))
    foot = np.column_stack([np.interp(at, along, x), np.interp(at, along, y)])
    slope = np.interp(at, along, slope)
    band = np.minimum(np.minimum(width, at * rise_first), (total - at) * rise_last)
    reach = (side * np.maximum(band, 0.0) / np.hypot(1.0, slope))[:, None]
    return foot + reach * np.column_stack([-slope, np.ones_like(slope)]), foot


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

    def taper(following, side, has_band):
        x = np.append(following[(following[:, 0] > 1e-9) & (following[:, 0] < lap), 0], lap)
        falls = side * (following[0, 1] - np.interp(x, following[:, 0], following[:, 1]))
        return max(_LAP_TAPER * lap if has_band else 0.0, lap * float(np.max(falls / x)))

    taper_a, taper_b = taper(next_a, -1, has_band_a), taper(next_b, 1, has_band_b)
    room = _TAPER_LIMIT * (edge_b[-1, 1] - edge_a[-1, 1])
    shrink = min(1.0, room / (taper_a + taper_b)) if taper_a + taper_b > 0 else 1.0
    return taper_a * shrink, taper_b * shrink


def cut_outline(edge_a, edge_b, *, lap=0.0, width_a=0.0, width_b=0.0, next_a=None, next_b=None) -> np.ndarray:
    """The outline that the table cuts: net outline, lap, edge bands and notches.

    edge_a, edge_b    net edges in increasing x from 0, shape (n, 2) [in]
    lap               beyond the last x [in], ≥ 0
    width_a, width_b  band beyond edge A and edge B [in], ≥ 0
    next_a, next_b    edges of the plate that the lap is closed under [in]; the segment's own where left out
    returns           simple counter-clockwise outline that holds the net outline, shape (k, 2) [in]; its box
                      is as wide as the stretch-out plus the lap
    source            module docstring; common practice, no source

    >>> flat_a, flat_b = np.array([[0, 0], [10, 0]], float), np.array([[0, 4], [10, 4]], float)
    >>> cut_outline(flat_a, flat_b, lap=1.0).tolist()
    [[0.0, 0.0], [10.0, 0.0], [11.0, 0.0], [11.0, 4.0], [10.0, 4.0], [0.0, 4.0]]
    """
    next_a, next_b = edge_a if next_a is None else next_a, edge_b if next_b is None else next_b
    lower, lower_foot = band_edge(edge_a, width_a, side=-1) if width_a > 0 else (edge_a, edge_a)
    upper, upper_foot = band_edge(edge_b, width_b, side=1) if width_b > 0 else (edge_b, edge_b)
    tongue = np.empty((0, 2))
    if lap > 0:
        at_a, at_b = lap_tapers(
            edge_a, edge_b, next_a, next_b, lap=lap, has_band_a=width_a > 0, has_band_b=width_b > 0
        )
        x_end = edge_a[-1, 0] + lap
        tongue = np.array([[x_end, edge_a[-1, 1] + at_a], [x_end, edge_b[-1, 1] - at_b]])
    direct = np.vstack([lower, tongue, upper[::-1]])
    bands = np.vstack([lower, upper])
    beside = bands[:, 0].min() < -1e-9 or bands[:, 0].max() > edge_a[-1, 0] + 1e-9
    if not beside and is_sound(direct):
        return direct
    return _united(edge_a, edge_b, tongue, (lower, lower_foot), (upper, upper_foot))


def _united(edge_a, edge_b, tongue, *bands):
    """The same outline as a union of small pieces: for bands wider than the hollow of their edge."""
    strips = []
    for border, foot in bands:
        if border is foot:
            continue
        corners = np.stack([foot[:-1], foot[1:], border[1:], border[:-1]], axis=1)
        strips.extend(shapely.convex_hull(shapely.multipoints(quad)) for quad in corners)
    net = closed_between(edge_a, edge_b)
    (_, low), (x_end, high) = net.min(axis=0) - 1e3, net.max(axis=0) + 1e3
    x_end -= 1e3
    band_area = shapely.intersection(shapely.union_all(strips), shapely.box(0.0, low, x_end, high))
    pieces = [shapely.polygons(net), band_area]
    if len(tongue):
        pieces.append(shapely.polygons(np.vstack([edge_a[-1], tongue, edge_b[-1]])))
    whole = shapely.set_precision(shapely.union_all(pieces), _GRID)
    parts = shapely.get_parts(whole)
    largest = parts[np.argmax(shapely.area(parts))]
    ring = shapely.get_coordinates(shapely.get_exterior_ring(shapely.orient_polygons(largest)))[:-1]
    first = int(np.argmin(np.hypot(*(ring - edge_a[0]).T)))
    return np.roll(ring, -first, axis=0)
