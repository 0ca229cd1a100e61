"""What a tablet is given: the queue of its station, and the numbers of one piece."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from fittings.models import Fitting, Segment
from shared.roles import Actor
from tests import factories
from travelers.record import scan_record
from travelers.release import order_release

OFFICE = Actor("office", "office")


@pytest.fixture
def released(shop):
    def make(number: str, days: int, **line):
        due = (timezone.localdate() + timedelta(days=days)).isoformat()
        factories.order(number=number, due=due, lines=[factories.line(**{"quantity": 1, **line})])
        order_release(number=number, actor=OFFICE, now=timezone.now())

    return make


def queue_of(client):
    return client.get(reverse("api_station_queue")).json()["queue"]


def piece_of(client, code):
    return client.get(reverse("api_station_piece", args=[code]))


def test_queue_is_by_due_date_with_reasons_and_drawings(released, station, tablet):
    released("1002", 9, tag="LATER")
    released("1001", -2, tag="SOON")
    client = tablet(station("CUT-1", ["cut"]))
    queue = queue_of(client)
    assert [entry["title"] for entry in queue] == ["SOON"] * 5 + ["LATER"] * 3
    assert queue[0]["piece"] == "Gore 1 of 5"
    assert queue[0]["size"] == "14 in, 24 ga"
    assert queue[0]["why"] == "Late 2 days"
    assert queue[0]["is_late"]
    assert queue[0]["icon"].startswith("<svg")
    assert "style=" not in queue[0]["icon"]


def test_queue_keeps_to_the_stations_limits(released, station, tablet):
    released("1001", 1, gauge=20, tag="HEAVY")
    released("1002", 2, gauge=26, tag="LIGHT")
    client = tablet(station("CUT-1", ["cut"], gauge_heaviest=24))
    assert {entry["title"] for entry in queue_of(client)} == {"LIGHT"}


def test_queue_is_empty_where_the_step_before_is_not_done(released, station, tablet):
    released("1001", 1)
    assert queue_of(tablet(station("ROLL-1", ["roll"]))) == []


def test_tablet_knows_badges_cautions_and_the_epoch(station, operator, tablet):
    operator("Ana Ruiz")
    operator("Gone", is_active=False)
    data = tablet(station("ROLL-1", ["roll"])).get(reverse("api_station_queue")).json()
    assert [badge["name"] for badge in data["badges"]] == ["Ana Ruiz"]
    assert data["cautions"][0]["word"] == "DANGER"
    assert data["epoch"]


@pytest.mark.parametrize(
    ("operation", "labels"),
    [
        ("cut", ["Blank, the same for 2–4", "Stretch-out", "Throat", "Heel"]),
        ("roll", ["Inside diameter", "Stretch-out", "Marked face", "Throat mark from the seam", "Seam at"]),
        ("seam", ["Lap", "Seam length", "Seam at", "Throat", "Inside diameter"]),
    ],
)
def test_numbers_are_those_of_the_operation_and_of_the_frozen_development(
    released, station, tablet, operation, labels
):
    released("1001", 1)
    segment = Segment.objects.get(position=2)
    piece = piece_of(tablet(station("X-1", [operation])), segment.code).json()
    assert [number["label"] for number in piece["numbers"]] == labels
    assert piece["piece"] == "Gore 2 of 5"
    frozen = Fitting.objects.get().line.development["segments"][1]
    exact = {number["label"]: number["exact"] for number in piece["numbers"]}
    if operation == "cut":
        assert exact["Heel"] == f"{frozen['heel']:.3f}"
        assert piece["drawing"].startswith("<svg")
    if operation == "seam":
        assert exact["Seam length"] == f"{frozen['heel']:.3f}"  # seamed at the heel


def test_assembly_tells_how_much_of_the_kit_is_here(released, station, operator, tablet):
    released("1001", 1)
    badge = operator().code
    seam = Actor("SEAM-1", "operator", "SEAM-1", ("seam",))
    codes = list(Segment.objects.order_by("position").values_list("code", flat=True))
    for number, code in enumerate(codes[:4]):
        at = timezone.now()
        scan = {
            "id": f"scan-000{number}",
            "code": code,
            "action": "finish",
            "badge": badge,
            "scanned_at": at.isoformat(),
        }
        assert scan_record(delivery=scan, actor=seam, now=at).outcome == "recorded"
    kit = piece_of(tablet(station("ASSEMBLE-1", ["assemble"])), Fitting.objects.get().code).json()["kit"]
    assert kit["words"] == "4 of 5 here"
    assert [piece["where"] for piece in kit["pieces"] if not piece["is_here"]] == ["at cut"]


def test_unknown_piece_is_404_in_words(station, tablet):
    answer = piece_of(tablet(station()), "NOSUCH")
    assert answer.status_code == 404
    assert "No piece has the code" in answer.json()["detail"]


def test_queue_costs_the_same_however_much_is_open(released, station, tablet, django_assert_max_num_queries):
    client = tablet(station("CUT-1", ["cut"]))
    queue_of(client)
    for number in range(6):
        released(f"20{number:02}", number, tag=f"T{number}")
    with django_assert_max_num_queries(15):
        queue_of(client)
