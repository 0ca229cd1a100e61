"""What a plan says that its rules cost: which comparisons apply, and that their figures are those of real layouts."""

from __future__ import annotations

import re

import pytest

from fittings.cut_settings import CutSettings
from fittings.cutting import Layout, nest
from fittings.cutting import Work as WorkToNest
from fittings.models import CutPlan
from shared.jobs import Run, Work, job_of, work_once
from tests.travelers.cut_floor import LATER, OFFICE, made, proven_plan, released, requested, stock
from travelers import cut_compare
from travelers.cut_compare import comparisons_of
from travelers.cut_job import CUT_PLAN_WORK, cut_plan_failed, cut_plan_make
from travelers.cut_plans import plan_stop

pytestmark = pytest.mark.usefixtures("shop")


def shelves(work: WorkToNest, **given) -> Layout:
    """The first layout of the nesting core, so that many comparisons take no time."""
    return nest(work, watch=lambda progress: False)


def goes_on(share: float, words: str) -> bool:
    return True


def compared(**changes) -> dict[str, list[dict]]:
    """The comparisons of a plan, by rule."""
    found: dict[str, list[dict]] = {}
    for one in comparisons_of(made(**changes), CutSettings(), goes_on, lay=shelves):
        found.setdefault(one["rule"], []).append(one)
    return found


def test_seams_sizes_coil_and_gap_are_compared_where_they_are_rules_of_the_plan():
    released(quantity=4, pieces=5)
    stock()
    found = compared()
    assert sorted(found) == ["", "coil", "gap", "seams", "size"]
    words = [one["words"] for rule in ("seams", "coil", "size", "gap") for one in found[rule]]
    begins = [text.split(":")[0] for text in words]
    assert begins == [
        "Seams free (throat or heel)",
        "Seams alternating",
        "From 60 in coil (none in stock; the width is assumed)",
        "All on 60x120",
        "All on 48x96",
        "Gap 0.0625 in instead of 0.125 in",
    ]
    assert found[""][0]["words"] == "Both sides of each comparison were computed at quick effort."


def test_every_sentence_says_its_own_figures():
    released(quantity=8, pieces=5)
    stock()
    for entries in compared().values():
        for one in entries:
            if not one["rule"]:
                continue
            text = one["words"]
            used = re.search(r"\((\d+) % of the metal used instead of (\d+) %\)\.$", text)
            assert [int(part) for part in used.groups()] == [
                round(100 * one["utilisation"]),
                round(100 * one["utilisation_now"]),
            ]
            change = one["metal"] - 1
            said = re.search(r"([\d.]+) % (less|more) metal", text)
            if abs(change) < 0.005:
                assert "no difference" in text
            else:
                assert said.group(2) == ("less" if change < 0 else "more")
                assert float(said.group(1)) == pytest.approx(100 * abs(change), abs=0.51)
            # the same pieces either way, but for the lap, which is as long as the seam: two readings of one figure
            near = 0.03 if one["rule"] == "seams" else 2e-3
            assert one["metal"] == pytest.approx(one["utilisation_now"] / one["utilisation"], rel=near)
            if one["rule"] in ("seams", "gap") and one["sheets"] != one["sheets_now"]:
                number = abs(one["sheets"] - one["sheets_now"])
                word = "fewer" if one["sheets"] < one["sheets_now"] else "more"
                assert re.search(rf"\b{number} sheets? {word}\b", text)


def test_a_coil_that_the_shop_has_is_taken_with_its_width():
    released(quantity=2, pieces=5)
    sheet = stock()
    stock(form="coil", width=50, length=240)
    (coil,) = compared(stock_ids=[sheet.pk])["coil"]
    assert coil["words"].startswith("From 50 in coil: ")


def test_what_is_no_rule_of_the_plan_is_not_compared():
    released(quantity=2, kind="pipe", params={"diameter": 8, "length": 20})
    stock(width=60, length=240, form="coil")
    found = compared(gap_in=0.01, turns="half")
    assert "seams" not in found, "a pipe's seam is no matter"
    assert "coil" not in found
    assert "gap" not in found
    assert found["turns"][0]["words"].startswith("Turned any way: ")


