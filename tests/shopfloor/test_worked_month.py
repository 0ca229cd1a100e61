"""A month of a small shop, worked by hand; the app's figures equal it to the cent.

The tables
  metal     80 % yield, 1.20 a pound; 24 ga galvanized weighs 1.156 lb/ft² and is 0.0276 in thick
  times     cut 3, roll 4, seam 5, assemble 8, wrap 2 minutes each, nothing by the foot
  rates     cut 60.00 an hour with 50 % overhead; all other work 36.00 with 25 %
  prices    standard list: a pipe 40.00, anything else cost plus 25 %; contract list: a margin of 20 %
            Sample Sheet Metal buys by the contract list less 10 %; Example Mechanical by the standard list

A pipe, 12 in, 30 in long, of one segment
  area      π × (12 + 0.0276) × 30 = 1133.57 in²; ÷ 144 × 1.156 = 9.100 lb
  metal     9.100 ÷ 0.8 × 1.20 = 13.65
  labor     cut 3 × 60 ÷ 60 = 3.00; roll 4 × 36 ÷ 60 = 2.40; seam 5 × 0.6 = 3.00; wrap 2 × 0.6 = 1.20;    together 9.60
  overhead  1.50 (50 % of 3.00) + 0.60 + 0.75 + 0.30 (25 %)                                               together 3.15
  expected  13.65 + 9.60 + 3.15 = 26.40

An elbow, 14 in, 90° in 3 pieces, R 21 in: r = (14 + 0.0276) ÷ 2 = 7.0138, α = 90° ÷ 4 = 22.5°
  end gore  2π r R tan α = 44.0690 × 21 × 0.414214 = 383.33 in²; 3.077 lb; ÷ 0.8 × 1.20 = 4.62 (4.6155)
  middle    twice that: 766.66 in²; 6.155 lb; 9.23 (9.2325)
  metal     4.62 + 9.23 + 4.62 = 18.47
  labor     cut 9 min 9.00; roll 12 min 7.20; seam 15 min 9.00; assemble 8 min 4.80; wrap 2 min 1.20;     together 31.20
  overhead  4.50 + 1.80 + 2.25 + 1.20 + 0.30                                                              together 10.05
  expected  18.47 + 31.20 + 10.05 = 59.72
  price     contract: 59.72 ÷ 0.8 = 74.65; less 10 %: 67.185, so 67.19

Order A, Example Mechanical: two pipes, cut from one sheet of 60.00 with a remnant worth 12.00: 48.00 for two equal
  pieces, 24.00 each. No start is scanned: labor and overhead stand. Cost of one 24.00 + 9.60 + 3.15 = 36.75.
  price 80.00, metal 48.00, labor 19.20, overhead 6.30, cost 73.50, margin 6.50; expected 52.80

Order B, Sample Sheet Metal: one elbow, no cut plan. At the rolls a gore is finished at 9:00 without a start (4 min
  standard), one takes from 9:00 to 9:06 (6 min), one from 9:06 to 9:08:30 (2.5 min): 12.5 min. Labor of rolling
  12.5 × 0.6 = 7.50 instead of 7.20, overhead 1.875, so 1.88, instead of 1.80.
  price 67.19, metal 18.47, labor 31.50, overhead 10.13, cost 60.10, margin 7.09; expected 59.72

Order C, Sample Sheet Metal: two pipes at 45.50 by hand. The first is finished on 31 March at 19:30 by the shop's
  clock, when it is April in UTC; the second on 2 April. One: 13.65 + 9.60 + 3.15 = 26.40, margin 19.10.

March, by what was finished in it
  Sample Sheet Metal  2 fittings: price 112.69, metal 32.12, labor 41.10, overhead 13.28, cost 86.50, margin 26.19
  Example Mechanical  2 fittings: price  80.00, metal 48.00, labor 19.20, overhead  6.30, cost 73.50, margin  6.50
  all                 4 fittings: price 192.69, metal 80.12, labor 60.30, overhead 19.58, cost 160.00, margin 32.69
  expected            52.80 + 59.72 + 26.40 = 138.92
March, by orders that ended in it: A and B. price 147.19, cost 133.60, margin 13.59
April: by fittings one pipe of C, 45.50 and 26.40; by orders all of C, 91.00 and 52.80
"""

from __future__ import annotations

import random
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from fittings.models import CutPlan, Order, Segment
from shopfloor.models import CostDue, MonthCost
from shopfloor.month_costs import FITTINGS, ORDERS, month_costs, summed
from shopfloor.order_costs import costs_bring_up, costs_look, due_now, order_cost_keep
from shopfloor.real_costs import fitting_costs
from tests import factories, factories_costs, factories_cutting
from tests.travelers.floor import Floor, badge
from travelers.release import order_release

