"""How far work is carried: three stations and a few scans counted by hand, crossings held against shapely."""

from __future__ import annotations

import doctest
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString

from shopfloor.flow import travel as module
from shopfloor.flow.layout import Place
from shopfloor.flow.practice import near_door, one_direction, room_to_work
from shopfloor.flow.room import DOOR, RACK, WRAPPING, Thing
from shopfloor.flow.travel import Carried, Made, Visit, carried, main_way, moves, travel_of
from tests.cases import cases

MON, TUE = date(2026, 3, 2), date(2026, 3, 3)
BEGIN, END = ("Rack",), ("Door",)
WHERE = {
    "Rack": Place("Rack", 0, 0),
    "CUT-1": Place("CUT-1", 10, 0),
    "ROLL-1": Place("ROLL-1", 10, 20),
    "WELD-1": Place("WELD-1", 40, 20),
    "Door": Place("Door", 50, 0),
}


def visits(*stations: str, day: date = MON) -> tuple[Visit, ...]:
    return tuple(Visit(station, day) for station in stations)


ELBOW = Made("7", (visits("CUT-1", "ROLL-1"), visits("CUT-1", "ROLL-1")), visits("WELD-1"))
"""Two segments cut and rolled, joined at WELD-1."""


def test_examples_in_the_docstrings():
    assert doctest.testmod(module).failed == 0


def test_each_segment_is_carried_to_the_joining_and_the_whole_to_the_door():
    segment = [("Rack", "CUT-1"), ("CUT-1", "ROLL-1"), ("ROLL-1", "WELD-1")]
    assert [ends for _, ends in moves(ELBOW, begin=BEGIN, end=END)] == [
        *segment,
        *segment,
        ("WELD-1", "Door"),
    ]


def test_a_fitting_of_one_piece_and_one_without_scans_of_its_segments_go_all_the_way():
    pipe = Made("8", (visits("CUT-1", "CUT-1"),), ())
    assert [ends for _, ends in moves(pipe, begin=BEGIN, end=END)] == [("Rack", "CUT-1"), ("CUT-1", "Door")]
    missed = Made("9", ((), ()), visits("WELD-1"))
    assert [ends for _, ends in moves(missed, begin=BEGIN, end=END)] == [
        ("Rack", "WELD-1"),
        ("WELD-1", "Door"),
    ]
    assert moves(Made("9", ((),), ()), begin=BEGIN, end=END) == []


def test_what_goes_the_same_way_on_a_day_is_one_trip_or_so_many_pieces_a_time():
    """Three elbows of a line: six segments a leg, three wholes."""
    found = carried([ELBOW] * 3, begin=BEGIN, end=END, at_once=None)
    assert found["CUT-1", "ROLL-1"] == Carried(6, 1)
    assert found["WELD-1", "Door"] == Carried(3, 1)
    found = carried([ELBOW] * 3, begin=BEGIN, end=END, at_once=4)
    assert found["CUT-1", "ROLL-1"] == Carried(6, 2)
    assert found["WELD-1", "Door"] == Carried(3, 1)
    late = Made("7", (visits("CUT-1", "ROLL-1", day=TUE),), visits("WELD-1", day=TUE))
    other = Made("8", ELBOW.segments, ELBOW.whole)
    found = carried([ELBOW, late, other], begin=BEGIN, end=END, at_once=None)
    assert found["CUT-1", "ROLL-1"] == Carried(5, 3), "another day and another line go by themselves"


def test_feet_and_minutes_a_day_by_hand():
    """Two days, three elbows, one trip a leg.

    Rack to CUT-1 10 ft, on to ROLL-1 20, on to WELD-1 30, on to the door 10 + 20 = 30: 90 ft in two days.
    """
    traffic = carried([ELBOW] * 3, begin=BEGIN, end=END, at_once=None)
    found = travel_of(traffic, WHERE, days=2, fittings=3, walk=210)
    assert found.feet == 45
    assert found.minutes == pytest.approx(45 / 210)
    assert found.per_fitting == 30
    assert [(leg.begin, leg.end, leg.way) for leg in found.legs] == [
        ("ROLL-1", "WELD-1", 30),
        ("WELD-1", "Door", 30),
        ("CUT-1", "ROLL-1", 20),
        ("Rack", "CUT-1", 10),
    ]
    assert (found.legs[0].pieces, found.legs[0].trips, found.legs[0].feet) == (3, 0.5, 15)
    assert found.left_out == ()


