"""Keys and badges by command, and that a revoked key is dead on the next request."""

from __future__ import annotations

import base64

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shopfloor.models import Key


def made(capsys, who: str) -> str:
    call_command("api_key", who)
    out = capsys.readouterr()
    assert out.err == ""
    assert out.out.count("\n") == 1
    return out.out.strip()


def queue(key: str):
    return Client().get(reverse("api_station_queue"), HTTP_AUTHORIZATION=f"Token {key}")


def test_prints_a_fresh_key_of_a_station_and_nothing_else(station, capsys):
    station()
    first, second = made(capsys, "ROLL-1"), made(capsys, "ROLL-1")
    assert first != second
    assert len(base64.urlsafe_b64decode(first + "==")) * 8 >= 128
    assert queue(first).status_code == queue(second).status_code == 200
    assert not Key.objects.filter(digest__in=[first, second]).exists()


def test_prints_a_key_of_a_person(person, capsys):
    person("office")
    assert queue(made(capsys, "office")).status_code == 403


@pytest.mark.parametrize("who", ["nobody", "", "roll-1"])
def test_unknown_name_is_told_on_stderr_and_exits_1(station, person, capsys, who):
    station()
    person("office")
    with pytest.raises(SystemExit) as stopped:
        call_command("api_key", who)
    out = capsys.readouterr()
    assert stopped.value.code == 1
    assert out.out == ""
    assert "office" in out.err and "ROLL-1" in out.err


def test_revoked_key_is_dead_on_the_next_request(station, capsys):
    station()
    key = made(capsys, "ROLL-1")
    Key.objects.update(revoked_at=timezone.now())
    answer = queue(key)
    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"


def test_badges_are_listed_with_a_tab(operator, capsys):
    ana, zoe = operator("Ana Ruiz"), operator("Zoe Lang")
    operator("Gone Away", is_active=False)
    call_command("badges")
    assert capsys.readouterr().out == f"{ana.code}\tAna Ruiz\n{zoe.code}\tZoe Lang\n"


def test_health_needs_no_sign_in_and_names_the_epoch(shop, client):
    from travelers.models import Pulse

    answer = client.get("/api/v1/health/")
    assert answer.json() == {"status": "ok", "epoch": Pulse.objects.get().epoch}
    assert client.get("/api/v1/health/", HTTP_AUTHORIZATION="Token gone").status_code == 200
