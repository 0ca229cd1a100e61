"""A supervisor's one-time code makes a tablet the station's; wrong codes are counted."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from shared.problems import TooManyTries, WrongInput
from shared.roles import Actor
from shopfloor.access import enrolment_make, tablet_enrol
from shopfloor.keys import TABLET_COOKIE, actor_of_key
from shopfloor.models import EnrolmentCode, Key, Station, Tablet

from .conftest import NOW

SUPERVISOR = Actor("supervisor", "supervisor")


def code_for(station, now=NOW):
    return enrolment_make(station=station, actor=SUPERVISOR, now=now)


def other_than(*codes: str) -> str:
    return next(text for text in ("00000000", "11111111", "22222222") if text not in codes)


def test_code_makes_the_tablet_its_stations(station):
    code = code_for(station())
    assert len(code) == 8 and code.isdigit()
    tablet, secret = tablet_enrol(code=f"{code[:4]} {code[4:]}", name="", now=NOW)
    actor = actor_of_key(secret)
    assert (actor.role, actor.station, actor.operations) == ("operator", "ROLL-1", ("roll",))
    assert (tablet.name, tablet.enrolled_by) == ("ROLL-1 tablet 1", "supervisor")


def test_code_is_kept_hashed_and_shown_once(station, signed_in):
    station()
    page = signed_in("supervisor").post(reverse("enrolment", args=["ROLL-1"]))
    kept = EnrolmentCode.objects.get()
    shown = "".join(filter(str.isdigit, page.content.decode().split("enrol-code")[1].split("</p>")[0]))
    assert len(shown) == 8
    assert shown not in kept.digest
    assert "no-store" in page["Cache-Control"]


@pytest.mark.parametrize("later", [timedelta(minutes=10), timedelta(days=1)])
def test_code_ends_after_ten_minutes(station, later):
    code = code_for(station())
    with pytest.raises(WrongInput):
        tablet_enrol(code=code, name="", now=NOW + later)


def test_code_works_once(station):
    code = code_for(station())
    tablet_enrol(code=code, name="", now=NOW)
    with pytest.raises(WrongInput):
        tablet_enrol(code=code, name="", now=NOW)
    assert Tablet.objects.count() == 1


def test_new_code_ends_the_stations_earlier_one(station):
    place = station()
    first = code_for(place)
    second = code_for(place)
    with pytest.raises(WrongInput):
        tablet_enrol(code=first, name="", now=NOW)
    tablet_enrol(code=second, name="", now=NOW)


def test_five_wrong_codes_close_the_station_even_for_the_right_one(station):
    code = code_for(station())
    for _ in range(5):
        with pytest.raises(WrongInput):
            tablet_enrol(code=other_than(code), name="", now=NOW)
    with pytest.raises(TooManyTries) as closed:
        tablet_enrol(code=code, name="", now=NOW)
    assert closed.value.retry_after == 30
    tablet_enrol(code=code, name="", now=NOW + timedelta(seconds=30))


def test_wrong_codes_are_counted_where_no_code_is_open_too(station):
    for _ in range(5):
        with pytest.raises(WrongInput):
            tablet_enrol(code="12345678", name="", now=NOW)
    with pytest.raises(TooManyTries):
        tablet_enrol(code="12345678", name="", now=NOW)


def test_page_sets_a_cookie_that_scripts_cannot_read(station, settings):
    code = code_for(station(), now=_now())
    client = Client()
    answer = client.post(reverse("enrol"), {"code": code})
    assert answer["Location"] == reverse("station")
    cookie = answer.cookies[TABLET_COOKIE]
    assert cookie["httponly"] and cookie["samesite"] == "Lax" and not cookie["secure"]
    assert cookie["max-age"] == 365 * 24 * 3600
    page = client.get(reverse("station"))
    assert page.status_code == 200
    assert "'wasm-unsafe-eval'" in page["Content-Security-Policy"]
    assert "unsafe-inline" not in page["Content-Security-Policy"]


def test_cookie_is_secure_behind_https(station, settings):
    settings.BEHIND_HTTPS = True
    answer = Client().post(reverse("enrol"), {"code": code_for(station(), now=_now())})
    assert answer.cookies[TABLET_COOKIE]["secure"]


def test_page_answers_429_with_the_time_to_wait(station, client):
    for _ in range(5):
        assert client.post(reverse("enrol"), {"code": "1"}).status_code == 400
    answer = client.post(reverse("enrol"), {"code": "1"})
    assert answer.status_code == 429
    assert 1 <= int(answer["Retry-After"]) <= 30


def test_supervisor_who_was_signed_in_on_the_tablet_is_not_any_more(station, signed_in):
    client = signed_in("supervisor")
    client.post(reverse("enrol"), {"code": code_for(station(), now=_now())})
    assert client.get(reverse("station")).status_code == 200
    assert client.get(reverse("stations")).status_code == 403


def test_revoked_tablet_is_dead_on_the_next_request(station, signed_in):
    client = Client()
    client.post(reverse("enrol"), {"code": code_for(station(), now=_now())})
    assert client.get(reverse("api_station_queue")).status_code == 200
    signed_in("supervisor").post(reverse("tablet_revoke", args=[Tablet.objects.get().pk]))
    assert Key.objects.get().revoked_at is not None
    assert client.get(reverse("api_station_queue")).status_code == 401
    assert client.get(reverse("station"))["Location"] == reverse("enrol")


def test_station_out_of_use_gives_no_code_and_its_tablets_cannot_scan(station, tablet):
    place = station()
    client = tablet(place)
    Station.objects.update(is_active=False)
    place.refresh_from_db()
    assert client.get(reverse("api_station_queue")).status_code == 401
    with pytest.raises(WrongInput):
        code_for(place)


@pytest.mark.django_db(transaction=True)
def test_one_code_used_twice_at_once_makes_one_tablet(station):
    code = code_for(station())

    def one(_):
        try:
            tablet_enrol(code=code, name="", now=NOW)
        except WrongInput:
            return "wrong"
        finally:
            connection.close()
        return "in"

    with ThreadPoolExecutor(6) as pool:
        told = list(pool.map(one, range(6)))
    assert told.count("in") == 1
    assert Tablet.objects.count() == 1


def _now():
    from django.utils import timezone

    return timezone.now()
