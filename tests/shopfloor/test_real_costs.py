"""What a fitting really costs where something went wrong or came from elsewhere; amounts by hand beside it.

Metal 0.90 a pound at 75 % yield, 30.00 an hour with 50 % overhead. A pipe of 12 in, 30 in long: 9.100 lb, 10.92.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from fittings.models import KeptPiece
from shopfloor.month_costs import month_costs
from shopfloor.order_costs import add_up, costs_bring_up, order_figures
from shopfloor.real_costs import fitting_costs, joined
from tests import factories, factories_costs
from tests.travelers.floor import Floor, badge
from travelers.release import order_cancel, order_release

pytestmark = pytest.mark.usefixtures("shop")
ZONE = ZoneInfo("America/Chicago")
PIPE = {"kind": "pipe", "params": {"diameter": 12, "length": 30}, "tag": ""}
TIMES = {"cut": 3, "roll": 4, "seam": 5, "assemble": 8, "wrap": 2}


def at(text: str, day: int = 2) -> datetime:
    hour, minute = map(int, text.split(":"))
    return datetime(2026, 3, day, hour, minute, tzinfo=ZONE)


@pytest.fixture
def pipe():
    """Makes released pipes: cut 3, roll 4, seam 5, wrap 2 minutes: 14 min, 7.00 and 3.50 overhead, 21.42 in all."""
    factories_costs.priced_shop()
    factories_costs.table(
        "times",
        *(
            {"operation": code, "method": "*", "minutes_each": each, "minutes_per_foot": 0, "measure": "none"}
            for code, each in TIMES.items()
        ),
    )

    def make(quantity: int = 1) -> Floor:
        made = factories.order(lines=[factories.line(**PIPE, quantity=quantity)])
        order = order_release(number=made.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
        return Floor(order, badge(f"Sam {order.number}"))

    return make


def scan(floor: Floor, operation: str, code: str, when: datetime, action: str = "finish", **more) -> None:
    result = floor.scan(operation, code, action, now=when, scanned_at=when.isoformat(), **more)
    assert result.outcome == "recorded", result.message


def cost(floor: Floor, fitting: int = 0) -> list[str]:
    found = fitting_costs(floor.order)[fitting].cost
    return [str(part) for part in (*found.parts, found.total)]


def test_what_is_not_begun_has_cost_its_metal_and_no_labor(pipe):
    assert cost(pipe()) == ["10.92", "0.00", "0.00", "10.92"]


def test_finished_without_starts_it_costs_the_standard(pipe):
    one = pipe()
    scan(one, "wrap", one.fitting.code, at("10:00"))
    assert cost(one) == ["10.92", "7.00", "3.50", "21.42"], "overhead 0.75 + 1.00 + 1.25 + 0.50"


def test_a_scrapped_segment_costs_its_metal_and_its_work_again(pipe):
    """Cut (1.50) and rolled (2.00) once in vain: metal 21.84, labor 7.00 + 3.50."""
    one = pipe()
    scan(one, "roll", one.segment().code, at("9:00"))
    scan(one, "roll", one.segment().code, at("9:05"), "scrap", reason="Damaged")
    scan(one, "wrap", one.fitting.code, at("11:00"))
    metal, labor, *_ = cost(one)
    assert (metal, labor) == ("21.84", "10.50")


def test_a_start_whose_finish_was_forgotten_is_not_taken_for_work(pipe):
    """From Monday 9:00 to Tuesday 9:00 at a bench that did nothing else: standard. 30 minutes are taken."""
    forgotten, slow = pipe(), pipe()
    scan(forgotten, "roll", forgotten.segment().code, at("9:00"), "start")
    scan(forgotten, "roll", forgotten.segment().code, at("9:00", 3))
    (one,) = fitting_costs(forgotten.order)
    assert one.measured == 0
    scan(slow, "roll", slow.segment().code, at("10:00", 3), "start")
    scan(slow, "roll", slow.segment().code, at("10:30", 3))
    (one,) = fitting_costs(slow.order)
    assert one.measured == Decimal("30.000")


def test_what_the_bench_finished_meanwhile_is_not_this_orders_time(pipe):
    """From 9:50 to 10:20 is 30 minutes, less 10:00 to 10:10 for another order's piece: 20 and 10."""
    long, quick = pipe(), pipe()
    scan(long, "roll", long.segment().code, at("9:50"), "start")
    scan(quick, "roll", quick.segment().code, at("10:00"), "start")
    scan(quick, "roll", quick.segment().code, at("10:10"))
    scan(long, "roll", long.segment().code, at("10:20"))
    assert [fitting_costs(one.order)[0].measured for one in (long, quick)] == [20, 10]


def test_spans_that_touch_are_one():
    moments = [at("9:00") + timedelta(minutes=minute) for minute in (0, 5, 5, 9, 20, 30)]
    found = joined([(moments[4], moments[5]), (moments[0], moments[1]), (moments[2], moments[3])])
    assert found == [(moments[0], moments[3]), (moments[4], moments[5])]


def test_a_cancelled_orders_work_is_lost_in_the_month_in_which_it_ended(pipe):
    """One of two pipes was cut, 1.50 and 0.75; metal that was not cut by a plan of void pieces is not counted."""
    two = pipe(2)
    scan(two, "cut", two.segment(1, 1).code, at("9:00"))
    order_cancel(number=two.order.number, actor=factories.OFFICE_ACTOR, now=at("12:00"))
    two.order.refresh_from_db()
    costs_bring_up(now=at("13:00"))
    sums = month_costs(at("12:00").date().replace(day=1)).whole.sums
    assert (sums.fittings, str(sums.price), str(sums.cost), str(sums.lost)) == (0, "0.00", "2.25", "2.25")


def test_a_done_fitting_that_is_put_into_stock_is_not_sold_by_its_order(pipe):
    two = pipe(2)
    for number, fitting in enumerate(two.fittings):
        scan(two, "wrap", fitting.code, at(f"{10 + number}:00"))
    KeptPiece.objects.create(
        fitting=two.fittings[1], facts="x", why="surplus", kept_at=at("12:00"), kept_by="office"
    )
    two.order.refresh_from_db()
    (line,) = add_up(two.order).lines
    unit_price = order_figures(two.order).prices.lines[0].unit_price
    assert (line.done, line.price) == (1, unit_price)
    assert str(line.lost) == "21.42" and str(line.cost.total) == "42.84"


def test_without_a_rate_a_done_fitting_is_counted_as_not_known(shop):
    factories_costs.table("yields", factories_costs.metal())
    factories_costs.table("prices", factories_costs.price("each", "40"))
    made = factories.order(lines=[factories.line(**PIPE, quantity=1)])
    order = order_release(number=made.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
    one = Floor(order, badge("Sam"))
    scan(one, "wrap", one.fitting.code, at("10:00"))
    costs_bring_up(now=at("12:00"))
    sums = month_costs(at("12:00").date().replace(day=1)).whole.sums
    assert (sums.fittings, sums.unknown, str(sums.price)) == (0, 1, "0.00")
