"""Caps: the next operation is full, the tablets before it say so, and the simulation takes the caps that there are."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.urls import reverse

from shopfloor.floor_now import floor_now
from shopfloor.flow.calendar import Calendar
from shopfloor.hold_back import Full, full_after
from shopfloor.models import Station
from tests.factories_cutting import released
from travelers.models import Operation, Task

pytestmark = pytest.mark.django_db


@pytest.fixture
def rolling(shop):
    """Twenty gores, three of them ready at the roll, one on hold there, which has a cap of four."""
    order = released()
    at_roll = list(Task.objects.filter(operation="roll").order_by("pk")[:4])
    Task.objects.filter(pk__in=[one.pk for one in at_roll]).update(state="ready")
    Task.objects.filter(pk=at_roll[0].pk).update(state="held")
    Operation.objects.filter(code="roll").update(cap=4)
    return order


def full_here(*operations: str) -> list[Full]:
    return full_after(operations, list(Operation.objects.order_by("position")))


def test_an_operation_with_as_many_pieces_as_its_cap_is_full(rolling):
    assert full_here("cut") == [Full("roll", "Roll", 4, 4)]
    Operation.objects.filter(code="roll").update(cap=5)
    assert full_here("cut") == []
    Operation.objects.filter(code="roll").update(cap=None)
    assert full_here("cut") == []


def test_only_what_feeds_it_is_held_back(rolling):
    assert full_here("seam") == [] == full_here("roll") == full_here()
    assert full_here("cut", "roll") == [], "it works it off itself"


def test_the_tablet_is_told_in_both_languages(rolling, tablet, station):
    def told(code: str, operation: str):
        return tablet(station(code, [operation])).get(reverse("api_station_queue")).json()["hold_back"]

    (words,) = told("CUT-1", "cut")
    assert words["words"] == "Roll is full: 4 of 4. Hold back."
    assert words["in"]["es"]["words"] == "Rolado está lleno: 4 de 4. Espere."
    assert told("SEAM-1", "seam") == []


def test_the_simulation_takes_the_caps_that_there_are(rolling):
    Station.objects.create(code="ROLL-1", name="Roll", operations=["roll"])
    found = floor_now(Calendar(), now=datetime(2026, 3, 2, 15, tzinfo=UTC))
    assert found.floor.caps == {"roll": 4}


def test_a_cap_is_set_on_the_operations_page_and_taken_away(shop, signed_in):
    client = signed_in("supervisor")
    fields = {"name": "Roll", "position": "20", "cap": "40"}
    assert client.post("/operations/roll/", fields).status_code == 302
    assert Operation.objects.get(code="roll").cap == 40
    assert "40" in client.get("/operations/").content.decode()
    wrong = client.post("/operations/roll/", fields | {"cap": "0"})
    assert wrong.status_code == 422 and "Enter the number of pieces, 1 to 5000" in wrong.content.decode()
    assert Operation.objects.get(code="roll").cap == 40
    client.post("/operations/roll/", fields | {"cap": ""})
    assert Operation.objects.get(code="roll").cap is None
