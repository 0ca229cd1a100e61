"""Where the stations stand, how far work is carried, and a search for a better assignment of stations to places.

Lengths in feet, measured between the middles of places. Work is carried along aisles: the way along the room and the
way across it add up. Common practice, no source: from cut to door in one direction, finished work near the door.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

LINE, U_SHAPE, TWO_ROWS = "line", "u", "two rows"
SHAPES = (LINE, U_SHAPE, TWO_ROWS)
_STARTS = 12
_ALL_STARTS = 18
"""With more places there are fewer starts, so that the time does not grow with the third power."""
_STEPS = 40  # for each place, a start


@dataclass(frozen=True)
class Place:
    """A spot for a station on the floor plan: its middle and the room that there is, clearances included [ft]."""

    name: str
    x: float
    y: float
    width: float = 0.0
    depth: float = 0.0


@dataclass(frozen=True)
class Standing:
    """A station, or the door: the room that it needs, clearances included [ft]. Fixed ones stay where they are."""

    code: str
    width: float = 0.0
    depth: float = 0.0
    is_fixed: bool = False

    def fits(self, place: Place) -> bool:
        """Whether it goes there, as it is or turned by a quarter."""
        room = (place.width, place.depth)
        if not any(room):
            return True
        return any(
            wide <= room[0] + 1e-9 and deep <= room[1] + 1e-9
            for wide, deep in ((self.width, self.depth), (self.depth, self.width))
        )


class LayoutError(ValueError):
    """Stations that cannot stand on these places: names what and why."""


def from_to(trips: Iterable[Sequence[str]]) -> Counter[tuple[str, str]]:
    """How often work goes from one station to the next: of the stations of each piece in the order of its scans.

    >>> from_to([["CUT-1", "ROLL-1", "ROLL-1", "SEAM-1"], ["CUT-1", "ROLL-1"]])
    Counter({('CUT-1', 'ROLL-1'): 2, ('ROLL-1', 'SEAM-1'): 1})
    """
    found: Counter[tuple[str, str]] = Counter()
    for stations in trips:
        for begin, end in zip(stations, stations[1:], strict=False):
            if begin != end:
                found[begin, end] += 1
    return found


def way(begin: Place, end: Place) -> float:
    """Feet from place to place along the aisles.

    >>> way(Place("A", 0, 0), Place("B", 30, 40))
    70
    """
    return abs(begin.x - end.x) + abs(begin.y - end.y)


def travel(traffic: Mapping[tuple[str, str], float], where: Mapping[str, Place]) -> float:
    """Feet that the work is carried. What goes from or to a station without a place is left out."""
    return sum(
        count * way(where[begin], where[end])
        for (begin, end), count in traffic.items()
        if begin in where and end in where
    )


def crossings(
    traffic: Mapping[tuple[str, str], float], where: Mapping[str, Place]
) -> list[tuple[tuple[str, str], tuple[str, str]]]:
    """Pairs of flow lines that cross, drawn straight from middle to middle; lines with a common end do not cross."""
    lines = sorted({tuple(sorted(ends)) for ends in traffic if all(one in where for one in ends)})
    found = []
    for at, first in enumerate(lines):
        for second in lines[at + 1 :]:
            if not set(first) & set(second) and _cross(*(where[one] for one in (*first, *second))):
                found.append((first, second))
    return found


def _cross(a: Place, b: Place, c: Place, d: Place) -> bool:
    def side(p: Place, q: Place, r: Place) -> float:
        return (q.x - p.x) * (r.y - p.y) - (q.y - p.y) * (r.x - p.x)

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


def shaped(shape: str, count: int, *, length: float, width: float) -> tuple[Place, ...]:
    """So many places in a room, in the order in which work goes through them.

    shape          LINE along the room; U_SHAPE up one side and back on the other; TWO_ROWS, to and fro between them
    length, width  of the room [ft]

    Raises LayoutError for a shape that is not known or a room without size.
    """
    if shape not in SHAPES:
        raise LayoutError(f"The shape {shape!r} is not known; there are {', '.join(SHAPES)}.")
    if length <= 0 or width <= 0:
        raise LayoutError(f"The room is {length} × {width} ft; both sides are above 0.")
    pairs = (count + 1) // 2
    if shape == LINE:
        spots = [(length * (at + 0.5) / count, width / 2) for at in range(count)]
    elif shape == U_SHAPE:
        up = [(length * (at + 0.5) / pairs, width / 4) for at in range(pairs)]
        back = [(length * (at + 0.5) / pairs, width * 3 / 4) for at in reversed(range(pairs))]
        spots = (up + back)[:count]
    else:
        spots = [(length * (at // 2 + 0.5) / pairs, width * (1 + 2 * (at % 2)) / 4) for at in range(count)]
    return tuple(Place(f"{at + 1}", x, y) for at, (x, y) in enumerate(spots))


@dataclass(frozen=True)
class Proposal:
    """An assignment of stations to places, the feet that it takes, and those of the layout it began with."""

    where: dict[str, Place]
    feet: float
    before: float


def proposed(
    traffic: Mapping[tuple[str, str], float],
    stations: Sequence[Standing],
    places: Sequence[Place],
    now: Mapping[str, Place],
    *,
    seed: int = 1,
    fits: Callable[[Standing, Place], bool] = Standing.fits,
) -> Proposal:
    """A better assignment, never a worse one: exchanges of two places, from many starts.

    now   where each station stands; the fixed ones stay there
    fits  whether a station goes on a place

    Raises LayoutError where there are too few places, or a station fits on none that is free.
    """
    search = _Search(traffic, stations, places, now, fits)
    order = search.best(np.random.default_rng(seed))
    where = {one.code: places[order[at]] for at, one in enumerate(stations)}
    before = travel(traffic, now)
    feet = travel(traffic, where)
    if feet > before - 1e-9 and all(one.code in now for one in stations):
        return Proposal(dict(now), before, before)
    return Proposal(where, feet, before)


class _Search:
    """Places by number; what stands nowhere else is filled up with nothing, so that all exchanges are of two."""

    def __init__(self, traffic, stations, places, now, fits):
        count = len(places)
        if len(stations) > count:
            raise LayoutError(f"There are {len(stations)} stations and only {count} places.")
        codes = [one.code for one in stations]
        self.flow = np.zeros((count, count))
        for (begin, end), number in traffic.items():
            if begin in codes and end in codes and begin != end:
                at, to = codes.index(begin), codes.index(end)
                self.flow[at, to] += number
                self.flow[to, at] += number
        spots = np.array([(place.x, place.y) for place in places])
        self.far = np.abs(spots[:, None] - spots[None]).sum(axis=2)
        self.may = np.ones((count, count), bool)
        for at, one in enumerate(stations):
            self.may[at] = [fits(one, place) for place in places]
            if one.is_fixed:
                stays = now.get(one.code)
                if stays not in places:
                    raise LayoutError(f"{one.code} is fixed, but stands on none of the places.")
                self.may[at] = [place == stays for place in places]
        for at, one in enumerate(stations):
            if not self.may[at].any():
                raise LayoutError(
                    f"{one.code} needs {one.width:g} × {one.depth:g} ft; no place has that room."
                )
        self.start = self._start(stations, places, now)

    def _start(self, stations, places, now) -> np.ndarray | None:
        """The layout that there is, where it is one of these."""
        try:
            order = [places.index(now[one.code]) for one in stations]
        except (KeyError, ValueError):
            return None
        if len(set(order)) < len(order) or not all(self.may[at, to] for at, to in enumerate(order)):
            return None
        return np.array(order + [at for at in range(len(places)) if at not in order])

    def best(self, random: np.random.Generator) -> np.ndarray:
        found, least = None, np.inf
        fewer = max(1.0, len(self.flow) / _ALL_STARTS) ** 2
        for number in range(max(1, round(_STARTS / fewer))):
            order = self.start if number == 0 and self.start is not None else self._random(random)
            order, cost = self._improved(order, random)
            if cost < least - 1e-9:
                found, least = order, cost
        return found

    def _random(self, random: np.random.Generator) -> np.ndarray:
        cost = np.where(self.may, random.random(self.may.shape), 1e6)
        order = linear_sum_assignment(cost)[1]
        if not self.may[np.arange(len(order)), order].all():
            raise LayoutError("The stations do not all go on the places that have room for them.")
        return order

    def _cost(self, order: np.ndarray) -> float:
        return float((self.flow * self.far[np.ix_(order, order)]).sum() / 2)

    def _improved(self, order: np.ndarray, random: np.random.Generator) -> tuple[np.ndarray, float]:
        """For a while always the best exchange that does not go back to where a station was; the best order seen.

        Robust tabu search, E. Taillard, Parallel Computing 17 (1991); from memory.
        """
        count = len(order)
        order, cost = order.copy(), self._cost(order)
        best, least = order.copy(), cost
        until = np.zeros((count, count), int)  # of a station at a place: not again before that step
        upper = np.triu_indices(count, 1)
        for step in range(_STEPS * count):
            product = self.flow @ self.far[np.ix_(order, order)]
            own = np.diag(product)
            apart = self.flow * self.far[np.ix_(order, order)]
            gain = (product + product.T - own[:, None] - own[None] + 2 * apart)[upper]
            one, other = upper
            allowed = self.may[one, order[other]] & self.may[other, order[one]]
            banned = (until[one, order[other]] > step) & (until[other, order[one]] > step)
            usable = allowed & (~banned | (cost + gain < least - 1e-9))
            if not usable.any():
                break
            at = int(np.argmin(np.where(usable, gain, np.inf)))
            first, second = one[at], other[at]
            rest = step + 1 + int(random.integers(count // 2 + 1, count + 3))
            until[first, order[first]] = until[second, order[second]] = rest
            order[[first, second]] = order[[second, first]]
            cost += float(gain[at])
            if cost < least - 1e-9:
                best, least = order.copy(), cost
        return best, self._cost(best)
