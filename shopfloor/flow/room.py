"""The room and what stands in it: what cannot stand so, patterns to set it out, stations that change places.

Lengths in feet. x and y are the left and the upper edge of a thing, from the left and the upper wall of the plan.
The clearance of a thing is its own: neither another thing nor another's clearance lies in it; a wall may.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from shopfloor.flow.layout import (
    LINE,
    SHAPES,
    TWO_ROWS,
    LayoutError,
    Place,
    Standing,
    proposed,
    travel,
)

STATION, RACK, WRAPPING, DOOR, AREA = "station", "rack", "wrapping", "door", "area"
NEAR = 0.04
"""Lengths are typed to the hundredth, of a metre at most: two of them, rounded, may be so far off."""
_EXACT = 1e-9
_HALVINGS = 14
_STEP = 0.5

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Room:
    width: float
    depth: float


@dataclass(frozen=True)
class Thing:
    """A station or an area. `width` and `depth` are those before it is turned by a quarter."""

    code: str
    kind: str = STATION
    x: float = 0.0
    y: float = 0.0
    width: float = 0.0
    depth: float = 0.0
    is_turned: bool = False
    is_fixed: bool = False
    clearance: float = 0.0

    @property
    def wide(self) -> float:
        return self.depth if self.is_turned else self.width

    @property
    def deep(self) -> float:
        return self.width if self.is_turned else self.depth

    @property
    def stays(self) -> bool:
        """Patterns and the search move stations alone, and of these none that is fixed."""
        return self.is_fixed or self.kind != STATION

    def box(self, more: float = 0.0) -> Box:
        """Left, upper, right and lower edge, each so much further out."""
        return (self.x - more, self.y - more, self.x + self.wide + more, self.y + self.deep + more)

    def place(self) -> Place:
        return Place(self.code, self.x + self.wide / 2, self.y + self.deep / 2)


def places_of(things: Iterable[Thing]) -> dict[str, Place]:
    return {one.code: one.place() for one in things}


def gap(first: Box, second: Box) -> float:
    """Feet between two, along or across, whichever is more; below 0 where they overlap.

    >>> gap((0, 0, 4, 4), (7, 5, 9, 9)), gap((0, 0, 4, 4), (3, 1, 9, 9))
    (3, -1)
    """
    across = max(second[0] - first[2], first[0] - second[2])
    along = max(second[1] - first[3], first[1] - second[3])
    return max(across, along)


# -- what cannot stand so ------------------------------------------------------------


@dataclass(frozen=True)
class Fault:
    """What cannot stand as it does: the field, its value, the limit [ft], and a sentence that takes lengths as text."""

    code: str
    field: str
    value: float
    limit: float
    words: str

    def sentence(self, said: Callable[[float], str]) -> str:
        return self.words.format(value=said(self.value), limit=said(self.limit))


def faults(room: Room, things: Sequence[Thing]) -> list[Fault]:
    """Everything outside of the room, on something else, or too close to it."""
    found = [fault for one in things for fault in _outside(room, one)]
    for one, other in combinations(things, 2):
        apart, needed = gap(one.box(), other.box()), one.clearance + other.clearance
        if apart < -NEAR:
            words = f"{one.code} lies {{value}} over {other.code}. Move one of them."
            found.append(Fault(one.code, "x", -apart, 0.0, words))
        elif apart < needed - NEAR:
            words = f"{one.code} and {other.code} are {{value}} apart; with their clearances it is at least {{limit}}."
            found.append(Fault(one.code, "x", max(0.0, apart), needed, words))
    return found


def _outside(room: Room, one: Thing, near: float = NEAR) -> Iterable[Fault]:
    left, upper, right, lower = one.box()
    for field, low, high, size, wall, way in (
        ("x", left, right, room.width, "left", "wide"),
        ("y", upper, lower, room.depth, "upper", "deep"),
    ):
        if low < -near:
            words = f"{one.code} begins {{value}} beyond the {wall} wall. It can begin at {{limit}}."
            yield Fault(one.code, field, -low, 0.0, words)
        elif high > size + near:
            words = f"{one.code} reaches to {{value}} from the {wall} wall; the room is {{limit}} {way}."
            yield Fault(one.code, field, high, size, words)


# -- patterns ------------------------------------------------------------------------


class NoRoom(LayoutError):
    """A station that a pattern has no room for."""

    def __init__(self, thing: Thing, room: Room):
        self.thing, self.room = thing, room
        super().__init__(self.sentence("{:g} ft".format))

    def sentence(self, said: Callable[[float], str]) -> str:
        one, room = self.thing, self.room
        return (
            f"{one.code} has no room in this pattern: it is {said(one.width)} × {said(one.depth)} with "
            f"{said(one.clearance)} around it, in a room of {said(room.width)} × {said(room.depth)}."
        )


def patterned(shape: str, room: Room, things: Sequence[Thing]) -> tuple[Thing, ...]:
    """The stations set out in their order along the room's longer side, from the rack's end to the door's.

    shape  LINE one row, U_SHAPE up one side and back on the other, TWO_ROWS to and fro between two rows
    What stays (areas, fixed stations) stays, and is gone around. Room that is left is shared out between them.

    Raises LayoutError for a shape that is not known, NoRoom for the first station that does not go in.
    """
    if shape not in SHAPES:
        raise LayoutError(f"The shape {shape!r} is not known; there are {', '.join(SHAPES)}.")
    is_deep = room.depth > room.width
    own = [_transposed(one) for one in things] if is_deep else list(things)
    frame = Room(room.depth, room.width) if is_deep else room
    ends = {one.kind: one.place().x for one in own if one.kind in (RACK, DOOR)}
    is_mirrored = RACK in ends and DOOR in ends and ends[DOOR] < ends[RACK]
    if is_mirrored:
        own = [_mirrored(one, frame) for one in own]
    stay, move = [one for one in own if one.stays], [one for one in own if not one.stays]
    low, high = 0.0, frame.width
    found, lacking = _set_out(shape, frame, stay, move, 0.0)
    if lacking:
        raise NoRoom(next(one for one in things if one.code == lacking.code), room)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        wider, lacking = _set_out(shape, frame, stay, move, middle)
        low, high, found = (low, middle, found) if lacking else (middle, high, wider)
    if is_mirrored:
        found = [_mirrored(one, frame) for one in found]
    if is_deep:
        found = [_transposed(one) for one in found]
    where = {one.code: one for one in found}
    return tuple(where.get(one.code, one) for one in things)


def _set_out(
    shape: str, room: Room, stay: list[Thing], move: list[Thing], spread: float
) -> tuple[list[Thing], Thing | None]:
    """Those that move, and the first that does not fit."""
    there = list(stay)
    if shape == LINE:
        rows = [(move, 1 / 2, False)]
    elif shape == TWO_ROWS:
        rows = [(move[0::2], 1 / 4, False), (move[1::2], 3 / 4, False)]
    else:
        turn = (len(move) + 1) // 2
        rows = [(move[:turn], 1 / 4, False), (move[turn:], 3 / 4, True)]
    found: list[Thing] = []
    for row, share, is_back in rows:
        around = [_mirrored(one, room) for one in there] if is_back else list(there)
        at = spread / 2
        for one in row:
            y = min(max(room.depth * share - one.deep / 2, 0.0), room.depth - one.deep)
            one = _first_free(replace(one, x=at, y=max(y, 0.0)), around)
            if any(_outside(room, one, _EXACT)):
                return found, one
            around.append(one)
            at = one.x + one.wide + spread
            kept = _mirrored(one, room) if is_back else one
            there.append(kept)
            found.append(kept)
    return found, None


def _first_free(one: Thing, around: Sequence[Thing]) -> Thing:
    """As far left as it goes from where it is to the right, clear of all others."""
    while True:
        close = [other for other in around if _too_close(one, other)]
        if not close:
            return one
        one = replace(
            one, x=min(other.x + other.wide + other.clearance + one.clearance for other in close) + _EXACT
        )


def _too_close(one: Thing, other: Thing) -> bool:
    return gap(one.box(), other.box()) < one.clearance + other.clearance - _EXACT


def _transposed(one: Thing) -> Thing:
    return replace(one, x=one.y, y=one.x, width=one.depth, depth=one.width)


def _mirrored(one: Thing, room: Room) -> Thing:
    return replace(one, x=room.width - one.x - one.wide)


# -- stations that change places -----------------------------------------------------


@dataclass(frozen=True)
class Changed:
    """A better assignment. `moved`: (station, the one on whose place it stands now)."""

    things: tuple[Thing, ...]
    feet: float
    before: float
    moved: tuple[tuple[str, str], ...]


def changed_places(
    room: Room, things: Sequence[Thing], traffic: Mapping[tuple[str, str], float], *, seed: int = 1
) -> Changed:
    """Stations on each other's places, so that work is carried less far; never further.

    Each place has the room around it that nothing else needs. A station goes there, turned where it must be, if it
    and its clearance lie within that room, so whatever is chosen keeps every clearance.
    """
    rooms = _rooms(room, things)
    by_code = {one.code: one for one in things}

    def fits(standing: Standing, place: Place) -> bool:
        one = by_code[standing.code]
        return place.name == one.code or _turned_into(one, place, rooms[place.name], room) is not None

    now = places_of(things)
    stations = [Standing(one.code, is_fixed=one.stays) for one in things]
    found = proposed(traffic, stations, list(now.values()), now, seed=seed, fits=fits)
    where = _least_moved(found.where, traffic, lambda code, place: fits(Standing(code), place))
    moved = tuple((code, place.name) for code, place in where.items() if place.name != code)
    there = tuple(
        one
        if where[one.code].name == one.code
        else _turned_into(one, where[one.code], rooms[where[one.code].name], room)
        for one in things
    )
    return Changed(there, travel(traffic, places_of(there)), found.before, moved)


def _least_moved(
    where: Mapping[str, Place], traffic: Mapping[tuple[str, str], float], fits: Callable[[str, Place], bool]
) -> dict[str, Place]:
    """As good an assignment in which more stay where they are: exchanges that cost nothing bring them back."""
    where, is_better = dict(where), True
    while is_better:
        is_better = False
        for one, other in combinations(where, 2):
            new = where | {one: where[other], other: where[one]}
            at_home, before = (
                sum(there[code].name == code for code in (one, other)) for there in (new, where)
            )
            if (
                at_home > before
                and fits(one, new[one])
                and fits(other, new[other])
                and travel(traffic, new) <= travel(traffic, where) + _EXACT
            ):
                where, is_better = new, True
    return where


def _turned_into(one: Thing, place: Place, own: Box, room: Room) -> Thing | None:
    """The thing with its middle on a place, as it is or turned; None where it does not go there."""
    for is_turned in (one.is_turned, not one.is_turned):
        new = replace(one, is_turned=is_turned)
        new = replace(new, x=place.x - new.wide / 2, y=place.y - new.deep / 2)
        if not any(_outside(room, new, _EXACT)) and _within(_clipped(new.box(new.clearance), room), own):
            return new
    return None


def _rooms(room: Room, things: Sequence[Thing]) -> dict[str, Box]:
    """For each thing the room that nothing else needs: its own with its clearance, grown as far as it can be of use."""
    boxes = {one.code: _clipped(one.box(one.clearance), room) for one in things}
    moves = [one for one in things if not one.stays]
    most = max((max(one.width, one.depth) / 2 + one.clearance for one in moves), default=0.0)
    limits = {}
    for one in moves:
        x, y = one.place().x, one.place().y
        limits[one.code] = _clipped((x - most, y - most, x + most, y + most), room)
    is_growing = True
    while is_growing:
        is_growing = False
        for code, limit in limits.items():
            for side in range(4):
                grown = _grown(boxes[code], side, limit)
                if grown != boxes[code] and all(
                    gap(grown, box) >= -_EXACT for other, box in boxes.items() if other != code
                ):
                    boxes[code], is_growing = grown, True
    return boxes


def _grown(box: Box, side: int, limit: Box) -> Box:
    edge = box[side]
    edge = max(limit[side], edge - _STEP) if side < 2 else min(limit[side], edge + _STEP)
    outwards = edge < box[side] if side < 2 else edge > box[side]
    return (*box[:side], edge, *box[side + 1 :]) if outwards else box


def _clipped(box: Box, room: Room) -> Box:
    return (max(box[0], 0.0), max(box[1], 0.0), min(box[2], room.width), min(box[3], room.depth))


def _within(inner: Box, outer: Box) -> bool:
    return (
        inner[0] >= outer[0] - _EXACT
        and inner[1] >= outer[1] - _EXACT
        and inner[2] <= outer[2] + _EXACT
        and inner[3] <= outer[3] + _EXACT
    )
