"""Who may open which page of the floor: nobody signed in, and every role."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

SUPERVISOR_PAGES = ("stations", "station_add", "operators", "exceptions")


@pytest.mark.parametrize("name", SUPERVISOR_PAGES)
def test_supervisors_pages(name, signed_in, tablet):
    assert signed_in("supervisor").get(reverse(name)).status_code == 200
    for role in ("office", "display"):
        answer = signed_in(role).get(reverse(name))
        assert answer.status_code == 403
        assert b"supervisor" in answer.content
    assert tablet().get(reverse(name)).status_code == 403


@pytest.mark.parametrize("name", SUPERVISOR_PAGES)
def test_nobody_is_sent_to_sign_in_and_back(name, shop, client):
    answer = client.get(reverse(name))
    assert answer.status_code == 302
    assert answer["Location"] == f"{reverse('sign_in')}?next={reverse(name).replace('/', '%2F')}"


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("enrolment", ["ROLL-1"]),
        ("tablet_revoke", [1]),
        ("operator_active", [1]),
        ("station_add", []),
        ("operators", []),
    ],
)
def test_only_a_supervisor_changes_anything(name, arguments, station, signed_in, tablet, client):
    place = station()
    url = reverse(name, args=arguments)
    for browser in (signed_in("office"), signed_in("display"), tablet(place)):
        assert browser.post(url, {"name": "X"}).status_code == 403
    assert client.post(url, {"name": "X"}).status_code in (302, 401)


def test_station_page_is_the_tablets(tablet, signed_in, client):
    assert tablet().get(reverse("station")).status_code == 200
    assert signed_in("supervisor").get(reverse("station")).status_code == 403
    assert client.get(reverse("station"))["Location"] == reverse("enrol")


@pytest.mark.parametrize("url", ["/api/v1/station/queue/", "/api/v1/station/pieces/AA0000/"])
def test_station_data_needs_the_stations_key(url, shop, signed_in, client):
    assert client.get(url).status_code == 401
    for role in ("office", "supervisor", "display"):
        assert signed_in(role).get(url).status_code == 403


def test_everyone_gets_home(signed_in, tablet, client, person):
    person("office")
    assert client.get("/")["Location"] == reverse("sign_in")
    for role, name in (("office", "orders"), ("supervisor", "board"), ("display", "board")):
        assert signed_in(role).get("/")["Location"] == reverse(name)
    assert tablet().get("/")["Location"] == reverse("station")


def test_changing_needs_the_csrf_token(station, person):
    station()
    client = Client(enforce_csrf_checks=True)
    client.force_login(person("supervisor"))
    assert client.post(reverse("enrolment", args=["ROLL-1"])).status_code == 403
