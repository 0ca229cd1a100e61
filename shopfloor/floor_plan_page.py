"""What the pages of the floor plan show: the plan to scale, what is carried on it, layouts side by side. Only reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from shared.units import NO_BREAK
from shopfloor.floor_lengths import FloorUnit, floor_unit
from shopfloor.floor_plan import layout_things, room_get, room_of, stations_in_use
from shopfloor.floor_plan_drawing import Drawing, drawing
from shopfloor.floor_travel import USUAL_DAYS, Lately, made_lately
from shopfloor.flow.practice import (
    NEAR_DOOR,
    WORK_ROOM,
    NearDoor,
    OneDirection,
    RoomToWork,
    near_door,
    one_direction,
    room_to_work,
)
from shopfloor.flow.room import AREA, DOOR, RACK, STATION, WRAPPING, Thing, places_of
from shopfloor.flow.travel import Travel, travel_of
from shopfloor.models import FloorLayout, FloorRoom
from shopfloor.working_time import shop_calendar

LONGEST = 8
DASH = "—"
MINUS = "−"


@dataclass(frozen=True)
class Check:
    label: str
    is_kept: bool
    words: str


@dataclass(frozen=True)
class LayoutRead:
    """A layout, what stands in it and what is carried on it."""

    layout: FloorLayout
    things: tuple[Thing, ...]
    travel: Travel
    checks: tuple[Check, ...]

    @property
    def kept(self) -> str:
        return f"{sum(one.is_kept for one in self.checks)} of {len(self.checks)}"


@dataclass(frozen=True)
class Floor:
    """All layouts, read against the same days; the first is as it stands."""

    room: FloorRoom
    unit: FloorUnit
    lately: Lately
    reads: tuple[LayoutRead, ...]

    def read_of(self, pk: int) -> LayoutRead | None:
        return next((one for one in self.reads if one.layout.pk == pk), None)

    @property
    def stands(self) -> LayoutRead:
        return self.reads[0]

    def drawing(self, read: LayoutRead, wide: float) -> Drawing:
        return drawing(room_of(self.room), read.things, read.travel, self.unit, wide=wide)


def floor_read(*, days: int, now: datetime) -> Floor | None:
    """None before there is a room. As many queries as there are layouts, and a few."""
    room = room_get()
    if room is None:
        return None
    unit, stations = floor_unit(), stations_in_use()
    lately = made_lately(shop_calendar(), days=days, now=now)
    layouts = FloorLayout.objects.order_by("-is_standing", "pk")
    return Floor(
        room,
        unit,
        lately,
        tuple(_read(one, layout_things(one), room, lately, unit, stations) for one in layouts),
    )


def editor_read(layout: FloorLayout, things: Sequence[Thing], *, now: datetime) -> tuple[Floor, LayoutRead]:
    """A layout with these things in it, as its editor shows it, by the usual days."""
    room, unit = room_get(), floor_unit()
    lately = made_lately(shop_calendar(), days=USUAL_DAYS, now=now)
    read = _read(layout, things, room, lately, unit, ())
    return Floor(room, unit, lately, (read,)), read


def _read(
    layout: FloorLayout,
    things: Sequence[Thing],
    room: FloorRoom,
    lately: Lately,
    unit: FloorUnit,
    stations: Sequence[str],
) -> LayoutRead:
    traffic = lately.traffic(things, room.carried)
    travel = travel_of(
        traffic,
        places_of(things),
        days=lately.days,
        fittings=len(lately.made),
        walk=room.walk_ft_per_min,
    )
    checks = (
        _direction(one_direction(traffic, things)),
        _near(near_door(traffic, things), unit),
        _work_room(room_to_work(things, stations), unit),
    )
    return LayoutRead(layout, tuple(things), travel, checks)


# -- common practice in words --------------------------------------------------


def _direction(found: OneDirection) -> Check:
    label = "From the rack to the door in one direction, without turning back or crossing itself"
    way = " – ".join(found.way)
    if not found.is_whole:
        words = "The way of the most pieces does not lead from a rack to a door on this plan."
    elif found.turns:
        words = f"{way}. It turns back at {_listed(found.turns)}."
    elif found.crossings:
        pairs = [f"{a} – {b} and {c} – {d}" for (a, b), (c, d) in found.crossings]
        words = f"{way}. It crosses itself: {_listed(pairs)}."
    else:
        words = f"{way}."
    return Check(label, found.is_kept, words)


def _near(found: NearDoor, unit: FloorUnit) -> Check:
    label = f"Finished work within {unit.said(NEAR_DOOR)} of wrapping and door"
    if not found.far:
        return Check(
            label, False, "No station is known to send finished work to wrapping or door on this plan."
        )
    far = _listed([f"{unit.said(feet)} to {code}" for code, feet in found.far])
    return Check(label, found.is_kept, f"From {found.station} it is {far}.")


def _work_room(found: RoomToWork, unit: FloorUnit) -> Check:
    label = f"{unit.said(WORK_ROOM)} free around every station, but for walls"
    said = [f"{code} has {unit.said(feet)} to {other}" for code, other, feet in found.tight]
    if found.lacking:
        said.append(f"not on the plan: {_listed(found.lacking)}")
    words = "; ".join(said)
    return Check(
        label, found.is_kept, f"{words[:1].upper()}{words[1:]}." if words else "All stations in use have it."
    )


def _listed(words: Sequence[str]) -> str:
    return ", ".join(words[:-1]) + f" and {words[-1]}" if len(words) > 1 else "".join(words)


# -- figures -------------------------------------------------------------------


@dataclass(frozen=True)
class Row:
    """A measure of two layouts. state, word: what the difference says."""

    label: str
    before: str
    after: str
    difference: str
    state: str
    word: str


def compared(floor: Floor, read: LayoutRead) -> list[Row]:
    """As it stands beside a try: less is better."""
    unit, before, after = floor.unit, floor.stands.travel, read.travel
    return [
        _row("Carried a day", before.feet, after.feet, unit.whole),
        _row("Minutes a day", before.minutes, after.minutes, lambda value: f"{value:.1f}"),
        _row(
            "Carried for a fitting", before.per_fitting, after.per_fitting, lambda value: _tenth(unit, value)
        ),
        _row(
            "Crossings of flow lines",
            len(before.crossings),
            len(after.crossings),
            lambda value: f"{value:.0f}",
        ),
    ]


def _row(label: str, before: float | None, after: float | None, said) -> Row:
    if before is None or after is None:
        return Row(label, DASH, DASH, DASH, "", "Nothing was finished")
    by = after - before
    sign = "+" if by > 0 else MINUS
    difference = f"{sign}{said(abs(by))}" if said(abs(by)) != said(0) else said(0)
    if before and difference != said(0):
        difference += f" ({sign}{abs(by) / before * 100:.0f}{NO_BREAK}%)"
    if difference == said(0):
        return Row(label, said(before), said(after), difference, "", "The same")
    return Row(
        label, said(before), said(after), difference, *(("done", "Less") if by < 0 else ("held", "More"))
    )


def _tenth(unit: FloorUnit, feet: float) -> str:
    return f"{feet / unit.feet:,.1f}{NO_BREAK}{unit.sign}"


def facts(floor: Floor, read: LayoutRead) -> list[tuple[str, str]]:
    """(label, value) for the head of a page."""
    travel = read.travel
    per = DASH if travel.per_fitting is None else _tenth(floor.unit, travel.per_fitting)
    return [
        ("Carried a day", floor.unit.whole(travel.feet)),
        ("Minutes a day", f"{travel.minutes:.1f}"),
        ("For a fitting", per),
        ("Crossings", f"{len(travel.crossings)}"),
    ]


def moved_said(floor: Floor, read: LayoutRead) -> list[str]:
    """What stands elsewhere than it does now, a sentence each."""
    now, then = places_of(floor.stands.things), places_of(read.things)
    there = {(round(one.x, 1), round(one.y, 1)): code for code, one in now.items()}
    said = []
    for code, place in then.items():
        if code not in now:
            said.append(f"{code} is new on the plan.")
            continue
        by = abs(place.x - now[code].x) + abs(place.y - now[code].y)
        if by < 0.1:
            continue
        other = there.get((round(place.x, 1), round(place.y, 1)))
        where = f"to the place of {other}, " if other else ""
        said.append(f"{code} goes {where}{floor.unit.said(by)} from where it is.")
    return said + [f"{code} is not on the plan." for code in now if code not in then]


@dataclass(frozen=True)
class LegRow:
    begin: str
    end: str
    pieces: str
    trips: str
    way: str
    feet: str
    minutes: str


def longest(floor: Floor, read: LayoutRead) -> list[LegRow]:
    """The legs on which the most is walked."""
    unit = floor.unit
    return [
        LegRow(
            leg.begin,
            leg.end,
            f"{leg.pieces:.1f}",
            f"{leg.trips:.1f}",
            unit.said(leg.way),
            unit.whole(leg.feet),
            f"{leg.feet / floor.room.walk_ft_per_min:.1f}",
        )
        for leg in read.travel.legs[:LONGEST]
    ]


@dataclass(frozen=True)
class FromTo:
    """From each row's place to each column's: (trips a day, pieces a day), None where nothing goes."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[tuple[str, str] | None, ...]], ...]


def from_to_table(read: LayoutRead) -> FromTo:
    said = {(leg.begin, leg.end): (f"{leg.trips:.1f}", f"{leg.pieces:.1f}") for leg in read.travel.legs}
    kinds = (RACK, STATION, AREA, WRAPPING, DOOR)
    order = [one.code for kind in kinds for one in read.things if one.kind == kind]
    begins = [code for code in order if any(begin == code for begin, _ in said)]
    ends = [code for code in order if any(end == code for _, end in said)]
    rows = tuple((begin, tuple(said.get((begin, end)) for end in ends)) for begin in begins)
    return FromTo(tuple(ends), rows)
