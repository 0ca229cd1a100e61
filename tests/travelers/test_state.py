"""`derive` and `judge` by themselves: plain data in, no database. The expected states are written out by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.cases import cases
from travelers.state import Event, FittingSpec, SegmentSpec, TaskSpec, derive, judge

RELEASED = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)
OPERATIONS = ("cut", "roll", "seam")
WHOLE = ("assemble", "wrap")


def spec(segments: int = 2, *, own_scan: tuple[str, ...] = (), generations: int = 1, **more) -> FittingSpec:
    """A fitting: task 10s+1, 2, 3 are a segment's cut, roll, seam; 101 is assemble, 102 is wrap.

    Segment ids are their position, plus 10 a later generation; tasks of segment 1 are 11, 12, 13, of 11 are 111...
    """
    made, tasks = [], []
    for generation in range(1, generations + 1):
        for position in range(1, segments + 1):
            id_ = position + 10 * (generation - 1)
            made.append(SegmentSpec(id_, position, generation))
            tasks += [
                TaskSpec(id_ * 10 + step, operation, step, id_, operation in own_scan)
                for step, operation in enumerate(OPERATIONS, start=1)
            ]
    tasks += [
        TaskSpec(1000 + step, operation, 3 + step, None, operation in own_scan)
        for step, operation in enumerate(WHOLE, start=1)
    ]
    return FittingSpec(1, RELEASED, tuple(made), tuple(tasks), **more)


ASSEMBLE, WRAP = 1001, 1002


def at(minutes: float) -> datetime:
    return RELEASED + timedelta(minutes=minutes)


def scan(minutes: float, action: str, operation: str, *segments: int, **more) -> Event:
    """A scan so many minutes after the release, at a station of one operation; its id is its time unless given."""
    given_ = {
        "id": f"scan-{minutes:g}",
        "sequence": int(minutes * 10),
        "station": operation.upper(),
        "badge": "B1",
    }
    return Event(at=at(minutes), action=action, operations=(operation,), segments=segments, **(given_ | more))


def states(found, *ids) -> list[str]:
    return [found.tasks[id_].state for id_ in ids]


# -- each action ---------------------------------------------------------------


def test_without_scans_the_first_operation_is_ready_since_the_release():
    found = derive(spec(), [])
    assert states(found, 11, 12, 13, ASSEMBLE, WRAP) == ["ready", "waiting", "waiting", "waiting", "waiting"]
    assert found.tasks[11].ready_at == RELEASED
    assert found.segments == {1: "open", 2: "open"}
    assert (found.fitting, found.done_at) == ("open", None)


def test_start_runs_and_finish_makes_the_next_ready():
    found = derive(spec(), [scan(5, "start", "cut", 1), scan(9, "finish", "cut", 1, badge="B2")])
    cut, roll = found.tasks[11], found.tasks[12]
    assert (cut.state, cut.started_at, cut.finished_at, cut.station, cut.badge) == (
        "done",
        at(5),
        at(9),
        "CUT",
        "B2",
    )
    assert (roll.state, roll.ready_at) == ("ready", at(9))
    assert states(found, 21) == ["ready"]


def test_a_finish_without_a_start_has_no_known_duration():
    cut = derive(spec(), [scan(9, "finish", "cut", 1)]).tasks[11]
    assert (cut.state, cut.started_at, cut.finished_at) == ("done", None, at(9))


def test_hold_stops_and_resume_goes_on_where_it_was():
    events = [scan(5, "start", "cut", 1), scan(6, "hold", "cut", 1, reason="No sheet")]
    held = derive(spec(), events).tasks[11]
    assert (held.state, held.reason) == ("held", "No sheet")
    resumed = derive(spec(), [*events, scan(8, "resume", "cut", 1)]).tasks[11]
    assert (resumed.state, resumed.reason, resumed.started_at) == ("running", "", at(5))


def test_resume_of_a_hold_before_the_start_is_ready_again():
    found = derive(spec(), [scan(5, "hold", "cut", 1), scan(6, "resume", "cut", 1)])
    assert (found.tasks[11].state, found.tasks[11].station) == ("ready", "")


@pytest.mark.parametrize(
    ("events", "why"),
    [
        ([scan(1, "finish", "cut", 1), scan(2, "finish", "cut", 1)], "already_done"),
        ([scan(1, "finish", "cut", 1), scan(2, "start", "cut", 1)], "already_done"),
        ([scan(1, "finish", "cut", 1), scan(2, "hold", "cut", 1)], "already_done"),
        ([scan(1, "start", "cut", 1), scan(2, "start", "cut", 1)], "already_started"),
        ([scan(1, "hold", "cut", 1), scan(2, "hold", "cut", 1)], "already_held"),
        ([scan(1, "hold", "cut", 1), scan(2, "finish", "cut", 1)], "held"),
        ([scan(1, "hold", "cut", 1), scan(2, "finish", "roll", 1)], "held"),
        ([scan(1, "finish", "paint", 1)], "no_work_here"),
        ([scan(1, "scrap", "cut", 1), scan(2, "finish", "cut", 1)], "scrapped"),
        ([scan(1, "finish", "cut", 77)], "void"),
        ([scan(1, "finish", "wrap"), scan(2, "scrap", "wrap", 1)], "fitting_done"),
        (
            [
                scan(1, "finish", "cut", 1),
                scan(2, "undo", "cut", 1, undoes="scan-1"),
                scan(3, "undo", "cut", undoes="scan-1"),
            ],
            "already_undone",
        ),
    ],
)  # fmt: skip
def test_what_is_refused_and_why(events, why):
    before = derive(spec(), events[:-1])
    verdict, after = judge(spec(), events[:-1], events[-1])
    assert (verdict.accepted, verdict.why) == (False, why)
    assert [task.facts() for task in after.tasks.values()] == [task.facts() for task in before.tasks.values()]


def test_a_refusal_of_a_second_finish_names_who_and_when():
    first = scan(1, "finish", "cut", 1, badge="B7")
    verdict, _ = judge(spec(), [first], scan(2, "finish", "cut", 1, badge="B8"))
    assert (verdict.badge, verdict.at, verdict.operation, verdict.station) == ("B7", at(1), "cut", "CUT")


# -- missed scans ------------------------------------------------------------------


def test_a_later_scan_implies_the_missed_ones():
    verdict, found = judge(spec(), [], scan(10, "finish", "seam", 1))
    assert (verdict.accepted, verdict.implied, set(verdict.touched)) == (True, 2, {11, 12, 13})
    assert [(found.tasks[id_].state, found.tasks[id_].is_implied) for id_ in (11, 12, 13)] == [
        ("done", True),
        ("done", True),
        ("done", False),
    ]
    assert states(found, 21, 22, 23) == ["ready", "waiting", "waiting"]


def test_assembly_implies_every_segment_of_the_fitting():
    found = derive(spec(), [scan(3, "finish", "cut", 1), scan(10, "finish", "assemble")])
    assert states(found, 11, 12, 13, 21, 22, 23, ASSEMBLE, WRAP) == ["done"] * 7 + ["ready"]
    assert [found.tasks[id_].is_implied for id_ in (11, 12, 21)] == [False, True, True]
    assert found.segments == {1: "done", 2: "done"}


def test_a_late_scan_takes_the_place_of_the_implied_one():
    late = scan(4, "finish", "cut", 1, sequence=999)
    found = derive(spec(), [scan(10, "finish", "roll", 1), late])
    assert (found.tasks[11].is_implied, found.tasks[11].finished_at) == (False, at(4))


def test_a_finish_after_it_was_implied_is_recorded_and_keeps_the_implied_time():
    verdict, found = judge(spec(), [scan(10, "finish", "roll", 1)], scan(12, "finish", "cut", 1))
    assert verdict.accepted
    assert (found.tasks[11].is_implied, found.tasks[11].finished_at) == (False, at(10))


def test_an_operation_with_its_own_scan_cannot_be_passed_over():
    verdict, found = judge(spec(own_scan=("roll",)), [], scan(10, "finish", "seam", 1))
    assert (verdict.accepted, verdict.why, verdict.operation) == (False, "needs_own_scan", "roll")
    assert states(found, 11, 12, 13) == ["ready", "waiting", "waiting"]
    verdict, _ = judge(
        spec(own_scan=("roll",)), [scan(5, "finish", "roll", 1)], scan(10, "finish", "seam", 1)
    )
    assert verdict.accepted


def test_the_missing_own_scan_of_one_segment_stops_the_assembly():
    events = [scan(5, "finish", "seam", 1)]
    verdict, _ = judge(spec(own_scan=("seam",)), events, scan(10, "finish", "assemble"))
    assert (verdict.accepted, verdict.why) == (False, "needs_own_scan")


# -- undo -----------------------------------------------------------------------------


def test_undo_takes_back_one_scan_with_all_that_it_implied():
    events = [scan(10, "finish", "seam", 1), scan(11, "undo", "seam", 1, undoes="scan-10")]
    found = derive(spec(), events)
    assert states(found, 11, 12, 13) == ["ready", "waiting", "waiting"]
    assert found.cancelled == {"scan-10"}


def test_undo_is_refused_once_a_later_operation_was_scanned():
    events = [scan(1, "finish", "cut", 1), scan(2, "finish", "roll", 1)]
    verdict, found = judge(spec(), events, scan(3, "undo", "cut", undoes="scan-1"))
    assert (verdict.accepted, verdict.why, verdict.operation) == (False, "later_done", "roll")
    assert states(found, 11, 12) == ["done", "done"]


def test_another_segment_further_on_does_not_stop_an_undo():
    events = [scan(1, "finish", "cut", 1), scan(2, "finish", "roll", 2)]
    verdict, found = judge(spec(), events, scan(3, "undo", "cut", undoes="scan-1"))
    assert verdict.accepted
    assert states(found, 11, 22) == ["ready", "done"]


def test_an_undo_that_arrives_before_its_scan_still_cancels_it():
    undo = scan(3, "undo", "cut", 1, undoes="scan-1")
    assert derive(spec(), [undo]).tasks[11].state == "ready"
    found = derive(spec(), [undo, scan(1, "finish", "cut", 1, sequence=99)])
    assert states(found, 11, 12) == ["ready", "waiting"]
    assert found.verdicts["scan-1"].why == "undone"


def test_an_undone_scan_can_be_scanned_again():
    events = [
        scan(1, "finish", "cut", 1),
        scan(2, "undo", "cut", undoes="scan-1"),
        scan(5, "finish", "cut", 1),
    ]
    assert derive(spec(), events).tasks[11].finished_at == at(5)


# -- scrap and remake ------------------------------------------------------------------


def test_a_remade_segment_is_void_until_its_predecessor_is_scrapped():
    found = derive(spec(generations=2), [])
    assert found.segments == {1: "open", 2: "open", 11: "void", 12: "void"}
    assert states(found, 111, 112, 113) == ["void"] * 3


def test_scrap_ends_a_segment_and_its_successor_begins_at_the_first_operation():
    found = derive(
        spec(generations=2), [scan(4, "finish", "cut", 1), scan(6, "scrap", "roll", 1, reason="Torn")]
    )
    assert found.segments == {1: "scrapped", 2: "open", 11: "open", 12: "void"}
    assert states(found, 11, 12, 13) == ["done", "void", "void"]
    assert (found.tasks[111].state, found.tasks[111].ready_at) == ("ready", at(6))


def test_a_fitting_waits_for_the_remade_segment():
    events = [scan(1, "finish", "seam", 1), scan(2, "finish", "seam", 2), scan(3, "scrap", "seam", 1)]
    found = derive(spec(generations=2), events)
    assert states(found, ASSEMBLE) == ["waiting"]
    found = derive(spec(generations=2), [*events, scan(9, "finish", "seam", 11)])
    assert (found.tasks[ASSEMBLE].state, found.tasks[ASSEMBLE].ready_at) == ("ready", at(9))


def test_scrap_after_assembly_takes_the_assembly_back():
    events = [scan(1, "finish", "assemble"), scan(2, "scrap", "wrap", 1)]
    found = derive(spec(generations=2), events)
    assert states(found, ASSEMBLE, WRAP) == ["waiting", "waiting"]
    assert found.segments == {1: "scrapped", 2: "done", 11: "open", 12: "void"}


def test_undo_of_a_scrap_until_the_new_piece_is_begun():
    events = [scan(1, "finish", "cut", 1), scan(2, "scrap", "cut", 1)]
    undo = scan(5, "undo", "cut", undoes="scan-2")
    verdict, found = judge(spec(generations=2), events, undo)
    assert verdict.accepted
    assert found.segments == {1: "open", 2: "open", 11: "void", 12: "void"}
    verdict, _ = judge(spec(generations=2), [*events, scan(3, "start", "cut", 11)], undo)
    assert (verdict.accepted, verdict.why) == (False, "remade")


# -- the whole --------------------------------------------------------------------------


def test_the_last_operation_ends_the_fitting():
    found = derive(spec(), [scan(5, "finish", "assemble"), scan(8, "finish", "wrap")])
    assert (found.fitting, found.done_at) == ("done", at(8))


def test_a_cancelled_order_voids_what_is_not_done_and_ignores_later_scans():
    whole = spec(voided_at=at(5))
    found = derive(whole, [scan(3, "finish", "cut", 1), scan(6, "finish", "cut", 2)])
    assert states(found, 11, 12, 21) == ["done", "void", "void"]
    assert found.fitting == "void"
    assert found.verdicts["scan-6"].why == "void"


def test_one_scan_of_several_segments_counts_for_those_that_it_can():
    events = [scan(1, "finish", "cut", 1)]
    verdict, found = judge(spec(3), events, scan(2, "finish", "cut", 1, 2, 3))
    assert (verdict.accepted, verdict.touched) == (True, (21, 31))
    assert found.tasks[11].finished_at == at(1)


def test_equal_times_are_taken_in_order_of_sequence():
    first = scan(5, "hold", "cut", 1, id="a", sequence=1)
    second = scan(5, "resume", "cut", 1, id="b", sequence=2)
    assert derive(spec(), [second, first]).tasks[11].state == "ready"
    swapped = [scan(5, "hold", "cut", 1, id="a", sequence=2), scan(5, "resume", "cut", 1, id="b", sequence=1)]
    assert derive(spec(), swapped).tasks[11].state == "held"


# -- any order of arrival -----------------------------------------------------------------

ANY_SCAN = st.tuples(
    st.integers(1, 60),
    st.sampled_from(["start", "finish", "finish", "finish", "hold", "resume", "scrap", "undo"]),
    st.sampled_from([*OPERATIONS, *WHOLE]),
    st.sampled_from([(), (1,), (2,), (11,), (1, 2)]),
    st.integers(0, 15),
)


@settings(max_examples=cases(250), deadline=None)
@given(st.lists(ANY_SCAN, max_size=16), st.randoms(use_true_random=False))
def test_the_state_does_not_depend_on_the_order_in_which_scans_are_given(drawn, chance):
    events = _events(drawn)
    shuffled = list(events)
    chance.shuffle(shuffled)
    one, other = derive(spec(generations=2), events), derive(spec(generations=2), shuffled)
    assert {id_: task.facts() for id_, task in one.tasks.items()} == {
        id_: task.facts() for id_, task in other.tasks.items()
    }
    assert (one.segments, one.fitting, one.done_at) == (other.segments, other.fitting, other.done_at)
    assert one.verdicts == other.verdicts


@settings(max_examples=cases(250), deadline=None)
@given(st.lists(ANY_SCAN, max_size=16))
def test_whatever_was_scanned_the_state_is_in_order(drawn):
    found = derive(spec(generations=2), _events(drawn))
    whole = spec(generations=2)
    for task in found.tasks.values():
        if task.started_at and task.finished_at:
            assert task.started_at <= task.finished_at
        assert (task.finished_at is not None) == (task.state == "done")
        assert not task.is_implied or task.state == "done"
        if task.ready_at and task.state == "running":
            assert task.ready_at <= task.started_at
    for segment, state in found.segments.items():
        own = [found.tasks[task.id].state for task in whole.tasks if task.segment == segment]
        if state == "open":
            done = own.count("done")
            assert own[:done] == ["done"] * done, "what is done comes before what is not"
            assert own[done] in ("ready", "running", "held"), "one task is next"
            assert set(own[done + 1 :]) <= {"waiting", "held"}, "the others wait"
        if state in ("void", "scrapped"):
            assert set(own) <= {"done", "void"}
    for position in (1, 2):
        current = [
            one
            for one in whole.segments
            if one.position == position and found.segments[one.id] in ("open", "done")
        ]
        beyond = found.segments[position] == "scrapped" and found.segments[position + 10] == "scrapped"
        assert len(current) == (0 if beyond else 1), "one segment stands at each position"


def _events(drawn) -> list[Event]:
    return [
        scan(minutes, action, operation, *segments, id=f"s{number}", sequence=number,
             undoes=f"s{undone}" if action == "undo" else "")
        for number, (minutes, action, operation, segments, undone) in enumerate(drawn)
        if not (action == "undo" and undone == number)
    ]  # fmt: skip