def test_what_is_not_on_the_plan_is_left_out_and_named():
    traffic = carried([ELBOW], begin=BEGIN, end=END, at_once=None)
    where = {code: place for code, place in WHERE.items() if code != "ROLL-1"}
    found = travel_of(traffic, where, days=1, fittings=1, walk=210)
    assert found.left_out == ("ROLL-1",)
    assert found.feet == 10 + 30
    assert travel_of({}, where, days=1, fittings=0, walk=210).per_fitting is None


spots = st.integers(0, 40)


@settings(max_examples=cases(100), deadline=None)
@given(
    st.lists(st.tuples(spots, spots), min_size=4, max_size=7, unique=True), st.randoms(use_true_random=False)
)
def test_crossings_are_those_of_shapely(points, random):
    where = {f"S{at}": Place(f"S{at}", *point) for at, point in enumerate(points)}
    pairs = [(a, b) for a in where for b in where if a < b and random.random() < 0.6]
    found = travel_of(dict.fromkeys(pairs, Carried(1, 1)), where, days=1, fittings=1, walk=210).crossings
    lines = {ends: LineString([(where[one].x, where[one].y) for one in ends]) for ends in pairs}
    expected = {
        frozenset((one, other))
        for one in pairs
        for other in pairs
        if one < other and not set(one) & set(other) and lines[one].crosses(lines[other])
    }
    assert {frozenset((one.first, one.second)) for one in found} == expected
    for one in found:
        point = lines[one.first].intersection(lines[one.second])
        assert (one.x, one.y) == pytest.approx((point.x, point.y))


def thing(code: str, x: float, y: float, kind: str = "station") -> Thing:
    return Thing(code, kind, x, y, 4, 4)


TRAFFIC = carried([ELBOW], begin=BEGIN, end=END, at_once=None)


def test_the_main_way_and_where_it_turns_back():
    assert main_way(TRAFFIC, "Rack", "Door") == ("Rack", "CUT-1", "ROLL-1", "WELD-1", "Door")
    ends = [thing("Rack", 0, 0, RACK), thing("Door", 50, 0, DOOR)]
    straight = [*ends, thing("CUT-1", 10, 0), thing("ROLL-1", 20, 0), thing("WELD-1", 30, 0)]
    assert one_direction(TRAFFIC, straight).is_kept
    back = [*ends, thing("CUT-1", 20, 0), thing("ROLL-1", 10, 0), thing("WELD-1", 30, 0)]
    found = one_direction(TRAFFIC, back)
    assert not found.is_kept and found.turns == ("CUT-1", "ROLL-1")
    square = [
        thing("Rack", 0, 0, RACK),
        thing("CUT-1", 20, 0),
        thing("ROLL-1", 20, 20),
        thing("WELD-1", 10, 20),
    ]
    across = one_direction(TRAFFIC, [*square, thing("Door", 10, -20, DOOR)])
    assert across.crossings == ((("CUT-1", "Rack"), ("Door", "WELD-1")),)
    assert not one_direction(TRAFFIC, square).is_kept, "there is no door"


def test_finished_work_near_wrapping_and_door_and_room_to_work():
    things = [thing("WELD-1", 20, 0), thing("Wrapping", 26, 0, WRAPPING), thing("Door", 40, 0, DOOR)]
    traffic = {("WELD-1", "Wrapping"): Carried(3, 1), ("Wrapping", "Door"): Carried(3, 1)}
    found = near_door(traffic, things)
    assert (found.station, found.far) == ("WELD-1", (("Wrapping", 2), ("Door", 16)))
    assert not found.is_kept, "16 ft to the door is more than 15"
    assert near_door(traffic, [*things[:2], thing("Door", 39, 0, DOOR)]).is_kept
    found = room_to_work(things, ["WELD-1", "CUT-1"])
    assert (found.tight, found.lacking) == ((("WELD-1", "Wrapping", 2),), ("CUT-1",))
    assert room_to_work([thing("WELD-1", 20, 0), thing("Wrapping", 27, 0, WRAPPING)], ["WELD-1"]).is_kept
