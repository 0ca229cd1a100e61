"""The pages that cut plans begin with: what waits by metal, the plans there are, asking for a plan."""

from __future__ import annotations

import re
from datetime import date

import pytest

from fittings.models import CutPiece, CutPlan, StockItem
from shared.models import Job
from tests import factories
from tests import factories_cutting as cutting
from tests.pages import alert_of, text_of
from tests.travelers import cut_floor
from tests.travelers.cut_desk import NEW, day, press, two_orders
from tests.travelers.cut_floor import state

pytestmark = pytest.mark.usefixtures("shop")


# -- the list ----------------------------------------------------------------


def test_the_list_says_what_waits_by_metal_and_how_much_of_it_is_late(desk):
    two_orders()
    cut_floor.released(day(1), quantity=1, pieces=3, gauge=26)
    page = desk.get("/cut-plans/")
    words = text_of(page)
    assert "24 ga galvanized 20 5 2" in words
    assert "26 ga galvanized 3 1 1" in words
    assert words.count("8 late") == 1 and "0 late" not in words
    assert 'data-state="late"' in page.content.decode()
    assert "material=galvanized&amp;gauge=24" in page.content.decode()
    assert words.count("Plan the cutting of") == 2
    assert "No plans yet" in words


def test_nothing_that_waits_is_said_in_words(desk):
    assert "Nothing waits to be cut" in text_of(desk.get("/cut-plans/"))


def test_plans_stand_newest_first_with_their_state(desk):
    order = cutting.released()
    cutting.made_plan(order, sent=True)
    other = cutting.released(factories.line(quantity=1))
    cutting.made_plan(other, stock=StockItem.objects.get(form="sheet"))
    CutPlan.objects.filter(number=2).update(state="dropped")
    cut_floor.released(quantity=1)
    cut_floor.requested()
    words = text_of(desk.get("/cut-plans/"))
    assert words.index("Plan 3") < words.index("Plan 2") < words.index("Plan 1")
    assert "In the queue" in words and "Dropped" in words and "Sent" in words


def test_the_list_is_paged(desk):
    order = cutting.released(factories.line(quantity=1))
    cutting.made_plan(order)
    for _ in range(30):
        cutting.plan_row(state="dropped")
    first, second = text_of(desk.get("/cut-plans/")), text_of(desk.get("/cut-plans/?page=2"))
    assert "1–25 of 31 plans" in first and "Plan 31 " in first and "Plan 6 " not in first
    assert "Plan 6 " in second and "Plan 1 " in second


def test_the_list_costs_the_same_for_many_plans_and_much_work(desk, django_assert_max_num_queries):
    desk.get("/cut-plans/")
    for _ in range(8):
        order = cutting.released(factories.line(quantity=2))
        cutting.made_plan(order, stock=cutting.stock_item(order, name=f"size {order.number}"))
    cut_floor.released(quantity=30)
    with django_assert_max_num_queries(16):
        desk.get("/cut-plans/")


# -- asking for a plan -------------------------------------------------------


def test_one_press_plans_all_that_waits(desk):
    late, later, _ = two_orders()
    page = desk.get(NEW).content.decode()
    ticked = re.findall(r'<input type="checkbox" name="(orders|stock)"[^>]* checked', page)
    assert sorted(ticked) == ["orders", "orders", "stock"]
    answer = press(desk, late, later)
    plan = CutPlan.objects.get()
    assert answer.status_code == 302 and answer["Location"] == f"/cut-plans/{plan.number}/"
    assert (plan.state, plan.gap_in, plan.margin_in, plan.effort) == ("making", 0.125, 0.25, "quick")
    assert plan.pieces.filter(is_live=True).count() == 20
    assert Job.objects.get().subject == str(plan.number)
    assert "Nothing waits to be cut" in text_of(desk.get("/cut-plans/"))


def test_the_orders_say_how_many_pieces_and_which_are_late(desk):
    late, later, _ = two_orders()
    words = text_of(desk.get(NEW))
    assert re.search(rf"{late.number} Example Mechanical Late \S+ \d+ \S+ 8", words)
    assert re.search(rf"{later.number} Example Mechanical (?!Late)\S+ \d+ \S+ 12", words)


def test_only_ticked_orders_are_planned(desk):
    late, later, _ = two_orders()
    press(desk, later)
    numbers = set(CutPiece.objects.values_list("segment__fitting__order__number", flat=True))
    assert numbers == {later.number} != {late.number}


def test_a_date_leaves_out_what_is_due_later(desk):
    late, later, _ = two_orders()
    press(desk, late, later, due_to=day(-2))
    numbers = set(CutPiece.objects.values_list("segment__fitting__order__number", flat=True))
    assert numbers == {late.number}
    assert CutPlan.objects.get().due_to == date.fromisoformat(day(-2))


