"""The page of a cut plan: while it is made, made, sent, made again."""

from __future__ import annotations

import re

import pytest
from django.utils import timezone

from fittings.models import CutPiece, CutPlan, CutSheet, StockItem
from shared.models import Job
from tests import factories
from tests import factories_cutting as cutting
from tests.pages import alert_of, text_of
from tests.travelers import cut_floor
from tests.travelers.cut_floor import state
from tests.travelers.floor import floor
from tests.travelers.sheet_floor import sent_sheets
from travelers.models import Task

pytestmark = pytest.mark.usefixtures("shop")


# -- a plan that is being made -----------------------------------------------


def asked_for(**changes) -> CutPlan:
    cut_floor.released(quantity=2, pieces=5)
    cut_floor.stock()
    return cut_floor.requested(**changes)


def test_a_queued_plan_says_so_and_what_is_before_it(desk):
    plan = asked_for()
    words = text_of(desk.get(f"/cut-plans/{plan.number}/"))
    assert "In the queue It is the next." in words and "Stop and keep" in words
    cut_floor.released(quantity=1)
    second = cut_floor.requested()
    assert "1 plan before it." in text_of(desk.get(f"/cut-plans/{second.number}/"))


def test_a_queue_that_nobody_serves_is_said(desk):
    plan = asked_for()
    part = desk.get(f"/cut-plans/{plan.number}/progress/")
    assert "the worker on the server may not be running" in text_of(part), "it was asked for long ago"
    Job.objects.update(queued_at=timezone.now())
    assert "worker" not in text_of(desk.get(f"/cut-plans/{plan.number}/progress/"))


def test_a_running_plan_shows_its_figures_and_asks_again(desk):
    plan = asked_for()
    figures = {"sheets": 41, "utilisation": 0.8213}
    Job.objects.update(state="running", share=0.45, figures=figures, words="82.1 % used on 41 sheets so far.")
    page = desk.get(f"/cut-plans/{plan.number}/").content.decode()
    assert 'aria-valuenow="45"' in page
    assert 'hx-get="/cut-plans/1/progress/"' in page and "every 1s" in page
    assert '<noscript><meta http-equiv="refresh"' in page
    part = desk.get(f"/cut-plans/{plan.number}/progress/")
    assert "45 %" in text_of(part) and "41" in text_of(part) and "82.1 %" in text_of(part)
    assert "HX-Refresh" not in part
    assert "<html" not in part.content.decode()


def test_once_it_is_made_the_page_is_loaded_again(desk):
    plan = asked_for()
    assert cut_floor.work()
    assert desk.get(f"/cut-plans/{plan.number}/progress/")["HX-Refresh"] == "true"
    page = desk.get(f"/cut-plans/{plan.number}/").content.decode()
    assert "hx-get" not in page and "http-equiv" not in page and "Send to the floor" in page


def test_stop_and_keep_is_asked_of_the_search(desk):
    plan = asked_for()
    Job.objects.update(state="running", share=0.2)
    assert desk.post(f"/cut-plans/{plan.number}/stop/").status_code == 302
    assert Job.objects.get().wants_stop
    assert "Stopping. The best so far is being kept." in text_of(desk.get(f"/cut-plans/{plan.number}/"))
    Job.objects.update(state="queued")
    assert "The first layout that is found will be kept." in text_of(desk.get(f"/cut-plans/{plan.number}/"))


def test_a_plan_that_is_being_made_can_be_dropped(desk):
    plan = asked_for()
    answer = desk.post(f"/cut-plans/{plan.number}/drop/", follow=True)
    assert f"Cut plan {plan.number} is dropped." in text_of(answer)
    assert not CutPiece.objects.filter(is_live=True).exists()
    assert "24 ga galvanized 10" in text_of(answer)


def test_a_failed_plan_says_why(desk):
    plan = asked_for()
    StockItem.objects.update(width_in=3, length_in=3)
    assert cut_floor.work()
    words = text_of(desk.get(f"/cut-plans/{plan.number}/"))
    assert "Not made None of the pieces goes on the stock." in words
    assert "Its pieces wait to be cut again." in words
    assert "Send to the floor" not in words and "Make again" in words


# -- a made plan -------------------------------------------------------------


def test_a_made_plan_shows_its_figures_and_every_sheet(desk, plan):
    page = desk.get(f"/cut-plans/{plan.number}/")
    words, html = text_of(page), page.content.decode()
    sheets = list(plan.sheets.order_by("position"))
    assert len(sheets) > 1
    assert f"Sheets {len(sheets)} in {sheets[-1].load} load" in words
    assert f"{100 * plan.utilisation:.1f} %" in words
    places = [html.index(f'href="/cut-sheets/{sheet.pk}/"') for sheet in sheets]
    assert places == sorted(places), "in cutting order"
    assert html.count('loading="lazy"') == len(sheets)
    for sheet in sheets:
        share = sheet.parts_area / (sheet.width_in * sheet.length_in)
        assert f"{100 * share:.1f} % used" in words
    late = re.findall(r"(\d+) late", words)
    assert sum(map(int, late)) == 40, "all are of an order that is past its date"


