"""Changes of a released order by HTTP: shown, made once, refused, and the history."""

from __future__ import annotations

import pytest

from fittings.models import Fitting, KeptPiece, Order
from tests import factories
from tests.travelers.floor import floor

pytestmark = pytest.mark.usefixtures("shop")
ROUND = {"diameter": 16, "angle": 90, "pieces": 3, "radius_ratio": 1.5}


@pytest.fixture
def office(api_as):
    return api_as("office")


def change(office, one, *lines, **more):
    version = Order.objects.get(pk=one.order.pk).version
    body = {"version": version, "lines": list(lines), **more}
    return office.post(f"orders/{one.order.number}/change/", body)


def test_a_dry_run_tells_what_a_change_means_and_changes_nothing(office):
    one = floor(quantity=3)
    one.scan("cut", one.segment(1, fitting=3).code)
    answer = change(office, one, {"line": 1, "params": ROUND, "started": "scrap"}, dry_run=True)
    assert answer.status_code == 200, answer.json()
    told = answer.json()
    assert (told["is_made"], told["fittings"], told["order"]["version"]) == (False, 3, 2)
    [line] = told["lines"]
    assert (line["what"], line["made"], line["void"], line["begun"]) == ("replace", 3, 2, 1)
    assert line["going"] == [{"operation": "cut", "done": 1, "running": 0, "of": "segment"}]
    assert (line["scrap"]["pieces"], line["scrap"]["cost"], line["kept"]["pieces"]) == (1, None, 0)
    assert line["scrap"]["area_in2"] > 0
    assert Fitting.objects.count() == 3
    made = change(office, one, {"line": 1, "params": ROUND, "started": "scrap"}, seen=told["seen"])
    assert (made.status_code, made.json()["is_made"], made.json()["order"]["version"]) == (200, True, 3)
    assert Fitting.objects.filter(taken_out_at=None).count() == 3


def test_a_change_that_means_something_else_by_now_is_refused_with_the_new_mark(office):
    one = floor(quantity=2)
    seen = change(office, one, {"line": 1, "quantity": 1}, dry_run=True).json()["seen"]
    one.scan("cut", one.segment(1, fitting=1).code)
    one.scan("cut", one.segment(1, fitting=2).code)
    answer = change(office, one, {"line": 1, "quantity": 1}, seen=seen)
    assert answer.status_code == 409
    assert answer.json()["seen"] != seen
    assert "The floor went on" in answer.json()["detail"]


def test_the_same_key_changes_once(office):
    one = floor(quantity=2)
    body = {"version": 2, "lines": [{"line": 1, "quantity": 4}]}
    address = f"orders/{one.order.number}/change/"
    first = office.post(address, body, idempotency_key="a-1")
    again = office.post(address, body, idempotency_key="a-1")
    assert (first.status_code, again.json()) == (200, first.json())
    assert Fitting.objects.count() == 4


def test_wrong_fields_are_named(office):
    one = floor(quantity=1)
    answer = change(office, one, {"line": 1, "quantity": 0}, {"line": 4})
    assert answer.status_code == 400
    assert [error["field"] for error in answer.json()["errors"]] == ["lines[0].quantity", "lines[1].line"]


def test_the_history_tells_every_version_the_newest_first(office):
    one = floor(quantity=1)
    change(office, one, {"line": 1, "quantity": 2}, note="By phone")
    told = office.get(f"orders/{one.order.number}/changes/").json()
    assert told["count"] == 2
    newest, released = told["results"]
    assert (newest["version"], released["version"]) == (3, 2)
    assert [change["what"] for change in newest["changes"]] == ["line 1", "note"]
    assert newest["changes"][0]["after"].endswith("; 1 new")
    assert released["changes"] == [{"what": "state", "before": "draft", "after": "released"}]


def test_a_released_order_is_cancelled_and_what_is_started_is_kept_by_choice(office):
    one = floor(quantity=2)
    code = one.segment(1).code
    one.scan("cut", code)
    one.scan("assemble", one.fittings[1].code)
    one.scan("wrap", one.fittings[1].code)
    answer = office.post(f"orders/{one.order.number}/cancel/", {"started": "keep"})
    assert (answer.status_code, answer.json()["state"]) == (200, "cancelled")
    assert {str(piece) for piece in KeptPiece.objects.all()} == {code, one.fittings[1].code}
    assert {piece.why for piece in KeptPiece.objects.all()} == {"cancelled"}
    from travelers.replay import replay

    assert replay(write=False).differences == []


def test_a_cancel_without_a_choice_is_as_it_was(office):
    one = floor(quantity=1)
    one.scan("cut", one.segment(1).code)
    assert office.post(f"orders/{one.order.number}/cancel/").json()["state"] == "cancelled"
    assert (KeptPiece.objects.count(), Fitting.objects.get().taken_out_at) == (0, None)
    wrong = office.post(f"orders/{factories.order().number}/cancel/", {"started": "burn"})
    assert (wrong.status_code, wrong.json()["errors"][0]["limit"]) == (400, "keep, scrap")


def test_the_order_s_answer_has_the_lines_as_they_stand(office):
    one = floor(quantity=1)
    change(office, one, {"line": 1, "params": ROUND}, factories.line(quantity=2))
    told = office.get(f"orders/{one.order.number}/").json()
    assert [(line["line"], line["quantity"], line["params"]["diameter"]) for line in told["lines"]] == [
        (1, 1, 16),
        (2, 2, 14),
    ]
    assert told["fittings_total"] == 3


def test_the_page_cancels_and_keeps_what_is_good_as_stock(office_page):
    one = floor(quantity=1)
    code = one.segment(1).code
    one.scan("cut", code)
    path = f"/orders/{one.order.number}/"
    assert "Keep what is good as stock" in office_page.get(path).content.decode()
    shown = office_page.post(f"{path}cancel/", {"started": "keep"}, follow=True).content.decode()
    assert f"Order {one.order.number} is cancelled" in shown
    assert [str(piece) for piece in KeptPiece.objects.all()] == [code]
