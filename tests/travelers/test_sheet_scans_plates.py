"""Segments made of plates: the sheet with the last of them finishes the segment, whatever order the scans arrive in."""

from __future__ import annotations

import random
from datetime import timedelta
from itertools import permutations

import pytest

from fittings.models import CutPiece, Fitting, Segment
from tests.travelers.floor import NOW, facts, floor, station
from tests.travelers.sheet_floor import big_floor, remnant_of, segments_of, sent_sheets, targets
from travelers.models import ScanTarget, Task
from travelers.replay import replay

pytestmark = pytest.mark.django_db


@pytest.fixture
def big(shop):
    """Five gores of two plates each."""
    on = big_floor()
    development = on.fitting.line.development
    assert [len(segment["plates"]) for segment in development["segments"]] == [2] * 5
    return on


def agrees() -> bool:
    return replay(write=False).differences == []


def state() -> tuple:
    """Everything that follows from the record, apart from what a scan was about."""
    return facts()[:4]


def test_the_first_sheet_leaves_the_segment_and_the_last_finishes_it(big):
    one = big.segment(1)
    first, second = sent_sheets([(one, 1)], [(one, 2)], number=12)
    done = big.scan("cut", first.code)
    assert (done.outcome, done.changed, done.operation) == ("recorded", 0, "cut")
    assert done.message == "Sheet 1 of plan 12: 1 plate cut; its other plates are on sheet 2."
    assert targets(done.sequence) == [(one.pk, 1, 2)]
    assert big.task("cut", 1).state == "ready"
    assert agrees()
    last = big.scan("cut", second.code)
    assert (last.message, last.changed) == ("Sheet 2 of plan 12: 1 piece cut.", 2)
    cut = big.task("cut", 1)
    assert (cut.state, cut.finished_at) == ("done", NOW + timedelta(minutes=2))
    assert big.task("roll", 1).state == "ready"
    assert agrees()


def test_both_plates_on_one_sheet_finish_it_at_once(big):
    one = big.segment(1)
    (sheet,) = sent_sheets([(one, 1), (one, 2)], number=12)
    done = big.scan("cut", sheet.code)
    assert (done.message, done.changed) == ("Sheet 1 of plan 12: 2 pieces cut.", 2)
    assert targets(done.sequence) == [(one.pk, 1, 2), (one.pk, 2, 2)]
    assert agrees()


def test_plates_among_whole_pieces(big):
    one, two, *_ = segments_of(big)
    other = segments_of(floor(quantity=1))
    first, second = sent_sheets([*other, (one, 1), (two, 1)], [(one, 2), (two, 2)], number=12)
    done = big.scan("cut", first.code)
    assert done.message == "Sheet 1 of plan 12: 5 pieces cut; other plates of 2 are on sheet 2."
    assert big.scan("cut", second.code).message == "Sheet 2 of plan 12: 2 pieces cut."
    assert big.states("cut") == ["done"] * 2 + ["ready"] * 3
    assert agrees()


def test_other_plates_in_other_plans_are_named_and_those_on_no_sheet_too(big):
    one, two, *_ = segments_of(big)
    (first,) = sent_sheets([(one, 1)], number=12)
    sent_sheets([], [(one, 2)], number=13)
    assert big.scan("cut", first.code).message == (
        "Sheet 1 of plan 12: 1 plate cut; its other plates are on sheet 2 of plan 13."
    )
    (loose,) = sent_sheets([(two, 2)], number=14)
    assert big.scan("cut", loose.code).message == (
        "Sheet 1 of plan 14: 1 plate cut; its other plates are still to be planned."
    )


def test_a_sheet_of_plates_that_are_cut_already_is_refused(big):
    one = big.segment(1)
    first, _ = sent_sheets([(one, 1)], [(one, 2)], number=12)
    big.scan("cut", first.code)
    before = facts()
    done = big.scan("cut", first.code)
    assert (done.outcome, done.reason_code) == ("refused", "already_done")
    assert done.message.startswith("Sheet 1 of plan 12: Cut was finished by Sam Invented")
    assert facts() == before


