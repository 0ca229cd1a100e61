"""A small shop for the tests of the floor: set up, with its people and three stations."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.test import Client

from fittings.numbering import take
from shopfloor.keys import key_make
from shopfloor.models import Person, Station
from travelers.models import Operator
from travelers.setup import shop_set_up

NOW = datetime(2026, 3, 4, 15, 0, tzinfo=UTC)
PASSWORD = "round ducts all day"


@pytest.fixture(autouse=True)
def quick_hash(monkeypatch):
    """The same hasher with fewer rounds, so that hundreds of sign-ins take seconds."""
    monkeypatch.setattr(PBKDF2PasswordHasher, "iterations", 1000)


@pytest.fixture
def shop(db):
    shop_set_up(now=NOW)


@pytest.fixture
def person(shop):
    """Makes a person of a role, with PASSWORD."""

    def make(role: str, name: str = "", **extra) -> Person:
        return Person.objects.create_user(name or role, password=PASSWORD, role=role, **extra)

    return make


@pytest.fixture
def station(shop):
    def make(code: str = "ROLL-1", operations=("roll",), **extra) -> Station:
        return Station.objects.create(code=code, name=code.title(), operations=list(operations), **extra)

    return make


@pytest.fixture
def operator(shop):
    def make(name: str = "Ana Ruiz", is_active: bool = True) -> Operator:
        return Operator.objects.create(code=take(1)[0], name=name, is_active=is_active)

    return make


@pytest.fixture
def signed_in(person):
    """A browser in which a person of that role is signed in."""

    def make(role: str) -> Client:
        client = Client()
        client.force_login(Person.objects.filter(username=role).first() or person(role))
        return client

    return make


@pytest.fixture
def tablet(station):
    """A browser that is a station's enrolled tablet."""

    def make(place: Station | None = None) -> Client:
        _, secret = key_make(now=NOW, station=place or station())
        client = Client()
        client.cookies["tablet_key"] = secret
        return client

    return make
