"""Figures of the flow: an invented week by hand, bins against numpy, days that add up, Little's law."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from shopfloor.flow.calendar import Calendar, Shift
from shopfloor.flow.figures import (
    CYCLE,
    DAYS,
    FLOOR,
    QUEUE,
    TOUCH,
    Bench,
    Cell,
    Stay,
    benches_of_day,
    bin_of,
    cells_of_day,
    levels,
    little,
    percentile,
    rises_of_day,
    steps_of,
    value_of,
)
from shopfloor.flow.simulation import simulate
from tests.shopfloor.invented_floor import floor, week

EIGHT = Calendar(UTC, (Shift(time(8), time(16), breaks=()),))
MON, TUE, WED = (datetime(2026, 3, day, tzinfo=UTC) for day in (2, 3, 4))
THU = WED + timedelta(days=1)


def at(day: datetime, hour: float) -> datetime:
    return day + timedelta(hours=hour)


# Eight hours of work a day, 08:00 to 16:00.      came          started       left             queue touch cycle [h]
ROLL = (
    Stay("roll", 1, at(MON, 8), at(MON, 9), at(MON, 11), 2.0, "R1"),  #                         1    2    3
    Stay(
        "roll", 1, at(MON, 8), None, at(TUE, 9), 1.5, "R1"
    ),  #                                ?    ?    8 + 1
    Stay("roll", 1, at(MON, 15), at(TUE, 8), at(TUE, 10), 2.0, "R1"),  #                        1    2    3
    Stay("roll", 1, at(TUE, 10), None, at(TUE, 12), 1.0, is_implied=True, is_first_pass=False),
    Stay("roll", 1, at(WED, 8), hours=4.0, cents=None),
)


def of_day(stays, low, high=None, calendar=EIGHT):
    return cells_of_day(stays, low, high or low + timedelta(days=1), calendar)


def test_an_invented_week_by_hand():
    monday, tuesday, wednesday = (of_day(ROLL, day)["roll", 1] for day in (MON, TUE, WED))
    table = [
        (
            one.arrived,
            one.finished,
            one.timed,
            one.implied,
            one.first_pass,
            one.arrived_hours,
            one.finished_hours,
        )
        for one in (monday, tuesday, wednesday)
    ]
    assert table == [
        (3, 1, 1, 0, 1, 2.0 + 1.5 + 2.0, 2.0),
        (1, 3, 1, 1, 2, 1.0, 1.5 + 2.0 + 1.0),
        (1, 0, 0, 0, 0, 4.0, 0),
    ]
    assert monday.spreads == {CYCLE: {bin_of(3): 1}, QUEUE: {bin_of(1): 1}, TOUCH: {bin_of(2): 1}}
    assert tuesday.spreads[CYCLE] == {bin_of(9): 1, bin_of(3): 1}, "of what was missed nothing is known"
    assert (wednesday.arrived_cents, wednesday.arrived_unpriced) == (0, 1)
    # rest of the day in days: Monday 16/24 + 16/24 + 9/24 came, 13/24 left
    assert monday.arrived_rest == pytest.approx((16 + 16 + 9) / 24)
    assert monday.finished_rest == pytest.approx(13 / 24)
    assert tuesday.first_pass_yield == pytest.approx(2 / 3) and wednesday.first_pass_yield is None


def test_what_was_there_at_the_ends_of_days():
    # two there on Monday evening (the second and third), none on Tuesday, one on Wednesday
    assert levels(1, [3, 1, 1], [1, 3, 0]) == [0, 2, 0, 1]
    assert levels(5, [], []) == [5]


def test_how_far_the_count_rose_in_a_day():
    # Monday: 2 at 8, 1 from 11, 2 from 15. Tuesday goes down only; at 10 one leaves as another comes.
    assert [rises_of_day(ROLL, day, at(day, 24))["roll"] for day in (MON, TUE, WED)] == [2, 0, 1]


def test_stations_count_pieces_that_are_in_work_at_once_once():
    stays = [
        Stay("weld", 1, at(MON, 8), at(MON, 9), at(MON, 11), 1.0, "W1"),
        Stay("weld", 1, at(MON, 8), at(MON, 9), at(MON, 11), 1.0, "W1"),  # the same lot
        Stay("weld", 2, at(MON, 8), at(MON, 10), at(MON, 12), 0.5, "W1"),  # one hour more
        Stay("weld", 2, at(MON, 8), at(MON, 15), at(TUE, 9), 0.5, "W1"),  # on Tuesday: 15 to 16 and 8 to 9
        Stay("weld", 2, at(MON, 8), None, at(MON, 13), 0.25, "W1"),
        Stay("weld", 2, at(MON, 8), None, at(MON, 14), 9.0, is_implied=True),
    ]
    assert benches_of_day(stays, MON, TUE, EIGHT) == {"W1": Bench(4, 2.75, 3, 3.0)}
    assert benches_of_day(stays, TUE, WED, EIGHT) == {"W1": Bench(1, 0.5, 1, 2.0)}


def test_bins_hold_percentiles_to_two_and_a_half_per_cent():
    times = np.random.default_rng(4).lognormal(0.5, 1.2, 2000)
    bins = Counter(map(bin_of, times))
    for share in (0.5, 0.85, 0.95):
        exact = np.percentile(times, 100 * share, method="inverted_cdf")  # the same definition
        assert percentile(bins, share) == pytest.approx(exact, rel=0.025)
    for one in times:
        assert value_of(bin_of(one)) == pytest.approx(one, rel=0.025)
    assert percentile(Counter({bin_of(1.0): 1}), 0.95) == pytest.approx(1.0, rel=0.025)


def test_a_day_on_which_the_clocks_change_has_23_or_25_hours():
    zone = ZoneInfo("America/Chicago")
    night = Calendar(zone, (Shift(time(22), time(6), frozenset(range(7)), ()),))
    for day, hours in (
        (date(2026, 3, 8), 23),
        (date(2026, 11, 1), 25),
    ):  # US: second Sunday of March, first of November
        low, high = (datetime.combine(one, time(0), zone) for one in (day, day + timedelta(days=1)))
        begin, end = datetime.combine(day, time(0), zone), datetime.combine(day, time(6), zone)
        (cell,) = cells_of_day(
            [Stay(FLOOR, 1, begin, left_at=end)], low.astimezone(UTC), high.astimezone(UTC), night
        ).values()
        assert cell.arrived_rest == pytest.approx(hours / 24)
        assert cell.lead_days == pytest.approx((hours - 18) / 24), (
            "six on the clock's face, one fewer or more passed"
        )
        assert cell.spreads[CYCLE] == {bin_of(hours - 18): 1}
        assert set(cell.spreads) == {CYCLE, DAYS}


def test_steps_are_days_or_weeks_from_monday():
    assert len(steps_of(date(2026, 3, 1), date(2026, 4, 14))) == 45
    weeks = steps_of(date(2026, 3, 1), date(2026, 4, 15))  # a Sunday to a Wednesday
    assert [(one.first.isoformat(), one.last.isoformat()) for one in (weeks[0], weeks[1], weeks[-1])] == [
        ("2026-03-01", "2026-03-01"),
        ("2026-03-02", "2026-03-08"),
        ("2026-04-13", "2026-04-15"),
    ]


def test_days_add_up_in_whatever_parts():
    random = np.random.default_rng(7)
    stays = []
    for number in range(300):
        came = MON + timedelta(hours=float(random.random() * 72))
        left = came + timedelta(hours=float(random.exponential(9)))
        started = came + (left - came) * float(random.random()) if random.random() < 0.6 else None
        stays.append(
            Stay(
                ("roll", FLOOR)[number % 2],
                number % 5,
                came,
                started,
                left,
                float(random.random()),
                cents=number,
            )
        )
    whole = of_day(stays, MON, THU)
    parts: dict = {}
    for day in (MON, TUE, WED):
        for key, cell in of_day(stays, day).items():
            parts.setdefault(key, Cell()).add(cell)
    assert parts.keys() == whole.keys()
    for key, cell in parts.items():
        assert cell.spreads == whole[key].spreads
        assert (cell.arrived, cell.finished, cell.timed) == (
            whole[key].arrived, whole[key].finished, whole[key].timed,
        )  # fmt: skip
        assert cell.finished_cents == whole[key].finished_cents
        assert cell.finished_hours == pytest.approx(whole[key].finished_hours)


# -- Little's law --------------------------------------------------------------------


def law(fittings, days, at_end):
    stays = [Stay(FLOOR, 1, came, left_at=left) for came, left in fittings]
    cells = [(1.0, of_day(stays, day).get((FLOOR, 1), Cell())) for day in days]
    return little(cells, at_end)


def test_littles_law_by_hand():
    fittings = [  #                                           days there in the window, lead
        (at(MON, 12), at(TUE, 12)),  #                        1                         1
        (MON, WED),  #                                        2                         2
        (at(MON, -12), at(MON, 12)),  # from the day before   0.5                       1
        (TUE, None),  # still there                           2                         not finished
    ]
    found = law(fittings, (MON, TUE, WED), 1)
    assert (found.days, found.before, found.after) == (3, 1, 1)
    assert found.there == pytest.approx((1 + 2 + 0.5 + 2) / 3)
    assert found.rate == pytest.approx(3 / 3) and found.lead == pytest.approx((1 + 2 + 1) / 3)
    assert found.gap == pytest.approx((5.5 - 4) / 5.5)


def test_littles_law_has_no_gap_where_all_came_and_left_within():
    found = law([(at(MON, 1), at(TUE, 3)), (at(TUE, 2), at(WED, 20))], (MON, TUE, WED), 0)
    assert found.gap == pytest.approx(0, abs=1e-12) and found.there > 0
    nothing = law([], (MON,), 0)
    assert (nothing.there, nothing.lead, nothing.gap) == (0, None, None)


def test_littles_law_on_simulated_days():
    jobs = week(200, 3)
    run = simulate(floor(), jobs, seed=3)
    came = {job.key: MON + timedelta(hours=job.released) for job in jobs}
    fittings = [(came[key], MON + timedelta(hours=hours)) for key, hours in run.done.items()]
    assert len(fittings) == 200
    last = max(left for _, left in fittings)
    days = [MON + timedelta(days=one) for one in range((last - MON).days + 1)]
    assert law(fittings, days, 0).gap == pytest.approx(0, abs=1e-9)
    first_two = law(fittings, days[:2], sum(came < WED <= left for came, left in fittings))
    inside = sum((min(left, WED) - came).total_seconds() for came, left in fittings if came < WED) / 86400 / 2
    assert first_two.there == pytest.approx(inside)
