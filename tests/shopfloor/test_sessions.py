"""Sessions that are not one's own: fixed beforehand, stolen, too old, of a closed account."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.test import Client
from django.utils import timezone

from shopfloor.models import Person

from .conftest import PASSWORD


def sign_in(client: Client, name: str = "office"):
    return client.post("/sign-in/", {"name": name, "password": PASSWORD})


def session_of(client: Client) -> str:
    return client.cookies["sessionid"].value


def test_a_session_fixed_beforehand_is_not_the_one_that_is_signed_in(person):
    person("office")
    attacker = Client()
    attacker.session.save()
    fixed = attacker.session.session_key
    victim = Client()
    victim.cookies["sessionid"] = fixed
    sign_in(victim)
    assert session_of(victim) != fixed
    assert victim.get("/orders/").status_code == 200
    attacker.cookies["sessionid"] = fixed
    assert attacker.get("/orders/").status_code == 302


def test_a_made_up_session_is_not_taken(person):
    person("office")
    client = Client()
    client.cookies["sessionid"] = "attackers0choice0attackers0choice"
    sign_in(client)
    assert session_of(client) != "attackers0choice0attackers0choice"


def test_another_person_signing_in_gets_none_of_the_first_ones_session(person):
    for role in ("office", "supervisor"):
        person(role)
    client = Client()
    sign_in(client)
    first = session_of(client)
    session = client.session
    session["note"] = "of the first"
    session.save()
    sign_in(client, "supervisor")
    assert session_of(client) != first
    assert "note" not in client.session
    assert not Session.objects.filter(session_key=first).exists()


def test_a_session_is_dead_after_fourteen_days(person):
    person("office")
    client = Client()
    sign_in(client)
    left = Session.objects.get(session_key=session_of(client)).expire_date - timezone.now()
    assert timedelta(days=13, hours=23) < left <= timedelta(days=14)
    Session.objects.update(expire_date=timezone.now() - timedelta(seconds=1))
    assert client.get("/orders/").status_code == 302


@pytest.mark.parametrize("change", [{"is_active": False}, {"password": "pbkdf2_sha256$1$new$other"}])
def test_a_closed_account_and_a_changed_password_end_every_session(person, change):
    person("office")
    clients = [Client(), Client()]
    for client in clients:
        sign_in(client)
        assert client.get("/orders/").status_code == 200
    Person.objects.update(**change)
    assert [client.get("/orders/").status_code for client in clients] == [302, 302]


def test_another_role_counts_on_the_next_request(person):
    person("office")
    client = Client()
    sign_in(client)
    Person.objects.update(role="display")
    assert client.get("/orders/").status_code == 403


def test_a_session_that_was_signed_out_cannot_be_used_again(person):
    person("office")
    client, thief = Client(), Client()
    sign_in(client)
    thief.cookies["sessionid"] = session_of(client)
    assert thief.get("/orders/").status_code == 200
    client.post("/sign-out/")
    thief.cookies["sessionid"] = thief.cookies["sessionid"].value
    assert thief.get("/orders/").status_code == 302


def test_the_session_cookie_is_out_of_reach_of_scripts_and_other_sites(person, settings):
    person("office")
    settings.SESSION_COOKIE_SECURE = True
    cookie = sign_in(Client()).cookies["sessionid"]
    assert (cookie["httponly"], cookie["samesite"], cookie["secure"]) == (True, "Lax", True)


def test_a_wrong_sign_in_leaves_no_one_signed_in(person):
    person("office")
    client = Client()
    client.post("/sign-in/", {"name": "office", "password": "not it"})
    assert SESSION_KEY not in client.session
