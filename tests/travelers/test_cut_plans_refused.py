"""Cut plans that cannot be asked for or acted on: one sentence, and nothing changed."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, transaction

from fittings.models import CutPiece, Segment
from shared.problems import Conflict, NotAllowed, NotFound, WrongInput
from shared.roles import OPERATOR, Actor
from tests.travelers.cut_floor import (
    LATER,
    OFFICE,
    SUPERVISOR,
    cut,
    made,
    released,
    requested,
    state,
    stock,
)
from travelers.cut_plans import plan_again, plan_drop, plan_send, plan_stop

pytestmark = pytest.mark.usefixtures("shop")


@pytest.mark.parametrize(
    ("field", "wrong", "said"),
    [
        ("gap_in", 9, "Gap is 9 in; it can be 0 to 2 in."),
        ("gap_in", -0.1, "Gap is -0.1 in; it can be 0 to 2 in."),
        ("gap_in", "wide", "Gap is “wide”; it can be 0 to 2 in."),
        ("margin_in", 13, "Margin is 13 in; it can be 0 to 12 in."),
        ("turns", "around", "any, half, none"),
        ("seams", "anywhere", "ordered, free"),
        ("effort", "endless", "quick, normal, long"),
        ("seed", 0, "Seed is 0; it can be a whole number from 1 to"),
        ("material", "unobtainium", "unobtainium"),
        ("gauge", 3, "galvanized can be"),
        ("orders", ["9999"], "There is no order 9999."),
        ("stock_ids", [99999], "is not on hand of 24 ga galvanized"),
    ],
)
def test_a_wrong_choice_is_refused_naming_field_value_and_limit(field, wrong, said):
    released()
    stock()
    before = state()
    with pytest.raises(WrongInput) as refused:
        requested(**{field: wrong})
    assert said in refused.value.detail
    name = {"gap_in": "gap", "margin_in": "margin", "orders": "orders[0]", "stock_ids": "stock[0]"}
    assert [error.field for error in refused.value.errors] == [name.get(field, field)]
    assert state() == before


def test_a_margin_that_leaves_nothing_of_the_stock_is_refused():
    released()
    stock(width=20, length=120)
    with pytest.raises(WrongInput, match="Margin is 10 in: nothing is left of any stock"):
        requested(margin_in=10)


def test_nothing_that_waits_is_refused_in_a_sentence():
    stock()
    with pytest.raises(Conflict, match="No piece of 24 ga galvanized waits to be cut. Nothing was changed."):
        requested()
    order = released(quantity=1)
    code = Segment.objects.filter(fitting__order=order).order_by("pk").first().code
    cut(code, "hold", reason="dented")
    requested()
    assert CutPiece.objects.count() == 2
    with pytest.raises(Conflict, match="on hold at the table|are on cut plan 1"):
        requested()


def test_no_stock_of_the_metal_is_refused_saying_where_to_add_it():
    released()
    before = state()
    with pytest.raises(Conflict, match="no stock of 24 ga galvanized on hand. Add a sheet size or a coil"):
        requested()
    assert state() == before


def test_the_second_planner_is_told_the_plan_and_who_made_it():
    order = released()
    stock()
    requested()
    before = state()
    for orders in ([], [order.number]):
        with pytest.raises(Conflict) as refused:
            requested(actor=SUPERVISOR, orders=orders)
        assert "All 6 pieces of 24 ga galvanized" in refused.value.detail
        assert "cut plan 1 (made by office)" in refused.value.detail
    assert state() == before


def test_a_piece_cannot_be_on_two_live_plans_whatever_the_code_does():
    released()
    stock()
    piece = requested().pieces.first()
    with pytest.raises(IntegrityError), transaction.atomic():
        CutPiece.objects.create(
            plan=piece.plan, segment=piece.segment, plate=piece.plate, pattern=piece.pattern
        )


@pytest.mark.parametrize("act", [plan_stop, plan_drop, plan_again, plan_send])
def test_a_tablet_cannot_act_on_plans(act):
    released()
    stock()
    plan = made()
    before = state()
    with pytest.raises(NotAllowed):
        act(number=plan.number, actor=Actor("CUT-1", OPERATOR, "CUT-1", ("cut",)), now=LATER)
    with pytest.raises(NotFound, match="There is no cut plan 77."):
        act(number=77, actor=OFFICE, now=LATER)
    assert state() == before
