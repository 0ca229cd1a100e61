"""Setting up stations and operators."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from shared.codes import read_code
from shopfloor.models import Station
from shopfloor.stations import limits_text
from travelers.models import Operator

GOOD = {
    "code": "seam-4",
    "name": "Lock former",
    "operations": ["seam", "ends"],
    "one_scan_finishes": "on",
    "gauge_heaviest": "16",
    "gauge_lightest": "28",
    "diameter_least_in": "4",
    "diameter_most_in": "609.6 mm",
    "position": "3",
    "is_active": "on",
}


def add(client, **changes):
    data = {name: value for name, value in (GOOD | changes).items() if value is not None}
    return client.post(reverse("station_add"), data)


def test_station_is_added_with_its_limits(signed_in):
    answer = add(signed_in("supervisor"))
    assert answer["Location"] == reverse("station_edit", args=["SEAM-4"])
    station = Station.objects.get()
    assert (station.code, station.operations, station.one_scan_finishes) == ("SEAM-4", ["seam", "ends"], True)
    assert station.diameter_most_in == pytest.approx(24)
    assert limits_text(station) == "16 to 28 gauge, 4 to 24 in"


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"operations": None}, "Choose what is done at this station."),
        ({"operations": ["fly"]}, "fly"),
        ({"code": "a b"}, "letters, digits and dashes"),
        ({"gauge_heaviest": "30"}, "can be 1 to 28"),
        ({"diameter_least_in": "30"}, "can be up to 24 in"),
        ({"diameter_least_in": "wide"}, "is not a length"),
        ({"diameter_most_in": "-3"}, "more than 0 to 1000 in"),
        ({"name": ""}, "Enter the name."),
    ],
)
def test_wrong_input_is_named_and_changes_nothing(signed_in, changes, said):
    answer = add(signed_in("supervisor"), **changes)
    assert answer.status_code == 400
    assert said in answer.content.decode()
    assert not Station.objects.exists()


def test_same_code_twice_is_refused(signed_in):
    client = signed_in("supervisor")
    add(client)
    assert "There is a station SEAM-4 already" in add(client).content.decode()
    assert Station.objects.count() == 1


def test_code_of_a_station_stays_as_it_is(station, signed_in):
    station("ROLL-1")
    url = reverse("station_edit", args=["ROLL-1"])
    answer = signed_in("supervisor").post(url, GOOD | {"code": "OTHER"})
    assert answer.status_code == 302
    assert Station.objects.get().code == "ROLL-1"
    assert Station.objects.get().name == "Lock former"


def test_list_costs_the_same_however_many_stations(station, signed_in, django_assert_max_num_queries):
    client = signed_in("supervisor")
    for number in range(30):
        station(f"ROLL-{number}")
    with django_assert_max_num_queries(12):  # one of them: whether the first steps are over
        page = client.get(reverse("stations"))
    assert b"ROLL-29" in page.content


def test_operator_gets_a_code_of_the_shop_and_can_be_taken_out(signed_in):
    client = signed_in("supervisor")
    client.post(reverse("operators"), {"name": "  Ana   Ruiz "})
    operator = Operator.objects.get()
    assert operator.name == "Ana Ruiz"
    assert read_code(operator.code) == operator.code
    client.post(reverse("operator_active", args=[operator.pk]), {"is_active": "no"})
    operator.refresh_from_db()
    assert not operator.is_active


@pytest.mark.parametrize("name", ["", "   ", "x" * 81])
def test_operator_needs_a_name(signed_in, name):
    answer = signed_in("supervisor").post(reverse("operators"), {"name": name})
    assert answer.status_code == 400
    assert not Operator.objects.exists()


def test_last_scan_of_a_station_is_told(station, signed_in):
    from travelers.models import Scan

    from .conftest import NOW

    station("ROLL-1")
    for sequence in (1, 2):
        at = NOW + timedelta(minutes=sequence)
        Scan.objects.create(
            sequence=sequence, scan_id=f"scan-{sequence}", body_digest="", code="X", action="finish",
            station="ROLL-1", received_at=at, effective_at=at, outcome="recorded", message="",
        )  # fmt: skip
    assert "Wed 4 Mar, 09:02" in signed_in("supervisor").get(reverse("stations")).content.decode()
