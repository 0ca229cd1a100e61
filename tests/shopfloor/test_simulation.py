"""The simulation of the floor: against published formulas, and against lines whose answer is counted by hand."""

from __future__ import annotations

import doctest
import math
import statistics

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopfloor.flow import estimates
from shopfloor.flow.estimates import range_of
from shopfloor.flow.floor import NEXT_PIECE, OLDEST, Bench, Floor, FloorError, Job, Step
from shopfloor.flow.queueing import many_servers, one_server
from shopfloor.flow.simulation import repeated, simulate
from tests.cases import cases

RUNS = 16
CONFIDENCE = 0.99
NARROW = 0.2  # of the mean: a wider range would hold almost anything


def piece(key: str, released: float, *steps: tuple[str, float], **more) -> Job:
    return Job(key, (), tuple(Step(*step) for step in steps), released=released, **more)


def row_of(*operations: str, each: int = 1) -> tuple[Bench, ...]:
    return tuple(Bench(f"{one}-{number}", (one,)) for one in operations for number in range(each))


def steady(arrivals: float, services: list[float], variation: float, *, each: int = 1, count: int = 4000):
    """Runs of a line that is fed at random, looked at from 10 % of the time on: the floor is empty in the beginning."""
    operations = tuple(f"op{at}" for at in range(len(services)))
    floor = Floor(
        operations, row_of(*operations, each=each), dict.fromkeys(operations, variation), rule=OLDEST
    )
    found = []
    for seed in range(RUNS):
        times = np.cumsum(np.random.default_rng((7, seed)).exponential(1 / arrivals, count)).tolist()
        steps = [(operation, 1 / rate) for operation, rate in zip(operations, services, strict=True)]
        jobs = [piece(str(at), time, *steps) for at, time in enumerate(times)]
        found.append(simulate(floor, jobs, seed=seed, until=times[-1], after=times[-1] / 10))
    return found


def holds(values, expected: float) -> None:
    found = range_of(values, CONFIDENCE)
    assert found.half < NARROW * expected, f"{found}: too wide to say anything"
    assert found.holds(expected), f"{found.low:.4f} to {found.high:.4f}, not {expected:.4f}"


# -- published formulas -----------------------------------------------------------


@pytest.mark.parametrize(
    "arrivals, service, each",
    [(0.8, 1.0, 1), (300.0, 182.5, 3), (2.4, 0.7, 4)],
    ids=["M/M/1", "M/M/3", "M/M/4"],
)
def test_exponential_times(arrivals, service, each):
    """M/M/c: cases of fixtures/authorities/queueing.csv."""
    runs = steady(arrivals, [service], 1.0, each=each, count=6000)
    expected = many_servers(arrivals, service, each)
    holds([run.operations["op0"].waiting for run in runs], expected.in_queue)
    holds([run.operations["op0"].wait for run in runs], expected.wait)
    holds([run.on_floor for run in runs], expected.in_system)
    holds([statistics.fmean(run.lead.values()) for run in runs], expected.stay)
    holds([statistics.fmean(run.busy.values()) for run in runs], expected.utilisation)


@pytest.mark.parametrize("variation", [0.0, 0.5, 1.5])
def test_times_of_any_kind(variation):
    """M/G/1, Pollaczek–Khinchine."""
    runs = steady(0.7, [1.0], variation)
    expected = one_server(0.7, 1.0, variation)
    holds([run.operations["op0"].waiting for run in runs], expected.in_queue)
    holds([run.operations["op0"].wait for run in runs], expected.wait)


def test_a_tandem_line():
    """With exponential times each queue of a line is as if it stood alone (Burke 1956, Jackson 1957; from memory)."""
    runs = steady(0.6, [1.0, 0.8, 1.2], 1.0, count=6000)
    expected = [many_servers(0.6, rate) for rate in (1.0, 0.8, 1.2)]
    for at, one in enumerate(expected):
        holds([run.operations[f"op{at}"].waiting for run in runs], one.in_queue)
    holds([statistics.fmean(run.lead.values()) for run in runs], sum(one.stay for one in expected))


def test_littles_law_is_exact_from_an_empty_floor_to_an_empty_floor():
    """L = λW (Little 1961), over a time that begins and ends with nothing there."""
    random = np.random.default_rng(5)
    jobs = [
        piece(str(at), time, ("cut", 0.4), ("roll", 0.6), ("cut", 0.1))
        for at, time in enumerate(np.cumsum(random.exponential(1.0, 300)).tolist())
    ]
    run = simulate(Floor(("cut", "roll"), row_of("cut", "roll"), {"cut": 1, "roll": 0.3}), jobs, seed=3)
    assert run.on_floor * run.hours == pytest.approx(sum(run.lead.values()))
    for code, steps in (("cut", 600), ("roll", 300)):
        at = run.operations[code]
        assert at.finished == steps
        assert at.waiting * run.hours == pytest.approx(at.wait * steps)
        assert at.in_work == pytest.approx(run.busy[f"{code}-0"])


