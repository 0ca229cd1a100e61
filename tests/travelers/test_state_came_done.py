"""The fold over a fitting of which a part came from stock: what is done of it before any scan."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import permutations

from travelers.state import Event, FittingSpec, SegmentSpec, TaskSpec, derive, judge

RELEASED = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
STEPS = ("cut", "roll", "seam")
WHOLE = ("assemble", "wrap")


def spec(*came: tuple[int, str], whole_came: bool = False) -> FittingSpec:
    """Two segments of three steps each, then two of the whole. `came`: (segment, operation) that came done."""
    tasks = [
        TaskSpec(segment * 10 + step, operation, step, segment, came_done=(segment, operation) in came)
        for segment in (1, 2)
        for step, operation in enumerate(STEPS)
    ]
    tasks += [
        TaskSpec(100 + step, operation, 3 + step, None, came_done=whole_came)
        for step, operation in enumerate(WHOLE)
    ]
    return FittingSpec(1, RELEASED, (SegmentSpec(1, 1), SegmentSpec(2, 2)), tuple(tasks))


def event(minute: int, action: str, operation: str, *segments: int, undoes: str = "") -> Event:
    return Event(
        f"e{minute}",
        minute,
        RELEASED + timedelta(minutes=minute),
        action,
        operations=(operation,),
        segments=segments,
        undoes=undoes,
    )


def states(one: FittingSpec, *events: Event) -> dict[str, str]:
    found = derive(one, events)
    return {
        f"{task.operation}{task.segment or ''}": found.tasks[task.id].state
        for task in one.tasks
        if found.tasks[task.id].state != "waiting"
    }


CUT_AND_ROLLED = ((2, "cut"), (2, "roll"))


def test_the_first_step_that_is_left_is_ready_from_the_release_on():
    one = spec(*CUT_AND_ROLLED)
    assert states(one) == {"cut1": "ready", "cut2": "done", "roll2": "done", "seam2": "ready"}
    assert derive(one, []).tasks[22].ready_at == RELEASED


def test_what_came_done_has_no_time_and_nobody_did_it():
    facts = derive(spec(*CUT_AND_ROLLED), []).tasks[20].facts()
    assert facts == ("done", False, "", "", "", None, None, None)


def test_only_the_rest_is_scanned_and_the_fitting_is_done_with_it():
    one = spec(*CUT_AND_ROLLED)
    scans = [
        event(1, "finish", "seam", 1),
        event(2, "finish", "seam", 2),
        event(3, "finish", "assemble"),
        event(4, "finish", "wrap"),
    ]
    found = derive(one, scans)
    assert (found.fitting, found.done_at) == ("done", RELEASED + timedelta(minutes=4))
    assert [found.tasks[id_].is_implied for id_ in (10, 11, 20, 21)] == [True, True, False, False]


def test_a_scan_of_what_came_done_is_refused_and_says_so():
    verdict, _ = judge(spec(*CUT_AND_ROLLED), [], event(1, "finish", "roll", 2))
    assert (verdict.accepted, verdict.why, verdict.operation) == (False, "came_done", "roll")


def test_a_segment_that_came_done_whole_makes_the_kit_with_the_others():
    one = spec((2, "cut"), (2, "roll"), (2, "seam"))
    found = derive(one, [event(5, "finish", "seam", 1)])
    assert found.segments == {1: "done", 2: "done"}
    assert (found.tasks[100].state, found.tasks[100].ready_at) == ("ready", RELEASED + timedelta(minutes=5))


def test_where_every_segment_came_done_the_fitting_is_ready_from_the_release_on():
    found = derive(spec(*((segment, step) for segment in (1, 2) for step in STEPS)), [])
    assert (found.fitting, found.tasks[100].state, found.tasks[100].ready_at) == ("open", "ready", RELEASED)


ALL = tuple((segment, step) for segment in (1, 2) for step in STEPS)


def test_a_whole_fitting_from_stock_is_done_since_the_release():
    found = derive(spec(*ALL, whole_came=True), [])
    assert (found.fitting, found.done_at) == ("done", RELEASED)


def test_a_whole_fitting_from_stock_takes_no_scan_and_is_not_scrapped():
    one = spec(*ALL, whole_came=True)
    for action, why in (
        ("finish", "came_done"),
        ("start", "came_done"),
        ("hold", "came_done"),
        ("scrap", "fitting_done"),
    ):
        verdict, state = judge(one, [], event(1, action, "wrap"))
        assert (verdict.accepted, verdict.why, state.fitting) == (False, why, "done")


def test_a_scrapped_piece_of_stock_is_made_again_from_the_first_step_on():
    one = spec(*CUT_AND_ROLLED)
    again = [TaskSpec(30 + step, operation, step, 3) for step, operation in enumerate(STEPS)]
    one = FittingSpec(one.id, one.released_at, (*one.segments, SegmentSpec(3, 2, 2)), (*one.tasks, *again))
    found = derive(one, [event(1, "scrap", "seam", 2)])
    assert found.segments == {1: "open", 2: "scrapped", 3: "open"}
    assert [found.tasks[id_].state for id_ in (30, 31, 32)] == ["ready", "waiting", "waiting"]
    assert found.tasks[30].ready_at == RELEASED + timedelta(minutes=1)


def test_the_order_in_which_scans_arrive_makes_no_difference():
    one = spec(*CUT_AND_ROLLED)
    scans = [
        event(1, "finish", "seam", 2),
        event(2, "finish", "roll", 2),
        event(3, "hold", "seam", 1),
        event(4, "finish", "seam", 1),
    ]
    assert len({tuple(sorted(states(one, *order).items())) for order in permutations(scans)}) == 1


def test_a_cancelled_order_leaves_in_view_what_came_done():
    one = spec(*CUT_AND_ROLLED)
    void = FittingSpec(one.id, one.released_at, one.segments, one.tasks, RELEASED + timedelta(hours=1))
    assert states(void) == {
        "cut1": "void",
        "roll1": "void",
        "seam1": "void",
        "cut2": "done",
        "roll2": "done",
        "seam2": "void",
        "assemble": "void",
        "wrap": "void",
    }
