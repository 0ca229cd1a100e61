"""Passwords, codes, keys and badges guessed a thousand times, by a clock of the tests."""

from __future__ import annotations

import secrets
from collections import Counter
from datetime import datetime, timedelta

import pytest
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.test import Client

from fittings.numbering import take
from shared.codes import make_code
from shared.problems import TooManyTries, WrongInput
from shared.roles import OPERATOR, SUPERVISOR, Actor
from shopfloor.access import enrolment_make, person_sign_in, tablet_enrol
from shopfloor.keys import TABLET_COOKIE, key_make
from shopfloor.models import SignInMisses, Tablet
from tests.conftest import ApiCaller
from travelers.models import Operator, Scan, Task
from travelers.record import scan_record

from .conftest import NOW, PASSWORD
from .floor_of_four import released, segments, stations

GUESSES = 1000
DAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def quickest_hash(monkeypatch):
    """How long one hash takes is no part of how many are judged."""
    monkeypatch.setattr(PBKDF2PasswordHasher, "iterations", 1)


class Guesser:
    """Tries at once, and again as soon as it is let; counts what it was told, by its own clock."""

    def __init__(self, guess):
        self.guess = guess
        self.now: datetime = NOW
        self.told: Counter[str] = Counter()

    def burst(self, count: int = GUESSES) -> None:
        """All at one moment."""
        for _ in range(count):
            self._try()

    def patient(self, judged: int = GUESSES) -> timedelta:
        """Until so many were judged, waiting as told each time. How long that took."""
        began = self.now
        while self.told["wrong"] < judged:
            self.now += timedelta(seconds=self._try())
        return self.now - began

    def _try(self) -> int:
        try:
            self.guess(self.now)
        except WrongInput:
            self.told["wrong"] += 1
            return 0
        except TooManyTries as closed:
            self.told["closed"] += 1
            return closed.retry_after
        self.told["in"] += 1
        return 0


def least_time(judged: int) -> timedelta:
    """By the contract: five are free, then 30 s, doubling to 15 min, before each next one."""
    waits = [min(30 * 2**step, 900) for step in range(judged - 5)]
    return timedelta(seconds=sum(waits))


@pytest.mark.parametrize("name", ["office", "disabled", "nobody"])
def test_of_a_thousand_passwords_at_once_five_are_judged(person, name):
    person("office")
    person("supervisor", "disabled", is_active=False)
    guesser = Guesser(lambda now: person_sign_in(name=name, password=secrets.token_hex(8), now=now))
    guesser.burst()
    assert guesser.told == {"wrong": 5, "closed": GUESSES - 5}


def test_the_right_password_among_a_thousand_is_not_told_apart(person):
    person("office")
    guesser = Guesser(lambda now: person_sign_in(name="office", password="not it", now=now))
    guesser.burst(5)
    guesser.guess = lambda now: person_sign_in(name="office", password=PASSWORD, now=now)
    guesser.burst()
    assert guesser.told == {"wrong": 5, "closed": GUESSES}


@pytest.mark.parametrize("name", ["office", "nobody"])
def test_a_thousand_passwords_by_the_patient_take_ten_days(person, name):
    person("office")
    guesser = Guesser(lambda now: person_sign_in(name=name, password=secrets.token_hex(8), now=now))
    took = guesser.patient()
    assert least_time(GUESSES) > 10 * DAY
    assert took >= least_time(GUESSES)
    assert guesser.told["in"] == 0
    assert SignInMisses.objects.get().misses == GUESSES


def test_a_thousand_names_with_one_password_open_none_and_close_none_of_the_others(person):
    person("office")
    names = iter(f"somebody-{number}" for number in range(GUESSES))
    guesser = Guesser(lambda now: person_sign_in(name=next(names), password=PASSWORD, now=now))
    guesser.burst()
    assert guesser.told == {"wrong": GUESSES}
    assert person_sign_in(name="office", password=PASSWORD, now=NOW)


