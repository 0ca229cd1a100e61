"""Utilisation, waste and scrap of the sheets sent to the floor, against figures computed by hand beside the checks.

The sheets are written down, not searched: 48 × 96 in (4608 in²) and a coil 48 in wide, with round areas of pieces.
"""

import csv
import re
from datetime import timedelta
from decimal import Decimal
from io import StringIO

import pytest

from fittings.models import CutSheet, Order, OrderChange, TableVersion
from tests.pages import browser_of, text_of
from tests.travelers.cut_rows import (
    FIRST_OF_APRIL,
    LAST_OF_MARCH,
    MARCH,
    item,
    plan,
    sheet,
    take_off,
    two_fittings,
)
from travelers.cut_figures import grouped, plan_figures, scrap_figures, total

pytestmark = pytest.mark.django_db
LB_FT2 = 1.156  # 24 ga galvanized: (oz + 2.5) / 16, ASTM A653/A924, as fixtures/authorities/sheet_gauges.csv has it


# -- utilisation and waste ----------------------------------------------------


def test_utilisation_counts_the_last_sheet_of_a_stock_by_the_length_used(on):
    two_fittings(on)
    [one] = plan_figures()
    found = one.figures
    assert found.sheets == 2
    assert found.parts_in2 == 2592 + 3456
    assert found.used_in2 == 4608 + 48 * 72  # the first sheet ends at 72 in: the last of its stock
    assert found.utilisation == pytest.approx(6048 / 8064)
    assert found.taken_in2 == 2 * 4608
    assert found.remnants_in2 == 48 * 24
    assert found.waste_in2 == 9216 - 1152 - 6048
    assert found.waste_lb == pytest.approx(2016 / 144 * LB_FT2)
    assert found.parts_lb == pytest.approx(6048 / 144 * LB_FT2)
    assert (found.cost, found.credit, found.net) == (Decimal("80.00"), Decimal("10.00"), Decimal("70.00"))
    # sheet 1: 30.00 × 864 / 3456 = 7.50; sheet 2: 40.00 × 1152 / 4608 = 10.00
    assert found.waste_cost == Decimal("17.50")


def test_stocks_of_two_sizes_have_a_last_sheet_each(shop):
    of, small, large = plan(), item(), item(width=60, length=120)
    for stock, used in ((small, 96), (small, 50), (large, 120), (large, 100), (large, 120)):
        sheet(of, stock, used=used, area=2000)
    [one] = plan_figures()
    assert one.figures.used_in2 == 4608 + 48 * 50 + 2 * 7200 + 60 * 100
    assert one.figures.utilisation == pytest.approx(10000 / 27408)


def test_every_coil_counts_by_the_length_used(shop):
    of, coil = plan(), item(form="coil", length=240)
    sheet(of, coil, used=120, area=4320, cost="27.50")
    sheet(of, coil, used=80, area=2880, cost="18.33")
    [one] = plan_figures()
    assert one.figures.used_in2 == one.figures.taken_in2 == 48 * 200
    assert one.figures.utilisation == pytest.approx(0.75)
    # a quarter is waste: 6.875 and 4.5825
    assert one.figures.waste_cost == Decimal("11.4575")


def test_a_piece_taken_off_becomes_waste(on):
    two_fittings(on)
    take_off(on.segment(1))
    [one] = plan_figures()
    assert one.figures.parts_in2 == 6048 - 1296
    assert one.figures.waste_in2 == 2016 + 1296
    # sheet 1 has 864 + 1296 in² of waste on 3456: 30.00 × 2160 / 3456 = 18.75
    assert one.figures.waste_cost == Decimal("28.75")


def test_a_plan_without_a_price_is_left_out_of_the_money_and_counted(shop):
    sheet(plan(), item(), area=2304)
    sheet(plan(), item(), area=2304, cost=None)
    whole = total(plan_figures())
    assert (whole.plans, whole.unpriced, whole.is_priced) == (2, 1, True)
    assert (whole.cost, whole.waste_cost) == (Decimal("40.00"), Decimal("20.00"))
    assert whole.utilisation == pytest.approx(0.5)
    CutSheet.objects.update(cost=None)
    assert not total(plan_figures()).is_priced


def test_a_metal_that_the_gauges_table_has_not_has_no_weight(shop):
    of = plan(material="tin", gauge=30)
    sheet(of, item(), area=2304)
    [one] = plan_figures()
    assert (one.figures.waste_lb, one.figures.unweighed) == (0, 1)


