"""Programs: other systems with keys of their own, each with the scopes that it needs and no more."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from fittings.reading import Reading
from shared.problems import FieldError, NotFound, WrongInput
from shared.roles import Actor
from shopfloor.keys import key_make
from shopfloor.models import Key, Program
from shopfloor.scopes import SCOPES

MOST_PROGRAMS = 200
FIELDS = ("name", "scopes", "expires")
LONGEST_DAYS = 3660


def program_add(*, data: Mapping[str, Any], actor: Actor, now: datetime) -> tuple[Program, str]:
    """A program and its key's text, which is told this once.

    data    name, scopes (a list), expires (the last day on which the key is good; left out: no end)
    raises  WrongInput naming every wrong field
    """
    reading = Reading(data)
    reading.only(FIELDS)
    name, scopes, expires = reading.text("name", 60, shortest=1), _scopes(reading), _expires(reading, now)
    if reading.errors:
        raise WrongInput(reading.errors)
    if Program.objects.count() >= MOST_PROGRAMS:
        message = f"There are {MOST_PROGRAMS} programs, the most there can be."
        raise WrongInput([FieldError("name", name, f"{MOST_PROGRAMS} programs", message)])
    try:
        with transaction.atomic():
            program = Program.objects.create(name=name, scopes=scopes, made_at=now, made_by=actor.name)
            _, secret = key_make(now=now, program=program, label=name, expires_at=expires)
    except IntegrityError:
        message = f"There is a program “{name}” already."
        raise WrongInput([FieldError("name", name, "a name used once", message)]) from None
    return program, secret


def program_change(*, pk: int, data: Mapping[str, Any], actor: Actor, now: datetime) -> Program:
    """Change what a program may do.

    data    scopes, is_active: one that is not active is shut out
    raises  NotFound; WrongInput
    """
    reading = Reading(data)
    reading.only(("scopes", "is_active"))
    values: dict[str, Any] = {}
    if "scopes" in data:
        values["scopes"] = _scopes(reading)
    if "is_active" in data:
        values["is_active"] = data["is_active"]
        if not isinstance(data["is_active"], bool):
            reading.wrong("is_active", data["is_active"], "true or false")
    if reading.errors:
        raise WrongInput(reading.errors)
    with transaction.atomic():
        program = _locked(pk)
        for field, value in values.items():
            setattr(program, field, value)
        program.save(update_fields=list(values))
    return program


def program_new_key(*, pk: int, actor: Actor, now: datetime) -> tuple[Program, str]:
    """Another key for a program; the ones before are dead at once. It ends when the one before would have.

    raises  NotFound
    """
    with transaction.atomic():
        program = _locked(pk)
        before = program.keys.filter(revoked_at=None).order_by("-pk").first()
        expires = before.expires_at if before and before.expires_at and before.expires_at > now else None
        Key.objects.filter(program=program, revoked_at=None).update(revoked_at=now)
        _, secret = key_make(now=now, program=program, label=program.name, expires_at=expires)
    return program, secret


def program_rows() -> list[tuple[Program, Key | None]]:
    """The programs, those in use first, each with its newest key."""
    programs = list(Program.objects.order_by("-is_active", "name", "pk"))
    newest: dict[int, Key] = {}
    for key in Key.objects.filter(program__in=programs, revoked_at=None).order_by("pk"):
        newest[key.program_id] = key
    return [(program, newest.get(program.pk)) for program in programs]


def _locked(pk: int) -> Program:
    program = Program.objects.select_for_update().filter(pk=pk).first()
    if program is None:
        raise NotFound("There is no such program.")
    return program


def _scopes(reading: Reading) -> list[str]:
    value = reading.data.get("scopes")
    if not isinstance(value, list) or not value:
        message = "Choose at least one scope: a key without any opens nothing."
        reading.wrong("scopes", None if value is None else str(value)[:40], "a list of scopes", message)
        return []
    unknown = [one for one in value if one not in SCOPES]
    if unknown:
        reading.wrong("scopes", str(unknown[0])[:40], ", ".join(SCOPES))
    return [scope for scope in SCOPES if scope in value]


def _expires(reading: Reading, now: datetime) -> datetime | None:
    """The end of the last day on which the key is good."""
    today = timezone.localdate(now)
    day: date | None = reading.day("expires", today, today + timedelta(days=LONGEST_DAYS))
    if day is None:
        return None
    return timezone.make_aware(datetime.combine(day + timedelta(days=1), time.min))
