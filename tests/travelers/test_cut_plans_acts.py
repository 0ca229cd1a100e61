"""What is done with a cut plan: dropped, stopped, made again, sent; and what is taken off its sheets."""

from __future__ import annotations

import pytest

from fittings.models import CutPiece, CutSheet, Segment, StockItem
from shared.problems import Conflict, NotAllowed, NotFound, WrongInput
from shared.roles import OPERATOR, Actor
from tests.travelers.cut_floor import (
    LATER,
    NOW,
    OFFICE,
    SUPERVISOR,
    cut,
    live,
    made,
    proven_plan,
    released,
    requested,
    send,
    state,
    stock,
    work,
)
from travelers.cut_plans import piece_take_off, plan_again, plan_drop, plan_stop
from travelers.cut_work import pieces_to_cut
from travelers.models import Task
from travelers.release import order_cancel

pytestmark = pytest.mark.usefixtures("shop")


# -- dropped, stopped, made again --------------------------------------------


@pytest.mark.parametrize("is_made", [True, False])
def test_a_dropped_plan_frees_its_pieces(is_made):
    released()
    stock()
    plan = made() if is_made else requested()
    dropped = plan_drop(number=plan.number, actor=SUPERVISOR, now=LATER)
    assert (dropped.state, dropped.ended_at, live(plan)) == ("dropped", LATER, 0)
    assert len(pieces_to_cut(material="galvanized", gauge=24)) == 6
    assert not work(), "its job is gone"
    with pytest.raises(Conflict, match="dropped before"):
        plan_drop(number=plan.number, actor=OFFICE, now=LATER)


def test_a_plan_that_is_stopped_in_the_queue_is_made_of_the_best_at_hand():
    released(quantity=4, pieces=5)
    stock()
    plan = requested(effort="long")
    plan_stop(number=plan.number, actor=OFFICE, now=NOW)
    assert work()
    plan.refresh_from_db()
    proven_plan(plan)
    assert (plan.state, live(plan), plan.comparisons) == ("made", 20, [])
    with pytest.raises(Conflict, match="no search to stop"):
        plan_stop(number=plan.number, actor=OFFICE, now=NOW)


def test_a_plan_made_again_takes_what_still_waits_and_drops_the_old_one():
    order = released(quantity=2, pieces=3)
    stock()
    old = made(gap_in=0.2, seed=5)
    gone = Segment.objects.filter(fitting__order=order).order_by("pk").first()
    cut(gone.code)
    again = plan_again(number=old.number, actor=OFFICE, now=LATER, effort="quick", turns="half")
    old.refresh_from_db()
    assert (old.state, live(old)) == ("dropped", 0)
    assert (again.number, again.gap_in, again.seed, again.turns) == (2, 0.2, 5, "half")
    assert live(again) == 5
    assert gone.pk not in set(again.pieces.values_list("segment_id", flat=True))
    assert work()
    again.refresh_from_db()
    proven_plan(again)


def test_a_plan_made_again_by_a_wrong_choice_stays_as_it_is():
    released()
    stock()
    plan = made()
    before = state()
    for wrong in ({"gap_in": 99}, {"material": "aluminum"}):
        with pytest.raises(WrongInput):
            plan_again(number=plan.number, actor=OFFICE, now=LATER, **wrong)
    assert state() == before


def test_a_plan_of_which_all_was_cut_cannot_be_made_again():
    order = released(quantity=1, pieces=2)
    stock()
    plan = made()
    for segment in Segment.objects.filter(fitting__order=order):
        cut(segment.code)
    before = state()
    with pytest.raises(Conflict, match="No piece of cut plan 1 waits to be cut."):
        plan_again(number=plan.number, actor=OFFICE, now=LATER)
    assert state() == before


def test_a_dropped_plan_whose_pieces_are_on_another_names_that():
    released()
    stock()
    old = made()
    plan_drop(number=old.number, actor=OFFICE, now=LATER)
    requested(actor=SUPERVISOR)
    before = state()
    said = "All 6 pieces of cut plan 1 that wait to be cut are on cut plan 2 .made by supervisor."
    with pytest.raises(Conflict, match=said):
        plan_again(number=old.number, actor=OFFICE, now=LATER)
    assert state() == before


# -- sent --------------------------------------------------------------------


def test_a_plan_is_sent_once():
    released()
    stock(count=9)
    plan = made()
    send(plan)
    before = state()
    with pytest.raises(Conflict, match="Only a plan that is made can be sent."):
        send(plan)
    for act in (plan_drop, plan_again):
        with pytest.raises(Conflict, match="is sent to the floor"):
            act(number=plan.number, actor=OFFICE, now=LATER)
    assert state() == before


