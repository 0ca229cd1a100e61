"""The shop's working time: shifts, breaks, holidays, nights, clocks that change; and its two tables."""

from __future__ import annotations

import doctest
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fittings import tables
from shared.problems import WrongInput
from shared.roles import Actor
from shopfloor import working_time
from shopfloor.flow import calendar
from shopfloor.flow.calendar import Calendar, NoWork, Shift
from shopfloor.working_time import shop_calendar
from tests.cases import cases
from travelers.setup import shop_set_up

ZONE = ZoneInfo("America/Chicago")
USUAL = Calendar(ZONE)
EVERY_DAY = frozenset(range(7))
NIGHT = Calendar(ZONE, (Shift(time(22), time(6), EVERY_DAY, ()),))


def at(day: int, hour: int, minute: int = 0, month: int = 3, second: int = 0) -> datetime:
    """In March 2026: the 2nd is a Monday, the 8th the Sunday on which the clocks go forward."""
    return datetime(2026, month, day, hour, minute, second, tzinfo=ZONE)


@pytest.mark.parametrize("module", [calendar, working_time])
def test_the_examples_in_the_docstrings_run(module):
    assert doctest.testmod(module).failed == 0


def test_hours_left_shrink_from_a_whole_day_to_nothing_and_stand_still_in_a_break():
    assert USUAL.hours_left(at(2, 7)) == pytest.approx(7.75)
    assert USUAL.hours_left(at(2, 9, 30)) == USUAL.hours_left(at(2, 9, 44)) == pytest.approx(5.25)
    assert USUAL.hours_left(at(2, 15)) == pytest.approx(0.5)
    assert USUAL.hours_left(at(2, 15, 30)) is None
    assert USUAL.hours_left(at(2, 6, 59)) is None
    assert USUAL.hours_left(at(7, 12)) is None, "a Saturday"


def test_a_shift_over_midnight_belongs_to_the_day_on_which_it_begins():
    night = Calendar(ZONE, (Shift(time(22), time(6), frozenset([0]), ((time(2), time(2, 30)),)),))
    assert night.day_hours == 7.5
    assert night.hours_left(at(3, 1)) == pytest.approx(4.5)
    assert night.hours_left(at(3, 22)) is None, "it begins on Mondays alone"
    assert night.is_work_day(date(2026, 3, 2)) and not night.is_work_day(date(2026, 3, 3))


def test_nights_on_which_the_clocks_change_are_an_hour_shorter_and_longer():
    assert NIGHT.hours_left(at(7, 22)) == pytest.approx(7)
    assert NIGHT.hours_left(at(31, 22, month=10)) == pytest.approx(9)
    assert NIGHT.hours_between(at(1, 12), at(31, 12)) == pytest.approx(30 * 8 - 1)


def test_shifts_that_overlap_count_once_and_two_in_a_row_are_one_day():
    two = Calendar(ZONE, (Shift(time(6), time(14), breaks=()), Shift(time(13), time(22), breaks=())))
    assert two.day_hours == 16 and two.day_length == 16
    assert two.hours_left(at(2, 13, 30)) == pytest.approx(8.5)
    assert two.hours_between(at(2, 0), at(9, 0)) == pytest.approx(5 * 16)


def test_hours_between_leave_out_nights_breaks_weekends_and_holidays():
    assert USUAL.hours_between(at(6, 15), at(9, 7)) == pytest.approx(0.5)
    assert USUAL.hours_between(at(2, 9), at(2, 13)) == pytest.approx(4 - 0.75)
    assert USUAL.hours_between(at(2, 0), at(7, 0)) == pytest.approx(5 * 7.75)
    assert USUAL.hours_between(at(3, 0), at(2, 0)) == 0
    closed = Calendar(ZONE, holidays=frozenset([date(2026, 3, 4)]))
    assert closed.hours_between(at(2, 0), at(7, 0)) == pytest.approx(4 * 7.75)
    assert closed.hours_left(at(4, 10)) is None


def test_two_hours_back_from_monday_morning_lie_on_friday_and_ahead_on_monday_again():
    back = USUAL.back(at(9, 7, 30), 2)
    assert back == at(6, 14)
    assert USUAL.ahead(back, 2) == at(9, 7, 30)
    assert USUAL.ahead(at(2, 9, 15), 0.5) == at(2, 10), "the break of 15 minutes lies between"
    assert USUAL.ahead(at(7, 12), 0.25) == at(9, 7, 15)


def test_what_is_due_on_a_free_day_has_until_its_midnight():
    assert USUAL.end_of(date(2026, 3, 6)) == at(6, 15, 30)
    assert USUAL.end_of(date(2026, 3, 7)) == at(8, 0)


def test_working_days_are_counted_both_ways():
    closed = Calendar(ZONE, holidays=frozenset([date(2026, 3, 9)]))
    assert closed.days_ahead(date(2026, 3, 6), 1) == date(2026, 3, 10)
    assert closed.days_ahead(date(2026, 3, 10), -1) == date(2026, 3, 6)
    assert closed.days_ahead(date(2026, 3, 7), 0) == date(2026, 3, 7)


def test_a_calendar_without_work_says_so():
    never = Calendar(ZONE, (Shift(days=frozenset()),))
    for ask in (never.ahead, never.back):
        with pytest.raises(NoWork, match="no 1.0 hours of work"):
            ask(at(2, 8), 1)
    assert never.day_hours == never.day_length == 0