MARCH, APRIL = date(2026, 3, 1), date(2026, 4, 1)
AFTER = datetime(2026, 4, 3, 12, tzinfo=UTC)
PIPE = {"kind": "pipe", "params": {"diameter": 12, "length": 30}, "tag": ""}
ELBOW = {"params": {"diameter": 14, "angle": 90, "pieces": 3, "radius_ratio": 1.5}, "quantity": 1}
MINUTES = {"cut": 3, "roll": 4, "seam": 5, "assemble": 8, "wrap": 2}


def clock(text: str) -> datetime:
    """A moment by the shop's clock in March 2026 before it was put forward: Chicago is UTC − 6."""
    day, time = text.split()
    hour, minute, second = (int(part) for part in f"{time}:00".split(":")[:3])
    return datetime(2026, 3, int(day), hour + 6, minute, second, tzinfo=UTC)


def released(customer: str, line: dict, price: str = "") -> Floor:
    made = factories.order(customer=customer, lines=[factories.line(**line)])
    if price:
        factories_costs.by_hand(made, price)
    order = order_release(number=made.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
    return Floor(order, badge(f"Sam {order.number}"))


def scan(floor: Floor, operation: str, code: str, at: datetime, action: str = "finish") -> None:
    result = floor.scan(operation, code, action, now=at, scanned_at=at.isoformat())
    assert result.outcome == "recorded", result.message


@pytest.fixture
def orders(shop) -> dict[str, Floor]:
    factories_costs.table("yields", factories_costs.metal("1.20", "80"))
    factories_costs.table(
        "rates", factories_costs.rate("60", "50", "cut"), factories_costs.rate("36.00", "25")
    )
    factories_costs.table(
        "times",
        *(
            {
                "operation": code,
                "method": "*",
                "minutes_each": minutes,
                "minutes_per_foot": 0,
                "measure": "none",
            }
            for code, minutes in MINUTES.items()
        ),
    )
    price = factories_costs.price
    factories_costs.table(
        "prices",
        price("each", "40", kind="pipe"),
        price("cost plus %", "25"),
        price("margin %", "20", price_list="contract"),
    )
    factories_costs.table(
        "customer_prices",
        {"customer": "sample sheet metal", "price_list": "contract", "discount_pct": "10"},
    )
    found = {
        "A": released("Example Mechanical", {**PIPE, "quantity": 2}),
        "B": released("Sample Sheet Metal", ELBOW),
        "C": released("Sample Sheet Metal", {**PIPE, "quantity": 2}, "45.50"),
    }
    _cut_by_plan(found["A"].order)
    first, second = found["A"].fittings
    scan(found["A"], "wrap", first.code, clock("3 10:00"))
    scan(found["A"], "wrap", second.code, clock("4 10:00"))
    gores = [found["B"].segment(position).code for position in (1, 2, 3)]
    scan(found["B"], "roll", gores[2], clock("2 9:00"))
    scan(found["B"], "roll", gores[0], clock("2 9:00"), "start")
    scan(found["B"], "roll", gores[0], clock("2 9:06"))
    scan(found["B"], "roll", gores[1], clock("2 9:06"), "start")
    scan(found["B"], "roll", gores[1], clock("2 9:08:30"))
    scan(found["B"], "wrap", found["B"].fitting.code, clock("5 11:00"))
    first, second = found["C"].fittings
    scan(found["C"], "wrap", first.code, datetime(2026, 4, 1, 0, 30, tzinfo=UTC))
    scan(found["C"], "wrap", second.code, datetime(2026, 4, 2, 15, 0, tzinfo=UTC))
    return found


def _cut_by_plan(order: Order) -> None:
    plan = factories_cutting.plan_row(state=CutPlan.State.SENT, sent_at=factories.NOW)
    stock = factories_cutting.stock_item(order)
    sheet = factories_cutting.sheet_row(plan, stock, cost="60.00", remnant_credit="12.00")
    for segment in Segment.objects.filter(fitting__order=order).order_by("pk"):
        factories_cutting.piece_row(sheet, segment, area=1150.0)


def amounts(sums) -> tuple[str, ...]:
    """fittings; price, metal, labor, overhead, cost, margin."""
    parts = (sums.price, sums.metal, sums.labor, sums.overhead, sums.cost, sums.margin)
    return (str(sums.fittings), *(str(part) for part in parts))


ALL_OF_MARCH = ("4", "192.69", "80.12", "60.30", "19.58", "160.00", "32.69")


def test_march_by_customer_equals_the_month_made_by_hand(orders):
    assert costs_bring_up(now=AFTER) == 3
    found = month_costs(MARCH)
    groups = {one.name: (one.orders, *amounts(one.sums)) for one in found.grouped("customer")}
    assert groups == {
        "Sample Sheet Metal": (2, "2", "112.69", "32.12", "41.10", "13.28", "86.50", "26.19"),
        "Example Mechanical": (1, "2", "80.00", "48.00", "19.20", "6.30", "73.50", "6.50"),
    }
    assert amounts(found.whole.sums) == ALL_OF_MARCH
    assert found.whole.sums.unknown == 0
    assert (str(found.whole.sums.expected), str(found.whole.sums.expected_price)) == ("138.92", "192.69")
    assert (found.whole.sums.by_plan, found.whole.sums.by_area) == (2, 4), (
        "two pipes by plan; three gores and a pipe not"
    )
    assert str(found.whole.sums.measured_minutes) == "8.500", "6 and 2.5 at the rolls"


def test_march_by_order(orders):
    costs_bring_up(now=AFTER)
    found = {one.name: amounts(one.sums) for one in month_costs(MARCH).grouped("order")}
    assert found == {
        orders["A"].order.number: ("2", "80.00", "48.00", "19.20", "6.30", "73.50", "6.50"),
        orders["B"].order.number: ("1", "67.19", "18.47", "31.50", "10.13", "60.10", "7.09"),
        orders["C"].order.number: ("1", "45.50", "13.65", "9.60", "3.15", "26.40", "19.10"),
    }


def test_by_orders_that_ended_and_the_month_after(orders):
    costs_bring_up(now=AFTER)
    by_orders = month_costs(MARCH, count=ORDERS).whole.sums
    assert (str(by_orders.price), str(by_orders.cost), str(by_orders.margin)) == ("147.19", "133.60", "13.59")
    april = month_costs(APRIL, count=FITTINGS).whole.sums
    assert amounts(april) == ("1", "45.50", "13.65", "9.60", "3.15", "26.40", "19.10")
    ended = month_costs(APRIL, count=ORDERS).whole.sums
    assert (str(ended.price), str(ended.cost)) == ("91.00", "52.80")


def test_each_fitting_of_a_line(orders):
    pipes = [str(one.cost.total) for one in fitting_costs(orders["A"].order)]
    assert pipes == ["36.75", "36.75"]
    (elbow,) = fitting_costs(orders["B"].order)
    assert [str(part) for part in elbow.cost.parts] == ["18.47", "31.50", "10.13"]
    assert (elbow.measured, elbow.standard) == (Decimal("8.500"), Decimal("38.000")), "9 + 4 + 15 + 8 + 2"


def test_added_up_in_any_order_and_again_it_is_the_same(orders):
    costs_look(now=AFTER)
    due = due_now(AFTER)
    assert len(due) == 3
    chance = random.Random(3)
    for _ in range(3):
        chance.shuffle(due)
        assert all(order_cost_keep(pk=pk, now=AFTER) for pk in due)
        assert amounts(month_costs(MARCH).whole.sums) == ALL_OF_MARCH
        rows = [one.values for one in month_costs(MARCH).rows]
        chance.shuffle(rows)
        assert amounts(summed(rows)) == ALL_OF_MARCH
    assert not CostDue.objects.exists()


def test_tables_changed_afterwards_change_nothing(orders):
    costs_bring_up(now=AFTER)
    factories_costs.table("yields", factories_costs.metal("9.99"))
    factories_costs.table("rates", factories_costs.rate("99.00", "99"))
    factories_costs.table("prices", factories_costs.price("each", "1.00"))
    for pk in MonthCost.objects.values_list("order", flat=True).distinct():
        order_cost_keep(pk=pk, now=AFTER)
    assert amounts(month_costs(MARCH).whole.sums) == ALL_OF_MARCH


def test_a_price_set_later_is_due_and_then_counted(orders):
    costs_bring_up(now=AFTER)
    factories_costs.by_hand(orders["B"].order, "70.00", reason="A better offer was refused", now=AFTER)
    costs_look(now=AFTER)
    assert due_now(AFTER) == [orders["B"].order.pk]
    costs_bring_up(now=AFTER)
    whole = month_costs(MARCH).whole.sums
    assert (str(whole.price), str(whole.cost)) == ("195.50", "160.00"), "192.69 − 67.19 + 70.00"


def test_a_scan_makes_its_order_due_alone(orders):
    costs_bring_up(now=AFTER)
    late = released("Example Mechanical", {**PIPE, "quantity": 1})
    scan(late, "cut", late.segment(1).code, AFTER)
    costs_look(now=AFTER)
    assert list(CostDue.objects.values_list("order", flat=True)) == [late.order.pk]
