"""The fold where the segments of a fitting have different steps, or the fitting has no assembly. States by hand."""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.cases import cases
from tests.travelers.test_state import RELEASED, at, scan
from travelers.state import Event, FittingSpec, SegmentSpec, TaskSpec, derive, judge
from travelers.where import where_text

DISC, RING = 1, 2
NEW_DISC = 11
POSITIONS = {name: at for at, name in enumerate(("cut", "roll", "seam", "assemble", "ends", "wrap"), start=1)}


def made(*pieces: tuple[str, ...], whole: tuple[str, ...], again: int = 0) -> FittingSpec:
    """A fitting: the steps of each piece, then its own. Task ids are "<segment><step>", of the fitting "<step>".

    again   position of a segment that exists a second time, for when its first is scrapped
    """
    segments = [(number, number, 1, steps) for number, steps in enumerate(pieces, start=1)]
    if again:
        segments.append((10 + again, again, 2, pieces[again - 1]))
    tasks = [
        TaskSpec(10 * id_ + POSITIONS[step], step, POSITIONS[step], id_)
        for id_, _, _, steps in segments
        for step in steps
    ]
    tasks += [TaskSpec(POSITIONS[step], step, POSITIONS[step], None) for step in whole]
    specs = tuple(SegmentSpec(id_, position, generation) for id_, position, generation, _ in segments)
    return FittingSpec(1, RELEASED, specs, tuple(tasks))


def cap(**more) -> FittingSpec:
    """A disc that is only cut, and the ring beside it."""
    return made(("cut",), ("cut", "roll", "seam"), whole=("assemble", "ends", "wrap"), **more)


def pipe() -> FittingSpec:
    return made(("cut", "roll", "seam"), whole=("wrap",))


def flat_cap() -> FittingSpec:
    """A disc with a turned edge: one piece, cut and no more."""
    return made(("cut",), whole=("ends", "wrap"))


def states(found, spec: FittingSpec) -> dict[str, str]:
    """ "disc cut" style names to states, for reading."""
    return {f"{task.segment or 'whole'} {task.operation}": found.tasks[task.id].state for task in spec.tasks}


def words(spec: FittingSpec, events: list[Event]) -> str:
    """Where its pieces are, as a person reads it."""
    found = derive(spec, events)
    rows = [
        {
            "operation": task.operation,
            "segment_id": task.segment,
            "step": task.step,
            "state": found.tasks[task.id].state,
            "ready_at": found.tasks[task.id].ready_at,
            "finished_at": found.tasks[task.id].finished_at,
        }
        for task in spec.tasks
        if found.tasks[task.id].state != "void" and found.segments.get(task.segment) != "scrapped"
    ]
    return where_text(rows)[0]


# -- pieces with different steps -----------------------------------------------------------


def test_a_disc_is_done_when_it_is_cut_and_the_cap_waits_for_its_ring():
    events = [scan(5, "finish", "cut", DISC)]
    found = derive(cap(), events)
    assert found.segments == {DISC: "done", RING: "open"}
    assert states(found, cap()) == {
        "1 cut": "done",
        "2 cut": "ready",
        "2 roll": "waiting",
        "2 seam": "waiting",
        "whole assemble": "waiting",
        "whole ends": "waiting",
        "whole wrap": "waiting",
    }
    assert words(cap(), events) == "1 piece at cut, 1 waiting at assemble"


def test_the_kit_is_ready_since_its_last_piece_was():
    events = [scan(5, "finish", "seam", RING), scan(9, "finish", "cut", DISC)]
    found = derive(cap(), events)
    assert (found.tasks[4].state, found.tasks[4].ready_at) == ("ready", at(9))
    assert words(cap(), events) == "Fitting ready at assemble"
    other = derive(cap(), [scan(5, "finish", "cut", DISC), scan(9, "finish", "seam", RING)])
    assert (other.tasks[4].state, other.tasks[4].ready_at) == ("ready", at(9))


def test_a_disc_has_no_work_at_the_rolls():
    verdict, found = judge(cap(), [], scan(5, "finish", "roll", DISC))
    assert (verdict.accepted, verdict.why) == (False, "no_work_here")
    assert set(states(found, cap()).values()) == {"ready", "waiting"}


def test_a_scan_of_both_pieces_acts_on_the_one_that_has_work():
    verdict, found = judge(cap(), [], scan(5, "finish", "roll", DISC, RING))
    assert (verdict.accepted, verdict.implied, verdict.operation) == (True, 1, "roll")
    assert found.segments == {DISC: "open", RING: "open"}
    assert states(found, cap())["1 cut"] == "ready"
    assert states(found, cap())["2 roll"] == "done"


def test_a_scan_of_the_whole_implies_each_pieces_own_steps():
    verdict, found = judge(cap(), [], scan(5, "finish", "assemble"))
    assert (verdict.accepted, verdict.implied) == (True, 4)
    assert found.segments == {DISC: "done", RING: "done"}
    assert found.fitting == "open"
    assert derive(cap(), [scan(5, "finish", "wrap")]).fitting == "done"
    assert judge(cap(), [], scan(5, "finish", "wrap"))[0].implied == 6


def test_undo_goes_by_the_piece():
    events = [scan(5, "finish", "cut", DISC), scan(6, "finish", "cut", RING), scan(7, "finish", "roll", RING)]
    assert judge(cap(), events, scan(9, "undo", "cut", undoes="scan-6"))[0].why == "later_done"
    verdict, found = judge(cap(), events, scan(9, "undo", "cut", undoes="scan-5"))
    assert verdict.accepted
    assert states(found, cap())["1 cut"] == "ready"
    assert states(found, cap())["2 roll"] == "done"


