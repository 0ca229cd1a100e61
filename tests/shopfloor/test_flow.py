"""The pure mathematics of the floor: the dead band, the geometry of a pile."""

from __future__ import annotations

import doctest
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopfloor.flow import day_plan, pile, queue, starving
from shopfloor.flow.calendar import Calendar
from shopfloor.flow.pile import HEADROOM, Slat, scale_top
from shopfloor.flow.queue import Horizon, horizon, is_piling_up, load, why

ZONE = ZoneInfo("America/Chicago")
USUAL = Calendar(ZONE)


def at(day: int, hour: int, minute: int = 0, month: int = 3) -> datetime:
    """In March 2026: the 2nd is a Monday, the 8th the Sunday on which the clocks go forward."""
    return datetime(2026, month, day, hour, minute, tzinfo=ZONE)


@pytest.mark.parametrize("module", [queue, pile, starving, day_plan])
def test_the_examples_in_the_docstrings_run(module):
    assert doctest.testmod(module).failed == 0


def test_the_horizon_is_the_day_at_least_an_hour_and_outside_of_it_a_whole_one():
    assert horizon(USUAL, at(2, 7)).hours == pytest.approx(7.75)
    assert horizon(USUAL, at(2, 15, 25)) == Horizon(1.0, "in the next hour")
    assert horizon(USUAL, at(2, 20)) == Horizon(7.75, "in a day")
    assert horizon(USUAL, at(7, 12)) == Horizon(7.75, "in a day")


def test_piling_up_has_a_dead_band():
    state = False
    seen = []
    for hours in (7.0, 9.9, 10.0, 9.0, 8.0, 7.99, 9.9, 10.5):
        state = is_piling_up(hours, 10.0, state)
        seen.append(state)
    assert seen == [False, False, True, True, True, False, False, True]


def test_work_that_no_station_does_piles_up_at_once():
    assert load(0.1, 0) == float("inf")
    assert is_piling_up(0.1, 0, False)
    assert not is_piling_up(0, 0, True)
    words, whose = why(0.5, 0, Horizon(4, "today"), stations=0, pieces="1 gore", orders=1)
    assert (words, whose) == ("0.5 h queued, and no active station does it.", "1 gore of 1 order.")


def test_why_says_how_much_is_queued_and_what_of_it_is_cleared():
    words = why(1.2, 7.8, Horizon(7.8, "today"), stations=1, pieces="4 gores", orders=1)
    assert words == ("1.2 h queued of the 7.8 h that it will clear today.", "4 gores of 1 order.")


slats = st.lists(
    st.builds(Slat, st.floats(0, 3), st.sampled_from(["running", "ready", "held"])), max_size=400
)


@given(slats=slats, clears=st.floats(0, 30))
def test_a_pile_stays_in_its_bay_and_keeps_its_height(slats, clears):
    total = sum(slat.hours for slat in slats)
    top = scale_top([total], [clears])
    drawn = pile.pile(slats, clears_hours=clears, top_hours=top)
    assert len(drawn.slats) <= 3 * 100 / pile.THINNEST
    assert all(-0.01 <= slat.y <= 100 and slat.height > 0 for slat in drawn.slats)
    assert all(slat.y + slat.height <= 100.06 for slat in drawn.slats)
    tops = [slat.y for slat in drawn.slats]
    assert tops == sorted(tops, reverse=True)
    if not drawn.is_cut:
        assert sum(slat.fittings for slat in drawn.slats) == len(slats)
        assert drawn.top == pytest.approx(100 - total * (100 - HEADROOM) / top, abs=0.02)
    assert drawn.top >= HEADROOM - 0.1


def test_only_what_stands_above_the_line_is_over_and_held_work_never():
    work = [Slat(1, "ready")] * 4 + [Slat(1, "held")]
    drawn = pile.pile(work, clears_hours=2, top_hours=5)
    assert [(slat.state, slat.is_over) for slat in drawn.slats] == [
        ("ready", False),
        ("ready", False),
        ("ready", True),
        ("ready", True),
        ("held", False),
    ]
    assert drawn.line == pytest.approx(100 - 2 / 5 * (100 - HEADROOM))


def test_a_pile_far_above_every_line_is_cut_so_that_the_others_are_still_piles():
    top = scale_top([400, 3], [4, 4])
    assert top == 10
    assert pile.pile([Slat(1, "ready")] * 400, clears_hours=4, top_hours=top).is_cut
    assert not pile.pile([Slat(1, "ready")] * 3, clears_hours=4, top_hours=top).is_cut


@pytest.mark.parametrize("clears", [0.5, 1.9, 2.0, 2.3, 3.0, 5.0])
def test_the_figure_of_a_pile_is_never_crossed_by_the_line_nor_cut(clears):
    drawn = pile.pile([Slat(1, "ready"), Slat(1, "ready")], clears_hours=clears, top_hours=5)
    lower, upper = drawn.figure, drawn.figure - HEADROOM
    assert drawn.line is not None and not upper < drawn.line <= lower
    assert lower <= drawn.top and upper >= -pile.LINE_THICK
