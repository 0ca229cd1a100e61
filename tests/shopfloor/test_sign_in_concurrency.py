"""Many wrong tries at once: no more than five learn that they were wrong."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from shared.problems import TooManyTries, WrongInput
from shopfloor.access import person_sign_in
from shopfloor.models import Person, SignInMisses

from .conftest import NOW, PASSWORD

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(count, password):
    def one(_):
        try:
            person_sign_in(name="office", password=password, now=NOW)
        except WrongInput:
            return "wrong"
        except TooManyTries:
            return "closed"
        finally:
            connection.close()
        return "in"

    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(one, range(count)))


def test_of_twelve_wrong_tries_at_once_five_are_told(db):
    Person.objects.create_user("office", password=PASSWORD)
    told = at_once(12, "not it")
    assert told.count("wrong") == 5
    assert told.count("closed") == 7
    assert SignInMisses.objects.get().misses == 5


def test_twelve_right_ones_at_once_all_come_in(db):
    Person.objects.create_user("office", password=PASSWORD)
    assert at_once(12, PASSWORD) == ["in"] * 12