def test_a_plan_that_was_changed_meanwhile_is_not_sent():
    released()
    stock()
    plan = made()
    with pytest.raises(Conflict, match=f"at version {plan.version} now; you began with {plan.version - 1}"):
        send(plan, version=plan.version - 1)
    assert send(plan, version=plan.version).state == "sent"


@pytest.mark.parametrize("how", ["cut", "scrapped", "cancelled"])
def test_a_plan_with_a_piece_that_needs_no_cutting_is_not_sent(how):
    order, other = released(quantity=1), released(quantity=1)
    stock(count=5)
    plan = made()
    code = Segment.objects.filter(fitting__order=order).order_by("pk").first().code
    if how == "cancelled":
        order_cancel(number=order.number, actor=OFFICE, now=LATER)
    else:
        cut(code)
    if how == "scrapped":
        cut(code, "scrap", 2, reason="torn")
    before = state()
    with pytest.raises(Conflict) as refused:
        send(plan)
    assert code in refused.value.detail
    assert "Make the plan again. Nothing was changed." in refused.value.detail
    assert state() == before
    again = plan_again(number=plan.number, actor=OFFICE, now=LATER)
    codes = set(again.pieces.values_list("segment__code", flat=True))
    assert code not in codes
    assert set(Segment.objects.filter(fitting__order=other).values_list("code", flat=True)) <= codes


def test_a_plan_whose_stock_has_run_out_is_not_sent():
    released(quantity=1, params={"diameter": 20})
    size = stock(count=3)
    plan = made()
    StockItem.objects.filter(pk=size.pk).update(count=0)
    before = state()
    with pytest.raises(Conflict, match="has run out meanwhile"):
        send(plan)
    assert state() == before


# -- taken off, made again by scrapping --------------------------------------


def off(sheet: CutSheet, code: str, **changes):
    asked = {"sheet_code": sheet.code, "segment_code": code, "reason": "dented corner"}
    return piece_take_off(**asked | {"actor": SUPERVISOR, "now": LATER} | changes)


def test_a_piece_taken_off_waits_to_be_cut_again():
    released()
    stock()
    plan = made()
    send(plan)
    piece = plan.pieces.select_related("segment", "sheet").order_by("pk").first()
    taken = off(piece.sheet, piece.segment.code.lower())
    assert (taken.is_live, taken.off_reason, taken.off_by) == (False, "dented corner", "supervisor")
    assert [one.code for one in pieces_to_cut(material="galvanized", gauge=24)] == [piece.segment.code]
    with pytest.raises(Conflict, match="was taken off .* before by supervisor: dented corner"):
        off(piece.sheet, piece.segment.code)
    fresh = made()
    assert [one.segment_id for one in fresh.pieces.all()] == [piece.segment_id]


def test_what_cannot_be_taken_off_is_refused():
    order = released()
    stock()
    plan = made()
    send(plan)
    sheet = plan.sheets.get(position=1)
    code = plan.pieces.filter(sheet=sheet).order_by("feed").first().segment.code
    outside = released(quantity=1)
    stranger = Segment.objects.filter(fitting__order=outside).first().code
    with pytest.raises(WrongInput, match="Say why"):
        off(sheet, code, reason="  ")
    with pytest.raises(NotFound, match="is not on sheet"):
        off(sheet, stranger)
    with pytest.raises(NotFound, match="There is no sheet"):
        piece_take_off(sheet_code=code, segment_code=code, reason="x", actor=SUPERVISOR, now=LATER)
    with pytest.raises(NotAllowed):
        off(sheet, code, actor=Actor("CUT-1", OPERATOR, "CUT-1", ("cut",)))
    cut(code)
    with pytest.raises(Conflict, match="was cut already. Scrap it to have it made again"):
        off(sheet, code)
    assert not CutPiece.objects.filter(off_at__isnull=False).exists()
    assert order.state == "released"


def test_a_piece_made_again_enters_the_next_plan():
    order = released(quantity=1)
    stock()
    send(made())
    segment = Segment.objects.filter(fitting__order=order).order_by("pk").first()
    cut(segment.code)
    cut(segment.code, "scrap", 2, reason="torn at the notch")
    again = Segment.objects.get(fitting=segment.fitting, position=segment.position, generation=2)
    assert [one.code for one in pieces_to_cut(material="galvanized", gauge=24)] == [again.code]
    plan = made()
    assert list(plan.pieces.values_list("segment__code", flat=True)) == [again.code]
    proven_plan(plan)
    assert Task.objects.get(segment=again, operation="cut").state == "ready"