def test_the_segments_own_code_finishes_it_with_all_its_plates(big):
    one = big.segment(1)
    first, second = sent_sheets([(one, 1)], [(one, 2)], number=12)
    big.scan("cut", first.code)
    assert big.scan("cut", one.code).message == "Gore 1 of 5 cut. Next: Roll."
    assert big.scan("cut", second.code).outcome == "refused"
    assert agrees()


def test_undo_of_either_sheet_opens_the_segment_again(big):
    one = big.segment(1)
    first, second = sent_sheets([(one, 1)], [(one, 2)], number=12)
    for code in (first.code, second.code):
        big.scan("cut", first.code)
        big.scan("cut", second.code)
        assert big.task("cut", 1).state == "done"
        undone = big.scan("cut", code, "undo")
        assert (undone.outcome, big.task("cut", 1).state) == ("recorded", "ready")
        assert big.scan("cut", code).outcome == "recorded"
        assert big.task("cut", 1).state == "done"
        big.scan("cut", first.code, "undo")
        big.scan("cut", second.code, "undo")
    assert agrees()


def test_undo_of_the_first_sheet_is_refused_once_the_segment_went_on(big):
    one = big.segment(1)
    first, second = sent_sheets([(one, 1)], [(one, 2)], number=12)
    for code in (first.code, second.code):
        big.scan("cut", code)
    big.scan("roll", one.code)
    for code in (first.code, second.code):
        assert big.scan("cut", code, "undo").reason_code == "later_done"


def test_start_and_finish_of_both_sheets(big):
    """The first start begins the segment, the second is recorded all the same, the last finish ends it."""
    one = big.segment(1)
    first, second = sent_sheets([(one, 1)], [(one, 2)], number=12)
    for action in ("start", "finish"):
        for code in (first.code, second.code):
            assert big.scan("cut", code, action).outcome == "recorded"
    cut = big.task("cut", 1)
    assert (cut.started_at, cut.finished_at) == (NOW + timedelta(minutes=1), NOW + timedelta(minutes=4))
    assert big.scan("cut", first.code, "start").outcome == "refused"
    assert agrees()


def test_a_spoiled_sheet_remakes_the_segment_with_all_its_plates(big):
    one = big.segment(1)
    first, second = sent_sheets([(one, 1)], [(one, 2)], number=12)
    big.scan("cut", first.code)
    big.scan("cut", second.code, "scrap", reason="Torch went out")
    assert big.states("cut")[:2] == ["void", "ready"]
    fresh = Segment.objects.get(generation=2)
    again, last = sent_sheets([(fresh, 1)], [(fresh, 2)], number=13)
    assert big.scan("cut", again.code).changed == 0
    assert big.scan("cut", last.code).message == "Sheet 2 of plan 13: 1 piece cut."
    assert agrees()


def test_the_remnant_of_the_first_sheet_comes_with_its_own_finish(big):
    one = big.segment(1)
    first, second = sent_sheets([(one, 1)], [(one, 2)], number=12)
    rest = remnant_of(first)
    big.scan("cut", first.code)
    rest.refresh_from_db()
    assert rest.count == 1


def test_a_plate_that_is_taken_off_and_planned_again_finishes_it_too(big):
    one = big.segment(1)
    first, second = sent_sheets([(one, 1)], [(one, 2)], number=12)
    big.scan("cut", first.code)
    CutPiece.objects.filter(sheet=second).update(is_live=False)
    (third,) = sent_sheets([(one, 2)], number=13)
    assert big.scan("cut", third.code).message == "Sheet 1 of plan 13: 1 piece cut."
    assert big.task("cut", 1).state == "done"
    assert agrees()


# -- any order of arrival ----------------------------------------------------------------


def forget() -> None:
    """As if nothing had been scanned: what is stored follows from the record, which is empty."""
    ScanTarget.objects.all().delete()
    replay(write=True)


