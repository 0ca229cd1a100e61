"""A piece that is not ready here, a station that does not take it, a lot: what the tablet and the scan's answer say."""

from __future__ import annotations

import uuid

import pytest
from django.urls import reverse
from django.utils import timezone

from fittings.models import Segment
from shopfloor.models import Station
from tests.travelers.floor import floor

pytestmark = pytest.mark.django_db


@pytest.fixture
def at(station, tablet):
    """What a station with these operations is told of a code."""

    def ask(code: str, *operations: str, **limits) -> dict:
        name = f"{operations[0].upper()}-{Station.objects.count()}"
        place = station(name, operations, **limits)
        return tablet(place).get(reverse("api_station_piece", args=[code])).json()

    return ask


def test_a_piece_says_where_it_is_and_what_it_lacks(at, shop):
    on = floor(quantity=1)
    code = on.segment(2).code
    assert at(code, "seam")["not_ready"] == "Not ready for Seam. It is at Cut and lacks Cut, Roll."
    assert at(code, "cut")["not_ready"] == ""
    on.scan("cut", code)
    assert at(code, "seam")["not_ready"] == "Not ready for Seam. It is at Roll and lacks Roll."
    on.scan("roll", code, "hold", reason="Damaged")
    assert at(code, "seam")["not_ready"] == "Not ready for Seam. It is on hold at Roll and lacks Roll."
    assert at(code, "seam")["in"]["es"]["not_ready"]


def test_a_kit_says_which_pieces_it_lacks_and_where_they_are(at, shop):
    on = floor(quantity=1, pieces=5)
    for position in (1, 3):
        on.scan("seam", on.segment(position).code)
    on.scan("cut", on.segment(2).code)
    on.scan("roll", on.segment(2).code, "hold", reason="Damaged")
    said = "Not ready for Assemble. It lacks gore 2 (on hold at Roll), 4 (at Cut), 5 (at Cut)."
    assert at(on.fitting.code, "assemble")["not_ready"] == said
    assert at(on.segment(1).code, "assemble")["not_ready"] == said  # any piece of the kit stands for it here
    for position in (2, 4):
        on.scan("roll", on.segment(position).code, "resume")
        on.scan("seam", on.segment(position).code)
    assert at(on.fitting.code, "assemble")["not_ready"] == "Not ready for Assemble. It lacks gore 5 (at Cut)."
    on.scan("seam", on.segment(5).code)
    assert at(on.fitting.code, "assemble")["not_ready"] == ""


def test_any_piece_of_a_kit_is_the_fitting_where_it_is_assembled(shop):
    on = floor(quantity=1)
    for position in (1, 2, 3):
        on.scan("seam", on.segment(position).code)
    done = on.scan("assemble", on.segment(3).code)
    assert (done.outcome, done.operation, done.changed) == ("recorded", "assemble", 2)
    assert on.task("assemble").state == "done"


def test_the_station_says_what_it_does_not_take(at, shop):
    on = floor(quantity=1, gauge=14, diameter=30)
    code = on.segment(1).code
    assert at(code, "roll", gauge_heaviest=16)["beyond"] == "14 ga is beyond this station: 16 ga and lighter."
    assert at(code, "roll", gauge_lightest=12)["beyond"] == "14 ga is beyond this station: 12 ga and heavier."
    assert at(code, "roll", diameter_most_in=24)["beyond"] == "30 in is beyond this station: up to 24 in."
    assert at(code, "roll", diameter_least_in=36)["beyond"] == "30 in is beyond this station: 36 in and more."
    assert at(code, "roll", gauge_heaviest=14, gauge_lightest=14, diameter_most_in=30)["beyond"] == ""


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        ({"gauge_heaviest": 16}, "14 ga is beyond this station: 16 ga and lighter."),
        ({"diameter_most_in": 12}, "14 in is beyond this station: up to 12 in."),
        ({"diameter_most_in": 14, "gauge_heaviest": 14}, ""),
        ({}, ""),
    ],
)
def test_a_scan_beyond_the_limits_is_recorded_and_says_so(station, tablet, operator, limits, said):
    on = floor(quantity=1, gauge=14)
    client = tablet(station("CUT-1", ["cut"], **limits))
    scan = {
        "id": str(uuid.uuid4()),
        "code": on.segment(1).code,
        "action": "finish",
        "badge": operator().code,
        "scanned_at": timezone.now().isoformat(),
    }
    for outcome in ("recorded", "repeated"):
        answer = client.post("/api/v1/scans/", {"scans": [scan]}, content_type="application/json").json()
        result = answer["results"][0]
        assert result["outcome"] == outcome
        assert result["message"] == f"Gore 1 of 3 cut. Next: Roll. {said}".strip()
    assert Segment.objects.get(code=scan["code"]).tasks.get(operation="cut").state == "done"


def test_a_lot_says_how_many_are_left_here(at, shop):
    on = floor(quantity=2)
    assert at(on.traveler, "cut")["lot_left"] == 6
    on.scan("cut", on.traveler, count=4)
    assert at(on.traveler, "cut")["lot_left"] == 2
    assert at(on.traveler, "cut", "roll")["lot_left"] == 2
    assert at(on.traveler, "assemble")["lot_left"] == 2
    assert at(on.segment(1).code, "cut")["lot_left"] is None
    on.scan("cut", on.traveler)
    assert at(on.traveler, "cut")["lot_left"] == 0
