"""Starts and finishes to measured times; every expected minute is reckoned by hand beside it.

The shop works Monday to Friday from 7:00 to 15:30, with breaks from 9:30 to 9:45 and from 12:00 to 12:30.
"""

from __future__ import annotations

from collections import Counter
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from shopfloor.flow.calendar import Calendar, Shift
from shopfloor.flow.timings import BEYOND, MEANWHILE, MIXED, NO_FEET, NO_START, OUTSIDE, Piece, timings

ZONE = ZoneInfo("America/Chicago")
CALENDAR = Calendar(ZONE)


def at(clock: str, day: int = 2) -> datetime:
    """A time of day in March 2026; the 2nd is a Monday."""
    hour, minute = map(int, clock.split(":"))
    return datetime(2026, 3, day, hour, minute, tzinfo=ZONE)


def piece(start, end, **changes) -> Piece:
    given = {"operation": "roll", "method": "Roll", "station": "ROLL-1", "standard": 10.0, "feet": 4.0}
    return Piece(started_at=start, finished_at=end, **given | changes)


def minutes(*pieces, **more) -> list[float]:
    return [one.minutes for one in timings(pieces, CALENDAR, **more)[0]]


def reasons(*pieces, **more) -> Counter:
    return timings(pieces, CALENDAR, **more)[1]["roll"]


def test_nights_and_breaks_are_left_out():
    assert minutes(piece(at("8:00"), at("8:20"))) == pytest.approx([20])
    assert minutes(piece(at("9:20"), at("10:00"))) == pytest.approx([25]), "10 to 9:30, 15 from 9:45"
    assert minutes(piece(at("15:20"), at("7:30", 3))) == pytest.approx([40]), "10 to 15:30, 30 from 7:00"
    assert minutes(piece(at("15:00", 6), at("7:15", 9))) == pytest.approx([45]), "over the weekend: 30 and 15"


def test_a_lot_of_one_start_and_finish_is_one_timing_that_its_pieces_share():
    (one,) = timings([piece(at("8:00"), at("8:30")) for _ in range(3)], CALENDAR)[0]
    assert (one.pieces, one.minutes, one.standard) == (3, pytest.approx(10), 10)


def test_a_lot_of_different_sizes_has_the_mean_of_what_it_goes_by():
    small, large = (
        piece(at("8:00"), at("8:30"), feet=2.0, standard=6.0, size=8.0, gauge=24),
        piece(at("8:00"), at("8:30"), feet=6.0, standard=14.0, size=20.0, gauge=24),
    )
    (one,) = timings([small, large], CALENDAR)[0]
    assert (one.feet, one.standard, one.minutes) == (4.0, 10.0, pytest.approx(15))
    assert (one.gauge, one.size) == (24, None)


def test_a_lot_started_at_once_and_finished_one_by_one_gives_each_its_own_time():
    assert minutes(
        piece(at("8:00"), at("8:10")), piece(at("8:00"), at("8:25")), piece(at("8:00"), at("8:30"))
    ) == pytest.approx([10, 15, 5])


def test_no_moment_of_a_station_counts_twice():
    """A long piece from 8:00 to 9:00, put aside from 8:30 to 8:40 for a quick one."""
    assert minutes(piece(at("8:00"), at("9:00")), piece(at("8:30"), at("8:40"))) == pytest.approx([10, 50])
    assert minutes(
        piece(at("8:00"), at("9:00")), piece(at("8:00"), at("9:00"), station="ROLL-2")
    ) == pytest.approx([60, 60]), "another station's moments are its own"


def test_the_same_over_two_breaks_in_the_work():
    """Quick ones from 8:10 to 8:15 and from 8:20 to 8:30 within 8:00 to 9:00: 60 − 5 − 10 = 45."""
    found = minutes(
        piece(at("8:00"), at("9:00")), piece(at("8:10"), at("8:15")), piece(at("8:20"), at("8:30"))
    )
    assert found == pytest.approx([5, 10, 45])


def test_a_finish_without_a_start_is_left_out_and_spoils_what_was_in_work():
    lone, long = piece(None, at("8:30")), piece(at("8:00"), at("9:00"))
    assert minutes(lone, long) == []
    assert reasons(lone, long) == {NO_START: 1, MEANWHILE: 1}
    assert minutes(piece(None, at("8:00")), long) == pytest.approx([60]), "finished as the other began"
    assert minutes(piece(None, at("8:30"), station="ROLL-2"), long) == pytest.approx([60])


def test_a_lot_of_which_one_piece_was_started_is_left_out_whole():
    assert reasons(piece(None, at("8:30")), piece(at("8:00"), at("8:30"))) == {NO_START: 2}


def test_a_reason_of_the_record_leaves_it_out():
    held = piece(at("8:00"), at("8:30"), why="on hold in between")
    assert reasons(held, piece(at("8:40"), at("8:50"))) == {"on hold in between": 1}


def test_several_methods_in_one_scan_cannot_be_told_apart():
    pieces = [piece(at("8:00"), at("8:30")), piece(at("8:00"), at("8:30"), method="Roll to a cone")]
    assert reasons(*pieces) == {MIXED: 2}


@pytest.mark.parametrize(
    "start, end",
    [
        (at("15:20"), at("16:00")),
        (at("6:30"), at("7:20")),
        (at("9:31"), at("9:44")),
        (at("10:00", 7), at("10:20", 7)),
    ],
)
def test_work_outside_of_the_shops_hours_is_not_guessed_at(start, end):
    assert minutes(piece(start, end)) == []
    assert reasons(piece(start, end)) == {OUTSIDE: 1}


def test_the_last_minute_of_the_day_is_inside():
    assert minutes(piece(at("15:20"), at("15:30"))) == pytest.approx([10])


def test_without_a_standard_that_can_be_told_it_is_left_out():
    assert reasons(piece(at("8:00"), at("8:30"), standard=None, feet=None)) == {NO_FEET: 1}


def test_what_began_before_the_other_work_was_read_is_left_out():
    early, late = piece(at("8:00"), at("8:30")), piece(at("9:00"), at("9:10"))
    assert minutes(early, late, read_since={"roll": at("8:10")}) == pytest.approx([10])
    assert reasons(early, late, read_since={"roll": at("8:10")}) == {BEYOND: 1}
    assert len(minutes(early, late, read_since={"seam": at("8:10")})) == 2


def test_the_hour_that_the_clocks_leave_out_is_no_work():
    """A night shift over 8 March 2026, when 2:00 becomes 3:00: from 1:30 to 3:30 one hour passes."""
    night = Calendar(ZONE, (Shift(time(22), time(6), frozenset({5}), ()),))
    (one,) = timings([piece(at("1:30", 8), at("1:30", 8) + timedelta(hours=1))], night)[0]
    assert one.minutes == pytest.approx(60)
