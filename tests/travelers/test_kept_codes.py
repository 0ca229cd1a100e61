"""The old code on a kept piece: from its use on it stands for the piece that it became."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fittings.models import Fitting, Segment
from tests.factories import OFFICE_ACTOR
from tests.travelers.floor import LATER
from tests.travelers.kept_floor import agrees, draft, fittings_kept, release, segments_kept
from travelers.kept import kept_add
from travelers.models import ScanTarget, Task
from travelers.release import order_cancel
from travelers.station_work import piece_at
from travelers.where import where, where_find

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]


def state(segment: Segment, operation: str) -> str:
    return Task.objects.get(segment=segment, operation=operation).state


def test_the_old_label_counts_for_the_new_piece():
    (kept,) = segments_kept(2)
    on = release(draft(quantity=1), [kept])
    found = on.scan("seam", kept.segment.code)
    assert (found.outcome, found.message) == ("recorded", "Gore 2 of 3 seamed. Next: Assemble.")
    assert state(on.segment(2), "seam") == "done"
    assert state(kept.segment, "seam") == "void"
    assert ScanTarget.objects.order_by("pk").last().fitting == on.fitting
    agrees()


def test_the_new_label_counts_just_so_and_the_old_one_knows_of_it():
    (kept,) = segments_kept(2)
    on = release(draft(quantity=1), [kept])
    assert on.scan("seam", on.segment(2).code).outcome == "recorded"
    again = on.scan("seam", kept.segment.code)
    assert again.outcome == "refused" and "Seam was finished" in again.message


def test_what_came_done_says_so():
    (kept,) = segments_kept(2)
    on = release(draft(quantity=1), [kept])
    found = on.scan("roll", kept.segment.code)
    assert (found.outcome, found.reason_code) == ("refused", "came_done")
    assert found.message == "Gore 2 of 3 came from stock with Roll done."


def test_a_kept_piece_that_nobody_uses_is_void():
    (kept,) = segments_kept(2)
    on = release(draft(quantity=1))
    after = LATER + timedelta(minutes=1)
    found = on.scan("seam", kept.segment.code, now=after, scanned_at=after.isoformat())
    assert (found.outcome, found.reason_code) == ("refused", "void")
    assert state(on.segment(2), "seam") == "waiting"


def test_a_scan_of_before_the_use_is_about_the_piece_that_it_was():
    """The old order was cancelled at LATER; its gore was seamed an hour before, on a tablet without the network."""
    old = LATER - timedelta(hours=1)
    (kept,) = segments_kept(2)
    on = release(draft(quantity=1), [kept])
    on.order.refresh_from_db()
    kept.refresh_from_db()
    kept.used_at = LATER + timedelta(hours=1)
    kept.save()
    found = on.scan("seam", kept.segment.code, now=LATER + timedelta(hours=2), scanned_at=old.isoformat())
    assert found.outcome == "recorded"
    assert state(kept.segment, "seam") == "done"
    assert state(on.segment(2), "seam") == "ready"
    agrees()


def test_the_codes_of_a_kept_fitting_stand_for_the_new_one():
    (kept,) = fittings_kept()
    label = Segment.objects.get(fitting=kept.fitting, position=2).code
    on = release(draft(quantity=2), [kept])
    for code in (kept.fitting.code, label):
        found = on.scan("wrap", code)
        assert (found.outcome, found.reason_code) == ("refused", "came_done"), found.message
        assert where(code)["results"][0]["code"] == on.fittings[0].code


def test_a_piece_that_was_used_twice_is_the_last_one():
    (kept,) = segments_kept(2)
    first = release(draft(quantity=1), [kept])
    order_cancel(number=first.order.number, actor=OFFICE_ACTOR, now=LATER)
    (again,) = kept_add(pieces=[first.segment(2)], why="cancelled", actor=OFFICE_ACTOR, now=LATER)
    second = release(draft(quantity=1), [again])
    for code in (kept.segment.code, first.segment(2).code, second.segment(2).code):
        assert where_find(code).asked == {second.segment(2).pk}
    found = second.scan("seam", kept.segment.code, now=LATER + timedelta(hours=1))
    assert found.outcome == "recorded"
    assert state(second.segment(2), "seam") == "done"
    agrees()


def test_a_kept_gore_that_went_to_another_position_is_that_one():
    (kept,) = segments_kept(4, pieces=5)
    on = release(draft(quantity=1, pieces=5), [kept])
    assert on.scan("seam", kept.segment.code).message.startswith("Gore 2 of 5 seamed")


def test_where_says_where_a_kept_piece_lies_and_then_what_it_is():
    (kept,) = segments_kept(2)
    code = kept.segment.code
    assert where(code)["found"] == f"Segment {code}, position 2, kept at A4"
    on = release(draft(quantity=1), [kept])
    new = on.segment(2)
    found = where(code)
    assert found["found"] == (
        f"Segment {code}, position 2, kept and used: it is now {new.code}, position 2 of fitting {on.fitting.code}"
    )
    assert [one["code"] for one in found["results"]] == [on.fitting.code]
    assert [piece["code"] for piece in found["results"][0]["segments"] if piece["asked"]] == [new.code]
    assert where(new.code)["found"] == f"Segment {new.code}, position 2"


def test_the_tablet_shows_the_new_piece_for_the_old_code():
    (kept,) = segments_kept(2)
    on = release(draft(quantity=1), [kept])
    here = piece_at(kept.segment.code, ["seam"])
    assert (here.order, here.fitting_code, here.position, here.task_state) == (
        on.order.number,
        on.fitting.code,
        2,
        "ready",
    )


def test_an_undo_by_the_old_code_undoes_the_new_pieces_scan_and_no_older_one():
    (kept,) = segments_kept(2)
    on = release(draft(quantity=1), [kept])
    on.scan("seam", kept.segment.code)
    assert on.scan("seam", kept.segment.code, "undo").outcome == "recorded"
    assert state(on.segment(2), "seam") == "ready"
    assert on.scan("roll", kept.segment.code, "undo").outcome == "refused"
    assert Fitting.objects.get(pk=kept.fitting_id).state == "void"
    agrees()
