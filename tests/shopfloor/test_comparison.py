"""Two floors side by side: what is changed, what differs, and that nothing differs where nothing was changed."""

from __future__ import annotations

import doctest
from dataclasses import replace

import pytest

from shopfloor.flow import arrivals, comparison
from shopfloor.flow.arrivals import Recipe, coming
from shopfloor.flow.comparison import (
    BUSY,
    FITTINGS,
    LATE,
    LEAD,
    WAITING,
    Change,
    changed,
    compared,
    with_benches,
)
from shopfloor.flow.floor import OLDEST, Job, Step

from .invented_floor import HOURS, floor

RECIPE = Recipe(
    ((Step("cut", HOURS["cut"]), Step("roll", HOURS["roll"]), Step("seam", HOURS["seam"])),) * 5,
    tuple(Step(code, HOURS[code]) for code in ("assemble", "ends", "wrap")),
    6,
    slack=10.0,
)
DAY = 7.75


def side_by_side(change: Change, *, per_hour: float = 12.0, runs: int = 8, **more):
    def jobs_of(number: int, asked: Change):
        return coming([RECIPE], per_hour=per_hour * asked.inflow, hours=5 * DAY, seed=number)

    return compared(floor(), change, jobs_of, day=DAY, days=5, runs=runs, seed=2, **more)


@pytest.mark.parametrize("module", [arrivals, comparison])
def test_examples_in_the_docstrings(module):
    assert doctest.testmod(module).failed == 0


def test_nothing_differs_where_nothing_is_changed():
    found, runs = side_by_side(Change({}))
    assert runs == 8
    for name, one in found.items():
        assert one.difference.mean == 0 and one.now == one.then, name
        assert not one.is_sure


def test_new_work_comes_at_its_rate():
    jobs = coming([RECIPE], per_hour=12.0, hours=1000.0, seed=3)
    assert len(jobs) == pytest.approx(12_000, rel=0.05)
    assert len({job.key for job in jobs}) == len(jobs)
    assert all(0 < job.released < 1000 for job in jobs)
    assert coming([RECIPE], per_hour=0, hours=10, seed=1) == coming([], per_hour=1, hours=10, seed=1) == ()


def test_a_mix_changes_how_often_a_kind_comes_and_leaves_the_others():
    """Elbows in lines of 6, caps in lines of 2, as many lines of each: of 12 fittings an hour 9 and 3 are theirs.

    With twice the elbows and no caps 18 elbows come an hour.
    """
    recipes = [replace(RECIPE, kind="gored_elbow"), replace(RECIPE, kind="end_cap", fittings=2, slack=4.0)]

    def an_hour(mix) -> tuple[float, float]:
        jobs = coming(recipes, per_hour=12.0, hours=1000.0, seed=4, mix=mix)
        caps = sum(job.due - job.released < 5 for job in jobs)
        return (len(jobs) - caps) / 1000, caps / 1000

    assert an_hour(None) == an_hour({"gored_elbow": 1.0}) == pytest.approx((9, 3), rel=0.08)
    assert an_hour({"gored_elbow": 2.0, "end_cap": 0.0}) == pytest.approx((18, 0), rel=0.08)
    assert an_hour({"end_cap": 3.0}) == pytest.approx((9, 9), rel=0.08)
    assert coming(recipes, per_hour=12.0, hours=10, seed=1, mix={"gored_elbow": 0, "end_cap": 0}) == ()


def test_a_second_bench_where_it_piles_up_is_sure_to_help():
    """Twelve fittings an hour need 0.78 of the one roll, 0.75 of both seams: fifteen are too many for the roll."""
    found, _ = side_by_side(Change({"roll": 1}), per_hour=15.5)
    assert found[f"{BUSY} roll"].now.mean > 0.9 > 0.6 > found[f"{BUSY} roll"].then.mean
    assert found[LEAD].is_sure and found[LEAD].difference.mean < 0
    assert found[f"{WAITING} roll"].is_sure and found[f"{WAITING} roll"].difference.mean < 0


def test_a_bench_less_is_sure_to_hurt():
    found, _ = side_by_side(Change({"seam": -1}))
    assert found[FITTINGS].is_sure and found[FITTINGS].difference.mean < 0
    assert found[LATE].difference.mean >= 0


def test_a_longer_day_makes_more_of_more_work():
    longer, _ = side_by_side(Change({}, longer=1.5, inflow=1.4))
    same, _ = side_by_side(Change({}, inflow=1.4))
    assert longer[FITTINGS].then.mean > same[FITTINGS].then.mean > longer[FITTINGS].now.mean
    assert longer[LEAD].then.mean < same[LEAD].then.mean


def test_it_stops_when_it_is_told_and_keeps_what_there_is():
    heard = []

    def tell(share: float) -> bool:
        heard.append(share)
        return False

    found, runs = side_by_side(Change({}), runs=20, tell=tell)
    assert runs == comparison.LEAST_RUNS == len(heard)
    assert found[FITTINGS].now.mean > 0


def test_a_bench_that_is_added_takes_everything_and_the_others_keep_their_limits():
    steps = (Step("cut", 1.0), Step("roll", 1.0, frozenset({"roll-1"})))
    (job,) = with_benches([Job("a", (steps,), ())], {"roll": frozenset({"roll +1"})})
    assert job.segments[0][0].benches is None
    assert job.segments[0][1].benches == {"roll-1", "roll +1"}


def test_what_is_changed():
    one = changed(floor(), Change({"seam": -1, "roll": 2}, 3, caps={"roll": 4}, lot=5, rule=OLDEST))
    codes = [bench.code for bench in one.benches]
    assert "seam-2" not in codes and "seam-1" in codes
    assert codes[-2:] == ["roll +1", "roll +2"]
    assert (one.people, one.caps, one.lot, one.rule) == (3, {"roll": 4}, 5, OLDEST)
    assert changed(floor(), Change({})) == floor()