def test_an_undone_assembly_leaves_nothing_that_it_implied():
    events = [scan(5, "finish", "assemble"), scan(9, "undo", "assemble", undoes="scan-5")]
    assert states(derive(cap(), events), cap()) == states(derive(cap(), []), cap())


def test_a_scrapped_disc_is_cut_again_and_no_more():
    spec = cap(again=DISC)
    events = [scan(5, "finish", "assemble"), scan(7, "scrap", "assemble", DISC, reason="Split")]
    found = derive(spec, events)
    assert found.segments == {DISC: "scrapped", RING: "done", NEW_DISC: "open"}
    assert (found.tasks[111].state, found.tasks[111].ready_at) == ("ready", at(7))
    assert found.tasks[4].state == "waiting"
    assert words(spec, events) == "1 piece at cut, 1 waiting at assemble"
    events.append(scan(9, "finish", "cut", NEW_DISC))
    found = derive(spec, events)
    assert found.segments[NEW_DISC] == "done"
    assert (found.tasks[4].state, found.tasks[4].ready_at) == ("ready", at(9))


# -- without an assembly --------------------------------------------------------------------


def test_a_pipe_goes_from_its_seam_to_its_wrapping():
    events: list[Event] = []
    for minute, operation, then in (
        (1, "cut", "1 piece at roll"),
        (2, "roll", "1 piece at seam"),
        (3, "seam", "Fitting ready at wrap"),
    ):
        events.append(scan(minute, "finish", operation, 1))
        assert words(pipe(), events) == then
    events.append(scan(4, "finish", "wrap"))
    found = derive(pipe(), events)
    assert (found.fitting, found.done_at, found.segments) == ("done", at(4), {1: "done"})
    assert words(pipe(), events) == "Finished"


def test_a_pipes_own_label_is_taken_where_it_is_wrapped():
    verdict, found = judge(pipe(), [], scan(4, "finish", "wrap", 1))
    assert (verdict.accepted, verdict.implied, found.fitting) == (True, 3, "done")


def test_an_undone_wrapping_opens_the_pipe_again():
    events = [scan(3, "finish", "seam", 1), scan(4, "finish", "wrap")]
    verdict, found = judge(pipe(), events, scan(6, "undo", "wrap", undoes="scan-4"))
    assert (verdict.accepted, found.fitting, found.done_at) == (True, "open", None)
    assert words(pipe(), [*events, scan(6, "undo", "wrap", undoes="scan-4")]) == "Fitting ready at wrap"


def test_a_finished_pipe_is_not_scrapped():
    assert judge(pipe(), [scan(4, "finish", "wrap")], scan(6, "scrap", "wrap", 1))[0].why == "fitting_done"


def test_a_disc_of_one_piece_goes_from_the_cut_to_its_edge():
    assert words(flat_cap(), []) == "1 piece at cut"
    events = [scan(1, "finish", "cut", 1)]
    assert words(flat_cap(), events) == "Fitting ready at ends"
    assert words(flat_cap(), [*events, scan(2, "hold", "ends")]) == "Fitting on hold at ends"
    assert derive(flat_cap(), [scan(2, "finish", "wrap")]).fitting == "done"


# -- anything in any order ---------------------------------------------------------------------

SCANS = st.lists(
    st.tuples(
        st.integers(0, 40),
        st.sampled_from(["start", "finish", "finish", "hold", "resume", "scrap", "undo"]),
        st.sampled_from(list(POSITIONS)),
        st.sampled_from([(), (1,), (2,), (1, 2), (11,)]),
        st.integers(0, 40),
    ),
    max_size=14,
)


@pytest.mark.parametrize("spec", [cap(again=DISC), pipe(), flat_cap()], ids=["cap", "pipe", "disc"])
@settings(max_examples=cases(150), deadline=None)
@given(drawn=SCANS, shuffled=st.randoms(use_true_random=False))
def test_whatever_is_scanned_each_piece_keeps_to_its_own_order(spec, drawn, shuffled):
    events = [
        scan(
            minute,
            action,
            operation,
            *segments,
            id=f"s{number}",
            sequence=number,
            undoes=f"s{undoes % (number + 1)}" if action == "undo" else "",
        )
        for number, (minute, action, operation, segments, undoes) in enumerate(drawn)
    ]
    found = derive(spec, events)
    late = list(events)
    shuffled.shuffle(late)
    assert {id_: task.facts() for id_, task in derive(spec, late).tasks.items()} == {
        id_: task.facts() for id_, task in found.tasks.items()
    }
    for segment in spec.segments:
        own = [found.tasks[task.id].state for task in spec.tasks if task.segment == segment.id]
        if found.segments[segment.id] in ("open", "done"):
            assert "done" not in own[own.count("done") :], "a step is done before the one that it follows"
            assert (found.segments[segment.id] == "done") == (set(own) == {"done"})
    whole = [found.tasks[task.id] for task in spec.tasks if task.segment is None]
    is_kit = all(found.segments[one.id] != "open" for one in spec.segments)
    assert (whole[0].state == "waiting") <= (not is_kit)
    assert (found.fitting == "done") == (whole[-1].state == "done")
    assert found.done_at is None or isinstance(found.done_at, datetime)
    assert words(spec, events)
