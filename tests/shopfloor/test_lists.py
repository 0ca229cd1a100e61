"""List pages as files: all that the list holds, its filters kept, no formula among it."""

from __future__ import annotations

import csv
import io

import pytest
from openpyxl import load_workbook

from fittings.models import Customer
from tests import factories_cutting
from tests.factories import line, order
from tests.pages import browser_of

LISTS = ("orders", "customers", "stock", "cut-plans", "cut-work", "operations")
SUPERVISORS = ("operators", "exceptions")


def table(answer) -> list[dict[str, str]]:
    assert answer.status_code == 200, answer.content[:200]
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


def test_orders_keep_the_filter_and_not_the_page(shop):
    for number in range(60):
        order(number=f"A-{number}", customer="=Evil Ducts", due="2027-03-04", lines=[line(quantity=7)])
    order(number="B-1", customer="Bold Air")
    client = browser_of("office")
    found = table(client.get("/lists/orders.csv?q=Evil&page=2"))
    assert len(found) == 60
    assert {one["Customer"] for one in found} == {"'=Evil Ducts"}
    assert {(one["Due"], one["Fittings to make"], one["State"]) for one in found} == {
        ("2027-03-04", "7", "Draft")
    }
    answer = client.get("/lists/orders.xlsx?q=B-1")
    assert answer["Content-Disposition"] == 'attachment; filename="orders.xlsx"'
    head, row = load_workbook(io.BytesIO(answer.content)).active.values
    assert (
        dict(zip(head, row, strict=True))["Fittings to make"] == 4
    )  # a number, as the factories' line has it
    assert len(table(client.get("/lists/orders.csv"))) == 61


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_every_list_can_be_taken_away(shop, form):
    plan = factories_cutting.made_plan(factories_cutting.released(line()), sent=True)
    assert Customer.objects.count() == 1
    for role, lists in (("office", LISTS), ("supervisor", LISTS + SUPERVISORS)):
        for name in lists:
            answer = browser_of(role).get(f"/lists/{name}.{form}")
            assert answer.status_code == 200, name
    plans = table(browser_of().get("/lists/cut-plans.csv"))
    assert [one["Cut plan"] for one in plans] == [str(plan.number)]
    operations = table(browser_of().get("/lists/operations.csv"))
    assert [one["Code"] for one in operations] == ["cut", "roll", "seam", "assemble", "ends", "wrap"]
    gauges = table(browser_of().get("/lists/table.csv?table=gauges"))
    assert {one["Material"] for one in gauges} == {"galvanized", "carbon steel", "stainless", "aluminum"}


def test_what_is_the_supervisors_is_not_the_offices(shop):
    for name in SUPERVISORS:
        assert browser_of("office").get(f"/lists/{name}.csv").status_code == 403
    assert browser_of("office").get("/lists/secrets.csv").status_code == 404
    assert browser_of("office").get("/lists/orders.pdf").status_code == 404


def test_the_list_pages_link_their_files(shop):
    order(number="A-1")
    page = browser_of("office").get("/orders/?q=A-1&state=draft").content.decode()
    assert 'href="/lists/orders.csv?q=A-1&amp;state=draft"' in page