@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_two_tablets_offline_give_the_same_end_in_any_order(big, order):
    """Sheets with one plate of a segment each, and the roll scan after both."""
    one = big.segment(1)
    first, second = sent_sheets([(one, 1)], [(one, 2)], number=12)
    deliveries = [
        (station("cut"), big.body(first.code, "finish")),
        (station("cut", "CUT-2"), big.body(second.code, "finish")),
        (station("roll"), big.body(one.code, "finish")),
    ]
    for number in order:
        assert big.send(*deliveries[number]).outcome == "recorded"
    cut, roll = big.task("cut", 1), big.task("roll", 1)
    assert (cut.state, cut.is_implied, cut.station) == ("done", False, "CUT-2")
    assert (cut.finished_at, roll.ready_at) == (NOW + timedelta(minutes=2),) * 2
    assert (roll.state, roll.finished_at) == ("done", NOW + timedelta(minutes=3))
    assert agrees()


@pytest.mark.parametrize("seed", range(12))
def test_shuffled_scans_of_sheets_and_pieces_end_alike_and_as_the_replay_says(shop, seed):
    """Two elbows whole, one of plates, on four sheets, finished twice and one undone; some pieces are scanned too."""
    chance = random.Random(seed)
    on, big = floor(quantity=2), big_floor()
    pieces = [*segments_of(on), *((one, plate) for one in segments_of(big) for plate in (1, 2))]
    chance.shuffle(pieces)
    sheets = sent_sheets(pieces[:4], pieces[4:8], pieces[8:12], pieces[12:], number=12)
    undone = {one.segment for one in CutPiece.objects.filter(sheet=sheets[3]).select_related("segment")}
    scanned_too = [one for one in (*segments_of(on), *segments_of(big)) if one not in undone]
    scans = [(station("cut"), big.body(sheet.code, "finish")) for sheet in (*sheets, *sheets[:2])]
    undo = big.body(sheets[3].code, "undo", undoes=scans[3][1]["id"])
    for operation, count in (("cut", 4), ("roll", 2)):
        for segment in chance.sample(scanned_too, count):
            scans.append((station(operation, "BENCH-2"), big.body(segment.code, "finish")))
    chance.shuffle(scans)
    scans.append((station("cut"), undo))
    for number, (_, body) in enumerate(scans):
        body["scanned_at"] = (NOW + timedelta(minutes=number + 1)).isoformat()
    ends = set()
    for round_ in range(4):
        forget()
        chance.shuffle(scans)
        for actor, body in scans:
            mine = {name: f"{body[name]}-{round_}" for name in ("id", "undoes") if name in body}
            big.send(actor, body | mine)
        assert agrees()
        ends.add(repr(state()))
    assert len(ends) == 1
    assert {big.task("cut", one.position).state for one in undone if one in segments_of(big)} <= {"ready"}
    assert Task.objects.filter(operation="cut", state="done").exists()


@pytest.mark.parametrize("seed", range(10))
def test_random_scans_of_every_action_leave_the_record_and_the_stored_state_equal(shop, seed):
    chance = random.Random(100 + seed)
    on, big = floor(quantity=1), big_floor()
    parts = [(segment, plate) for segment in segments_of(big) for plate in (1, 2)]
    pieces = [*segments_of(on), *parts]
    chance.shuffle(pieces)
    sheets = sent_sheets(pieces[:3], pieces[3:6], pieces[6:], number=12)
    for _ in range(70):
        codes = [sheet.code for sheet in sheets] * 2 + [one.code for one in Segment.objects.order_by("pk")]
        codes += [one.code for one in Fitting.objects.order_by("pk")]
        action = chance.choice(["start", "finish", "finish", "finish", "hold", "resume", "scrap", "undo"])
        operation = chance.choice(["cut", "cut", "cut", "roll", "seam"])
        at = NOW + timedelta(minutes=chance.randrange(1, 400))
        found = big.scan(operation, chance.choice(codes), action, reason="Stain", scanned_at=at.isoformat())
        assert found.outcome in ("recorded", "refused")
        assert found.message.endswith(".")
        assert len(found.message) <= 300
    assert agrees()
    assert Task.objects.filter(operation="cut").exclude(state="ready").exists()
