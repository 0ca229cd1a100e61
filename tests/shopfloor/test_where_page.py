"""Where is it? Found by whatever is at hand, and a clear sentence when it is not."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests.factories import key_for

from .floor_of_four import released, scan, segments, stations

NOW = timezone.now()


@pytest.fixture
def order(shop):
    stations()
    return released(now=NOW - timedelta(hours=2))


def ask(q: str, role: str = "office"):
    client = Client(headers={"Authorization": f"Token {key_for(role)}"})
    return client.get("/where/", {"q": q})


def test_nothing_asked_shows_the_field(shop):
    page = ask("").content.decode()
    assert "autofocus" in page and "Nothing asked yet" in page


@pytest.mark.parametrize("by", ["number", "tag", "purchase_order", "fitting", "segment", "traveler"])
def test_whatever_is_at_hand_finds_it(order, by):
    piece = segments(order)[1]
    asked = {
        "number": order.number,
        "tag": "ahu-3",
        "purchase_order": "PO-77",
        "fitting": piece.fitting.code,
        "segment": piece.code.lower(),
        "traveler": piece.fitting.traveler_code,
    }[by]
    answer = ask(asked)
    assert answer.status_code == 200
    rows = answer.context["answer"]["results"]
    assert piece.fitting.code in [row["code"] for row in rows]
    assert all(row["icon"].startswith("<svg") for row in rows)
    assert f"Order {order.number}" in answer.content.decode()


def test_each_piece_says_where_it_sits_and_what_it_waits_for(order):
    pieces = segments(order)
    for piece in pieces[1:]:
        scan(piece.code, "seam", now=NOW - timedelta(minutes=30))
    answer = ask(pieces[0].fitting.code)
    (row,) = answer.context["answer"]["results"]
    first, second, *_ = row["segments"]
    assert (first["at"], first["task_state"]) == ("Cut", "ready")
    assert (second["at"], second["task_state"]) == ("Assemble", "waiting")
    assert "waits for" in row["waits_for"]
    places = {place["name"]: place["count"] for place in answer.context["answer"]["places"]}
    assert (places["Cut"], places["Assemble"], places["Finished"]) == (1, 4, 0)


def test_the_piece_asked_for_is_marked_and_drawn(order):
    piece = segments(order)[2]
    answer = ask(piece.code)
    assert 'class="is-current"' in answer.content.decode()


def test_not_found_says_what_was_looked_for(order):
    answer = ask("  none   such ")
    assert answer.status_code == 404
    assert "“none such”" in answer.content.decode()


def test_what_was_asked_is_escaped(order):
    page = ask("<script>alert(1)</script>").content.decode()
    assert "<script>alert" not in page


@pytest.mark.parametrize(
    ("role", "status"), [("office", 200), ("supervisor", 200), ("operator", 200), ("display", 403)]
)
def test_who_may_ask(order, role, status):
    assert ask("", role).status_code == status


def test_an_operators_page_is_a_tablets(order):
    assert 'data-place="tablet"' in ask("", "operator").content.decode()
    assert 'data-place="office"' in ask("", "office").content.decode()


def test_the_number_of_queries_does_not_depend_on_the_pieces(order):
    def queries(q: str) -> int:
        client = Client(headers={"Authorization": f"Token {key_for('office')}"})
        with CaptureQueriesContext(connection) as seen:
            assert client.get("/where/", {"q": q}).status_code == 200
        return len(seen)

    few = queries(order.number)
    many = released(now=NOW, lines=[{**_line(), "quantity": 12, "tag": "X-9"}])
    assert queries(many.number) == few


def _line():
    from tests.factories import line

    return line()