def test_the_weight_of_the_metal_is_that_of_its_area(desk, plan):
    """24 gauge galvanized weighs 1.156 lb/ft² (galvanized sheet gauge table, fixtures/tables/gauges.csv)."""
    sheets = list(plan.sheets.all())
    taken = sum(sheet.width_in * sheet.length_in for sheet in sheets) / 144 * 1.156
    kept = (
        sum((sheet.remnant_width_in or 0) * (sheet.remnant_length_in or 0) for sheet in sheets) / 144 * 1.156
    )
    parts = sum(sheet.parts_area for sheet in sheets) / 144 * 1.156
    words = text_of(desk.get(f"/cut-plans/{plan.number}/"))
    assert f"Metal taken {taken:,.0f} lb {parts:,.0f} lb go into pieces" in words
    assert (
        f"Waste {taken - kept - parts:,.0f} lb {100 * (1 - (kept + parts) / taken):.1f} % of the metal"
        in words
    )


def test_what_a_rule_costs_is_said_as_it_was_found(desk, plan):
    CutPlan.objects.filter(pk=plan.pk).update(
        comparisons=[
            {"rule": "gap", "words": "Gap 0.0625 in instead of 0.125 in: 1.9 % less metal."},
            {"rule": "", "words": "Both sides were computed at quick effort."},
        ]
    )
    words = text_of(desk.get(f"/cut-plans/{plan.number}/"))
    assert "What a rule costs Gap 0.0625 in instead of 0.125 in: 1.9 % less metal. Both sides" in words


def test_while_rules_are_compared_the_plan_can_be_sent(desk, plan):
    Job.objects.create(
        kind="cut_plan", subject=str(plan.number), state="running", share=0.9, queued_at=factories.NOW
    )
    page = desk.get(f"/cut-plans/{plan.number}/").content.decode()
    assert 'hx-get="/cut-plans/1/comparisons/"' in page and "Send to the floor" in page
    part = desk.get(f"/cut-plans/{plan.number}/comparisons/").content.decode()
    assert "90 %" in part and "<html" not in part and "hx-get" in part
    Job.objects.update(state="done")
    assert "hx-get" not in desk.get(f"/cut-plans/{plan.number}/comparisons/").content.decode()


def test_a_piece_larger_than_every_sheet_is_said_by_name(desk):
    order = cut_floor.released(quantity=1, pieces=5)
    cut_floor.released(quantity=1, kind="pipe", params={"diameter": 30, "length": 40}, tag="BIG-1")
    cut_floor.stock(width=36, length=60)
    plan = cut_floor.made()
    big = CutPiece.objects.get(sheet=None)
    page = text_of(desk.get(f"/cut-plans/{plan.number}/"))
    assert "Not on a sheet 1 piece" in page
    assert f"1 Pipe {big.segment.fitting.order.number} BIG-1 {big.segment.code} {big.why}".replace(
        " ", ""
    ) in page.replace(" ", "")
    assert big.why.endswith(".") and order.number != big.segment.fitting.order.number


def test_sending_gives_codes_and_says_so(desk, plan):
    answer = desk.post(f"/cut-plans/{plan.number}/send/", {"version": plan.version}, follow=True)
    words = text_of(answer)
    assert f"Cut plan {plan.number} is on the floor." in words and "Send to the floor" not in words
    sheets = CutSheet.objects.filter(plan=plan)
    assert all(sheet.code and sheet.code in words.replace(" ", "") for sheet in sheets)
    assert "Not cut yet" in words and "Cut 0 of 40" in words


def test_a_plan_that_another_one_changed_is_not_sent(desk, plan):
    CutPlan.objects.filter(pk=plan.pk).update(version=9)
    before = state()
    answer = desk.post(f"/cut-plans/{plan.number}/send/", {"version": "1"})
    assert answer.status_code == 409
    assert "is at version 9 now; you began with 1." in alert_of(answer)
    assert state() == before


def test_stock_that_ran_out_meanwhile_is_said_on_the_plan(desk, plan):
    StockItem.objects.update(count=1)
    before = state()
    answer = desk.post(f"/cut-plans/{plan.number}/send/", {"version": plan.version})
    assert answer.status_code == 409
    assert "has run out meanwhile" in alert_of(answer) and "Nothing was changed" in alert_of(answer)
    assert "Send to the floor" in text_of(answer)
    assert state() == before