# -- counted by hand ----------------------------------------------------------------


def test_a_line_without_variation_runs_as_a_ruler_says():
    """Four machines of 2 h: the first piece is through after 8 h, then one every 2 h."""
    operations = ("a", "b", "c", "d")
    jobs = [piece(str(at), 0.0, *((one, 2.0) for one in operations)) for at in range(5)]
    run = simulate(Floor(operations, row_of(*operations)), jobs, seed=1)
    assert list(run.done.values()) == [8, 10, 12, 14, 16]
    assert run.busy["d-0"] == pytest.approx(10 / 16)


def kit(key: str, *, of: int = 3, **more) -> Job:
    segments = tuple((Step("cut", 1.0), Step("roll", 1.0)) for _ in range(of))
    return Job(key, segments, (Step("assemble", 2.0),), **more)


LINE = ("cut", "roll", "assemble")


def test_a_fitting_is_assembled_when_its_last_segment_is_through():
    run = simulate(Floor(LINE, row_of(*LINE)), [kit("one")], seed=1)
    assert run.done == {"one": 1 + 1 + 1 + 1 + 2}
    assert run.operations["roll"].finished == 3 and run.operations["assemble"].finished == 1


def test_a_lot_moves_on_together():
    run = simulate(Floor(LINE, row_of(*LINE), lot=3), [kit("one")], seed=1)
    assert run.done == {"one": 3 + 3 + 2}
    rest = simulate(Floor(LINE, row_of(*LINE), lot=2), [kit("one")], seed=1)
    assert rest.done == {"one": 2 + 2 + 1 + 2}, "the last of the line do not wait for more"


def test_people_work_at_one_bench_at_a_time():
    run = simulate(Floor(LINE, row_of(*LINE), people=1), [kit("one")], seed=1)
    assert run.done == {"one": 3 + 3 + 2}
    assert sum(run.busy.values()) == pytest.approx(1.0)


def test_a_cap_holds_back_what_feeds_it():
    slow = Floor(("cut", "roll"), row_of("cut", "roll"), caps={"roll": 2})
    jobs = [piece(str(at), 0.0, ("cut", 1.0), ("roll", 3.0)) for at in range(8)]
    held, free = simulate(slow, jobs, seed=1), simulate(Floor(("cut", "roll"), slow.benches), jobs, seed=1)
    assert held.done == free.done, "the slow bench never starves"
    assert held.operations["roll"].waiting < 1 < free.operations["roll"].waiting
    assert held.operations["roll"].waiting + held.operations["roll"].in_work <= 2


def test_the_piece_that_completes_a_fitting_comes_first_among_equals():
    jobs = [kit("one", of=2), kit("two", of=2), kit("three", of=2)]
    floor = Floor(LINE, (Bench("CUT", ("cut",)), Bench("ROLL", ("roll",)), Bench("ASSEMBLE", ("assemble",))))
    mixed = [Job(job.key, job.segments[at : at + 1] * 2, job.whole) for at, job in enumerate(jobs[:2])]
    assert (
        simulate(floor, mixed, seed=1).done["one"]
        <= simulate(Floor(LINE, floor.benches, rule=OLDEST), mixed, seed=1).done["one"]
    )
    lone = Job(
        "lone", ((Step("roll", 5.0),), (Step("cut", 1.0), Step("roll", 1.0))), (Step("assemble", 1.0),)
    )
    crowd = [Job(f"c{at}", ((Step("roll", 1.0),),) * 3, (Step("assemble", 1.0),)) for at in range(6)]
    first = simulate(floor, [lone, *crowd], seed=1).done["lone"]
    assert first == 5 + 1 + 1, "its other piece is through, so this one is next"
    assert simulate(Floor(LINE, floor.benches, rule=OLDEST), [lone, *crowd], seed=1).done["lone"] > 20


def test_due_soonest_goes_before_the_longest_ready():
    floor = Floor(("roll",), row_of("roll"))
    jobs = [piece("busy", 0.0, ("roll", 2.0)), piece("late", 0.5, ("roll", 1.0), due=90.0)]
    jobs += [piece("soon", 1.0, ("roll", 1.0), due=5.0)]
    assert simulate(floor, jobs, seed=1).done == {"busy": 2, "soon": 3, "late": 4}
    assert simulate(Floor(("roll",), floor.benches, rule=OLDEST), jobs, seed=1).done["late"] == 3


@pytest.mark.parametrize(("rule", "first"), [(NEXT_PIECE, "pinned"), (OLDEST, "soon")])
def test_pinned_goes_before_due_soonest(rule, first):
    """As the tablets list it; where the longest ready is next, a pin changes nothing."""
    jobs = [
        piece("busy", 0.0, ("a", 1.0)),
        piece("soon", 0.1, ("a", 1.0), due=2.0),
        piece("pinned", 0.2, ("a", 1.0), due=9.0, is_pinned=True),
    ]
    done = simulate(Floor(("a",), row_of("a"), rule=rule), jobs, seed=1).done
    assert min(("soon", "pinned"), key=done.get) == first


