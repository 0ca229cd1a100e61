"""The pages of costs: what the office reads, what a supervisor does not, files, and what is said where prices lack."""

from __future__ import annotations

import pytest

from shopfloor.models import MonthCost
from shopfloor.order_costs import costs_bring_up
from tests import factories, factories_costs
from tests.pages import text_of
from tests.travelers.floor import Floor, badge
from travelers.release import order_release

pytestmark = pytest.mark.usefixtures("shop")
PIPE = {"kind": "pipe", "params": {"diameter": 12, "length": 30}, "tag": ""}


@pytest.fixture
def pipes() -> Floor:
    """Two pipes at cost plus 20 %, one of them finished on 2 March."""
    factories_costs.priced_shop()
    made = factories.order(customer="=Formula & Sons", lines=[factories.line(**PIPE, quantity=2)])
    order = order_release(number=made.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
    found = Floor(order, badge("Sam Invented"))
    found.scan("wrap", found.fitting.code)
    costs_bring_up(now=factories.NOW)
    return found


def test_the_month_by_customer(office_page, pipes):
    page = office_page.get("/costs/?month=2026-03").content.decode()
    kept = MonthCost.objects.get()
    for part in ("March 2026", "=Formula &amp; Sons", f"${kept.price}", f"${kept.metal}", "16.7"):
        assert part in page, part


def test_a_month_without_anything_says_so(office_page, pipes):
    assert "Nothing was finished in this month" in office_page.get("/costs/?month=2026-02").content.decode()


def test_the_file_of_a_month_guards_texts_and_keeps_numbers(office_page, pipes):
    answer = office_page.get("/costs/month.csv?month=2026-03")
    head, row = answer.content.decode("utf-8-sig").splitlines()
    assert head.startswith("customer,orders,fittings,price,metal")
    assert row.startswith("'=Formula & Sons,1,1,"), "a name that a spreadsheet would count stays a text"
    assert f",{MonthCost.objects.get().price}," in row
    assert office_page.get("/costs/month.xlsx?month=2026-03").content[:2] == b"PK"
    assert office_page.get("/costs/month.pdf?month=2026-03").status_code == 404


def test_the_orders_page_loads_its_costs_for_the_office_alone(browse, pipes):
    part = f"/orders/{pipes.order.number}/costs/part/"
    assert part in browse("office").get(f"/orders/{pipes.order.number}/").content.decode()
    supervisor = browse("supervisor")
    assert part not in supervisor.get(f"/orders/{pipes.order.number}/").content.decode()
    assert supervisor.get(part).status_code == 403
    assert "/costs/" not in supervisor.get("/orders/").content.decode()


def test_what_is_begun_has_a_cost_so_far_and_no_margin_yet(office_page, pipes):
    """Two pipes; one is finished, then, of another order, only cut."""
    page = text_of(office_page.get(f"/orders/{pipes.order.number}/costs/"))
    assert "Real cost of 1 done" in page and "Real margin" in page
    made = factories.order(lines=[factories.line(**PIPE, quantity=1)])
    begun = Floor(
        order_release(number=made.number, actor=factories.OFFICE_ACTOR, now=factories.NOW),
        badge("Alex Invented"),
    )
    begun.scan("cut", begun.segment().code)
    costs_bring_up(now=factories.NOW)
    page = text_of(office_page.get(f"/orders/{made.number}/costs/"))
    assert "Real cost so far" in page and "nothing is done yet" in page and "Real margin" not in page


def test_where_no_price_is_set_the_pages_say_which_table_lacks_it(office_page):
    order = factories.order()
    page = office_page.get(f"/orders/{order.number}/costs/").content.decode()
    assert "Metal prices and yields" in page and "Labor rates" in page and "not known" in page


def test_a_refused_price_keeps_what_was_typed(office_page):
    order = factories.order()
    answer = office_page.post(
        f"/orders/{order.number}/price/", {"line": "1", "unit_price": "1.005", "reason": "As last year"}
    )
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "Price is 1.005; it can be" in page and 'value="As last year"' in page and 'value="1.005"' in page


def test_an_order_of_the_month_costs_the_same_queries_for_one_line_or_many(
    office_page, django_assert_max_num_queries
):
    factories_costs.priced_shop()
    for lines in (1, 12):
        made = factories.order(
            lines=[factories.line(params=factories.elbow_params(diameter=8 + at)) for at in range(lines)]
        )
        order_release(number=made.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
        with django_assert_max_num_queries(40):
            assert office_page.get(f"/orders/{made.number}/costs/").status_code == 200