def test_plans_count_in_the_month_of_the_shops_clock_and_by_metal(shop):
    for sent_at, gauge in ((LAST_OF_MARCH, 24), (FIRST_OF_APRIL, 24), (FIRST_OF_APRIL, 26)):
        sheet(plan(sent_at=sent_at, gauge=gauge), item(), area=2304)
    plan(state="made")
    plans = plan_figures()
    assert [one.number for one in plans] == [3, 2, 1]
    months = grouped(plans, lambda one: one.month.isoformat())
    assert {name: found.plans for name, found in months.items()} == {"2026-04-01": 2, "2026-03-01": 1}
    metals = grouped(plans, lambda one: one.metal)
    assert {name: found.plans for name, found in metals.items()} == {
        ("galvanized", 26): 1,
        ("galvanized", 24): 2,
    }
    assert [one.number for one in plan_figures(since=FIRST_OF_APRIL)] == [3, 2]
    assert [one.number for one in plan_figures(metal=("galvanized", 26))] == [3]


def test_figures_of_many_plans_take_four_queries(shop, django_assert_max_num_queries):
    stock = item()
    for _ in range(12):
        sheet(plan(), stock, area=2000)
    with django_assert_max_num_queries(5):
        assert total(plan_figures()).sheets == 12


# -- scrap --------------------------------------------------------------------


def told(scrap) -> list[tuple]:
    return [
        (one.month.isoformat()[:7], one.reason, one.segments, one.amount and str(one.amount), one.unpriced)
        for one in scrap
    ]


def test_scrap_costs_its_share_and_stands_under_its_reason(on):
    two_fittings(on)
    on.scan("roll", on.segment(1).code, "scrap", reason="Dented")
    on.scan("cut", on.segment(2).code, "scrap", reason="Wrong notch")
    on.scan("seam", on.segment(1, fitting=2).code, "scrap", reason="Dented")
    assert told(scrap_figures()) == [
        ("2026-03", "Dented", 2, "28.34", 0),  # 15.00 and 13.34
        ("2026-03", "Wrong notch", 1, "10.00", 0),
    ]


def test_scrap_that_no_plan_cut_is_counted_without_a_cost(on):
    sheet(plan(), item(), (on.segment(1), 100), cost="9.00")
    for position in (1, 2):
        on.scan("cut", on.segment(position).code, "scrap", reason="Dented")
    assert told(scrap_figures()) == [("2026-03", "Dented", 2, "9.00", 1)]
    CutSheet.objects.update(cost=None)
    assert told(scrap_figures()) == [("2026-03", "Dented", 2, None, 2)]


def test_scrap_that_was_undone_does_not_count(on):
    two_fittings(on)
    scrapped = on.scan("cut", on.segment(1).code, "scrap", reason="Dented")
    on.scan("cut", on.segment(1).code, "undo", undoes=scrapped.id)
    assert scrap_figures() == []
    on.scan("cut", on.segment(1).code, "scrap", reason="Bent after all")
    assert told(scrap_figures()) == [("2026-03", "Bent after all", 1, "15.00", 0)]


def test_a_scrapped_fitting_scraps_what_it_has_then_each_with_its_own_reason(on):
    two_fittings(on)
    on.scan("cut", on.segment(1).code, "scrap", reason="Dented")
    on.scan("cut", on.fitting.code, "scrap", reason="Fell off the truck")
    assert told(scrap_figures()) == [
        ("2026-03", "Dented", 1, "15.00", 0),
        # segments 2 and 3, 10.00 and 5.00, and the new segment 1, which no plan has cut
        ("2026-03", "Fell off the truck", 3, "15.00", 1),
    ]


def test_scrap_counts_in_the_month_of_its_scan(on):
    late = {"scanned_at": LAST_OF_MARCH.isoformat(), "now": LAST_OF_MARCH}
    early = {"scanned_at": FIRST_OF_APRIL.isoformat(), "now": FIRST_OF_APRIL}
    on.scan("cut", on.segment(1).code, "scrap", reason="Dented", **late)
    on.scan("cut", on.segment(2).code, "scrap", reason="Dented", **early)
    assert [row[:3] for row in told(scrap_figures())] == [("2026-04", "Dented", 1), ("2026-03", "Dented", 1)]
    assert [row[0] for row in told(scrap_figures(since=FIRST_OF_APRIL))] == ["2026-04"]


def test_scrap_of_a_time_is_found_whether_its_order_has_ended_before_after_or_not(on):
    """An order that ended before that time has no scrap in it, unless a change of the order made some."""
    on.scan("cut", on.segment(1).code, "scrap", reason="Dented", scanned_at=None, now=FIRST_OF_APRIL)
    earlier, later = FIRST_OF_APRIL - timedelta(hours=1), FIRST_OF_APRIL + timedelta(hours=1)
    for ended_at in (None, later, FIRST_OF_APRIL):
        Order.objects.update(state="done" if ended_at else "released", ended_at=ended_at)
        assert len(scrap_figures(since=FIRST_OF_APRIL)) == 1, ended_at
    Order.objects.update(state="done", ended_at=earlier)
    assert scrap_figures(since=FIRST_OF_APRIL) == []
    OrderChange.objects.create(
        order=Order.objects.get(), version=9, fields={}, made_by="office", made_at=FIRST_OF_APRIL
    )
    assert len(scrap_figures(since=FIRST_OF_APRIL)) == 1


