"""Lines marked with the floor or duct system that they belong to, on the order's page and over the API."""

import pytest

from fittings.orders import order_update
from tests import factories
from travelers.order_page import order_page

pytestmark = pytest.mark.django_db
TODAY = factories.NOW.date()


def test_systems_are_added_up_in_the_order_of_the_lines(shop):
    order = factories.order(
        lines=[
            factories.line(quantity=4, system="Level 2"),
            factories.line(quantity=1),
            factories.line(quantity=3, system="Level 1"),
            factories.line(quantity=2, system="Level 2"),
        ]
    )
    page = order_page(order.number, today=TODAY)
    sums = [(one.name, one.lines, one.fittings) for one in page.systems]
    assert sums == [("Level 2", 2, 6), ("Level 1", 1, 3), ("", 1, 1)]
    pounds = [float(one.weight.removesuffix(" lb")) for one in page.systems]
    assert pounds[0] == pytest.approx(2 * pounds[1], abs=0.15)  # 6 fittings beside 3, each text to 0.1 lb


def test_an_order_without_systems_shows_none(office_page):
    order = factories.order()
    assert order_page(order.number, today=TODAY).systems == ()
    assert "By system" not in office_page.get(f"/orders/{order.number}/").content.decode()


def test_the_page_names_each_system(office_page):
    order = factories.order(lines=[factories.line(system="Level 2")])
    text = office_page.get(f"/orders/{order.number}/").content.decode()
    assert "By system" in text
    assert text.count("Level 2") == 2


def test_a_program_gives_and_gets_the_system(office):
    body = factories.order_body(lines=[factories.line(system="  Level 2 ")])
    made = office.post("orders/", body).json()
    assert made["lines"][0]["system"] == "Level 2"
    made["lines"][0]["system"] = "Roof"
    answer = office.patch(f"orders/{made['number']}/", {"version": 1, "lines": made["lines"]})
    assert answer.json()["lines"][0]["system"] == "Roof"


def test_a_system_of_41_characters_is_refused(office):
    body = factories.order_body(lines=[factories.line(system="L" * 41)])
    answer = office.post("orders/", body)
    assert answer.status_code == 400
    [error] = answer.json()["errors"]
    assert error["field"] == "lines[0].system"
    assert error["message"] == "System has 41 characters; it can be a text of 0 to 40 characters."


def test_another_system_is_a_new_version(shop):
    order = factories.order()
    data = {"version": 1, "lines": [factories.line(system="Level 2")]}
    assert (
        order_update(number=order.number, data=data, actor=factories.OFFICE_ACTOR, now=factories.NOW).version
        == 2
    )