def test_choices_among_the_stock_effort_and_rules_are_taken(desk):
    late, later, _ = two_orders()
    other = cut_floor.stock(width=60)
    press(
        desk,
        late,
        later,
        stock=[str(other.pk)],
        effort="long",
        turns="half",
        seams="free",
        gap="6.35 mm",
        margin="1/2",
    )
    plan = CutPlan.objects.get()
    assert plan.stock_ids == [other.pk]
    assert (plan.effort, plan.turns, plan.seams) == ("long", "half", "free")
    assert (round(plan.gap_in, 6), plan.margin_in) == (0.25, 0.5)


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("gap", "1,5", "“1,5” is not a length. Write 14.5, 14 1/2, 14-1/2 or 368.3 mm."),
        ("gap", "3", "Gap is 3; it can be 0 to 2 in."),
        ("gap", "-1", "Gap is -1; it can be 0 to 2 in."),
        ("gap", "", "Enter the gap, 0 to 2 in."),
        ("gap", "nan", "“nan” is not a length."),
        ("margin", "13", "Margin is 13; it can be 0 to 12 in."),
        ("margin", "", "Enter the margin, 0 to 12 in."),
        ("effort", "extreme", "Effort can be quick, normal or long."),
        ("effort", "", "Choose the effort."),
        ("turns", "upside", "Turning on the sheet can be"),
        ("seams", "anywhere", "Seams of elbow gores can be"),
        ("due_to", "soon", "Choose a date from the list."),
        ("due_to", "1999-01-01", "No ticked order is due up to Fri 1 Jan 1999."),
        ("orders", [], "Tick at least one order."),
        ("orders", ["no-such"], "There is no order no-such."),
        ("stock", [], "Tick at least one size to cut from."),
        ("stock", ["999999"], "Tick at least one size to cut from."),
    ],
)
def test_a_wrong_choice_is_said_at_its_field_and_nothing_is_planned(desk, field, typed, sentence):
    late, later, _ = two_orders()
    before = state()
    answer = press(desk, late, later, **{field: typed})
    assert answer.status_code == 400
    assert sentence in alert_of(answer)
    page = answer.content.decode()
    assert page.count("is-wrong") == 1, "the field is marked"
    assert "<title>Error: " in page
    assert state() == before


def test_a_margin_that_leaves_nothing_of_the_stock_is_said_at_the_margin(desk):
    late, later, _ = two_orders()
    StockItem.objects.update(width_in=20, length_in=20)
    before = state()
    answer = press(desk, late, later, margin="11")
    assert answer.status_code == 400
    assert "Margin is 11 in: nothing is left of any stock" in alert_of(answer)
    assert 'href="#id_margin"' in answer.content.decode()
    assert '<details class="cut-more" open>' in answer.content.decode()
    assert state() == before


def test_what_was_typed_is_kept_when_something_is_wrong(desk):
    _, later, _ = two_orders()
    page = press(desk, later, gap="5", margin="3/4", effort="long").content.decode()
    assert 'name="margin" value="3/4"' in page and 'name="gap" value="5"' in page
    assert re.search(r'value="long"[^>]*checked', page)
    assert len(re.findall(r'name="orders"[^>]* checked', page)) == 1


def test_the_second_of_two_planners_is_told_who_holds_the_work(desk, browse):
    late, later, _ = two_orders()
    other = browse("supervisor")
    assert press(desk, late, later).status_code == 302
    before = state()
    answer = press(other, late, later, due_to=day(5))
    assert answer.status_code == 409
    assert re.search(r"All 20 pieces .* are on cut plan 1 \(made by office-\d+\)", alert_of(answer))
    assert state() == before


def test_an_order_that_was_planned_meanwhile_is_named(desk):
    late, later, _ = two_orders()
    press(desk, late)
    before = state()
    answer = press(desk, late, later)
    assert answer.status_code == 400
    assert f"No piece of order {late.number} waits any more." in alert_of(answer)
    assert state() == before
    assert press(desk, later).status_code == 302


def test_without_stock_the_page_says_where_to_add_it(desk):
    cut_floor.released()
    page = desk.get(NEW)
    assert "Nothing of 24 ga galvanized is on hand" in text_of(page)
    assert "/stock/?material=galvanized&amp;gauge=24" in page.content.decode()
    assert "disabled" in page.content.decode()


@pytest.mark.parametrize(
    "query", ["material=gold&gauge=24", "material=galvanized&gauge=99", "material=galvanized&gauge=x"]
)
def test_a_metal_that_the_shop_does_not_have_is_refused_in_words(desk, query):
    answer = desk.get(f"/cut-plans/new/?{query}")
    assert answer.status_code == 400
    assert "can be" in text_of(answer)


def test_an_order_leads_to_its_one_metal_with_itself_ticked(desk):
    late, later, _ = two_orders()
    page = desk.get(f"/orders/{later.number}/").content.decode()
    assert f'href="/cut-plans/new/?order={later.number}"' in page
    answer = desk.get(f"/cut-plans/new/?order={later.number}", follow=True)
    assert answer.redirect_chain[-1][0].startswith(NEW)
    ticked = re.findall(r'name="orders" value="([^"]+)"[^>]* checked', answer.content.decode())
    assert ticked == [later.number] != [late.number]


def test_an_order_of_two_metals_asks_which(desk):
    order = cutting.released(factories.line(quantity=1), factories.line(quantity=1, gauge=26))
    answer = desk.get(f"/cut-plans/new/?order={order.number}")
    words = text_of(answer)
    assert "Which metal?" in words and "24 ga galvanized 5" in words and "26 ga galvanized 5" in words
    assert "No piece of this order waits" in text_of(desk.get("/cut-plans/new/?order=nope"))


def test_a_draft_has_nothing_to_cut(desk):
    order = factories.order()
    assert "Plan the cutting" not in text_of(desk.get(f"/orders/{order.number}/"))
