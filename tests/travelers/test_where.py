"""Where each piece sits: the words, the numbers, since when, what it waits for. Expected texts written by hand."""

from __future__ import annotations

from datetime import timedelta

import pytest

from shared.problems import NotFound, WrongInput
from tests import factories
from tests.travelers.floor import NOW, Floor, floor
from travelers.station_work import Limits, piece_at, queue_at
from travelers.where import fitting_detail, fitting_list, where

pytestmark = pytest.mark.django_db


@pytest.fixture
def on(shop) -> Floor:
    return floor(quantity=1, pieces=5)


def text(on: Floor) -> str:
    return fitting_detail(on.fitting.code)["where"]["text"]


def test_the_example_of_the_contract(on):
    on.scan("cut", on.traveler)
    for position in (1, 2):
        on.scan("roll", on.segment(position).code)
    found = fitting_detail(on.fitting.code)["where"]
    assert found["text"] == "3 gores at roll, 2 at seam"
    assert found["operations"] == {"roll": 3, "seam": 2}
    assert found["since"] == NOW + timedelta(minutes=1)


def test_on_its_way_through_the_shop(on):
    assert text(on) == "5 gores at cut"
    on.scan("cut", on.segment(1).code, "start")
    assert text(on) == "5 gores at cut (1 running)"
    on.scan("cut", on.traveler)
    on.scan("roll", on.traveler)
    on.scan("roll", on.segment(1).code)
    for position in (1, 2, 3, 4):
        on.scan("seam", on.segment(position).code)
    assert text(on) == "1 gore at seam, 4 waiting at assemble"
    on.scan("seam", on.segment(5).code, "hold", reason="Gap")
    assert text(on) == "1 gore at seam (1 on hold), 4 waiting at assemble"
    on.scan("seam", on.segment(5).code, "resume")
    on.scan("seam", on.segment(5).code)
    assert text(on) == "Fitting ready at assemble"
    on.scan("assemble", on.fitting.code, "start")
    assert text(on) == "Fitting running at assemble"
    on.scan("assemble", on.fitting.code)
    assert text(on) == "Fitting ready at wrap"
    on.scan("wrap", on.fitting.code)
    assert text(on) == "Finished"


def test_a_scrapped_gore_is_not_counted_and_its_successor_is(on):
    on.scan("seam", on.traveler)
    on.scan("seam", on.segment(3).code, "scrap", reason="Split")
    assert text(on) == "1 gore at cut, 4 waiting at assemble"
    row = where(on.fitting.code)["results"][0]
    assert row["waits_for"] == "Assemble waits for piece 3 from cut"
    assert [(one["position"], one["generation"], one["state"]) for one in row["segments"]] == [
        (1, 1, "done"),
        (2, 1, "done"),
        (3, 1, "scrapped"),
        (3, 2, "open"),
        (4, 1, "done"),
        (5, 1, "done"),
    ]


@pytest.mark.parametrize(
    "question",
    [
        lambda on: on.order.number,
        lambda on: "AHU-3",
        lambda on: "ahu-3",
        lambda on: "hu-3",
        lambda on: "PO-77",
        lambda on: on.fitting.code,
        lambda on: on.fitting.code.lower(),
        lambda on: on.traveler,
        lambda on: on.segment(2).code,
    ],
)
def test_everything_that_people_ask_by(on, question):
    found = where(question(on))
    assert [row["code"] for row in found["results"]] == [on.fitting.code]
    assert found["more"] is False


def test_the_asked_segment_is_marked(on):
    asked = [one["asked"] for one in where(on.segment(2).code)["results"][0]["segments"]]
    assert asked == [False, True, False, False, False]


def test_a_draft_is_not_on_the_floor(shop):
    order = factories.order(number="Q-7")
    found = where(order.number)
    assert found["results"] == []
    assert found["found"] == "Order Q-7 (draft, not on the floor)"


def test_what_there_is_not(shop):
    with pytest.raises(NotFound):
        where("no such thing")
    with pytest.raises(WrongInput):
        where("   ")


def test_where_takes_as_many_queries_for_many_as_for_one(shop, django_assert_max_num_queries):
    on = floor(quantity=12)
    on.scan("cut", on.traveler)
    with django_assert_max_num_queries(10):
        assert len(where(on.order.number)["results"]) == 12


def test_the_list_goes_by_order_operation_state_and_text(on):
    other = floor(quantity=1, tag="RA-9")
    on.scan("cut", on.segment(1).code)
    assert [one.code for one in fitting_list({"operation": "roll"})] == [on.fitting.code]
    assert [one.code for one in fitting_list({"order": other.order.number})] == [other.fitting.code]
    assert [one.code for one in fitting_list({"q": "ra-9"})] == [other.fitting.code]
    assert [one.code for one in fitting_list({"q": other.fitting.code.lower()})] == [other.fitting.code]
    other.scan("wrap", other.fitting.code)
    assert [one.code for one in fitting_list({"state": "done"})] == [other.fitting.code]
    with pytest.raises(WrongInput, match="open, done, scrapped, void"):
        fitting_list({"state": "lost"})


def test_the_queue_of_a_station_keeps_to_its_limits_and_goes_by_due_date(shop):
    late = floor(quantity=1)
    heavy = floor(quantity=1, gauge=14)
    wide = floor(quantity=1, diameter=30)
    late.order.due_on = "2026-03-09"
    late.order.save(update_fields=["due_on"])
    orders = [row.order for row in queue_at(["cut"])]
    assert orders == [heavy.order.number] * 3 + [wide.order.number] * 3 + [late.order.number] * 3
    light = {row.order for row in queue_at(["cut"], limits=Limits(gauge_heaviest=16))}
    assert light == {late.order.number, wide.order.number}
    assert {row.order for row in queue_at(["cut"], limits=Limits(gauge_lightest=15))} == {heavy.order.number}
    small = {row.order for row in queue_at(["cut"], limits=Limits(diameter_most_in=24))}
    assert small == {late.order.number, heavy.order.number}
    assert queue_at(["roll"]) == []
    assert len(queue_at(["cut"], limit=2)) == 2


def test_a_piece_at_a_station_shows_its_kit(on):
    on.scan("seam", on.segment(1).code)
    here = piece_at(on.segment(2).code, ["cut"])
    assert (here.position, here.operation, here.task_state, here.order) == (
        2,
        "cut",
        "ready",
        on.order.number,
    )
    assert [(position, operation) for position, _, operation, _ in here.kit] == [
        (1, "assemble"),
        (2, "cut"),
        (3, "cut"),
        (4, "cut"),
        (5, "cut"),
    ]
    whole = piece_at(on.fitting.code, ["assemble"])
    assert (whole.position, whole.operation, whole.task_state) == (None, "assemble", "waiting")
