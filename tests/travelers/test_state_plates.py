"""Plates in the fold: started with the first, finished with the last, as counted here by hand from the scans alone."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.cases import cases
from tests.travelers.test_state import at, scan, spec
from travelers.state import derive, judge

OF = 3


def of_plates(minutes: int, action: str, *plates: int, **more):
    return scan(minutes, action, "cut", 1, plates=tuple((1, plate, OF) for plate in plates), **more)


def test_the_last_plate_finishes_the_segment():
    events = [of_plates(1, "finish", 1), of_plates(2, "finish", 3)]
    found = derive(spec(), events)
    assert found.tasks[11].state == "ready"
    assert found.plates == {11: {1, 3}}
    verdict, found = judge(spec(), events, of_plates(3, "finish", 2))
    assert (verdict.accepted, verdict.touched, verdict.segments) == (True, (11,), (1,))
    assert (found.tasks[11].state, found.tasks[11].finished_at) == ("done", at(3))


def test_a_plate_alone_is_accepted_and_changes_nothing():
    verdict, found = judge(spec(), [], of_plates(1, "finish", 2))
    assert verdict.accepted
    assert [task.facts() for task in found.tasks.values()] == [
        task.facts() for task in derive(spec(), []).tasks.values()
    ]


def test_the_same_plate_again_is_refused_naming_who_and_when():
    first = of_plates(1, "finish", 2, badge="B7")
    verdict, _ = judge(spec(), [first], of_plates(5, "finish", 2, badge="B8"))
    assert (verdict.accepted, verdict.why, verdict.badge, verdict.at) == (False, "already_done", "B7", at(1))


def test_a_plate_of_a_held_or_scrapped_segment_is_not_finished():
    for before, why in (("hold", "held"), ("scrap", "scrapped")):
        verdict, found = judge(spec(), [scan(1, before, "cut", 1)], of_plates(2, "finish", 1))
        assert (verdict.accepted, verdict.why, found.plates) == (False, why, {})


def test_of_several_segments_the_scan_holds_on_those_that_take_it():
    events = [scan(1, "finish", "cut", 2)]
    both = scan(2, "finish", "cut", 1, 2, plates=((1, 1, OF),))
    verdict, found = judge(spec(), events, both)
    assert (verdict.accepted, verdict.segments) == (True, (1,))
    assert found.tasks[21].finished_at == at(1)


@given(
    finishes=st.lists(
        st.tuples(st.integers(1, 60), st.sets(st.integers(1, OF), min_size=1)),
        max_size=7,
        unique_by=lambda pair: pair[0],
    ),
    undone=st.sets(st.integers(0, 6)),
    order=st.randoms(use_true_random=False),
)
@settings(max_examples=cases(300), deadline=None)
def test_a_segment_is_done_when_each_plate_has_a_finish_that_stands(finishes, undone, order):
    """The oracle looks for the earliest standing finish of each plate; the segment is done with the latest of them."""
    events = [of_plates(minute, "finish", *sorted(plates)) for minute, plates in finishes]
    gone = {number for number in undone if number < len(finishes)}
    events += [
        scan(100 + number, "undo", "cut", 1, undoes=f"scan-{finishes[number][0]}") for number in sorted(gone)
    ]
    order.shuffle(events)
    found = derive(spec(), events)
    stands = [pair for number, pair in enumerate(finishes) if number not in gone]
    each = {plate: [minute for minute, plates in stands if plate in plates] for plate in range(1, OF + 1)}
    if all(each.values()):
        expected = ("done", at(max(min(minutes) for minutes in each.values())))
    else:
        expected = ("ready", None)
    assert (found.tasks[11].state, found.tasks[11].finished_at) == expected
