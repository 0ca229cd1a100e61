"""Who signs in with a password: added, given another role or password, closed and opened again; and what was changed.

Whoever holds the last account in use of the office, or of the supervisors, keeps it: a shop is never left without one.
Accounts of the support pages (`createsuperuser`) are no matter of the office's.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.contrib.auth.hashers import check_password, make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Count, F, Q, QuerySet

from shared.codes import ALPHABET
from shared.problems import Conflict, FieldError, NotAllowed, NotFound, WrongInput
from shared.roles import OFFICE, ROLE_NAMES, SUPERVISOR, Actor
from shared.texts import is_unprintable
from shared.turn import write_turn
from shopfloor.access import LONGEST_PASSWORD
from shopfloor.misses import check_open, try_book
from shopfloor.models import Key, Person, PersonChange, Station

USERNAME = re.compile(r"[a-z0-9][a-z0-9._-]{0,49}")
USERNAME_RULE = "small letters, digits, - _ . and at most 50 of them, the first a letter or digit"
LONGEST_FULL_NAME = 80
KEPT_ROLES = (OFFICE, SUPERVISOR)
"""Of these there is always someone."""
RANDOM_GROUPS, GROUP = 4, 4
What = PersonChange.What


# -- reading ----------------------------------------------------------------


def people_list() -> QuerySet[Person]:
    """Everyone, those in use first, each with how many keys are good (`keys_good`)."""
    good = Count("keys", filter=Q(keys__revoked_at=None))
    return Person.objects.annotate(keys_good=good).order_by("-is_active", "role", "username", "pk")


def person_get(username: str) -> Person:
    person = Person.objects.filter(username=username).first()
    if person is None:
        raise NotFound(f"There is no user “{username[:50]}”.")
    return person


def people_changes(username: str | None = None) -> QuerySet[PersonChange]:
    """What was changed, the newest first; of one person where a name is given."""
    found = PersonChange.objects.select_related("person").order_by("-at", "-pk")
    return found if username is None else found.filter(person__username=username)


def change_text(change: PersonChange) -> str:
    """What was changed, in words."""
    before, after = change.before, change.after
    texts = {
        What.ADDED: f"Added as {after}",
        What.NAME: f"Name {before or 'none'} → {after or 'none'}",
        What.ROLE: f"Role {before} → {after}",
        What.PASSWORD: after,
        What.CLOSED: "Closed: signed out everywhere, keys revoked",
        What.OPENED: "Opened again",
    }
    return texts[What(change.what)]


def random_password() -> str:
    """Four groups of four, some 80 bits; without look-alikes, as it is read out and typed.

    >>> len(random_password())
    19
    """
    letters = ALPHABET.lower()
    groups = ("".join(secrets.choice(letters) for _ in range(GROUP)) for _ in range(RANDOM_GROUPS))
    return "-".join(groups)


# -- changing ---------------------------------------------------------------


def person_add(
    *, username: str, full_name: str, role: str, password: str, actor: Actor, now: datetime
) -> Person:
    """A new user.

    raises  WrongInput naming every wrong field
    """
    username, full_name = username.strip().lower(), " ".join(full_name.split())
    errors = [*_wrong_username(username), *_wrong_full_name(full_name), *_wrong_role(role)]
    person = Person(username=username, first_name=full_name, role=role)
    errors += wrong_password(password, person)
    if errors:
        raise WrongInput(errors)
    person.set_password(password)
    try:
        with write_turn(), transaction.atomic():
            person.save()
            _note(person, What.ADDED, "", ROLE_NAMES[role].lower(), actor, now)
    except IntegrityError:
        raise WrongInput([_taken(username)]) from None
    return person


def person_change(*, username: str, data: Mapping[str, Any], actor: Actor, now: datetime) -> Person:
    """Change what is given: full_name, role, is_active. Closing an account ends its sessions and revokes its keys.

    raises  NotFound; NotAllowed for an account of the support pages; WrongInput; Conflict for the last of a role
    """
    with write_turn(), transaction.atomic():
        person = _locked(username)
        values = _read_change(data)
        full_name = values.get("full_name", person.get_full_name())
        role, is_active = values.get("role", person.role), values.get("is_active", person.is_active)
        if person.is_active and (role != person.role or not is_active):
            _keep_one(person)
        if full_name != person.get_full_name():
            _note(person, What.NAME, person.get_full_name(), full_name, actor, now)
            person.first_name, person.last_name = full_name, ""
        if role != person.role:
            _note(person, What.ROLE, ROLE_NAMES[person.role].lower(), ROLE_NAMES[role].lower(), actor, now)
            person.role = role
        if is_active != person.is_active:
            _note(person, What.OPENED if is_active else What.CLOSED, "", "", actor, now)
            person.is_active = is_active
            if not is_active:
                _end_all(person, now)
        person.save(update_fields=["first_name", "last_name", "role", "is_active"])
    return person


def person_set_password(*, username: str, password: str, actor: Actor, now: datetime) -> Person:
    """Another password, set by the office: ends every session of the person and revokes the person's keys.

    raises  NotFound, NotAllowed, WrongInput
    """
    errors = wrong_password(password, person_get(username))
    if errors:
        raise WrongInput(errors)
    hashed = make_password(password)  # takes its time: not while others wait to write
    with write_turn(), transaction.atomic():
        person = _locked(username)
        person.password = hashed
        person.save(update_fields=["password"])
        _end_all(person, now)
        text = "Password set by the office: signed out everywhere, keys revoked"
        _note(person, What.PASSWORD, "", text, actor, now)
    return person


def own_password_change(*, username: str, old: str, new: str, actor: Actor, now: datetime) -> Person:
    """One's own password. Ends one's other sessions; keys stay good. A wrong old one counts as a wrong sign-in.

    raises  TooManyTries, WrongInput
    """
    person = person_get(username)
    subjects = [f"account {username.casefold()}"]
    check_open(subjects=subjects, now=now)
    is_right = check_password(old[:LONGEST_PASSWORD], person.password)
    try_book(subjects=subjects, is_right=is_right, now=now)
    if not is_right:
        message = "That is not your password of now."
        raise WrongInput([FieldError("old", "", "your password of now", message)])
    errors = wrong_password(new, person, field="new")
    if not errors and new == old:
        errors = [FieldError("new", "", "another password", "The new password is the one of now.")]
    if errors:
        raise WrongInput(errors)
    person.set_password(new)
    with write_turn(), transaction.atomic():
        person.save(update_fields=["password"])
        _note(person, What.PASSWORD, "", "Own password changed: other sessions ended", actor, now)
    return person


# -- checking ---------------------------------------------------------------


def wrong_password(password: str, person: Person, *, field: str = "password") -> list[FieldError]:
    """What is wrong with a password; the password itself is told to nobody."""
    if len(password) > LONGEST_PASSWORD or any(is_unprintable(character) for character in password):
        limit = f"10 to {LONGEST_PASSWORD} characters that can be typed"
        return [FieldError(field, "", limit, f"The password can be {limit}.")]
    if person.username and password.casefold() == person.username.casefold():
        return [FieldError(field, "", "other than the user name", "The password is the user name.")]
    try:
        validate_password(password, person)
    except ValidationError as wrong:
        return [
            FieldError(field, "", "at least 10 characters, not a common password", text)
            for text in wrong.messages
        ]
    return []


def _wrong_username(username: str) -> list[FieldError]:
    if not USERNAME.fullmatch(username):
        message = f"The user name is “{username[:50]}”; it can be {USERNAME_RULE}."
        return [
            FieldError("username", username, USERNAME_RULE, message if username else "Enter the user name.")
        ]
    if username in ("new", "changes"):  # addresses of their own
        return [_taken(username)]
    is_station = Station.objects.filter(code__iexact=username).exists()
    if is_station or Person.objects.filter(username__iexact=username).exists():
        return [_taken(username)]
    return []


def _taken(username: str) -> FieldError:
    message = f"There is a user or station “{username}” already. Choose another name."
    return FieldError("username", username, "a name used once", message)


def _wrong_full_name(full_name: str) -> list[FieldError]:
    if 1 <= len(full_name) <= LONGEST_FULL_NAME and not any(is_unprintable(one) for one in full_name):
        return []
    limit = f"1 to {LONGEST_FULL_NAME} characters"
    return [FieldError("full_name", full_name, limit, f"Enter the full name, {limit}.")]


def _wrong_role(role: str) -> list[FieldError]:
    if role in Person.Role.values:
        return []
    limit = ", ".join(Person.Role.values)
    return [FieldError("role", role, limit, f"The role is “{role[:20]}”; it can be {limit}.")]


def _read_change(data: Mapping[str, Any]) -> dict[str, Any]:
    known = ("full_name", "role", "is_active")
    errors = [
        FieldError(name[:40], None, ", ".join(known), f"“{name[:40]}” cannot be changed here.")
        for name in map(str, data)
        if name not in known
    ]
    values = dict(data)
    for name, wrong in (("full_name", _wrong_full_name), ("role", _wrong_role)):
        if name in data:
            values[name] = " ".join(str(data[name]).split())
            errors += wrong(values[name])
    if "is_active" in data and not isinstance(data["is_active"], bool):
        errors.append(
            FieldError("is_active", data["is_active"], "true or false", "is_active can be true or false.")
        )
    if errors:
        raise WrongInput(errors)
    return values


def _locked(username: str) -> Person:
    """The person, with all accounts in use locked: who is the last of a role is decided one at a time."""
    list(Person.objects.select_for_update().filter(is_active=True).order_by("pk").values_list("pk"))
    person = Person.objects.select_for_update().filter(username=username).first()
    if person is None:
        raise NotFound(f"There is no user “{username[:50]}”.")
    if person.is_superuser or person.is_staff:
        raise NotAllowed(
            f"{person.username} is an account of the support pages. It is changed by commands, not here."
        )
    return person


def _keep_one(person: Person) -> None:
    """raises  Conflict where nobody else in use has the person's role"""
    if person.role not in KEPT_ROLES:
        return
    others = Person.objects.filter(role=person.role, is_active=True).exclude(pk=person.pk)
    if not others.exists():
        word = ROLE_NAMES[person.role].lower()
        detail = f"{person.username} is the last {word} account in use. Add another one first."
        raise Conflict(detail, [FieldError("role", person.role, f"at least one {word} account", detail)])


def _end_all(person: Person, now: datetime) -> None:
    Person.objects.filter(pk=person.pk).update(sessions_ended=F("sessions_ended") + 1)
    Key.objects.filter(person=person, revoked_at=None).update(revoked_at=now)


def _note(person: Person, what: str, before: str, after: str, actor: Actor, now: datetime) -> None:
    PersonChange.objects.create(
        person=person, what=what, before=before[:160], after=after[:160], by=actor.name, at=now
    )