def test_of_a_thousand_enrolment_codes_in_its_ten_minutes_few_are_judged(station):
    """Eight digits and at most nine tries: one in ten million."""
    place = station()
    code = enrolment_make(station=place, actor=Actor("supervisor", SUPERVISOR), now=NOW)
    others = iter(n for n in range(10**7, 10**7 + 5000) if f"{n:08}" != code)
    guesser = Guesser(lambda now: tablet_enrol(code=f"{next(others):08}", name="", now=now))
    while guesser.now < NOW + timedelta(minutes=10):
        guesser.now += timedelta(seconds=guesser._try())
    assert guesser.told["wrong"] <= 5 + 4  # free ones, then after 30, 60, 120 and 240 s
    guesser.burst()
    assert guesser.told["in"] == 0
    assert not Tablet.objects.exists()


# -- keys ---------------------------------------------------------------------------


def test_a_thousand_keys_open_nothing(station):
    _, secret = key_make(now=NOW, station=station())
    near = [secret[:-1], secret + "A", secret.swapcase(), secret[1:] + secret[0], "", " ", "null"]
    statuses = Counter(
        ApiCaller(Client(), guess).get("station/queue/").status_code
        for guess in [*near, *(secrets.token_urlsafe(32) for _ in range(GUESSES))]
        if guess != secret
    )
    assert set(statuses) == {401}
    assert ApiCaller(Client(), secret).get("station/queue/").status_code == 200


@pytest.mark.parametrize("scheme", ["Bearer", "Basic", "Token Token", ""])
def test_a_key_by_another_scheme_is_none(station, scheme):
    _, secret = key_make(now=NOW, station=station())
    client = Client(headers={"Authorization": f"{scheme} {secret}".strip()})
    assert client.get("/api/v1/station/queue/").status_code == 401


def test_a_tablets_cookie_is_a_key_and_nothing_beside_it(station):
    _, secret = key_make(now=NOW, station=station())
    client = Client()
    for guess in (secret[:-1], "x" * 5000, "1", "' OR 1=1 --"):
        client.cookies[TABLET_COOKIE] = guess
        assert client.get("/api/v1/station/queue/").status_code == 401
    client.cookies[TABLET_COOKIE] = secret
    assert client.get("/api/v1/station/queue/").status_code == 200


# -- badges -------------------------------------------------------------------------


def scan_of(badge: str, code: str, number: int) -> dict:
    return {
        "id": f"guess-{number}",
        "code": code,
        "action": "finish",
        "badge": badge,
        "scanned_at": NOW.isoformat(),
    }


def test_a_thousand_badges_without_a_tablets_key_record_nothing(shop, person):
    stations()
    piece = segments(released(now=NOW))[0].code
    real = Operator.objects.get().code
    _, office = key_make(now=NOW, person=person("office"))
    for caller, status in ((ApiCaller(Client()), 401), (ApiCaller(Client(), office), 403)):
        for batch in range(0, GUESSES, 500):
            scans = [scan_of(real, piece, number) for number in range(batch, batch + 500)]
            assert caller.post("scans/", {"scans": scans}).status_code == status
    assert not Scan.objects.exists()
    assert not Task.objects.exclude(state__in=("waiting", "ready")).exists()


def test_a_thousand_guessed_badges_at_a_tablet_change_nothing(shop):
    """A badge is no secret, so nothing waits: each guess is refused in a sentence, and stands in the record."""
    stations()
    piece = segments(released(now=NOW))[0].code
    real = Operator.objects.get().code
    unknown = [code for number in range(50_000, 52_000) if (code := make_code(real[:2], number))]
    retired = Operator.objects.create(code=take(1)[0], name="Gone Away", is_active=False).code
    guesses = [code for code in [retired, "", "x", "'; --", *unknown] if code != real][:GUESSES]
    assert len(guesses) == GUESSES
    told = Counter()
    for number, badge in enumerate(guesses):
        result = scan_record(
            delivery=scan_of(badge, piece, number), actor=Actor("CUT-1", OPERATOR, "CUT-1", ("cut",)), now=NOW
        )
        told[result.outcome, result.message] += 1
    assert {outcome for outcome, _ in told} == {"refused"}
    assert {message for _, message in told} == {
        "Scan your badge first.",
        "That badge is not known here. Ask the supervisor.",
    }
    assert not Task.objects.exclude(state__in=("waiting", "ready")).exists()
