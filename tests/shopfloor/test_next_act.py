"""What follows from a pile, what to do about it, and how many fittings a day asks for: worked by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopfloor.flow.calendar import Calendar
from shopfloor.flow.day_plan import planned
from shopfloor.flow.floor import Bench, Floor, Job, Step
from shopfloor.flow.simulation import Look, simulate
from shopfloor.flow.starving import runs_dry
from shopfloor.models import Station
from shopfloor.next_act import Place, act, starves

ZONE = ZoneInfo("America/Chicago")
USUAL = Calendar(ZONE)
MONDAY_13 = datetime(2026, 3, 2, 13, 0, tzinfo=ZONE)
"""Two and a half hours before the end of the shift."""
ROLL = Place("roll", "Roll", 1, 6.5, 40, 65, 65, None)
SEAM = Place("seam", "Seam", 2, 1.0, 65, 20, 20, None)


def said(at=ROLL, following=SEAM, *, is_dry=False, now=MONDAY_13) -> str:
    return starves(at, following, is_dry=is_dry, calendar=USUAL, now=now)


def test_the_next_operation_starves_when_its_queue_falls_faster_than_the_pile_feeds_it():
    """Ten pieces an hour are rolled, 65 of 105 of them are waited for, at 0.05 h each: 0.3095 h come an hour.

    Two seamers take 1.0 h down by 2 − 0.3095 an hour: empty after 0.5916 h, 35 minutes.
    """
    assert said() == "Seam starves from 13:30."


def test_what_is_fed_as_fast_as_it_works_does_not_starve():
    assert said(following=replace(SEAM, stations=1, hours=10.0, waiting=105)) == ""


def test_an_operation_after_one_that_nobody_does_starves_when_its_own_queue_is_done():
    """3.0 h for two stations are an hour and a half."""
    assert said(replace(ROLL, stations=0), replace(SEAM, hours=3.0)) == "Seam starves from 14:30."


def test_what_nothing_comes_to_any_more_starves_with_its_queue():
    nothing = replace(ROLL, hours=0.0, queued=0, lying=0)
    assert said(nothing, replace(SEAM, hours=3.0), is_dry=True) == "Seam starves from 14:30."
    assert said(nothing, replace(SEAM, hours=0.0, queued=0), is_dry=True) == ""


def test_an_operation_that_has_nothing_starves_now():
    assert said(following=replace(SEAM, hours=0.0, queued=0)) == "Seam starves now."


def test_the_hours_that_are_said_are_those_of_work():
    """At 11:30, an hour and a half of work on: the break from 12:00 to 12:30 lies between."""
    idle_roll = replace(ROLL, stations=0)
    assert said(idle_roll, replace(SEAM, hours=3.0), now=MONDAY_13.replace(hour=11, minute=30)) == (
        "Seam starves from 13:30."
    )


@pytest.mark.parametrize(
    ("following", "now"),
    [
        (replace(SEAM, hours=9.0), MONDAY_13),
        (SEAM, MONDAY_13.replace(hour=17)),
        (replace(SEAM, waiting=0), MONDAY_13),
        (replace(SEAM, stations=0), MONDAY_13),
        (None, MONDAY_13),
    ],
    ids=["after today", "after work", "nothing goes there", "nobody there", "the last operation"],
)
def test_nothing_is_said_where_it_is_not_of_today(following, now):
    assert said(following=following, now=now) == ""


@given(
    queued=st.floats(0, 50),
    stations=st.integers(1, 6),
    fed=st.floats(0, 50),
    feeders=st.integers(0, 6),
    passes_on=st.floats(0, 3),
)
def test_no_queue_is_done_before_its_own_work_nor_after_all_that_comes(
    queued, stations, fed, feeders, passes_on
):
    hours = runs_dry(queued, stations, fed_hours=fed, fed_stations=feeders, passes_on=passes_on)
    comes = fed * passes_on if feeders else 0.0
    longest = (queued + comes) / stations + (fed / feeders if feeders else 0.0)
    assert queued / stations - 1e-9 <= hours <= longest + 1e-9


def test_the_simulation_empties_the_queue_at_the_hour_that_the_formula_says():
    """A roll of 6 minutes a piece before one seamer of 4; 30 pieces lie at the seam: 2 h ÷ (1 − 4 ÷ 6) = 6 h."""
    hours = runs_dry(2.0, 1, fed_hours=10.0, fed_stations=1, passes_on=4 / 6)
    assert hours == pytest.approx(6.0)
    floor = Floor(
        ("roll", "seam"), (Bench("R", ("roll",)), Bench("S", ("seam",))), {"roll": 0.0, "seam": 0.0}
    )
    both = (Step("roll", 0.1), Step("seam", 4 / 60))
    there = [Job(f"s{at}", (both[1:],), (), "1") for at in range(30)]
    behind = [Job(f"r{at}", (both,), (), "1") for at in range(100)]
    looks: list[Look] = []
    simulate(floor, (*there, *behind), seed=1, until=9.0, every=0.05, look=looks.append)
    empty = next(look.at for look in looks if look.hours["seam"] <= 4 / 60)
    assert empty == pytest.approx(hours, abs=0.2)


def station(code: str, *operations: str, **more) -> Station:
    return Station(code=code, operations=list(operations), **more)


def acts(stations, idle=(), *, at=ROLL, following=SEAM) -> str:
    return act(at, Place("cut", "Cut", 1, 0, 0, 0, 0, None), following, stations=stations, idle=set(idle))


def test_a_full_operation_is_cleared_before_anything_else():
    full = replace(SEAM, cap=20)
    found = acts([station("BENCH-2", "roll")], ["BENCH-2"], following=full)
    assert found == "Seam is full: clear it first."


def test_a_station_that_could_do_it_and_is_idle_is_named():
    stations = [station("ROLL-1", "roll"), station("BENCH-2", "ends", "roll"), station("WRAP-1", "wrap")]
    assert acts(stations, ["WRAP-1", "BENCH-2"]) == "BENCH-2 can do it and is idle."


def test_a_station_that_is_not_in_use_is_named_after_those_that_are():
    stations = [station("ROLL-2", "roll", is_active=False), station("ROLL-1", "roll")]
    assert acts(stations, ["ROLL-1"]) == "ROLL-1 can do it and is idle."
    assert acts(stations) == "ROLL-2 can do it and is not in use."


def test_a_station_with_limits_is_not_promised():
    assert acts([station("BENCH-2", "roll", gauge_heaviest=20)], ["BENCH-2"]) == ""


def test_a_pile_at_its_cap_says_who_is_told_to_hold_back():
    assert acts([], at=replace(ROLL, cap=65)) == "Cut is told to hold back."


@pytest.mark.parametrize(
    ("by_due", "plan"),
    [
        ({}, 0),
        ({date(2026, 3, 2): 7}, 7),
        ({date(2026, 2, 20): 7}, 7),
        ({date(2026, 3, 6): 20}, 4),
        ({date(2026, 3, 6): 21}, 5),
        ({date(2026, 3, 2): 2, date(2026, 3, 4): 10}, 4),
        ({date(2026, 3, 2): 9, date(2026, 3, 4): 3}, 9),
        ({date(2026, 3, 9): 12}, 2),
    ],
    ids=[
        "nothing",
        "due today",
        "overdue",
        "20 in 5 days",
        "21 in 5 days",
        "12 in 3 days",
        "9 today, 12 in 3 days",
        "over a weekend: 12 in 6 days",
    ],
)
def test_the_plan_is_the_least_even_pace_that_keeps_every_due_date(by_due, plan):
    """From Monday 2 March 2026; the week ends on Friday the 6th."""
    assert planned(by_due, today=date(2026, 3, 2), calendar=USUAL) == plan


def test_a_holiday_has_no_plan_and_is_no_day_to_work_on():
    with_holiday = Calendar(ZONE, holidays=frozenset({date(2026, 3, 3)}))
    assert planned({date(2026, 3, 3): 4}, today=date(2026, 3, 3), calendar=with_holiday) == 0
    assert planned({date(2026, 3, 6): 20}, today=date(2026, 3, 2), calendar=with_holiday) == 5
    assert planned({date(2026, 3, 7): 5}, today=date(2026, 3, 7), calendar=USUAL) == 0, "a Saturday"


@given(
    dues=st.dictionaries(st.integers(-5, 40), st.integers(1, 60), max_size=8),
)
def test_keeping_to_the_plan_each_day_keeps_every_due_date(dues):
    """A day's plan, made every day, finished earliest due first: nothing is late but what was so when it began."""
    monday = date(2026, 3, 2)
    left = {monday + timedelta(days=after): count for after, count in dues.items()}
    for after in range(60):
        today = monday + timedelta(days=after)
        to_do = planned(left, today=today, calendar=USUAL)
        for due in sorted(left):
            done = min(left[due], to_do)
            left[due] -= done
            to_do -= done
        assert all(not count for due, count in left.items() if due <= today and USUAL.is_work_day(today))
    assert not any(left.values())