def test_free_seams_are_compared_with_the_ordered_ones():
    released(quantity=2, pieces=5)
    stock()
    assert [one["words"].split(":")[0] for one in compared(seams="free")["seams"]] == ["Seams as ordered"]


def test_staggered_seams_are_not_compared():
    released(quantity=2, pieces=5, params={"stagger_seams": True})
    stock()
    assert "seams" not in compared()


def test_pieces_too_large_for_a_size_are_no_comparison_with_it():
    released(quantity=1, pieces=3, params={"diameter": 35})  # about 111 in round: longer than 48x96
    stock()
    sizes = [one["words"] for one in compared().get("size", [])]
    assert not any("48x96" in text for text in sizes)


def test_a_plan_that_was_stopped_is_not_compared():
    released(quantity=2)
    stock()
    plan = requested()
    plan_stop(number=plan.number, actor=OFFICE, now=plan.asked_at)
    assert work_once({"cut_plan": CUT_PLAN_WORK}, worker="test", now=lambda: LATER)
    plan.refresh_from_db()
    assert (plan.state, plan.comparisons) == ("made", [])


def test_stopping_in_the_middle_keeps_what_is_computed():
    released(quantity=2, pieces=5)
    stock()
    plan = made()
    whole = comparisons_of(plan, CutSettings(), goes_on, lay=shelves)
    shares: list[float] = []

    def tell(share: float, words: str) -> bool:
        shares.append(share)
        return share < 0.5

    part = comparisons_of(plan, CutSettings(), tell, lay=shelves)
    assert 1 < len(part) < len(whole)
    assert part[:-1] == whole[: len(part) - 1]
    assert shares == sorted(shares)


@pytest.mark.parametrize(
    ("seconds", "said"), [(0.0, cut_compare.MUCH_TOO_LONG), (1e9, cut_compare.SAME_EFFORT)]
)
def test_a_plan_that_takes_too_long_to_compare_says_so(monkeypatch, seconds, said):
    monkeypatch.setattr(cut_compare, "MOST_SECONDS", seconds)
    released(quantity=2)
    stock()
    assert comparisons_of(made(), CutSettings(), goes_on, lay=shelves)[-1] == {"rule": "", "words": said}


def test_a_plan_of_another_effort_is_laid_out_at_quick_effort_for_the_comparison():
    released(quantity=4, pieces=5)
    stock()
    laid = []

    def counted(work: WorkToNest, **given) -> Layout:
        laid.append(given["effort"])
        return shelves(work)

    first = comparisons_of(made(effort="quick"), CutSettings(), goes_on, lay=counted)
    quick = len(laid)
    released(quantity=4, pieces=5)
    second = comparisons_of(made(effort="normal"), CutSettings(), goes_on, lay=counted)
    assert first == second, "the same work, laid out the same way"
    assert (len(laid), set(laid)) == (2 * quick + 1, {"quick"})


def test_too_many_pieces_are_said_not_computed(monkeypatch):
    monkeypatch.setattr(cut_compare, "MOST_PIECES", 5)
    released(quantity=2)
    stock()
    (only,) = comparisons_of(made(), CutSettings(), goes_on)
    assert only["words"] == "What the rules cost is computed for plans of at most 5 pieces."


def test_a_worker_computes_what_the_rules_cost_after_the_plan_is_made():
    released(quantity=2, pieces=3)
    stock()
    plan = requested()

    def make(run: Run) -> None:
        def compare(plan: CutPlan, settings: CutSettings, tell) -> list[dict]:
            assert CutPlan.objects.get(pk=plan.pk).state == "made", "it can be seen and sent already"
            return comparisons_of(plan, settings, tell, lay=shelves)

        cut_plan_make(run, compare=compare)

    assert work_once({"cut_plan": Work(make, cut_plan_failed)}, worker="test", now=lambda: LATER)
    plan.refresh_from_db()
    proven_plan(plan)
    assert {one["rule"] for one in plan.comparisons} == {"seams", "coil", "size", "gap", ""}
    assert job_of("cut_plan", "1").state == "done"
