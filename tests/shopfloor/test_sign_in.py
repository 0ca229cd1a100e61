"""Signing in: the right way, the wrong ways, and what they must not tell."""

from __future__ import annotations

from datetime import timedelta
from unittest import mock

import pytest
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.test import Client
from django.urls import reverse

from shared.problems import TooManyTries, WrongInput
from shopfloor import access
from shopfloor.access import person_sign_in
from shopfloor.misses import wait_after
from shopfloor.models import SignInMisses

from .conftest import NOW, PASSWORD


def wrong(name="office", now=NOW):
    with pytest.raises(WrongInput):
        person_sign_in(name=name, password="not it", now=now)


def closed(name="office", now=NOW, password="not it") -> int:
    with pytest.raises(TooManyTries) as found:
        person_sign_in(name=name, password=password, now=now)
    return found.value.retry_after


def test_right_password_signs_in(person):
    office = person("office")
    assert person_sign_in(name="office", password=PASSWORD, now=NOW) == office


def test_waits_double_to_a_quarter_of_an_hour():
    assert [wait_after(misses) for misses in range(12)] == [0] * 5 + [30, 60, 120, 240, 480, 900, 900]


def test_sixth_try_after_five_misses_waits_30_seconds(person):
    person("office")
    for _ in range(5):
        wrong()
    assert closed() == 30
    assert closed(now=NOW + timedelta(seconds=29.5)) == 1
    wrong(now=NOW + timedelta(seconds=30))
    assert closed(now=NOW + timedelta(seconds=31)) == 59


def test_right_password_is_refused_while_closed_and_forgets_the_misses_after(person):
    person("office")
    for _ in range(5):
        wrong()
    closed(password=PASSWORD)
    later = NOW + timedelta(seconds=31)
    person_sign_in(name="office", password=PASSWORD, now=later)
    assert not SignInMisses.objects.exists()
    for _ in range(5):
        wrong(now=later)


def test_another_account_stays_open(person):
    person("office")
    supervisor = person("supervisor")
    for _ in range(5):
        wrong("office")
    assert person_sign_in(name="supervisor", password=PASSWORD, now=NOW) == supervisor


@pytest.mark.parametrize("spelling", ["OFFICE", " office ", "Office"])
def test_misses_count_for_the_account_however_its_name_is_spelled(person, spelling):
    person("office")
    for _ in range(5):
        wrong(spelling)
    closed("office")


def test_unknown_and_disabled_accounts_get_the_same_words_and_the_same_count(person):
    person("office")
    person("supervisor", is_active=False)
    said = {}
    for name, password in (("office", "not it"), ("supervisor", PASSWORD), ("nobody", "not it")):
        said[name] = []
        for _ in range(5):
            with pytest.raises(WrongInput) as found:
                person_sign_in(name=name, password=password, now=NOW)
            said[name].append(found.value.detail)
        said[name].append(closed(name))
    assert said["office"] == said["supervisor"] == said["nobody"]


@pytest.mark.parametrize("name", ["office", "supervisor", "nobody"])
def test_every_try_costs_one_hash(person, name):
    person("office")
    person("supervisor", is_active=False)
    real, rounds = PBKDF2PasswordHasher.encode, []

    def counted(self, password, salt, iterations=None):
        rounds.append(iterations or self.iterations)
        return real(self, password, salt, iterations)

    with mock.patch.object(PBKDF2PasswordHasher, "encode", counted):
        wrong(name)
    assert rounds == [PBKDF2PasswordHasher.iterations]


def test_forgotten_after_a_day(person):
    person("office")
    wrong("someone else")
    wrong("office", now=NOW + timedelta(days=1, seconds=1))
    assert list(SignInMisses.objects.values_list("subject", flat=True)) == ["account office"]


# -- the page ---------------------------------------------------------------


def post(client, name="office", password=PASSWORD, **extra):
    return client.post(reverse("sign_in"), {"name": name, "password": password, **extra})


def test_page_signs_in_and_home_knows_the_way(person, client):
    person("display")
    answer = post(client, "display")
    assert (answer.status_code, answer["Location"]) == (302, "/")
    assert client.get("/")["Location"] == reverse("board")


def test_page_says_429_and_how_long_to_wait(person, client):
    person("office")
    for _ in range(5):
        assert post(client, password="not it").status_code == 400
    answer = post(client)
    assert answer.status_code == 429
    assert 1 <= int(answer["Retry-After"]) <= 30
    assert b"Wait" in answer.content
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize(
    ("onward", "lands"),
    [
        ("/stations/?page=2", "/stations/?page=2"),
        ("https://elsewhere.example/", "/"),
        ("//elsewhere.example/", "/"),
        ("/\\elsewhere.example", "/"),
        ("javascript:alert(1)", "/"),
        ("http:///elsewhere.example", "/"),
    ],
)
def test_next_stays_on_this_host(person, client, onward, lands):
    person("supervisor")
    assert post(client, "supervisor", next=onward)["Location"] == lands


def test_sign_out_ends_the_session(signed_in):
    client = signed_in("supervisor")
    assert client.get(reverse("stations")).status_code == 200
    assert client.get(reverse("sign_out")).status_code == 405
    client.post(reverse("sign_out"))
    assert client.get(reverse("stations")).status_code == 302


def test_sign_in_needs_the_csrf_token(person):
    person("office")
    assert post(Client(enforce_csrf_checks=True)).status_code == 403


def test_support_pages_have_no_door_of_their_own(person, client):
    answer = client.get("/admin/login/?next=/admin/")
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("sign_in"))
    assert client.post("/admin/login/", {"username": "x", "password": "y"}).status_code == 405


def test_password_is_not_told_by_the_page(shop, client):
    answer = post(client, "nobody", "s3cret-Password")
    assert b"s3cret-Password" not in answer.content


def test_subject_fits_whatever_the_name(shop):
    wrong("ß" * 400)
    assert len(SignInMisses.objects.get().subject) <= access.LONGEST_NAME + 10
