"""From work that waits to pieces that are cut, through the services: what is spoiled or taken off is planned again."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fittings.models import CutPiece, Fitting, Segment, StockItem
from shared.problems import Conflict
from tests.travelers.cut_floor import OFFICE, made, released, stock
from tests.travelers.floor import NOW, Floor, badge
from tests.travelers.sheet_floor import big_floor, segments_of, sent_sheets
from travelers.cut_plans import piece_take_off, plan_send
from travelers.cut_work import cut_work, pieces_to_cut
from travelers.models import Task
from travelers.replay import replay

pytestmark = pytest.mark.django_db


@pytest.fixture
def on(shop) -> Floor:
    stock(48, 96)
    return Floor(released(quantity=3), badge())


def sent():
    """All work that waits, on sheets of a sent plan."""
    plan = plan_send(number=made().number, actor=OFFICE, now=NOW)
    return list(plan.sheets.order_by("position"))


def waiting() -> dict[str, int]:
    """Codes of pieces that wait for a plan, with their generation."""
    return {piece.code: piece.generation for piece in pieces_to_cut(material="galvanized", gauge=24)}


def take_off(sheet, segment, reason="Stain"):
    return piece_take_off(
        sheet_code=sheet.code, segment_code=segment.code, reason=reason, actor=OFFICE, now=NOW
    )


def test_a_plan_is_cut_sheet_by_sheet_and_nothing_waits_any_more(on):
    assert len(waiting()) == 9
    sheets = sent()
    assert waiting() == {}
    for sheet in sheets:
        done = on.scan("cut", sheet.code)
        count = CutPiece.objects.filter(sheet=sheet).count()
        noun = "piece" if count == 1 else "pieces"
        assert done.message == f"Sheet {sheet.position} of plan {sheet.plan.number}: {count} {noun} cut."
    assert set(Task.objects.filter(operation="cut").values_list("state", flat=True)) == {"done"}
    assert set(StockItem.objects.filter(form="remnant").values_list("count", flat=True)) <= {1}
    assert replay(write=False).differences == []


@pytest.mark.parametrize("operation", ["cut", "roll", "seam", "assemble"])
def test_a_segment_scrapped_anywhere_enters_the_next_plan(on, operation):
    sheets = sent()
    for sheet in sheets:
        on.scan("cut", sheet.code)
    scrapped = on.segment(2)
    on.scan(operation, scrapped.code, "scrap", reason="Seam split")
    fresh = on.segment(2, generation=2)
    assert waiting() == {fresh.code: 2}
    (work,) = cut_work(today=NOW.date())
    assert (work.pieces, work.fittings, work.left_out) == (1, 1, ())
    (sheet,) = sent()
    assert waiting() == {}
    assert list(CutPiece.objects.filter(sheet=sheet).values_list("segment_id", flat=True)) == [fresh.pk]
    assert on.scan("cut", sheet.code).message == f"Sheet 1 of plan {sheet.plan.number}: 1 piece cut."
    assert on.task("roll", 2, generation=2).state == "ready"
    assert replay(write=False).differences == []


def test_a_segment_scrapped_before_its_sheet_is_cut_is_planned_again_and_passed_over(on):
    sheets = sent()
    piece = CutPiece.objects.filter(sheet=sheets[0]).select_related("segment__fitting").first()
    on.scan("cut", piece.segment.code, "scrap", reason="Stain")
    fresh = Segment.objects.get(generation=2)
    assert waiting() == {fresh.code: 2}
    (again,) = sent()
    done = on.scan("cut", sheets[0].code)
    assert done.outcome == "recorded"
    assert done.message.endswith(", 1 scrapped.")
    assert Task.objects.get(segment=fresh, operation="cut").state == "ready"
    on.scan("cut", again.code)
    assert Task.objects.get(segment=fresh, operation="cut").state == "done"
    assert replay(write=False).differences == []


def test_a_spoiled_sheet_waits_whole_for_the_next_plan(on):
    sheets = sent()
    count = CutPiece.objects.filter(sheet=sheets[0]).count()
    on.scan("cut", sheets[0].code, "scrap", reason="Torch went out")
    assert len(waiting()) == count
    assert set(waiting().values()) == {2}


@pytest.mark.parametrize("action", [None, "start"])
def test_a_piece_taken_off_waits_again_also_where_its_sheet_was_started(on, action):
    sheets = sent()
    segment = CutPiece.objects.filter(sheet=sheets[0]).first().segment
    if action:
        on.scan("cut", sheets[0].code, action)
    take_off(sheets[0], segment)
    assert waiting() == {segment.code: 1}
    on.scan("cut", sheets[0].code)
    assert waiting() == {segment.code: 1}
    (again,) = sent()
    assert on.scan("cut", again.code).message.endswith(": 1 piece cut.")
    assert set(Task.objects.filter(operation="cut").values_list("state", flat=True)) == {"done"}
    assert replay(write=False).differences == []


def test_a_plate_that_is_cut_is_not_taken_off_though_its_segment_still_waits(shop):
    big = big_floor()
    one = segments_of(big)[0]
    first, second = sent_sheets([(one, 1)], [(one, 2)], number=12)
    big.scan("cut", first.code)
    with pytest.raises(Conflict) as caught:
        take_off(first, one)
    assert "was cut already" in caught.value.detail
    assert CutPiece.objects.filter(is_live=True).count() == 2
    take_off(second, one)
    waits = pieces_to_cut(material="galvanized", gauge=18)
    assert [piece.plate for piece in waits if piece.segment_id == one.pk] == [2]


def test_the_undo_of_a_sheet_after_a_piece_was_taken_off_it_reaches_that_piece_too(on):
    """It was on hold when the sheet was cut; without the undo its fitting would keep a finish that no longer stands."""
    sheets = sent()
    segment = CutPiece.objects.filter(sheet=sheets[0]).first().segment
    hold = on.scan("cut", segment.code, "hold", reason="Stain")
    on.scan("cut", sheets[0].code)
    take_off(sheets[0], segment)
    assert on.scan("cut", sheets[0].code, "undo").outcome == "recorded"
    on.scan("cut", segment.code, "undo", undoes=hold.id)
    assert Task.objects.get(segment=segment, operation="cut").state == "ready"
    assert replay(write=False).differences == []


def test_a_sheet_scanned_while_offline_before_its_piece_was_taken_off(on):
    """The piece is off when the scan arrives: the sheet's finish does not count it."""
    sheets = sent()
    segment = CutPiece.objects.filter(sheet=sheets[0]).first().segment
    body = on.body(sheets[0].code, "finish")
    take_off(sheets[0], segment)
    done = on.scan("cut", sheets[0].code, id=body["id"], now=NOW + timedelta(days=2))
    assert done.outcome == "recorded"
    assert Task.objects.get(segment=segment, operation="cut").state == "ready"
    assert Fitting.objects.filter(state="open").count() == 3
