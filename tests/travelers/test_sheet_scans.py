"""A sheet's code scanned: one row in the record, a target for each piece on it, each piece judged by itself."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fittings.models import CutPiece, Segment
from shared.roles import OPERATOR, Actor
from tests.factories import OFFICE_ACTOR
from tests.travelers.floor import LATER, NOW, SUPERVISOR_HAND, facts, floor, station
from tests.travelers.sheet_floor import remnant_of, segments_of, sent_sheets, targets
from travelers.models import Scan, Task
from travelers.release import order_cancel
from travelers.replay import replay

pytestmark = pytest.mark.django_db


@pytest.fixture
def sheets(on):
    """Sheets of plan 12: four of the six segments of two elbows on the first, two on the second."""
    one, two, three, four, five, six = segments_of(on)
    return sent_sheets([one, two, three, four], [five, six], number=12)


def cut_states(on) -> list[str]:
    return on.states("cut", 1) + on.states("cut", 2)


def agrees() -> bool:
    return replay(write=False).differences == []


# -- finish --------------------------------------------------------------------


def test_one_finish_cuts_every_piece_on_the_sheet_and_is_one_row(on, sheets):
    done = on.scan("cut", sheets[0].code)
    assert (done.outcome, done.operation, done.message) == (
        "recorded",
        "cut",
        "Sheet 1 of plan 12: 4 pieces cut.",
    )
    assert done.changed == 8  # four cuts done, four rolls ready
    assert cut_states(on) == ["done"] * 4 + ["ready"] * 2
    cut = on.task("cut", 1)
    assert (cut.station, cut.badge, cut.finished_at) == ("CUT-1", on.badge, NOW + timedelta(minutes=1))
    row = Scan.objects.get()
    assert (row.code, row.operations, row.sequence) == (sheets[0].code, "cut", done.sequence)
    assert targets(done.sequence) == [(one.pk, 0, 0) for one in segments_of(on)[:4]]
    assert agrees()


def test_the_rest_goes_on_piece_by_piece(on, sheets):
    on.scan("cut", sheets[0].code)
    code = on.segment(1).code
    assert on.scan("cut", code).outcome == "refused"
    assert on.scan("roll", code).message == "Gore 1 of 3 rolled. Next: Seam."
    assert agrees()


def test_a_piece_cut_alone_is_counted_out(on, sheets):
    on.scan("cut", on.segment(2).code)
    before = on.task("cut", 2).finished_at
    done = on.scan("cut", sheets[0].code)
    assert done.message == "Sheet 1 of plan 12: 3 pieces cut, 1 cut already."
    assert on.task("cut", 2).finished_at == before
    assert agrees()


def test_what_is_on_hold_or_scrapped_is_passed_over(on, sheets):
    on.scan("cut", on.segment(1).code, "hold", reason="Stain")
    on.scan("cut", on.segment(2).code, "scrap", reason="Stain")
    done = on.scan("cut", sheets[0].code)
    assert done.message == "Sheet 1 of plan 12: 2 pieces cut, 1 on hold, 1 scrapped."
    assert on.task("cut", 1).state == "held"
    assert on.task("cut", 2, generation=2).state == "ready"
    on.scan("cut", on.segment(1).code, "resume")
    again = on.scan("cut", sheets[0].code)
    assert again.message == "Sheet 1 of plan 12: 1 piece cut, 1 scrapped, 2 cut already."
    assert agrees()


def test_what_was_taken_off_is_not_on_the_sheet_any_more(on, sheets):
    off = on.segment(1)
    CutPiece.objects.filter(segment=off).update(is_live=False)
    done = on.scan("cut", sheets[0].code)
    assert done.message == "Sheet 1 of plan 12: 3 pieces cut."
    assert on.task("cut", 1).state == "ready"
    assert off.pk not in [segment for segment, *_ in targets(done.sequence)]


def test_a_sheet_with_nothing_left_is_refused(on, sheets):
    CutPiece.objects.filter(sheet=sheets[1]).update(is_live=False)
    before = facts()
    done = on.scan("cut", sheets[1].code)
    assert (done.outcome, done.message) == ("refused", "Sheet 2 of plan 12 has no pieces left on it.")
    assert on.scan("cut", sheets[1].code, "undo").outcome == "refused"
    assert facts() == before


def test_a_second_finish_is_refused_naming_who_and_when(on, sheets):
    on.scan("cut", sheets[0].code)
    before = facts()
    done = on.scan("cut", sheets[0].code)
    assert (done.outcome, done.reason_code) == ("refused", "already_done")
    pattern = r"Sheet 1 of plan 12: Cut was finished by Sam Invented \d+ at Mon 2 Mar, 08:01\."
    assert re.fullmatch(pattern, done.message)
    assert facts() == before


def test_where_no_piece_can_be_cut_for_several_reasons_they_are_counted(on, sheets):
    on.scan("cut", on.segment(2, 2).code)
    on.scan("cut", on.segment(3, 2).code, "hold", reason="Stain")
    before = facts()
    done = on.scan("cut", sheets[1].code)
    assert (done.outcome, done.message) == (
        "refused",
        "Sheet 2 of plan 12: nothing to do here; 1 cut already, 1 on hold.",
    )
    assert facts() == before


def test_pieces_of_a_cancelled_order_are_passed_over(shop):
    on, other = floor(quantity=1), floor(quantity=1)
    (sheet,) = sent_sheets(segments_of(on) + segments_of(other), number=12)
    order_cancel(number=other.order.number, actor=OFFICE_ACTOR, now=NOW)
    done = on.scan("cut", sheet.code)
    assert done.message == "Sheet 1 of plan 12: 3 pieces cut, 3 void."
    assert agrees()


def test_the_same_delivery_again_gets_the_first_answer(on, sheets):
    body = on.body(sheets[0].code, "finish")
    first = on.send(station("cut"), body)
    before = facts()
    again = on.send(station("cut"), body, now=LATER + timedelta(days=40))
    assert (again.outcome, again.message, again.sequence) == ("repeated", first.message, first.sequence)
    assert facts() == before


# -- the other actions ------------------------------------------------------------


@pytest.mark.parametrize(
    ("action", "before", "state", "message"),
    [
        ("start", (), "running", "Sheet 2 of plan 12: 2 pieces started."),
        ("hold", (), "held", "Sheet 2 of plan 12: 2 pieces on hold (No sheet)."),
        ("resume", ("start", "hold"), "running", "Sheet 2 of plan 12: 2 pieces on again."),
        ("scrap", ("start",), "void", "Sheet 2 of plan 12: 2 pieces scrapped, to be made again."),
        ("undo", ("finish",), "ready", "Sheet 2 of plan 12: Cut is undone."),
        ("undo", ("start",), "ready", "Sheet 2 of plan 12: the start at Cut is undone."),
    ],
)
def test_each_action(on, sheets, action, before, state, message):
    for one in before:
        assert on.scan("cut", sheets[1].code, one, reason="No sheet").outcome == "recorded"
    done = on.scan("cut", sheets[1].code, action, reason="No sheet")
    assert (done.outcome, done.message) == ("recorded", message)
    assert on.task("cut", 2, fitting=2).state == on.task("cut", 3, fitting=2).state == state
    assert on.task("cut", 1, fitting=2).state == "ready"
    assert agrees()


def test_start_then_finish_gives_the_duration_of_the_whole_sheet(on, sheets):
    on.scan("cut", sheets[0].code, "start")
    on.scan("cut", sheets[0].code)
    for position in (1, 2, 3):
        cut = on.task("cut", position)
        assert cut.finished_at - cut.started_at == timedelta(minutes=1)


def test_a_spoiled_sheet_is_made_again_whole(on, sheets):
    done = on.scan("cut", sheets[0].code, "scrap", reason="Wrong gauge")
    assert done.outcome == "recorded"
    fresh = Segment.objects.filter(generation=2)
    assert fresh.count() == 4
    assert set(Task.objects.filter(segment__in=fresh, operation="cut").values_list("state", "reason")) == {
        ("ready", "")
    }
    assert len({one.code for one in segments_of(on)}) == 10
    again = on.scan("cut", sheets[0].code)
    assert (again.outcome, again.reason_code) == ("refused", "scrapped")
    undone = on.scan("cut", sheets[0].code, "undo")
    assert undone.outcome == "recorded"
    assert on.scan("cut", sheets[0].code).message == "Sheet 1 of plan 12: 4 pieces cut."
    assert agrees()


def test_undo_takes_back_the_last_scan_of_the_sheet_only(on, sheets):
    on.scan("cut", on.segment(1).code)
    on.scan("cut", sheets[0].code)
    on.scan("cut", sheets[1].code)
    assert on.scan("cut", sheets[0].code, "undo").outcome == "recorded"
    assert cut_states(on) == ["done", "ready", "ready", "ready", "done", "done"]
    nothing = on.scan("cut", sheets[0].code, "undo")
    assert (nothing.outcome, nothing.message) == (
        "refused",
        "Sheet 1 of plan 12: there is nothing to undo here.",
    )
    assert agrees()


def test_undo_is_refused_once_a_piece_of_it_went_on(on, sheets):
    on.scan("cut", sheets[0].code)
    on.scan("roll", on.segment(2).code)
    before = facts()
    done = on.scan("cut", sheets[0].code, "undo")
    assert (done.outcome, done.reason_code) == ("refused", "later_done")
    assert re.fullmatch(
        r"A piece of sheet 1 of plan 12 went on to Roll by Sam Invented \d+\. Undo that first\.", done.message
    )
    assert facts() == before


def test_a_piece_that_was_cut_alone_and_went_on_does_not_stop_the_undo_of_the_sheet(on, sheets):
    on.scan("cut", on.segment(1).code)
    on.scan("cut", sheets[0].code)
    on.scan("roll", on.segment(1).code)
    assert on.scan("cut", sheets[0].code, "undo").outcome == "recorded"
    assert cut_states(on)[:4] == ["done", "ready", "ready", "ready"]
    assert on.task("roll", 1).state == "done"
    assert agrees()


def test_an_undo_that_comes_before_its_finish_still_cancels_it(on, sheets):
    rest = remnant_of(sheets[0])
    finish = on.body(sheets[0].code, "finish")
    undo = on.scan("cut", sheets[0].code, "undo", undoes=finish["id"])
    assert undo.message == "Sheet 1 of plan 12: the undo is kept for when its scan arrives."
    assert on.send(station("cut"), finish).outcome == "recorded"
    assert cut_states(on) == ["ready"] * 6
    rest.refresh_from_db()
    assert rest.count == 0
    assert agrees()


def test_the_scan_of_a_sheet_is_not_undone_by_one_of_its_pieces(on, sheets):
    done = on.scan("cut", sheets[0].code)
    before = facts()
    undo = on.scan("cut", on.segment(1).code, "undo", undoes=done.id)
    assert (undo.outcome, undo.message) == (
        "refused",
        "That was the scan of a sheet. Scan the sheet's code to undo it.",
    )
    assert facts() == before


def test_a_piece_that_was_cut_alone_too_stays_cut_by_its_sheet(on, sheets):
    code = on.segment(1).code
    on.scan("cut", code)
    on.scan("cut", sheets[0].code)
    undone = on.scan("cut", code, "undo")
    assert (undone.outcome, undone.message) == (
        "recorded",
        "Gore 1 of 3: undone; Cut stands by another scan.",
    )
    assert on.task("cut", 1).finished_at == NOW + timedelta(minutes=2)
    assert agrees()


@pytest.mark.parametrize("fitting", [1, 2])
def test_a_late_finish_reaches_a_piece_whose_hold_was_undone_before_it_arrived(on, sheets, fitting):
    """At its own time the piece was on hold, and yet it was not: the hold was a mistake, and undone."""
    code = on.segment(1, fitting).code
    hold = on.scan("cut", code, "hold", reason="Stain")
    late = on.body(sheets[0].code, "finish")
    on.scan("cut", code, "undo", undoes=hold.id)
    done = on.send(station("cut"), late)
    assert done.message == "Sheet 1 of plan 12: 3 pieces cut, 1 on hold."
    assert cut_states(on)[:4] == ["done"] * 4
    assert agrees()


# -- where and how much ----------------------------------------------------------------


def test_a_station_that_does_not_cut_refuses_it(on, sheets):
    before = facts()
    done = on.scan("roll", sheets[0].code)
    assert (done.outcome, done.message) == (
        "refused",
        "Sheet 1 of plan 12 is cut at another station. Scan its pieces here.",
    )
    assert facts() == before


def test_a_station_that_does_more_than_cut_only_cuts_it(on, sheets):
    both = Actor("CUT-2", OPERATOR, "CUT-2", ("cut", "roll", "seam"))
    assert on.send(both, on.body(sheets[0].code, "finish")).operation == "cut"
    again = on.send(both, on.body(sheets[0].code, "finish"))
    assert (again.outcome, again.reason_code) == ("refused", "already_done")
    assert on.states("roll")[:3] == ["ready"] * 3
    assert Scan.objects.first().operations == "cut"
    assert agrees()


def test_a_count_of_a_sheet_is_refused(on, sheets):
    before = facts()
    for count in (1, 4):
        done = on.scan("cut", sheets[0].code, count=count)
        assert (done.outcome, done.message) == (
            "refused",
            "A sheet has no count. Scan its code alone for all its pieces.",
        )
    assert facts() == before


def test_a_supervisor_scans_a_sheet_for_a_station(on, sheets):
    body = on.body(sheets[0].code, "finish", badge=..., station="CUT-1")
    assert on.send(SUPERVISOR_HAND, body).outcome == "recorded"
    assert on.task("cut", 1).badge == "supervisor"


def test_without_a_badge_nothing_is_cut(on, sheets):
    assert on.scan("cut", sheets[0].code, badge="").message == "Scan your badge first."
    assert cut_states(on) == ["ready"] * 6


@pytest.mark.parametrize("operation, asked", [("cut", 1), ("roll", 0)])
def test_the_scan_of_a_piece_asks_about_sheets_only_where_it_is_cut(on, sheets, operation, asked):
    for code in (on.segment(1).code, on.fittings[1].code):
        if operation != "cut":
            on.scan("cut", code)
        with CaptureQueriesContext(connection) as seen:
            on.scan(operation, code)
        about = [one["sql"] for one in seen if "cutsheet" in one["sql"] or "cutpiece" in one["sql"]]
        assert len(about) == asked


# -- the remnant ------------------------------------------------------------------------


def test_what_is_left_of_the_sheet_comes_with_its_finish_and_goes_with_its_undo(on, sheets):
    rest, other = remnant_of(sheets[0]), remnant_of(sheets[1])

    def on_hand():
        for one in (rest, other):
            one.refresh_from_db()
        return rest.count, other.count

    on.scan("cut", sheets[0].code, "start")
    assert on_hand() == (0, 0)
    on.scan("cut", sheets[0].code)
    assert on_hand() == (1, 0)
    on.scan("cut", sheets[0].code, "undo")
    assert on_hand() == (0, 0)


def test_the_remnant_stays_while_another_finish_of_the_sheet_stands(on, sheets):
    rest = remnant_of(sheets[0])
    on.scan("cut", on.segment(1).code, "hold", reason="Stain")
    on.scan("cut", sheets[0].code)
    on.scan("cut", on.segment(1).code, "resume")
    on.scan("cut", sheets[0].code)
    for expected in (1, 0):
        assert on.scan("cut", sheets[0].code, "undo").outcome == "recorded"
        rest.refresh_from_db()
        assert rest.count == expected


def test_what_is_left_of_a_sheet_comes_with_the_last_of_its_pieces_cut_one_by_one(on, sheets):
    rest, other = remnant_of(sheets[0]), remnant_of(sheets[1])
    for number, segment in enumerate(segments_of(on)[:4], 1):
        on.scan("cut", segment.code)
        rest.refresh_from_db()
        assert rest.count == (1 if number == 4 else 0)
    other.refresh_from_db()
    assert other.count == 0


def test_a_refused_scan_brings_no_remnant(on, sheets):
    rest = remnant_of(sheets[0])
    on.scan("roll", sheets[0].code)
    on.scan("cut", sheets[0].code, count=3)
    rest.refresh_from_db()
    assert rest.count == 0