def test_a_bench_within_its_limits_takes_what_it_can():
    benches = (Bench("SMALL", ("roll",)), Bench("LARGE", ("roll",)))
    jobs = [
        Job(str(at), (), (Step("roll", 1.0, frozenset({"LARGE"}) if at < 3 else None),)) for at in range(6)
    ]
    run = simulate(Floor(("roll",), benches), jobs, seed=1)
    assert run.done == {"0": 1, "1": 2, "2": 3, "3": 1, "4": 2, "5": 3}
    assert run.busy == {"SMALL": 1, "LARGE": 1}


def test_two_floors_have_the_same_luck():
    jobs = [kit(f"{at}", released=at * 0.7) for at in range(20)]
    variation = dict.fromkeys(LINE, 0.8)
    one = repeated(Floor(LINE, row_of(*LINE), variation), jobs, runs=3, seed=4)
    again = repeated(Floor(LINE, row_of(*LINE), variation), jobs, runs=3, seed=4)
    assert [run.done for run in one] == [run.done for run in again]
    assert one[0].done != one[1].done
    more = repeated(Floor(LINE, row_of(*LINE, each=2), variation), jobs, runs=3, seed=4)
    for run, other in zip(one, more, strict=True):
        assert worked(other) == pytest.approx(worked(run)), "the same times, step by step"
        assert other.done != run.done


def worked(run) -> float:
    return sum(run.busy.values()) * run.hours


def test_what_is_before_is_not_counted():
    jobs = [piece(str(at), float(at), ("roll", 1.0)) for at in range(10)]
    run = simulate(Floor(("roll",), row_of("roll")), jobs, seed=1, until=10.0, after=5.0)
    assert run.hours == 5
    assert run.operations["roll"].finished == 5
    assert run.busy == {"roll-0": 1} and run.on_floor == 1
    assert set(run.lead) == {str(at) for at in range(4, 9)}


@pytest.mark.parametrize(
    "floor, jobs, words",
    [
        (Floor(("roll",), row_of("roll")), [piece("p", 0, ("weld", 1))], "p: weld is no operation"),
        (Floor(("roll", "weld"), row_of("roll")), [piece("p", 0, ("weld", 1))], "p: no bench does weld"),
        (Floor(("roll",), row_of("roll")), [piece("p", 0, ("roll", -1))], "-1 h at roll"),
        (Floor(("roll",), row_of("roll"), people=0), [], "People are 0"),
        (Floor(("roll",), row_of("roll"), lot=0), [], "The lot is 0"),
        (Floor(("roll",), row_of("roll"), caps={"roll": 0}), [], "cap of roll is 0"),
        (Floor(("roll",), row_of("roll"), {"roll": -0.1}), [], "variation of roll is -0.1"),
        (Floor(("roll",), row_of("roll"), rule="luck"), [], "The rule 'luck' is not known"),
        (Floor(("roll",), row_of("roll") * 2), [], "same code"),
    ],
)
def test_what_cannot_be_simulated_is_refused(floor, jobs, words):
    with pytest.raises(FloorError, match=words):
        simulate(floor, jobs, seed=1)


@settings(max_examples=cases(150), deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 4), st.integers(0, 3), st.floats(0, 6)), min_size=1, max_size=12),
    st.sampled_from([NEXT_PIECE, OLDEST]),
    st.sampled_from([None, 1, 2]),
    st.integers(1, 4),
    st.sampled_from([{}, {"roll": 1}, {"roll": 2, "assemble": 1}]),
    st.integers(0, 5),
)
def test_every_piece_is_made_once_and_nobody_works_twice_at_a_time(drawn, rule, people, lot, caps, seed):
    jobs = [
        Job(
            str(at),
            tuple((Step("cut", 0.5), Step("roll", 1.0))[: 1 + number % 2] for _ in range(number)),
            (Step("assemble", 1.0), Step("wrap", 0.2))[: max(1, whole)],
            line=str(at % 3),
            released=released,
            due=released + 8 if at % 2 else None,
        )
        for at, (number, whole, released) in enumerate(drawn)
    ]
    operations = (*LINE, "wrap")
    floor = Floor(operations, row_of(*operations), dict.fromkeys(operations, 0.5), people, caps, rule, lot)
    run = simulate(floor, jobs, seed=seed)
    assert set(run.done) == {job.key for job in jobs}, "all is made"
    for code in operations:
        steps = [step for job in jobs for steps in (*job.segments, job.whole) for step in steps]
        assert run.operations[code].finished == sum(step.operation == code for step in steps)
        assert run.operations[code].waiting >= 0
    assert all(0 <= share <= 1 + 1e-9 for share in run.busy.values())
    assert sum(run.busy.values()) <= (people or math.inf) + 1e-9
    assert all(run.done[job.key] >= job.released for job in jobs)
    assert run.on_floor * run.hours == pytest.approx(sum(run.lead.values()))


def test_examples_in_the_docstrings():
    assert doctest.testmod(estimates).failed == 0
