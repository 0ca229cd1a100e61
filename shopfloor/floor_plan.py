"""The floor plan: the room, what stands in it, tries of another layout. Nothing of it changes what stations do."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.texts import tidy
from shared.turn import write_turn
from shopfloor.floor_lengths import FloorUnit, floor_unit
from shopfloor.floor_travel import Lately
from shopfloor.flow.layout import LINE, SHAPES, TWO_ROWS, U_SHAPE
from shopfloor.flow.room import (
    DOOR,
    RACK,
    STATION,
    WRAPPING,
    NoRoom,
    Room,
    Thing,
    changed_places,
    faults,
    patterned,
)
from shopfloor.models import FloorLayout, FloorRoom, LayoutPlace, Station

COPY, SEARCH = "copy", "search"
WAYS = (SEARCH, COPY, *SHAPES)
"""How a try is made of a layout."""
STANDS = "As it stands"
MOST_LAYOUTS = 20
MOST_PLACES = 100
LONGEST_NAME, LONGEST_CODE = 60, 20
SIDE = (5.0, 1000.0)
SIZE = (0.5, 500.0)
CLEARANCE = (0.0, 20.0)
CARRIED = (1, 1000)
WALK = (50.0, 600.0)
USUAL_SIZE = (6.0, 4.0)
USUAL_CLEARANCE = 1.5
"""Feet of a bench, and around it: 3 ft between two. Common practice, no source."""
KINDS = dict(LayoutPlace.Kind.choices)
ONCE = (RACK, WRAPPING, DOOR)
COLUMNS = {"kind": "kind", "code": "code", "is_turned": "is_turned", "is_fixed": "is_fixed"} | {
    name: f"{name}_ft" for name in ("x", "y", "width", "depth", "clearance")
}
"""A thing's fields to a place's columns."""


# -- reading ----------------------------------------------------------------


def room_get() -> FloorRoom | None:
    return FloorRoom.objects.first()


def layout_get(pk: int) -> FloorLayout:
    """raises  NotFound"""
    layout = FloorLayout.objects.filter(pk=pk).first()
    if layout is None:
        raise NotFound(f"There is no layout {pk}.")
    return layout


def layout_standing() -> FloorLayout | None:
    return FloorLayout.objects.filter(is_standing=True).first()


def layout_things(layout: FloorLayout) -> tuple[Thing, ...]:
    """What stands in it: stations in the order of the lists, then areas. Two queries."""
    order = {code: at for at, code in enumerate(_codes())}
    own = [
        Thing(**{name: getattr(one, column) for name, column in COLUMNS.items()})
        for one in layout.places.order_by("pk")
    ]
    return tuple(sorted(own, key=lambda one: (one.kind != STATION, order.get(one.code, 0))))


def _codes(**only) -> list[str]:
    rows = Station.objects.filter(**only).order_by("position", "code")
    return list(rows.values_list("code", flat=True))


def stations_in_use() -> list[str]:
    return _codes(is_active=True)


def _room_locked() -> FloorRoom | None:
    """Every change of the floor plan holds this row to its commit."""
    return FloorRoom.objects.select_for_update().first()


def room_of(row: FloorRoom) -> Room:
    return Room(row.width_ft, row.depth_ft)


# -- the room ---------------------------------------------------------------


def room_save(
    *, width: float, depth: float, carried: int | None, walk: float, actor: Actor, now: datetime
) -> FloorRoom:
    """The room's size [ft] and how work is carried in it; the first time everything is set out in it.

    carried  pieces at once, None for all that go together; walk  feet a minute

    raises  WrongInput naming every wrong field; a room that a layout does not go into names what does not
    """
    unit = floor_unit()
    errors = [
        *_range("width", "Width of the room", width, SIDE, unit),
        *_range("depth", "Depth of the room", depth, SIDE, unit),
        *_range("walk", "Walking speed", walk, WALK, unit, " a minute"),
    ]
    if carried is not None and not CARRIED[0] <= carried <= CARRIED[1]:
        limit = f"{CARRIED[0]} to {CARRIED[1]}"
        text = f"Pieces carried at once can be {limit}, not {carried}."
        errors.append(FieldError("carried", carried, limit, text))
    if errors:
        raise WrongInput(errors)
    with write_turn(), transaction.atomic():
        _room_locked()
        room = Room(width, depth)
        for layout in FloorLayout.objects.order_by("-is_standing", "pk"):
            for fault in faults(room, layout_things(layout))[:1]:
                text = f"{layout.name}: {fault.sentence(unit.said)}"
                field = "width" if fault.field == "x" else "depth"
                raise WrongInput([FieldError(field, fault.value, unit.said(fault.limit), text)])
        row, is_new = FloorRoom.objects.update_or_create(
            pk=1,
            defaults={"width_ft": width, "depth_ft": depth, "carried": carried, "walk_ft_per_min": walk},
        )
        if is_new:
            layout = FloorLayout.objects.create(
                name=STANDS, is_standing=True, changed_by=actor.name, changed_at=now
            )
            _store(layout, _begun(room))
    return row


def _begun(room: Room) -> Sequence[Thing]:
    """A rack on the left wall, wrapping and door on the right one, the stations in use between them, if they fit."""
    share = room.depth / 8
    areas = (
        Thing("Stock rack", RACK, 0, 3 * share, min(4.0, room.width / 10), 2 * share, is_fixed=True),
        Thing("Door", DOOR, room.width - 1, share, 1, 2 * share, is_fixed=True),
        Thing(
            "Wrapping", WRAPPING, room.width - min(8.0, room.width / 8), 4 * share, min(8.0, room.width / 8),
            2 * share,
        ),
    )  # fmt: skip
    wide, deep = USUAL_SIZE
    benches = [Thing(code, width=wide, depth=deep, clearance=USUAL_CLEARANCE) for code in stations_in_use()]
    for shape in (TWO_ROWS, U_SHAPE, LINE):
        try:
            return patterned(shape, room, (*benches, *areas))
        except NoRoom:
            continue
    return areas


# -- layouts ----------------------------------------------------------------


def layout_save(
    *, pk: int, edition: int, things: Sequence[Thing], actor: Actor, now: datetime
) -> FloorLayout:
    """All that stands in a layout, whole.

    edition  that the editor began with; another one raises Conflict

    raises  WrongInput naming every wrong field as `places[3].x`, what lies over or too close to what, and what is
            outside of the room
    """
    unit = floor_unit()
    errors = _wrong(things, unit)
    if errors:
        raise WrongInput(errors)
    with write_turn(), transaction.atomic():
        row, layout = _room_locked(), layout_get(pk)
        if layout.edition != edition:
            raise Conflict(
                f"{layout.changed_by} changed this layout while you worked on it. Nothing was saved; load it again."
            )
        found = faults(room_of(row), things)
        if found:
            at = {one.code: number for number, one in enumerate(things)}
            raise WrongInput(
                FieldError(
                    f"places[{at[one.code]}].{one.field}",
                    round(one.value, 2),
                    unit.said(one.limit),
                    one.sentence(unit.said),
                )
                for one in found
            )
        layout.edition += 1
        layout.changed_by, layout.changed_at = actor.name, now
        layout.save(update_fields=["edition", "changed_by", "changed_at"])
        layout.places.all().delete()
        _store(layout, things)
    return layout


def layout_try(
    *, pk: int, name: str, way: str, lately: Lately | None = None, actor: Actor, now: datetime
) -> FloorLayout:
    """Another layout, made of one: a copy, a pattern, or stations on each other's places as the search proposes.

    way     of WAYS; the search goes by what was carried lately

    raises  WrongInput for a name or a way; Conflict where the pattern does not go into the room, where the search
            finds nothing better, or too many are kept
    """
    if way not in WAYS:
        raise WrongInput([FieldError("way", way, ", ".join(WAYS), f"It can be {', '.join(WAYS)}.")])
    layout = layout_get(pk)
    things = _made(way, layout_things(layout), lately)
    with write_turn(), transaction.atomic():
        room, name = room_of(_room_locked()), _name(name)
        if layout_get(pk).edition != layout.edition or faults(room, things):
            raise Conflict(f"{layout.name} was changed meanwhile. Try again.")
        if FloorLayout.objects.count() >= MOST_LAYOUTS:
            raise Conflict(f"{MOST_LAYOUTS} layouts are kept. Remove one that is no longer needed.")
        made = FloorLayout.objects.create(name=name, changed_by=actor.name, changed_at=now)
        _store(made, things)
    return made


def _made(way: str, things: tuple[Thing, ...], lately: Lately | None) -> tuple[Thing, ...]:
    """Worked out before anything is locked: a search takes some time."""
    row = room_get()
    room = room_of(row)
    if way == SEARCH:
        return _searched(room, things, lately, row.carried)
    try:
        return things if way == COPY else patterned(way, room, things)
    except NoRoom as wrong:
        raise Conflict(wrong.sentence(floor_unit().said)) from None


def _searched(
    room: Room, things: tuple[Thing, ...], lately: Lately | None, carried: int | None
) -> tuple[Thing, ...]:
    traffic = lately.traffic(things, carried) if lately else {}
    if not traffic:
        raise Conflict("No fitting was finished in these days, so there is nothing to go by.")
    trips = {ends: float(one.trips) for ends, one in traffic.items()}
    found = changed_places(room, things, trips)
    if not found.moved:
        raise Conflict("The search found nothing better with these places, clearances and fixed stations.")
    return found.things


def layout_remove(*, pk: int, actor: Actor, now: datetime) -> str:
    """Take a try away. raises NotFound, Conflict for the layout as it stands. Returns its name."""
    with write_turn(), transaction.atomic():
        _room_locked()
        layout = layout_get(pk)
        if layout.is_standing:
            raise Conflict("This is how the floor stands. Only a try can be removed.")
        layout.delete()
    return layout.name


def layout_stands(*, pk: int, actor: Actor, now: datetime) -> FloorLayout:
    """The floor stands like this try now; how it stood is kept as a try, named after the day."""
    with write_turn(), transaction.atomic():
        _room_locked()
        layout, before = layout_get(pk), layout_standing()
        if layout.is_standing:
            raise Conflict("The floor stands like this already.")
        day = f"As it stood until {timezone.localtime(now):%Y-%m-%d}"
        taken = set(FloorLayout.objects.values_list("name", flat=True))
        names = (day, *(f"{day}, {number}" for number in range(2, MOST_LAYOUTS + 2)))
        before.name, before.is_standing = next(one for one in names if one not in taken), False
        before.save(update_fields=["name", "is_standing"])
        layout.name, layout.is_standing = STANDS, True
        layout.changed_by, layout.changed_at = actor.name, now
        layout.save(update_fields=["name", "is_standing", "changed_by", "changed_at"])
    return layout


def _store(layout: FloorLayout, things: Sequence[Thing]) -> None:
    LayoutPlace.objects.bulk_create(
        LayoutPlace(
            layout=layout,
            **{
                column: round(value, 4) if isinstance(value := getattr(one, name), float) else value
                for name, column in COLUMNS.items()
            },
        )
        for one in things
    )


# -- what is wrong ----------------------------------------------------------


def _name(name: str) -> str:
    name = tidy(name)
    if not name or len(name) > LONGEST_NAME:
        limit = f"1 to {LONGEST_NAME} characters"
        raise WrongInput([FieldError("name", name, limit, f"Enter a name of {limit}.")])
    if FloorLayout.objects.filter(name=name).exists():
        text = f"There is a layout “{name}” already. Choose another name."
        raise WrongInput([FieldError("name", name, "a new name", text)])
    return name


def _range(
    field: str, label: str, value: float, limits: tuple[float, float], unit: FloorUnit, each: str = ""
) -> list[FieldError]:
    low, high = limits
    if low - 1e-9 <= value <= high + 1e-9:
        return []
    limit = f"{unit.typed(low)} to {unit.said(high)}{each}"
    return [FieldError(field, value, limit, f"{label} can be {limit}, not {unit.said(value)}{each}.")]


def _wrong(things: Sequence[Thing], unit: FloorUnit) -> list[FieldError]:
    if len(things) > MOST_PLACES:
        text = f"A layout can have {MOST_PLACES} places, not {len(things)}."
        return [FieldError("places", len(things), f"0 to {MOST_PLACES}", text)]
    known, errors, seen = set(_codes()), [], set()
    for at, one in enumerate(things):
        field = f"places[{at}]"
        for name, label, limits in (
            ("width", "width", SIZE),
            ("depth", "depth", SIZE),
            ("clearance", "clearance", CLEARANCE),
        ):
            errors += _range(f"{field}.{name}", f"{one.code}: the {label}", getattr(one, name), limits, unit)
        errors += _wrong_code(one, f"{field}.code", known)
        for key, text in (
            (("code", one.code.casefold()), f"{one.code} is there twice. It can be there once."),
            (("kind", one.kind), f"{one.code}: there is a {_kind(one)} already; there can be one."),
        ):
            if key in seen and (key[0] == "code" or one.kind in ONCE):
                errors.append(FieldError(f"{field}.code", one.code, "once", text))
            seen.add(key)
    return errors


def _kind(one: Thing) -> str:
    return KINDS.get(one.kind, one.kind).lower()


def _wrong_code(one: Thing, field: str, known: set[str]) -> list[FieldError]:
    if one.kind not in KINDS:
        limit = ", ".join(KINDS)
        return [FieldError(field, one.kind, limit, f"{one.code}: the kind can be {limit}, not {one.kind}.")]
    if one.kind == STATION and one.code not in known:
        return [FieldError(field, one.code, "a station", f"There is no station “{one.code[:LONGEST_CODE]}”.")]
    if one.kind != STATION and one.code in known:
        text = f"{one.code} is a station. Give the area another name."
        return [FieldError(field, one.code, "an area's name", text)]
    if not one.code or tidy(one.code) != one.code or len(one.code) > LONGEST_CODE:
        limit = f"1 to {LONGEST_CODE} characters"
        return [FieldError(field, one.code, limit, f"Enter the area’s name, {limit}.")]
    return []
