"""The API of costs, prices and quotes: amounts as digits, refusals with field and limit, repeats once."""

from __future__ import annotations

import pytest

from shopfloor.order_costs import costs_bring_up
from tests import factories, factories_costs
from tests.travelers.documents.reading import words
from travelers.models import LinePrice, Quote

pytestmark = pytest.mark.usefixtures("shop")
PIPE = {"kind": "pipe", "params": {"diameter": 12, "length": 30}, "tag": ""}


def released_pipes(quantity: int = 2):
    from tests.travelers.floor import Floor, badge
    from travelers.release import order_release

    factories_costs.priced_shop()
    made = factories.order(lines=[factories.line(**PIPE, quantity=quantity)])
    order = order_release(number=made.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
    return Floor(order, badge("Sam Invented"))


def test_an_orders_costs_expected_and_real(office):
    pipes = released_pipes()
    pipes.scan("wrap", pipes.fitting.code)
    answer = office.get(f"orders/{pipes.order.number}/costs/?fittings=true").json()
    (line,) = answer["lines"]
    assert line["expected_each"]["metal"] == "10.92" and line["is_frozen"] is True
    assert line["real"]["done"] == 1
    assert line["real"]["cost"] == line["expected_each"], "no plan, nothing measured: as expected"
    assert line["real"]["so_far"]["metal"] == "10.92", "the other's metal, by area"
    assert answer["currency"] == "$" and answer["as_of"] is None
    done, still = answer["fittings"]
    assert (done["state"], still["state"]) == ("done", "open")
    assert done["cost"]["total"] == line["real"]["cost"]["total"]
    assert answer["price"] == str(2 * factories_costs.Decimal(line["unit_price"]))


def test_a_month_by_customer_and_by_order(office):
    pipes = released_pipes()
    pipes.scan("wrap", pipes.fitting.code)
    costs_bring_up(now=factories.NOW)
    answer = office.get("costs/?month=2026-03").json()
    assert [one["name"] for one in answer["results"]] == ["Example Mechanical"]
    assert answer["whole"]["metal"] == "10.92" and answer["whole"]["fittings"] == 1
    by_order = office.get("costs/?month=2026-03&by=order").json()
    assert by_order["results"][0]["name"] == pipes.order.number
    assert office.get("costs/?month=2026-03&count=orders").json()["results"] == [], "the order is still open"
    assert office.get("costs/?month=2026-02").json()["whole"]["price"] == "0.00"


@pytest.mark.parametrize(
    "query, field",
    [("month=2026-13", "month"), ("month=x", "month"), ("by=kind", "by"), ("count=all", "count")],
)
def test_a_wrong_question_names_its_field(office, query, field):
    answer = office.get(f"costs/?{query}")
    assert answer.status_code == 400
    (error,) = answer.json()["errors"]
    assert error["field"] == field and error["message"]


def test_a_price_is_set_and_given_back(office):
    order = factories.order()
    body = {"line": 1, "unit_price": "38.25", "reason": "As last year"}
    answer = office.post(f"orders/{order.number}/prices/", body)
    assert answer.status_code == 200
    assert (answer.json()["unit_price"], answer.json()["how"]) == ("38.25", "by hand")
    answer = office.post(f"orders/{order.number}/prices/", {"line": 1, "unit_price": None})
    assert answer.json()["unit_price"] is None


@pytest.mark.parametrize(
    "body, field",
    [
        ({"line": 1, "unit_price": "38.255", "reason": "x"}, "unit_price"),
        ({"line": 1, "unit_price": "many", "reason": "x"}, "unit_price"),
        ({"line": 1, "reason": "x"}, "unit_price"),
        ({"line": 1, "unit_price": "38.25"}, "reason"),
        ({"line": 1, "unit_price": "38.25", "reason": 5}, "reason"),
        ({"line": "one", "unit_price": "38.25", "reason": "x"}, "line"),
        ({"unit_price": "38.25", "reason": "x"}, "line"),
    ],
)
def test_a_wrong_price_is_refused_and_changes_nothing(office, body, field):
    order = factories.order()
    answer = office.post(f"orders/{order.number}/prices/", body)
    assert answer.status_code == 400
    assert [error["field"] for error in answer.json()["errors"]] == [field]
    assert not LinePrice.objects.exists()


def test_a_quote_is_made_once_for_one_key_printed_and_accepted(office):
    order = factories.order()
    factories_costs.by_hand(order, "48.50")
    path = f"orders/{order.number}/quotes/"
    first = office.post(path, {"days": 14}, idempotency_key="k1")
    again = office.post(path, {"days": 14}, idempotency_key="k1")
    assert (first.status_code, again.status_code) == (201, 201) and first.json() == again.json()
    assert Quote.objects.count() == 1
    assert first.json()["total"] == "194.00", "4 × 48.50"
    pdf = office.get(f"orders/{order.number}/quote.pdf")
    assert pdf["Content-Type"] == "application/pdf"
    assert "Total $194.00" in words(pdf.content)[0]
    number = first.json()["number"]
    answer = office.post(f"quotes/{number}/", {"state": "lost"})
    assert answer.status_code == 400 and answer.json()["errors"][0]["field"] == "state"
    assert Quote.objects.get().state == "made"
    (listed,) = office.get(path).json()["results"]
    assert listed["number"] == number


def test_what_is_not_there_is_404(office):
    order = factories.order()
    assert office.get("orders/no-such/costs/").status_code == 404
    assert office.get(f"orders/{order.number}/quote.pdf").status_code == 404
    assert office.get(f"orders/{order.number}/quote.pdf?quote=x").status_code == 400
    assert office.get("quotes/999/").status_code == 404


def test_price_tables_are_changed_by_programs_as_digits(office):
    seen = office.get("tables/rates/").json()
    assert {column["name"]: column["kind"] for column in seen["columns"]}["per_hour"] == "decimal"
    rows = [{"operation": "*", "per_hour": "38.50", "overhead_pct": 35, "source": "ours"}]
    answer = office.post("tables/rates/", {"version": seen["version"], "rows": rows})
    assert answer.status_code == 201, answer.content
    (row,) = office.get("tables/rates/").json()["rows"]
    assert (row["per_hour"], row["overhead_pct"]) == ("38.5", "35")
    rows[0]["per_hour"] = "a lot"
    refused = office.post("tables/rates/", {"version": seen["version"] + 1, "rows": rows})
    assert refused.json()["errors"][0]["field"] == "rows[0].per_hour"
