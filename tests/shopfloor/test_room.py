"""The room of the floor plan: what cannot stand so, patterns, stations that change places."""

from __future__ import annotations

import doctest
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box

from shopfloor.flow import room as module
from shopfloor.flow.layout import LINE, SHAPES, TWO_ROWS, U_SHAPE, LayoutError, travel
from shopfloor.flow.room import (
    AREA,
    DOOR,
    RACK,
    Room,
    Thing,
    changed_places,
    faults,
    patterned,
    places_of,
)
from tests.cases import cases

ROOM = Room(60, 30)
RACK_ = Thing("Rack", RACK, 0, 10, 4, 10)
DOOR_ = Thing("Door", DOOR, 59, 10, 1, 10)


def said(feet: float) -> str:
    return f"{feet:g} ft"


def bench(code: str, x=0.0, y=0.0, **more) -> Thing:
    return Thing(code, x=x, y=y, **{"width": 6, "depth": 4, "clearance": 1.5} | more)


def words(*things: Thing) -> list[str]:
    return [fault.sentence(said) for fault in faults(ROOM, things)]


def test_examples_in_the_docstrings():
    assert doctest.testmod(module).failed == 0


def test_what_cannot_stand_so_names_station_value_and_limit():
    assert words(bench("A", 0, 0), bench("B", 9, 0)) == [], "3 ft apart, 1.5 ft each"
    assert words(bench("A", 0, 0), bench("B", 4, 1)) == ["A lies 2 ft over B. Move one of them."]
    assert words(bench("A", 0, 0), bench("B", 8, 0)) == [
        "A and B are 2 ft apart; with their clearances it is at least 3 ft."
    ]
    assert words(bench("A", 55, 0)) == ["A reaches to 61 ft from the left wall; the room is 60 ft wide."]
    assert words(bench("A", 0, 27)) == ["A reaches to 31 ft from the upper wall; the room is 30 ft deep."]
    assert words(bench("A", -1.5, 0)) == ["A begins 1.5 ft beyond the left wall. It can begin at 0 ft."]
    turned = bench("A", 56, 0, is_turned=True)
    assert words(turned) == [], "4 ft wide and 6 ft deep as it is turned"


def test_a_line_goes_from_the_rack_to_the_door():
    things = [RACK_, DOOR_, bench("A"), bench("B"), bench("C")]
    found = places_of(patterned(LINE, ROOM, things))
    assert found["Rack"].x < found["A"].x < found["B"].x < found["C"].x < found["Door"].x
    assert {found[code].y for code in "ABC"} == {15}
    mirrored = [replace(RACK_, x=56), replace(DOOR_, x=0), *things[2:]]
    found = places_of(patterned(LINE, ROOM, mirrored))
    assert found["Rack"].x > found["A"].x > found["B"].x > found["C"].x > found["Door"].x


def test_a_deep_room_is_set_out_along_its_depth():
    found = places_of(patterned(LINE, Room(30, 60), [bench(code) for code in "ABC"]))
    assert {found[code].x for code in "ABC"} == {15}
    assert found["A"].y < found["B"].y < found["C"].y


def test_a_u_comes_back_and_two_rows_go_to_and_fro():
    benches = [bench(code) for code in "ABCD"]
    u = places_of(patterned(U_SHAPE, ROOM, benches))
    assert u["A"].x < u["B"].x and u["C"].x > u["D"].x
    assert (u["A"].y, u["B"].y, u["C"].y, u["D"].y) == (7.5, 7.5, 22.5, 22.5)
    rows = places_of(patterned(TWO_ROWS, ROOM, benches))
    assert [rows[code].y for code in "ABCD"] == [7.5, 22.5, 7.5, 22.5]
    assert rows["A"].x < rows["C"].x and rows["B"].x < rows["D"].x


def test_what_has_no_room_is_named_with_its_size():
    with pytest.raises(
        LayoutError, match="F has no room in this pattern: it is 20 ft × 4 ft with 1.5 ft around it"
    ):
        patterned(LINE, ROOM, [*(bench(code) for code in "ABCDE"), bench("F", width=20)])
    with pytest.raises(LayoutError, match="The shape 'ring' is not known"):
        patterned("ring", ROOM, [])


SIZES = st.integers(2, 16).map(lambda half: half / 2)