def test_a_plan_made_again_takes_its_pieces_over_with_another_seed(desk, plan):
    page = desk.get(f"/cut-plans/{plan.number}/").content.decode()
    seed = re.search(r'name="seed" value="(\d+)"', page)[1]
    answer = desk.post(f"/cut-plans/{plan.number}/again/", {"effort": "long", "seed": seed}, follow=True)
    made = CutPlan.objects.get(number=2)
    assert (made.effort, made.seed, made.state) == ("long", plan.seed + 1, "making")
    assert made.pieces.filter(is_live=True).count() == 40
    assert "Cut plan 2 is being made" in text_of(answer)
    assert "Dropped" in text_of(desk.get(f"/cut-plans/{plan.number}/"))


@pytest.mark.parametrize("effort", ["extreme", "'; --"])
def test_an_effort_that_there_is_not_is_refused_on_the_plan(desk, plan, effort):
    before = state()
    answer = desk.post(f"/cut-plans/{plan.number}/again/", {"effort": effort})
    assert answer.status_code == 400 and "ffort" in alert_of(answer)
    assert state() == before


def test_what_was_sent_is_neither_dropped_nor_made_again_nor_sent_twice(desk, plan):
    desk.post(f"/cut-plans/{plan.number}/send/", {"version": plan.version})
    before = state()
    for act in ("drop", "again", "send", "stop"):
        answer = desk.post(f"/cut-plans/{plan.number}/{act}/")
        assert answer.status_code == 409, act
        assert "Nothing was changed" in alert_of(answer)
    assert state() == before


def test_sheets_that_are_cut_are_counted(desk, plan):
    desk.post(f"/cut-plans/{plan.number}/send/", {"version": plan.version})
    first, second = plan.sheets.order_by("position")[:2]
    done = CutPiece.objects.filter(sheet=first).values("segment")
    Task.objects.filter(operation="cut", segment__in=done).update(state="done", finished_at=timezone.now())
    some = CutPiece.objects.filter(sheet=second).order_by("feed").values_list("segment", flat=True)[:3]
    Task.objects.filter(operation="cut", segment__in=list(some)).update(
        state="done", finished_at=timezone.now()
    )
    total = CutPiece.objects.filter(sheet=second).count()
    words = text_of(desk.get(f"/cut-plans/{plan.number}/"))
    assert f"Cut 3 of {total}" in words
    assert f"Cut {first.pieces.count() + 3} of 40" in words
    assert "Cut 3" in text_of(desk.get(f"/cut-sheets/{second.pk}/")) or f"3 of {total}" in text_of(
        desk.get(f"/cut-sheets/{second.pk}/")
    )


def test_a_plate_counts_as_cut_with_its_sheet_before_its_segment_does(desk):
    on = floor(quantity=1, pieces=5, diameter=50)
    segment = on.segment(1)
    first, second = sent_sheets([(segment, 1)], [(segment, 2)], number=12)
    assert on.scan("cut", first.code).outcome == "recorded"
    assert on.task("cut", 1).state != "done"
    assert "Cut 1 of 2 pieces" in text_of(desk.get("/cut-plans/12/"))
    assert 'data-state="done"' in desk.get(f"/cut-sheets/{first.pk}/").content.decode()
    assert 'data-state="done"' not in desk.get(f"/cut-sheets/{second.pk}/").content.decode()
    assert on.scan("cut", second.code).outcome == "recorded"
    assert "Cut 2 of 2 pieces" in text_of(desk.get("/cut-plans/12/"))


def test_an_unknown_plan_or_sheet_is_not_found(desk):
    for path in ("/cut-plans/77/", "/cut-plans/77/progress/", "/cut-plans/77/sheets.pdf", "/cut-sheets/77/"):
        assert desk.get(path).status_code == 404
    assert "There is no cut plan 77." in text_of(desk.get("/cut-plans/77/"))
    assert desk.get("/cut-sheets/77.svg").status_code == 404
    for act in ("stop", "again", "drop", "send"):
        assert desk.post(f"/cut-plans/77/{act}/").status_code == 404


def test_a_plan_costs_the_same_however_large_it_is(desk, django_assert_max_num_queries):
    small = cutting.made_plan(cutting.released(factories.line(quantity=1)))
    order = cutting.released(factories.line(quantity=60))
    large = cutting.made_plan(order, stock=cutting.stock_item(order, name="more", count=200))
    desk.get(f"/cut-plans/{small.number}/")
    assert large.sheets.count() > 8
    for one in (small, large):
        with django_assert_max_num_queries(18):
            page = desk.get(f"/cut-plans/{one.number}/")
    assert len(page.content) < 60_000, "pictures are not part of the page"
