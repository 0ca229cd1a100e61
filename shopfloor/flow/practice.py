"""What is usual of a good floor, held against a layout. Common practice, no source: so are the numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from shopfloor.flow.layout import Place, crossings
from shopfloor.flow.room import DOOR, NEAR, RACK, STATION, WRAPPING, Thing, gap
from shopfloor.flow.travel import Carried, Ends, main_way, turn

SHARPEST_TURN = 100.0
"""Degrees; a right angle, and a little for benches that do not stand in one line."""
NEAR_DOOR = 15.0
"""Feet between the last bench, the wrapping area and the door."""
WORK_ROOM = 3.0
"""Feet free around a station, but for walls."""


@dataclass(frozen=True)
class OneDirection:
    """The way of the most pieces from rack to door; where it turns back, and its lines that cross."""

    way: tuple[str, ...]
    is_whole: bool
    turns: tuple[str, ...]
    crossings: tuple[tuple[Ends, Ends], ...]

    @property
    def is_kept(self) -> bool:
        return self.is_whole and not self.turns and not self.crossings


@dataclass(frozen=True)
class NearDoor:
    """Free feet from the last station to wrapping and door, whichever of them there are."""

    station: str
    far: tuple[tuple[str, float], ...]

    @property
    def is_kept(self) -> bool:
        return bool(self.far) and all(feet <= NEAR_DOOR + NEAR for _, feet in self.far)


@dataclass(frozen=True)
class RoomToWork:
    """Stations with less free room around them, each with what is nearest and how near."""

    tight: tuple[tuple[str, str, float], ...]
    lacking: tuple[str, ...]

    @property
    def is_kept(self) -> bool:
        return not self.tight and not self.lacking


def one_direction(traffic: Mapping[Ends, Carried], things: Sequence[Thing]) -> OneDirection:
    where: dict[str, Place] = {one.code: one.place() for one in things}
    rack, door = _code(things, RACK), _code(things, DOOR)
    seen = {ends: one for ends, one in traffic.items() if all(code in where for code in ends)}
    way = main_way(seen, rack, door) if rack and door else ()
    legs = dict.fromkeys(zip(way, way[1:], strict=False), 1.0)
    turns = tuple(
        at
        for before, at, after in zip(way, way[1:], way[2:], strict=False)
        if turn(where[before], where[at], where[after]) > SHARPEST_TURN
    )
    return OneDirection(way, bool(way) and way[-1] == door, turns, tuple(crossings(legs, where)))


def near_door(traffic: Mapping[Ends, Carried], things: Sequence[Thing]) -> NearDoor:
    """Of the station that the most finished work leaves."""
    ends = [code for code in (_code(things, WRAPPING), _code(things, DOOR)) if code]
    stations = {one.code: one for one in things if one.kind == STATION}
    leaving = {
        begin: one.pieces for (begin, end), one in traffic.items() if end in ends[:1] and begin in stations
    }
    if not leaving:
        return NearDoor("", ())
    last = max(sorted(leaving), key=leaving.__getitem__)
    far = tuple(
        (one.code, max(0.0, gap(stations[last].box(), one.box()))) for one in things if one.code in ends
    )
    return NearDoor(last, far)


def room_to_work(things: Sequence[Thing], stations: Sequence[str]) -> RoomToWork:
    """stations: those that are in use; what of them is not on the plan is lacking."""
    tight = []
    for one in things:
        others = [(gap(one.box(), other.box()), other.code) for other in things if other is not one]
        if one.kind == STATION and others and min(others)[0] < WORK_ROOM - NEAR:
            feet, code = min(others)
            tight.append((one.code, code, max(0.0, feet)))
    there = {one.code for one in things}
    return RoomToWork(tuple(tight), tuple(code for code in stations if code not in there))


def _code(things: Sequence[Thing], kind: str) -> str:
    return next((one.code for one in things if one.kind == kind), "")
