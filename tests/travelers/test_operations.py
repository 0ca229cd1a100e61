"""The shop adds an operation without code: as a row, a route rule and a station; a release takes it up."""

import pytest
from django.test import Client

from fittings import tables
from tests.factories import NOW, OFFICE_ACTOR, line, order, person
from travelers.models import Operation, Task
from travelers.release import order_release

pytestmark = pytest.mark.django_db

INSPECT = {"code": "inspect", "name": "Inspect", "level": "fitting", "position": "45", "needs_own_scan": "on"}


@pytest.fixture
def browser(shop):
    client = Client()
    client.force_login(person("supervisor"))
    return client


def test_added_operation_is_in_the_route_of_the_next_release(browser):
    answer = browser.post("/operations/", INSPECT)
    assert (answer.status_code, answer["Location"]) == (302, "/operations/")
    rows = [dict(row) for row in tables.rows("routes")]
    rule = dict(
        rows[0], operation="inspect", method="Look at every seam", source="common practice, no source"
    )
    tables.save(name="routes", new_rows=[*rows, rule], seen=1, note="", actor=OFFICE_ACTOR, now=NOW)
    number = order(lines=[line(quantity=1)]).number
    order_release(number=number, actor=OFFICE_ACTOR, now=NOW)
    steps = Task.objects.filter(segment=None).order_by("step").values_list("operation_id", "needs_own_scan")
    assert [code for code, _ in steps][:2] == ["assemble", "inspect"]
    assert dict(steps)["inspect"] is True


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"code": "Leak Test"}, "small letters"),
        ({"code": "cut"}, "The code cut is taken"),
        ({"position": "10"}, "The position 10 is taken"),
        ({"position": "0"}, "1 to 9999"),
        ({"name": ""}, "Enter the name"),
    ],
)
def test_wrong_operation_says_why_and_changes_nothing(browser, change, sentence):
    before = list(Operation.objects.order_by("pk").values())
    answer = browser.post("/operations/", {**INSPECT, **change})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert list(Operation.objects.order_by("pk").values()) == before


def test_change_keeps_code_and_level(browser):
    browser.post(
        "/operations/cut/", {"name": "Cut and mark", "position": "11", "code": "x", "level": "fitting"}
    )
    found = Operation.objects.get(pk="cut")
    assert (found.name, found.position, found.level) == ("Cut and mark", 11, "segment")


def test_display_may_not(shop):
    client = Client()
    client.force_login(person("display"))
    assert client.get("/operations/").status_code == 403
