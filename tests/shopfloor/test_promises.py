"""What repeated runs promise and how it comes true on weeks not seen; the bottleneck; the rule of the next piece."""

from __future__ import annotations

import doctest
import math
import statistics

import pytest

from shopfloor.flow import promises, relief
from shopfloor.flow.estimates import difference
from shopfloor.flow.floor import NEXT_PIECE, OLDEST, Job
from shopfloor.flow.promises import expected, held
from shopfloor.flow.relief import relief as relief_of
from shopfloor.flow.simulation import Run, repeated, simulate

from .invented_floor import BENCHES, floor, week

WEEKS = 10
FITTINGS = 120
HOURS = 9.5  # the same load as 500 fittings have in a week


@pytest.mark.parametrize("module", [promises, relief])
def test_examples_in_the_docstrings(module):
    assert doctest.testmod(module).failed == 0


def test_a_promise_is_the_hour_that_another_run_keeps_with_that_probability():
    jobs = [Job("a", (), (), "7"), Job("b", (), (), "7")]
    runs = [Run(9, {"a": 1.0, "b": float(end)}, {}, {}, {}, 0) for end in range(1, 20)]
    assert expected(runs, jobs)["7"] == promises.Expected(10, 18), "half and nine tenths of the twenty places"
    assert math.isnan(held([]))


def test_promises_hold_on_weeks_that_were_not_seen():
    """Some hundred orders (80 at least): what was promised for nine of ten holds in 85 to 95 of 100."""
    sure, likely = [], []
    for number in range(WEEKS):
        jobs = week(FITTINGS, number, hours=HOURS)
        found = expected(repeated(floor(), jobs, runs=30, seed=number), jobs)
        truth = expected([simulate(floor(), jobs, seed=90_000 + number)], jobs)
        sure += [(found[order].sure, truth[order].sure) for order in found]
        likely += [(found[order].likely, truth[order].sure) for order in found]
    assert len(sure) >= 80
    assert 0.85 <= held(sure) <= 0.95
    assert 0.35 <= held(likely) <= 0.65


def test_the_rule_of_the_tablets_beats_the_longest_ready_first():
    """Thirty weeks with the same luck: fittings are through sooner, and fewer lie about."""
    runs = {
        rule: [simulate(floor(rule=rule), week(500, seed), seed=seed) for seed in range(30)]
        for rule in (OLDEST, NEXT_PIECE)
    }
    lead = [[statistics.median(run.lead.values()) for run in runs[rule]] for rule in (OLDEST, NEXT_PIECE)]
    there = [[run.on_floor for run in runs[rule]] for rule in (OLDEST, NEXT_PIECE)]
    assert difference(*lead).high < 0
    assert difference(*there).high < 0


def test_the_bottleneck_is_where_the_hours_of_a_bench_are_most():
    hours = {"cut": 8.0, "roll": 12.0, "seam": 20.0}
    found = relief_of(hours, {"cut": 1, "roll": 1, "seam": 2})
    assert (found.operation, found.hours, found.then) == ("roll", 12, "seam")
    assert found.gain == pytest.approx(0.2)
    assert relief_of({"cut": 0.0}, {"cut": 1}) is None
    nobody = relief_of(hours, {"cut": 1, "roll": 1})
    assert nobody.operation == "seam" and math.isinf(nobody.hours) and math.isinf(nobody.gain)


def test_one_bench_may_not_be_enough():
    found = relief_of({"cut": 1.0, "assemble": 30.0}, {"cut": 1, "assemble": 1})
    assert (found.operation, found.then, found.gain) == ("assemble", "assemble", 1.0)


@pytest.mark.parametrize("slow", ["roll", "seam", "assemble"])
def test_the_bottleneck_of_the_simulation_is_the_one_that_is_named(slow):
    """The bench that works most, where an operation is made to take half as long again as any other."""
    jobs = week(FITTINGS, 3, hours=HOURS)
    hours = dict.fromkeys(BENCHES, 0.0)
    for job in jobs:
        for step in (*(step for segment in job.segments for step in segment), *job.whole):
            hours[step.operation] += step.hours
    benches = BENCHES | {
        code: max(1, math.ceil(hours[code] / max(hours.values()) * 3)) for code in BENCHES if code != slow
    }
    benches[slow] = max(1, math.floor(hours[slow] / max(hours.values()) * 1.5))
    run = simulate(floor(benches=benches), jobs, seed=1)
    busiest = max(run.busy, key=run.busy.__getitem__)
    assert relief_of(hours, benches).operation == slow == busiest.rsplit("-", 1)[0]
