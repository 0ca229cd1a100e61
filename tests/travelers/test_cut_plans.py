"""A cut plan from the request to the floor: which work it holds, how it is made, its plates, seams and loads."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from fittings.models import CutSheet, Segment, StockItem
from shared.jobs import job_of
from tests.travelers.cut_floor import (
    LATER,
    NOW,
    OFFICE,
    live,
    made,
    proven_plan,
    released,
    requested,
    send,
    stock,
    work,
)
from travelers.cut_plans import plan_drop
from travelers.cut_work import cut_work, pieces_to_cut

pytestmark = pytest.mark.usefixtures("shop")


# -- the whole way -----------------------------------------------------------


def test_a_plan_goes_from_its_request_to_the_floor():
    order = released(quantity=3, pieces=5)
    size = stock(count=4)
    plan = requested()
    assert (plan.number, plan.state, live(plan)) == (1, "making", 15)
    assert cut_work(today=NOW.date()) == []
    assert work(searches=True)
    plan.refresh_from_db()
    assert plan.state == "made"
    assert job_of("cut_plan", "1").state == "done"
    proven_plan(plan)
    assert live(plan) == 15 == Segment.objects.filter(fitting__order=order).count()
    sent = send(plan)
    assert (sent.state, sent.sent_by, sent.sent_at) == ("sent", "office", LATER)
    sheets = list(plan.sheets.order_by("position"))
    assert len({sheet.code for sheet in sheets if sheet.code}) == len(sheets)
    size.refresh_from_db()
    assert size.count == 4 - len(sheets)
    remnants = StockItem.objects.filter(form="remnant", made_from__plan=plan)
    assert remnants.count() == sum(1 for sheet in sheets if sheet.remnant_length_in)
    assert live(plan) == 15


def test_plans_are_numbered_one_after_the_other():
    stock()
    numbers = []
    for _ in range(3):
        released()
        numbers.append(requested().number)
    assert numbers == [1, 2, 3]


def test_the_choices_come_from_the_shop_where_they_are_left_out():
    released()
    stock()
    plan = requested(effort=None)
    told = (plan.effort, plan.gap_in, plan.margin_in, plan.turns, plan.seams, plan.seed)
    assert told == ("normal", 0.125, 0.25, "any", "ordered", 1)


def test_a_plan_keeps_to_its_own_gap_margin_and_turns():
    released(quantity=4, pieces=5)
    stock()
    plan = proven_plan(made(gap_in=0.5, margin_in=1.0, turns="half"))
    assert (plan.gap_in, plan.margin_in, plan.turns) == (0.5, 1.0, "half")
    plan_drop(number=plan.number, actor=OFFICE, now=LATER)
    proven_plan(made(gap_in=0, margin_in=0, turns="none"))


def test_the_figures_of_a_plan_are_those_of_its_sheets():
    released(quantity=6, pieces=5)
    stock()
    plan = made()
    sheets = list(plan.sheets.order_by("position"))
    assert plan.parts_area == pytest.approx(sum(sheet.parts_area for sheet in sheets))
    used = {sheet.pk: sheet.width_in * sheet.length_in for sheet in sheets}
    least = min(sheets, key=lambda sheet: sheet.used_length_in)
    used[least.pk] = least.width_in * least.used_length_in
    assert plan.stock_area == pytest.approx(sum(used.values()))
    assert plan.utilisation == pytest.approx(plan.parts_area / plan.stock_area)
    assert 0 < plan.utilisation <= plan.bound <= 1
    credit = sum(sheet.remnant_credit for sheet in sheets)
    assert plan.cost == Decimal("40.00") * len(sheets) - credit


def test_the_cost_is_not_known_where_a_price_is_not():
    released()
    stock(cost_each=None)
    assert made().cost is None


# -- which work --------------------------------------------------------------


def test_only_the_chosen_orders_are_planned():
    first, second = released(), released()
    stock()
    plan = requested(orders=[second.number])
    fittings = set(plan.pieces.values_list("segment__fitting__order__number", flat=True))
    assert fittings == {second.number}
    waiting = pieces_to_cut(material="galvanized", gauge=24)
    assert {piece.order for piece in waiting} == {first.number}


def test_work_up_to_a_date_leaves_out_later_dates_and_none():
    near, far, never = released("2026-03-05"), released("2026-03-20"), released(None)
    stock()
    requested(due_to=NOW.date() + timedelta(days=7))
    left = {piece.order for piece in pieces_to_cut(material="galvanized", gauge=24)}
    assert left == {far.number, never.number}
    assert near.number not in left


def test_late_work_is_cut_first():
    early = released("2026-06-01", quantity=12, pieces=5)
    late = released("2026-02-20", quantity=3, pieces=5)
    stock()
    plan = proven_plan(made())
    assert plan.sheets.count() > 2, "otherwise the order of the sheets shows nothing"
    placed = plan.pieces.values_list("sheet__position", "pattern", "segment__fitting__order")
    with_late = {position for position, _, order in placed if order == late.pk}
    assert with_late == set(range(1, len(with_late) + 1)), "nothing is cut before it"
    assert len(with_late) < plan.sheets.count()
    for pattern in {pattern for _, pattern, _ in placed}:
        of = [[at for at, one, order in placed if (one, order) == (pattern, who.pk)] for who in (late, early)]
        assert max(of[0]) <= min(of[1]), "equal pieces go to their places by date"


def test_what_the_stock_does_not_do_for_stays_out_the_least_urgent_first():
    late = released("2026-02-20", quantity=2, pieces=5)
    early = released("2026-06-01", quantity=12, pieces=5)
    stock(count=1)
    plan = proven_plan(made())
    out = plan.pieces.filter(is_live=False)
    assert out.exists()
    assert {piece.segment.fitting.order_id for piece in out.select_related("segment__fitting")} == {early.pk}
    assert all(out.values_list("why", flat=True))
    again = {piece.code for piece in pieces_to_cut(material="galvanized", gauge=24)}
    assert again == set(out.values_list("segment__code", flat=True))
    assert not plan.pieces.filter(segment__fitting__order=late, is_live=False).exists()
    assert "did not go on" in plan.message


def test_a_part_larger_than_every_sheet_is_named_and_the_rest_is_planned():
    small = released(quantity=1, pieces=3)
    large = released(quantity=1, pieces=3, params={"diameter": 30})
    stock(width=36, length=60)
    plan = proven_plan(made())
    out = plan.pieces.filter(is_live=False)
    assert {piece.segment.fitting.order_id for piece in out} == {large.pk}
    for (
        piece
    ) in out:  # nothing of them is the largest stock's 59.5 × 35.5 in; 94.8 in is π (30 + t) and the lap
        assert piece.why.startswith("The piece is 94.8 × ")
        assert "the largest stock takes 59.5 × 35.5 in. In plates it would be " in piece.why
    assert plan.pieces.filter(is_live=True, segment__fitting__order=small).count() == 3


def test_a_plan_of_nothing_that_goes_on_fails_and_frees_its_pieces():
    released(quantity=1, pieces=3, params={"diameter": 30})
    stock(width=24, length=36)
    plan = made()
    assert plan.state == "failed"
    said = plan.message.removeprefix("None of the pieces goes on the stock. ")
    code, what = said.split(" is ", 1)
    assert Segment.objects.filter(code=code).exists()
    assert what.startswith("94.8 × ")
    assert live(plan) == 0
    assert job_of("cut_plan", "1").state == "failed"
    assert len(pieces_to_cut(material="galvanized", gauge=24)) == 3


# -- plates, seams -----------------------------------------------------------


def test_plates_are_placed_one_by_one():
    order = released(quantity=1, kind="pipe", params={"diameter": 60, "length": 40})
    stock(width=60, length=120, count=2)
    waiting = pieces_to_cut(material="galvanized", gauge=24)
    number = len(order.lines.get().development["segments"][0]["plates"])
    assert number > 1
    assert [(piece.plate, piece.plates) for piece in waiting] == [(at, number) for at in range(1, number + 1)]
    plan = proven_plan(made())
    assert sorted(plan.pieces.values_list("plate", flat=True)) == list(range(1, number + 1))


def test_a_plate_that_found_no_place_waits_alone():
    order = released(quantity=1, kind="pipe", params={"diameter": 60, "length": 40})
    stock(width=48, length=120, count=1)
    plan = proven_plan(made())
    out = plan.pieces.get(is_live=False)
    assert [(one.segment_id, one.plate) for one in pieces_to_cut(material="galvanized", gauge=24)] == [
        (out.segment_id, out.plate)
    ]
    assert order.lines.get().quantity == 1


def test_free_seams_are_chosen_and_kept_with_the_piece():
    released(quantity=3, pieces=5)
    stock(width=36)
    plan = proven_plan(made(seams="free", searches=True))
    assert set(plan.pieces.values_list("seam_at", flat=True)) == {"", "throat"}


def test_staggered_seams_stay_as_ordered():
    released(quantity=2, pieces=5, params={"stagger_seams": True})
    stock()
    plan = proven_plan(made(seams="free"))
    assert set(plan.pieces.values_list("seam_at", flat=True)) == {""}


def test_table_loads_hold_no_more_than_the_table():
    released(quantity=12, pieces=5)
    stock()
    plan = made()
    loads: dict[int, list[CutSheet]] = {}
    for sheet in plan.sheets.order_by("position"):
        loads.setdefault(sheet.load, []).append(sheet)
    assert list(loads) == list(range(1, len(loads) + 1))
    for sheets in loads.values():
        assert sheets[-1].load_offset_in + sheets[-1].length_in <= 240
        starts = [sheet.load_offset_in for sheet in sheets]
        assert starts == [sum(one.length_in for one in sheets[:at]) for at in range(len(sheets))]


def test_a_coil_is_cut_off_at_the_length_used():
    released(quantity=4, pieces=5)
    stock(width=60, length=240, form="coil", cost_each="6.00")
    plan = proven_plan(made())
    for sheet in plan.sheets.all():
        assert (sheet.form, sheet.length_in, sheet.remnant_length_in) == ("coil", sheet.used_length_in, None)
        assert sheet.cost == round(Decimal("6.00") * Decimal(str(sheet.used_length_in)) / 12, 2)
    send(plan)
    assert StockItem.objects.count() == 1