# -- pages --------------------------------------------------------------------


def test_the_page_shows_utilisation_waste_and_money(on):
    two_fittings(on)
    on.scan("cut", on.segment(1).code, "scrap", reason="Dented")
    answer = browser_of().get("/cut-plans/figures/", {"months": "all"})
    shown = text_of(answer)
    for words in (
        "75.0 %",
        "16.2 lb",
        "$17.50",
        "$70.00",
        "$10.00",
        "March 2026",
        "24 ga galvanized",
        "Plan 1",
    ):
        assert words in shown, words
    assert "Dented 1 $15.00" in shown
    assert "area of pieces ÷ area of stock used" in shown
    assert re.search(r'class="filled" width="75.0"', answer.content.decode())
    assert "style=" not in answer.content.decode()


def test_the_page_says_when_nothing_was_sent(shop):
    shown = text_of(browser_of().get("/cut-plans/figures/"))
    assert "No plan was sent in this time" in shown
    assert "Nothing was scrapped in this time." in shown


def test_what_is_not_known_is_said(shop):
    sheet(plan(), item(), area=2304, cost=None)
    shown = text_of(browser_of().get("/cut-plans/figures/", {"months": "all"}))
    assert "not known" in shown
    sheet(plan(), item(), area=2304)
    assert "without 1 plan of unknown price" in text_of(
        browser_of().get("/cut-plans/figures/", {"months": "all"})
    )


def test_the_page_takes_the_same_few_queries(on, django_assert_max_num_queries):
    client = browser_of()
    for _ in range(15):
        sheet(plan(), item(), area=2000)
    client.get("/cut-plans/figures/?months=all")
    with django_assert_max_num_queries(16):
        client.get("/cut-plans/figures/?months=all")


def rows(what: str) -> list[list[str]]:
    answer = browser_of().get("/cut-plans/figures.csv", {"what": what, "months": "all"})
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    return list(csv.reader(StringIO(answer.content.decode())))


def test_the_csv_has_the_same_figures(on):
    two_fittings(on)
    head, one = rows("plans")
    found = dict(zip(head, one, strict=True))
    assert (found["plan"], found["material"], found["gauge"]) == ("1", "galvanized", "24")
    assert found["sent_at"] == "2026-03-02T09:00:00-06:00"
    assert (found["utilisation"], found["waste_in2"], found["remnants_in2"]) == ("0.75", "2016.0", "1152.0")
    assert (found["cost"], found["remnant_credit"], found["net_cost"]) == ("80.00", "10.00", "70.00")
    assert (found["waste_cost"], found["waste_lb"]) == ("17.50", "16.184")
    assert rows("months")[1][0] == "2026-03"
    assert rows("metals")[1][:2] == ["galvanized", "24"]
    assert browser_of().get("/cut-plans/figures.csv", {"what": "secrets"}).status_code == 404


def test_a_text_that_a_spreadsheet_would_run_is_written_as_text(on):
    two_fittings(on, material="=1+1")
    on.scan("cut", on.segment(1).code, "scrap", reason="=HYPERLINK(1)")
    assert rows("plans")[1][1] == "'=1+1"
    assert rows("metals")[1][0] == "'=1+1"
    assert rows("scrap")[1][:3] == ["2026-03", "'=HYPERLINK(1)", "1"]


@pytest.mark.parametrize("role", ["operator", "display"])
def test_figures_are_for_office_and_supervisor(shop, role):
    client = browser_of(role)
    for path in ("/cut-plans/figures/", "/cut-plans/figures.csv"):
        assert client.get(path).status_code == 403
        assert browser_of("supervisor").get(path).status_code == 200


def test_the_orders_page_shows_what_the_metal_of_a_line_costs(on):
    path = f"/orders/{on.order.number}/"
    assert "Material cost" not in text_of(browser_of().get(path))
    two_fittings(on)
    shown = text_of(browser_of().get(path))
    assert "Material cost" in shown
    assert "$70.00" in shown
    CutSheet.objects.update(cost=None)
    assert "not known" in text_of(browser_of().get(path))


def test_the_currency_is_the_shops(on):
    shop = TableVersion.objects.filter(table="shop").latest("number")
    TableVersion.objects.create(
        table="shop",
        number=shop.number + 1,
        rows=[{**row, "value": "£"} if row["key"] == "currency" else row for row in shop.rows],
        made_by="office",
        made_at=MARCH,
    )
    two_fittings(on)
    assert "£70.00" in text_of(browser_of().get(f"/orders/{on.order.number}/"))
