"""Scans of what a change took out of its order: refused from then on, naming what to use now; before it they count."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest

from fittings.models import CutPiece, CutPlan, Fitting, KeptPiece, Order, Segment
from tests import factories
from tests.travelers import amend_desk as desk
from tests.travelers import cut_floor as cutting
from tests.travelers.amend_desk import at
from tests.travelers.floor import badge, floor, station
from travelers.cut_plans import plan_send
from travelers.models import Scan, Task, Traveler
from travelers.record import scan_record
from travelers.replay import replay
from travelers.where import where

pytestmark = pytest.mark.usefixtures("shop")
BIGGER = {"line": 1, "params": {"diameter": 16, "angle": 90, "pieces": 3, "radius_ratio": 1.5}}


def scanned_at(minutes: float) -> dict:
    return {"scanned_at": at(minutes).isoformat()}


def test_a_void_traveler_names_the_new_one_the_day_and_the_version():
    one = floor(quantity=2)
    old = one.traveler
    desk.changed(one.order, BIGGER, now=at(5))
    new = Traveler.objects.get(void_at=None).code
    result = one.scan("cut", old, **scanned_at(10))
    assert (result.outcome, result.reason_code) == ("refused", "void")
    assert result.message == f"This traveler was replaced by {new} on Mon 2 Mar, version 3."
    assert one.scan("cut", new, **scanned_at(11)).outcome == "recorded"


def test_a_traveler_replaced_twice_names_the_newest():
    one = floor(quantity=4)
    old = one.traveler
    desk.changed(one.order, {"line": 1, "quantity": 3}, now=at(5))
    desk.changed(one.order, {"line": 1, "quantity": 2}, now=at(6))
    new = Traveler.objects.get(void_at=None).code
    assert one.scan("cut", old, **scanned_at(10)).message.startswith(
        f"This traveler was replaced by {new} on"
    )


def test_a_traveler_of_a_cancelled_line_says_so():
    one = floor(quantity=1)
    old = one.traveler
    desk.changed(one.order, {"line": 1, "cancel": True}, factories.line(quantity=1), now=at(5))
    result = one.scan("cut", old, **scanned_at(10))
    assert result.message == "This traveler is void since Mon 2 Mar, version 3."


def test_a_label_and_a_fitting_s_code_name_the_piece_that_is_made_now():
    one = floor(quantity=1)
    fitting, segment = one.fitting, one.segment(2)
    desk.changed(one.order, BIGGER, now=at(5))
    new = Fitting.objects.get(replaces=fitting)
    now_segment = Segment.objects.get(fitting=new, position=2)
    assert one.scan("cut", segment.code, **scanned_at(10)).message == (
        f"Gore 2 of 3 was replaced by {now_segment.code} on Mon 2 Mar, version 3. Do not make it."
    )
    assert one.scan("cut", fitting.code, **scanned_at(11)).message == (
        f"Fitting 1 was replaced by {new.code} on Mon 2 Mar, version 3. Do not make it."
    )


def test_what_is_kept_and_what_is_scrap_is_said():
    one = floor(quantity=2)
    first, second = one.segment(1, fitting=1).code, one.segment(1, fitting=2).code
    one.scan("cut", first)
    one.scan("cut", second)
    desk.changed(one.order, {"line": 1, "quantity": 1}, now=at(5))
    said = one.scan("roll", second, **scanned_at(10)).message
    assert said == "Gore 1 of 3 was taken out of the order on Mon 2 Mar, version 3. It is kept: set it aside."
    desk.changed(
        one.order, {"line": 1, "cancel": True, "started": "scrap"}, factories.line(quantity=1), now=at(15)
    )
    said = one.scan("roll", first, **scanned_at(20)).message
    assert said == "Gore 1 of 3 was taken out of the order on Mon 2 Mar, version 4. It is scrap."


def test_it_is_said_in_spanish_to_a_badge_that_speaks_it():
    from travelers.models import Operator

    one = floor(quantity=1)
    Operator.objects.filter(code=one.badge).update(language="es")
    old = one.traveler
    desk.changed(one.order, BIGGER, now=at(5))
    new = Traveler.objects.get(void_at=None).code
    said = one.scan("cut", old, **scanned_at(10)).message
    assert said == f"Esta hoja de ruta se reemplazó por {new} el lun 2 mar, versión 3."


# -- late ------------------------------------------------------------------------


@pytest.mark.parametrize("started", ["keep", "scrap"])
@pytest.mark.parametrize("what", ["segment", "lot", "fitting", "half"])
def test_a_scan_of_before_the_change_counts_the_same_whether_it_comes_before_or_after(started, what):
    """The arrival is the only difference: both ways the office chose the same for the same line."""
    found = []
    for is_late in (False, True):
        one = floor(quantity=2)
        scans = {
            "segment": [("cut", one.segment(1, fitting=2).code, "finish")],
            "lot": [("cut", one.traveler, "finish")],
            "fitting": [
                ("assemble", one.fittings[1].code, "finish"),
                ("wrap", one.fittings[1].code, "finish"),
            ],
            "half": [("cut", one.segment(2, fitting=1).code, "start")],
        }[what]

        def send(one=one, scans=scans):
            for minute, (operation, code, action) in enumerate(scans):
                assert one.scan(operation, code, action, **scanned_at(1 + minute)).outcome == "recorded"

        if not is_late:
            send()
        wanted = {"line": 1, "cancel": True, "started": started}
        desk.changed(one.order, wanted, factories.line(quantity=1), now=at(5))
        if is_late:
            send()
        assert replay(write=False).differences == []
        own = Fitting.objects.filter(order=one.order)
        tasks = Task.objects.filter(fitting__in=own).order_by("fitting_id", "step", "segment__position")
        found.append(
            (
                list(tasks.values_list("state", "is_implied", "finished_at")),
                list(Segment.objects.filter(fitting__in=own).order_by("pk").values_list("state", flat=True)),
                list(own.order_by("pk").values_list("state", "done_at")),
                KeptPiece.objects.filter(fitting__in=own, ended_at=None).count(),
            )
        )
    assert found[0] == found[1]
    assert found[0][3] == (
        {"segment": 1, "lot": 6, "fitting": 1, "half": 0}[what] if started == "keep" else 0
    )


def test_a_late_undo_takes_what_was_kept_off_the_shelf_again():
    one = floor(quantity=1)
    code = one.segment(1).code
    one.scan("cut", code)
    desk.changed(one.order, {"line": 1, "cancel": True}, factories.line(quantity=1), now=at(5))
    assert desk.kept() == [code]
    one.scan("cut", code, "undo", **scanned_at(2))
    assert desk.kept() == []
    assert Segment.objects.get(code=code).state == "void"
    assert KeptPiece.objects.get().ended_why == "lost"
    assert replay(write=False).differences == []


def test_a_scan_of_after_the_change_has_no_effect_and_is_in_the_record():
    one = floor(quantity=1)
    code = one.segment(1).code
    desk.changed(one.order, {"line": 1, "cancel": True}, factories.line(quantity=1), now=at(5))
    assert one.scan("cut", code, **scanned_at(6)).outcome == "refused"
    assert Scan.objects.get(code=code).reason_code == "void"
    assert desk.states(one.order)[0] == "void keep"


def test_a_scan_of_the_old_traveler_is_undone_by_the_new_one_for_what_is_still_in_the_order():
    one = floor(quantity=2)
    one.scan("cut", one.traveler)
    desk.changed(one.order, {"line": 1, "quantity": 1}, now=at(5))
    new = Traveler.objects.get(void_at=None).code
    assert one.scan("cut", new, "undo", **scanned_at(10)).outcome == "recorded"
    assert (one.states("cut", fitting=1), one.states("cut", fitting=2)) == (["ready"] * 3, ["done"] * 3)
    assert len(desk.kept()) == 3
    assert replay(write=False).differences == []


def test_where_answers_for_a_void_traveler():
    one = floor(quantity=2)
    old = one.traveler
    desk.changed(one.order, BIGGER, now=at(5))
    answer = where(old)
    assert answer["found"].startswith("This traveler was replaced by")
    assert [row["where"]["text"] for row in answer["results"]] == ["Void", "Void"]


# -- cut plans -------------------------------------------------------------------


def planned(*, is_sent: bool) -> tuple[Order, CutPlan]:
    cutting.stock()
    order = cutting.released(quantity=2)
    plan = cutting.made()
    if is_sent:
        plan_send(number=plan.number, actor=cutting.OFFICE, now=at(61))
        plan.refresh_from_db()
    return order, plan


def test_a_plan_that_is_not_sent_drops_what_goes_and_has_another_version():
    order, plan = planned(is_sent=False)
    version = plan.version
    shown = desk.changed(order, {"line": 1, "quantity": 1}, now=at(70))
    assert shown.lines[0].sheets.words == (f"Cut plan {plan.number} (not sent): 3 pieces",)
    gone = CutPiece.objects.filter(plan=plan, is_live=False)
    assert {piece.segment.fitting.number for piece in gone} == {2}
    assert (gone.count(), CutPiece.objects.filter(plan=plan, is_live=True).count()) == (3, 3)
    plan.refresh_from_db()
    assert plan.version == version + 1
    plan_send(number=plan.number, actor=cutting.OFFICE, now=at(71))


def test_what_lies_on_a_sent_sheet_and_is_not_cut_is_taken_off_it():
    order, plan = planned(is_sent=True)
    desk.changed(order, {"line": 1, "quantity": 1}, now=at(70))
    off = CutPiece.objects.filter(plan=plan, is_live=False)
    assert {(piece.off_reason, piece.off_by) for piece in off} == {
        (f"Order {order.number} was changed (version 3)", "office")
    }
    code = plan.sheets.get().code
    result = _scan_sheet(code, minutes=80)
    assert result.message == f"Sheet 1 of plan {plan.number}: 3 pieces cut."
    assert desk.segments(order, 2) == ["void"] * 3


def test_a_sheet_that_was_cut_before_the_change_bears_the_pieces_whenever_its_scan_comes():
    """The metal is cut: the pieces are kept, lie on the sheet again and bear their share of its cost."""
    order, plan = planned(is_sent=True)
    desk.changed(order, {"line": 1, "quantity": 1, "started": "keep"}, now=at(70))
    result = _scan_sheet(plan.sheets.get().code, minutes=65)
    assert (result.outcome, result.changed >= 6) == ("recorded", True)
    assert CutPiece.objects.filter(plan=plan, is_live=True, off_at=None).count() == 6
    assert len(desk.kept()) == 3
    assert replay(write=False).differences == []


def test_cut_pieces_stay_on_their_sheet_and_what_they_cost_is_shown():
    order, plan = planned(is_sent=True)
    _scan_sheet(plan.sheets.get().code, minutes=65)
    shown = desk.changed(order, {"line": 1, "quantity": 1, "started": "scrap"}, now=at(70))
    assert CutPiece.objects.filter(plan=plan, is_live=True).count() == 6
    # six pieces of two equal fittings share one sheet: three of them bear half of what it costs, to the cent
    sheet = plan.sheets.get()
    half = (sheet.cost - (sheet.remnant_credit or 0)) / 2
    assert abs(shown.lines[0].scrap.cost - half) <= Decimal("0.02")
    assert re.fullmatch(r"\d+\.\d\d", str(shown.lines[0].scrap.cost))


def _scan_sheet(code: str, *, minutes: float):
    delivery = {
        "id": f"sheet-{code}-{minutes}",
        "code": code,
        "action": "finish",
        "badge": badge(f"Pat Invented {minutes}"),
        "reason": "",
        **scanned_at(minutes),
    }
    return scan_record(delivery=delivery, actor=station("cut"), now=at(600))
