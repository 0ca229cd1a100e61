"""The floor plan as numbers for an SVG: things to scale, flow lines as wide as they are used, crossings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

from shopfloor.floor_lengths import FloorUnit
from shopfloor.flow.room import Room, Thing, places_of
from shopfloor.flow.travel import Travel

MOST_HIGH = 620.0
EDGE = 8.0
"""Around the room, so that what stands at a wall is drawn whole."""
TEXT = 15.0
LEAST_TEXT = 11.0
LETTER = 0.66
"""Of a letter's width to its size."""
WIDEST, NARROWEST = 14.0, 1.5
ARROW = 11.0
BARS = (1, 2, 5, 10, 20, 50, 100)


@dataclass(frozen=True)
class Drawn:
    """A thing: its corner and size, its label in one or two lines."""

    code: str
    kind: str
    x: float
    y: float
    wide: float
    deep: float
    label: tuple[tuple[float, str], ...]
    size: float
    is_fixed: bool
    says: str

    @property
    def middle(self) -> float:
        return self.wide / 2


@dataclass(frozen=True)
class Line:
    """Between two places, with an arrow in its middle the way that most goes; trips a day, both ways."""

    begin: str
    end: str
    x1: float
    y1: float
    x2: float
    y2: float
    thick: float
    trips: float
    arrow: str
    says: str


@dataclass(frozen=True)
class Mark:
    """A crossing, and of which lines."""

    x: float
    y: float
    says: str


@dataclass(frozen=True)
class Drawing:
    """scale: drawn units a foot. `edge` lies between the frame and the room."""

    wide: float
    high: float
    scale: float
    room_wide: float
    room_high: float
    things: tuple[Drawn, ...]
    lines: tuple[Line, ...]
    marks: tuple[Mark, ...]
    bar: float
    bar_says: str
    edge: float = EDGE


def drawing(room: Room, things: Sequence[Thing], travel: Travel, unit: FloorUnit, *, wide: float) -> Drawing:
    """At most so wide and MOST_HIGH high; everything in drawn units from the room's upper left corner."""
    scale = min((wide - 2 * EDGE) / room.width, MOST_HIGH / room.depth)
    bar = next((one for one in BARS if one * unit.feet >= room.width / 12), BARS[-1])
    where = {code: (place.x * scale, place.y * scale) for code, place in places_of(things).items()}
    return Drawing(
        room.width * scale + 2 * EDGE,
        room.depth * scale + 2 * EDGE,
        scale,
        room.width * scale,
        room.depth * scale,
        tuple(_drawn(one, scale, unit) for one in things),
        tuple(_lines(travel, where)),
        tuple(_marks(travel, scale)),
        bar * unit.feet * scale,
        f"{bar} {unit.sign}",
    )


def _drawn(one: Thing, scale: float, unit: FloorUnit) -> Drawn:
    wide, deep = one.wide * scale, one.deep * scale
    words = [one.code]
    if _fitting_size(words, wide) < LEAST_TEXT:
        head, dash, tail = one.code.rpartition(" " if " " in one.code else "-")
        words = [head + dash.strip(), tail] if head else words
    size = max(LEAST_TEXT, min(TEXT, _fitting_size(words, wide)))
    top = deep / 2 + size * (0.36 - 0.6 * (len(words) - 1))
    label = tuple((round(top + at * size * 1.15, 1), word) for at, word in enumerate(words))
    says = f"{one.code}, {unit.said(one.x)} from the left, {unit.said(one.y)} from the top"
    return Drawn(
        one.code, one.kind, one.x * scale, one.y * scale, wide, deep, label, size, one.is_fixed, says
    )


def _fitting_size(words: Sequence[str], wide: float) -> float:
    return wide / (LETTER * max(len(word) for word in words))


def _lines(travel: Travel, where: dict[str, tuple[float, float]]):
    trips: dict[tuple[str, str], float] = defaultdict(float)
    for leg in travel.legs:
        trips[leg.begin, leg.end] += leg.trips
    both = {tuple(sorted(ends)) for ends in trips}
    total = {ends: trips.get(ends, 0.0) + trips.get(ends[::-1], 0.0) for ends in both}
    most = max(total.values(), default=1.0)
    for ends in sorted(both, key=lambda one: (total[one], one)):
        begin, end = max((ends, ends[::-1]), key=lambda one: trips.get(one, 0.0))
        (x1, y1), (x2, y2) = where[begin], where[end]
        thick = max(NARROWEST, WIDEST * total[ends] / most)
        says = f"{begin} to {end}: {trips[begin, end]:.1f} trips a day"
        if (end, begin) in trips:
            says += f", {trips[end, begin]:.1f} back"
        yield Line(
            begin, end, x1, y1, x2, y2, round(thick, 1), total[ends], _arrow(x1, y1, x2, y2, thick), says
        )


def _arrow(x1: float, y1: float, x2: float, y2: float, thick: float) -> str:
    """Points of a head in the middle of the line."""
    long = hypot(x2 - x1, y2 - y1) or 1.0
    along = ((x2 - x1) / long, (y2 - y1) / long)
    size = ARROW / 2 + thick / 2
    x, y = (x1 + x2) / 2, (y1 + y2) / 2
    points = ((1.2, 0.0), (-0.8, 1.0), (-0.8, -1.0))
    return " ".join(
        f"{x + size * (ahead * along[0] - aside * along[1]):.1f},{y + size * (ahead * along[1] + aside * along[0]):.1f}"
        for ahead, aside in points
    )


def _marks(travel: Travel, scale: float):
    for one in travel.crossings:
        says = f"{' – '.join(one.first)} crosses {' – '.join(one.second)}"
        yield Mark(one.x * scale, one.y * scale, says)
