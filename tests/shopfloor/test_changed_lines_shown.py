"""After a change of a released order the lists and pages show the lines that stand, and a piece its own line."""

from __future__ import annotations

from datetime import date

import pytest

from fittings.models import Fitting
from fittings.order_list import order_line_get, order_list, order_rows
from fittings.selectors import orders_found
from shopfloor.views.where import where_answer
from tests.factories import elbow_params
from tests.pages import browser_of
from tests.travelers import amend_desk as desk
from tests.travelers.floor import floor

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]


@pytest.fixture
def changed():
    """Two elbows of 14 in made into two of 16 in, before anything was started."""
    one = floor(quantity=2)
    params = elbow_params(diameter=16)
    desk.changed(one.order, {"line": 1, "params": params, "tag": "AHU-9"}, now=desk.at(5))
    return one.order


def test_lists_count_and_find_the_lines_that_stand(changed):
    found = orders_found().get(pk=changed.pk)
    assert (found.lines_count, found.pieces) == (1, 2)
    (row,) = order_rows(order_list(today=date(2026, 3, 4)), today=date(2026, 3, 4))
    assert [(line.quantity, line.tag) for line in row.lines] == [(2, "AHU-9")] and row.more == 0
    assert orders_found(q="AHU-9").exists() and not orders_found(q="AHU-3").exists()


def test_the_page_of_a_line_is_that_of_the_line_that_stands(changed):
    assert order_line_get(changed.number, 1).params["diameter"] == 16
    shown = browser_of("office").get(f"/orders/{changed.number}/lines/1/").content.decode()
    assert "16 in" in shown and "14 in" not in shown


def test_where_draws_each_fitting_from_its_own_line(changed):
    by_code = {one["code"]: one["text"] for one in where_answer(changed.number)["results"]}
    own = dict(Fitting.objects.filter(order=changed).values_list("code", "line__params__diameter"))
    assert by_code and all(f"{own[code]:g} in" in text for code, text in by_code.items())
    gone = Fitting.objects.filter(order=changed, line__ended_version__isnull=False).values_list(
        "code", flat=True
    )
    (void,) = where_answer(gone[0])["results"]
    assert "14 in" in void["text"]
