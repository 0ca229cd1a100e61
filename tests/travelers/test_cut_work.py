"""What waits for the cutting table: counted by metal, piece by piece in order, in few queries."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fittings.models import CutPiece, Segment
from tests import factories
from tests.travelers.cut_floor import LATER, NOW, cut, made, released, requested, stock, work
from travelers.cut_plans import plan_drop
from travelers.cut_work import cut_work, pieces_to_cut
from travelers.models import Task
from travelers.release import order_release

pytestmark = pytest.mark.usefixtures("shop")
TODAY = date(2026, 3, 2)


def waiting() -> list:
    return pieces_to_cut(material="galvanized", gauge=24)


def test_work_is_counted_by_metal():
    first = released("2026-02-20", quantity=2)
    released("2026-03-09", quantity=1, pieces=5)
    other = factories.order(lines=[factories.line(quantity=1, gauge=22)], due=None)
    order_release(number=other.number, actor=factories.OFFICE_ACTOR, now=NOW)
    light, heavy = cut_work(today=TODAY)
    assert (light.material, light.gauge, light.pieces, light.fittings, light.orders) == (
        "galvanized",
        24,
        11,
        3,
        2,
    )
    assert (light.first_due, light.late) == (date(2026, 2, 20), 6)
    assert (heavy.gauge, heavy.pieces, heavy.first_due, heavy.late) == (22, 5, None, 0)
    segments = first.lines.get().development["segments"]
    weight = 2 * sum(segment["weight"] for segment in segments)
    assert cut_work(today=TODAY)[0].weight_lb > weight
    assert cut_work(today=TODAY)[0].area_in2 == pytest.approx(sum(piece.area_in2 for piece in waiting()))


def test_an_order_due_today_is_not_late():
    released("2026-03-02", quantity=1)
    assert [one.late for one in cut_work(today=TODAY)] == [0]
    assert [one.late for one in cut_work(today=TODAY + timedelta(days=1))] == [3]


def test_pieces_come_late_first_then_by_date_and_priority():
    def order(due, priority):
        made = factories.order(lines=[factories.line(quantity=1)], due=due, priority=priority)
        order_release(number=made.number, actor=factories.OFFICE_ACTOR, now=NOW)
        return made.number

    never, far, soon, urgent, late = [
        order(*asked)
        for asked in ((None, 1), ("2026-04-01", 1), ("2026-03-05", 5), ("2026-03-05", 2), ("2026-02-01", 9))
    ]
    found = waiting()
    assert list(dict.fromkeys(piece.order for piece in found)) == [late, urgent, soon, far, never]
    assert [piece.position for piece in found[:5]] == [1, 2, 3, 4, 5]
    assert {piece.of for piece in found} == {5}


def test_what_is_cut_held_or_begun_is_not_counted_and_said():
    order = released(quantity=1, pieces=5)
    codes = list(
        Segment.objects.filter(fitting__order=order).order_by("position").values_list("code", flat=True)
    )
    for code, action in zip(codes, ("finish", "start", "hold"), strict=False):
        cut(code, action, reason="dented" if action == "hold" else "")
    assert [piece.code for piece in waiting()] == codes[3:]
    (waits,) = cut_work(today=TODAY)
    assert waits.pieces == 2
    assert waits.left_out == ("1 is being cut by hand.", "1 is on hold at the table.")


def test_drafts_and_pieces_that_are_not_cut_do_not_wait():
    factories.order()
    assert (cut_work(today=TODAY), waiting()) == ([], [])


def test_pieces_on_a_plan_do_not_wait_until_it_is_dropped():
    released()
    stock()
    plan = requested()
    assert (cut_work(today=TODAY), waiting()) == ([], [])
    plan_drop(number=plan.number, actor=factories.OFFICE_ACTOR, now=LATER)
    assert len(waiting()) == 6


def test_a_plate_goes_on_waiting_when_the_others_of_its_segment_were_begun():
    released(quantity=1, kind="pipe", params={"diameter": 60, "length": 40})
    stock(width=48, length=120, count=1)
    plan = made()
    segment = plan.pieces.first().segment
    Task.objects.filter(segment=segment, operation="cut").update(state="running")
    assert [piece.plate for piece in waiting()] == list(
        CutPiece.objects.filter(plan=plan, is_live=False).values_list("plate", flat=True)
    )


def test_work_is_found_in_three_queries_however_much_there_is(django_assert_num_queries):
    stock()
    released(quantity=1)
    with django_assert_num_queries(3):
        cut_work(today=TODAY)
    for number in range(4):
        released(quantity=3, pieces=4 + number)
    made(orders=[])
    for number in range(4):
        released(quantity=3, pieces=4 + number)
    with django_assert_num_queries(3):
        (waits,) = cut_work(today=TODAY)
    with django_assert_num_queries(3):
        assert len(waiting()) == waits.pieces == 3 * (4 + 5 + 6 + 7)


def test_a_request_and_its_plan_take_queries_by_their_kind_not_their_number(django_assert_max_num_queries):
    stock()
    counts = []
    for quantity in (1, 20):
        released(quantity=quantity, pieces=5)
        with django_assert_max_num_queries(40) as caught:
            requested()
        counts.append(len(caught))
        with django_assert_max_num_queries(60) as caught:
            assert work()
    assert counts[1] <= counts[0] + 2, "rows are written by the hundred"
