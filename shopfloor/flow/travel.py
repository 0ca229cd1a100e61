"""How far work is carried: from the stations of each finished fitting, in the order of their scans.

A move is one piece that goes from a place to the next. Pieces of one order line that make the same move on the same day
are carried together, all at once or so many at a time: each time is a trip. The way is counted along the aisles from
middle to middle, one way; the walk back is not known.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from math import atan2, ceil, degrees

from shopfloor.flow.layout import Place, crossings, way

WALK_FT_PER_MIN = 210.0
"""3.5 ft/s, the walking speed of the Manual on Uniform Traffic Control Devices (2009), section 4E.06; from memory."""

Ends = tuple[str, str]


@dataclass(frozen=True)
class Visit:
    """Work on a piece at a station, and the day on which it was finished there."""

    station: str
    day: date


@dataclass(frozen=True)
class Made:
    """A finished fitting: the visits of each of its segments and of the whole, each in order."""

    line: str
    segments: tuple[tuple[Visit, ...], ...]
    whole: tuple[Visit, ...]


@dataclass(frozen=True)
class Carried:
    pieces: int
    trips: int


def moves(made: Made, *, begin: tuple[str, ...], end: tuple[str, ...]) -> list[tuple[date, Ends]]:
    """What was carried for one fitting: each segment from the rack to where the whole is made, the whole to the door.

    begin, end  places before the first station and after the last, in the order in which work comes there
    """
    found: list[tuple[date, Ends]] = []
    first = made.whole[:1]
    for visits in made.segments:
        if visits and first:
            found += _legs((*visits, *first), begin, ())
        elif visits:
            found += _legs(visits, begin, end)
    if made.whole:
        found += _legs(made.whole, () if any(made.segments) else begin, end)
    return found


def _legs(
    visits: tuple[Visit, ...], begin: tuple[str, ...], end: tuple[str, ...]
) -> Iterable[tuple[date, Ends]]:
    stops = [
        *((place, visits[0].day) for place in begin),
        *((visit.station, visit.day) for visit in visits),
        *((place, visits[-1].day) for place in end),
    ]
    for (here, _), (there, day) in zip(stops, stops[1:], strict=False):
        if here != there:
            yield day, (here, there)


def carried(
    all_made: Iterable[Made], *, begin: tuple[str, ...], end: tuple[str, ...], at_once: int | None
) -> dict[Ends, Carried]:
    """Pieces moved and trips, from place to place. at_once: None, or how many pieces one person carries."""
    together: Counter[tuple[str, date, Ends]] = Counter()
    for made in all_made:
        for day, ends in moves(made, begin=begin, end=end):
            together[made.line, day, ends] += 1
    pieces: Counter[Ends] = Counter()
    trips: Counter[Ends] = Counter()
    for (_, _, ends), count in together.items():
        pieces[ends] += count
        trips[ends] += ceil(count / at_once) if at_once else 1
    return {ends: Carried(pieces[ends], trips[ends]) for ends in sorted(pieces)}


# -- on a layout ---------------------------------------------------------------------


@dataclass(frozen=True)
class Leg:
    """From a place to another: a day's pieces, trips and feet, and the feet of one trip."""

    begin: str
    end: str
    pieces: float
    trips: float
    way: float

    @property
    def feet(self) -> float:
        return self.trips * self.way


@dataclass(frozen=True)
class Crossing:
    """Two flow lines that cross, and where [ft]."""

    first: Ends
    second: Ends
    x: float
    y: float


@dataclass(frozen=True)
class Travel:
    """Of a layout: its legs, the farthest carried first; feet a day, minutes a day, feet for a fitting.

    left_out  places that work went to and that are not on the plan
    """

    legs: tuple[Leg, ...]
    feet: float
    minutes: float
    per_fitting: float | None
    crossings: tuple[Crossing, ...]
    left_out: tuple[str, ...]


def travel_of(
    traffic: Mapping[Ends, Carried],
    where: Mapping[str, Place],
    *,
    days: float,
    fittings: int,
    walk: float,
) -> Travel:
    """What the traffic of so many days and fittings takes on a layout. walk: feet a minute."""
    legs = [
        Leg(begin, end, one.pieces / days, one.trips / days, way(where[begin], where[end]))
        for (begin, end), one in traffic.items()
        if begin in where and end in where
    ]
    legs.sort(key=lambda leg: (-leg.feet, leg.begin, leg.end))
    feet = sum(leg.feet for leg in legs)
    known = dict.fromkeys(traffic, 1.0)
    return Travel(
        tuple(legs),
        feet,
        feet / walk,
        feet * days / fittings if fittings else None,
        tuple(_crossing(first, second, where) for first, second in crossings(known, where)),
        tuple(sorted({code for ends in traffic for code in ends} - set(where))),
    )


def _crossing(first: Ends, second: Ends, where: Mapping[str, Place]) -> Crossing:
    """Where two lines that are known to cross do so."""
    a, b, c, d = (where[code] for code in (*first, *second))
    across = (b.x - a.x) * (d.y - c.y) - (b.y - a.y) * (d.x - c.x)
    share = ((c.x - a.x) * (d.y - c.y) - (c.y - a.y) * (d.x - c.x)) / across
    return Crossing(first, second, a.x + share * (b.x - a.x), a.y + share * (b.y - a.y))


def main_way(traffic: Mapping[Ends, Carried], begin: str, end: str) -> tuple[str, ...]:
    """The way that the most pieces take from place to place, from begin, until end or where nothing goes on."""
    found = [begin]
    while found[-1] != end:
        onwards = {
            there: one.pieces
            for (here, there), one in traffic.items()
            if here == found[-1] and there not in found
        }
        if not onwards:
            break
        found.append(max(sorted(onwards), key=onwards.__getitem__))
    return tuple(found)


def turn(before: Place, at: Place, after: Place) -> float:
    """By how much the way turns at a place [degrees, 0 straight on to 180 back].

    >>> turn(Place("", 0, 0), Place("", 5, 0), Place("", 5, 5))
    90.0
    """
    ways = [atan2(end.y - begin.y, end.x - begin.x) for begin, end in ((before, at), (at, after))]
    by = abs(degrees(ways[1] - ways[0])) % 360
    return min(by, 360 - by)