TIMES = st.times().map(lambda one: one.replace(second=0, microsecond=0))
SHIFTS = st.builds(
    Shift,
    TIMES,
    TIMES,
    st.frozensets(st.integers(0, 6), min_size=1),
    st.lists(st.tuples(TIMES, TIMES), max_size=3).map(tuple),
)


def works(moment: datetime, shifts: list[Shift]) -> bool:
    """Whether somebody is at work: within a shift that began today or the days before, and in none of its breaks."""

    def within(day: date, begins: time, ends: time) -> bool:
        low = datetime.combine(day, begins, ZONE).astimezone(UTC)
        high = datetime.combine(day + timedelta(days=ends <= begins), ends, ZONE).astimezone(UTC)
        return low <= moment < high

    for ago in range(3):
        day = moment.astimezone(ZONE).date() - timedelta(days=ago)
        for shift in shifts:
            pauses = (
                within(day + timedelta(days=low < shift.starts), low, high) for low, high in shift.breaks
            )
            if day.weekday() in shift.days and within(day, shift.starts, shift.ends) and not any(pauses):
                return True
    return False


@settings(max_examples=cases(100), deadline=None)
@given(
    st.lists(SHIFTS, min_size=1, max_size=3),
    st.integers(0, 365 * 24 * 60),
    st.integers(0, 20 * 24 * 60),
    st.floats(0.01, 30),
)
def test_the_calendar_counts_as_a_clock_does_minute_by_minute(shifts, start, length, hours):
    """Against a count of the minutes of which each is looked at alone."""
    one = Calendar(ZONE, tuple(shifts))
    begins = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=start)
    ends = begins + timedelta(minutes=min(length, 3 * 24 * 60))
    minutes = int((ends - begins).total_seconds() // 60)
    worked = sum(works(begins + timedelta(minutes=at), shifts) for at in range(minutes))
    assert one.hours_between(begins, ends) * 60 == pytest.approx(worked, abs=1e-6)
    if one.day_hours > 1:
        there = one.ahead(begins, hours)
        assert one.hours_between(begins, there) == pytest.approx(hours, abs=1e-6)
        assert one.hours_between(one.back(begins, hours), begins) == pytest.approx(hours, abs=1e-6)


# -- the shop's tables ---------------------------------------------------------------


def saved(name: str, *rows: dict) -> None:
    boss = Actor("supervisor", "supervisor")
    tables.save(name=name, new_rows=rows, seen=None, note="", actor=boss, now=datetime.now(UTC))


SHIFT_ROW = {
    "name": "Late",
    "days": "sat, Mon",
    "starts": "1400",
    "ends": "22.30",
    "breaks": "18:00 - 18:30",
    "source": "ours",
}


@pytest.mark.django_db
def test_the_tables_make_the_calendar(settings):
    shop_set_up(now=datetime.now(UTC))
    usual = shop_calendar()
    assert usual.shifts == (Shift(),)
    assert date(2026, 12, 25) in usual.holidays
    saved("shifts", SHIFT_ROW)
    saved("holidays")
    found = shop_calendar()
    assert found.shifts == (Shift(time(14), time(22, 30), frozenset([0, 5]), ((time(18), time(18, 30)),)),)
    assert found.holidays == frozenset()


@pytest.mark.django_db
@pytest.mark.parametrize(
    "name, wrong, words",
    [
        ("shifts", {"days": "Mon Tues Foo"}, "Begins on in row 1 is “Mon Tues Foo”; it can be days such as"),
        ("shifts", {"starts": "25:00"}, "From in row 1 is “25:00”; it can be a time such as 07:00"),
        ("shifts", {"ends": "noon"}, "To in row 1 is “noon”"),
        ("shifts", {"breaks": "12:00"}, "Breaks in row 1 is “12:00”; it can be breaks such as"),
        (
            "holidays",
            {"day": "25.12.2026"},
            "Day in row 1 is “25.12.2026”; it can be a date such as 2026-12-25",
        ),
    ],
)
def test_wrong_cells_are_named_and_change_nothing(name, wrong, words):
    shop_set_up(now=datetime.now(UTC))
    row = SHIFT_ROW if name == "shifts" else {"day": "2026-12-24", "name": "", "source": "ours"}
    before = tables.rows(name)
    with pytest.raises(WrongInput) as caught:
        saved(name, row | wrong)
    assert words in caught.value.errors[0].message
    assert tables.rows(name) == before


@pytest.mark.django_db
def test_the_working_day_that_a_shop_had_set_is_kept():
    """The move from the table of the shop to the table of shifts."""
    from importlib import import_module

    from django.apps import apps

    move = import_module("shopfloor.migrations.0004_working_time")
    rows = [
        {"key": key, "value": value, "note": ""}
        for key, value in (("day_starts", "06:00"), ("day_ends", "14:30"), ("break_minutes", "30"))
    ]
    saved("shop", *rows)
    move.forwards(apps, None)
    (row,) = tables.rows("shifts")
    assert (row["starts"], row["ends"], row["breaks"]) == ("06:00", "14:30", "10:00-10:30")
    assert row["days"] == "Mon Tue Wed Thu Fri"
    move.forwards(apps, None)
    assert len(tables.rows("shifts")) == 1
    shop_set_up(now=datetime.now(UTC))
    assert shop_calendar().shifts == (Shift(time(6), time(14, 30), breaks=((time(10), time(10, 30)),)),)