@st.composite
def floors(draw) -> tuple[Room, list[Thing]]:
    """A room with a rack, a door, a fixed station, and stations of many sizes, all over each other."""
    room = Room(draw(st.integers(30, 120)), draw(st.integers(20, 120)))
    things = [Thing("Rack", RACK, 0, 2, 3, 6), Thing("Door", DOOR, room.width - 1, room.depth - 9, 1, 8)]
    things.append(
        Thing("Oven", x=room.width / 2, y=room.depth / 2, width=4, depth=4, is_fixed=True, clearance=1)
    )
    for at in range(draw(st.integers(1, 9))):
        things.append(
            Thing(
                f"S{at}",
                width=draw(SIZES),
                depth=draw(SIZES),
                is_turned=draw(st.booleans()),
                clearance=draw(st.sampled_from([0, 0.5, 1.5, 3])),
            )
        )
    return room, things


def proved(room: Room, things: tuple[Thing, ...]) -> None:
    """By polygons: all inside the room, none with its clearance over another."""
    shapes = [(one, box(*one.box())) for one in things]
    assert all(box(0, 0, room.width, room.depth).buffer(0.01).covers(shape) for _, shape in shapes)
    for at, (one, _) in enumerate(shapes):
        for other, _ in shapes[at + 1 :]:
            own, others = box(*one.box(one.clearance)), box(*other.box(other.clearance))
            assert own.intersection(others).area < 0.01 * 40, (one, other)


@settings(max_examples=cases(60), deadline=None)
@given(floors(), st.sampled_from(SHAPES))
def test_patterns_keep_clearances_and_leave_what_stays(floor, shape):
    room, things = floor
    try:
        found = patterned(shape, room, things)
    except LayoutError as wrong:
        assert "has no room in this pattern" in str(wrong)
        return
    assert [one.code for one in found] == [one.code for one in things]
    assert [one for one in found if one.stays] == [one for one in things if one.stays]
    assert faults(room, found) == []
    proved(room, found)


@settings(max_examples=cases(40), deadline=None)
@given(floors(), st.sampled_from(SHAPES), st.randoms(use_true_random=False))
def test_the_search_is_never_worse_and_breaks_no_clearance(floor, shape, random):
    room, things = floor
    try:
        now = patterned(shape, room, things)
    except LayoutError:
        return
    codes = [one.code for one in now]
    traffic = {
        (a, b): float(random.randint(1, 20)) for a in codes for b in codes if a != b and random.random() < 0.3
    }
    found = changed_places(room, now, traffic)
    assert found.before == pytest.approx(travel(traffic, places_of(now)))
    assert found.feet <= found.before + 1e-6
    assert found.feet == pytest.approx(travel(traffic, places_of(found.things)))
    assert [one for one in found.things if one.stays] == [one for one in now if one.stays]
    proved(room, found.things)


def test_the_search_puts_a_line_in_its_order():
    """A rack, then benches 12 ft apart of which two stand wrong: A to D in order is 6 + 3 × 12 ft."""
    at = dict(zip("ADCB", range(7, 55, 12), strict=True))
    rack = Thing("Rack", RACK, 2, 5, 4, 4)
    benches = [bench(code, at[code], 5, clearance=0) for code in "ABCD"]
    traffic = dict.fromkeys([("Rack", "A"), *pairwise("ABCD")], 1.0)
    found = changed_places(ROOM, [rack, *benches], traffic)
    assert (found.before, found.feet) == (6 + 36 + 12 + 12, 6 + 12 + 12 + 12)
    assert sorted(found.moved) == [("B", "D"), ("D", "B")]


def test_who_has_no_traffic_stays_where_that_is_as_good():
    """A and B change with C and D in the best layout that there is; the idle E and F need not."""
    spots = dict(zip("CDEFAB", range(0, 60, 10), strict=True))
    things = [
        Thing("Rack", RACK, 0, 20, 4, 4),
        *(bench(code, at, 0, clearance=0) for code, at in spots.items()),
    ]
    traffic = {("Rack", "A"): 5.0, ("A", "B"): 5.0, ("Rack", "E"): 0.0}
    found = changed_places(ROOM, things, traffic, seed=3)
    assert {code for code, _ in found.moved} == {"A", "B", "C", "D"}
    assert found.feet == 5 * (1 + 20) + 5 * 10


def test_a_station_too_large_for_a_place_stays_off_it():
    """A and B would gain by changing, but B is 9 ft deep and A's place has 6 ft between the wall and the store."""
    room = Room(50, 12)
    store = Thing("Store", AREA, 0, 6, 12, 6)
    small = [bench("A", 1, 1, clearance=0.5), bench("B", 20, 1, clearance=0.5), bench("C", 33, 1)]
    traffic = {("A", "C"): 9.0, ("B", "Store"): 9.0}
    assert ("B", "A") in changed_places(room, [*small, store], traffic).moved
    large = [small[0], replace(small[1], depth=9, width=9), small[2], store]
    found = changed_places(room, large, traffic)
    assert ("B", "A") not in found.moved
    proved(room, found.things)
