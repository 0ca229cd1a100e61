"""Who may in, and with what: sign-in, keys, one-time codes for tablets."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import unicodedata
from datetime import datetime, timedelta

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction

from shared.problems import FieldError, NotFound, WrongInput
from shared.roles import Actor
from shopfloor.keys import key_make
from shopfloor.misses import check_open, try_book
from shopfloor.models import EnrolmentCode, Key, Person, Station, Tablet

WRONG_SIGN_IN = "The name or the password is wrong."
WRONG_CODE = "That code is wrong, used, or older than 10 minutes. Ask the supervisor for a new one."
LONGEST_NAME = 150
LONGEST_PASSWORD = 1000
CODE_DIGITS = 8
CODE_GOOD_FOR = timedelta(minutes=10)


# -- people -----------------------------------------------------------------


def person_sign_in(*, name: str, password: str, now: datetime) -> Person:
    """The person of that name and password.

    The hash is computed once whether the account exists or not, and every miss counts alike, so neither the answer nor
    its time tells an unknown account from a disabled one.

    raises  TooManyTries while the account is closed; WrongInput, always in the same words
    """
    name = _plain(name)
    subjects = [f"account {name.casefold()[:LONGEST_NAME]}"]
    check_open(subjects=subjects, now=now)
    person = Person.objects.filter(username=name).first()
    password = password[:LONGEST_PASSWORD]
    if person is None:
        make_password(password)
        is_right = False
    else:
        is_right = check_password(password, person.password) and person.is_active
    try_book(subjects=subjects, is_right=is_right, now=now)
    if not is_right:
        raise WrongInput([FieldError("name", name, "", WRONG_SIGN_IN)], WRONG_SIGN_IN)
    return person


def _plain(name: str) -> str:
    text = unicodedata.normalize("NFKC", name).strip()[:LONGEST_NAME]
    return "".join(character for character in text if character.isprintable())


# -- keys -------------------------------------------------------------------


def key_for(*, who: str, now: datetime) -> str:
    """A fresh key of a person (by user name) or a station (by code).

    raises  NotFound, naming whom there is
    """
    person = Person.objects.filter(username=who, is_active=True).first()
    if person:
        return key_make(now=now, person=person, label="made by command")[1]
    station = Station.objects.filter(code=who, is_active=True).first()
    if station:
        return key_make(now=now, station=station, label="made by command")[1]
    people = Person.objects.filter(is_active=True).order_by("username").values_list("username", flat=True)
    codes = Station.objects.filter(is_active=True).order_by("position", "code").values_list("code", flat=True)
    known = ", ".join([*people[:20], *codes[:40]]) or "none yet"
    raise NotFound(f"There is no active user or station “{who[:40]}”. There are: {known}.")


@transaction.atomic
def key_revoke(*, key: Key, actor: Actor, now: datetime) -> None:
    """The key is dead on the next request."""
    Key.objects.filter(pk=key.pk, revoked_at=None).update(revoked_at=now)


# -- tablets ----------------------------------------------------------------


def _code_digest(code: str) -> str:
    """Keyed, so that a copy of the database does not tell the eight digits."""
    return hmac.new(settings.SECRET_KEY.encode(), b"enrol " + code.encode(), hashlib.sha256).hexdigest()


@transaction.atomic
def enrolment_make(*, station: Station, actor: Actor, now: datetime) -> str:
    """A one-time code of eight digits for a station, good for ten minutes. Its earlier open codes end."""
    if not station.is_active:
        raise WrongInput(
            [FieldError("station", station.code, "an active station", "That station is not in use.")]
        )
    EnrolmentCode.objects.filter(station=station, used_at=None).delete()
    EnrolmentCode.objects.filter(expires_at__lt=now - timedelta(days=1)).delete()
    while True:
        code = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}"
        if not EnrolmentCode.objects.filter(digest=_code_digest(code)).exists():
            break
    EnrolmentCode.objects.create(
        digest=_code_digest(code), station=station, made_by=actor.name, expires_at=now + CODE_GOOD_FOR
    )
    return code


def tablet_enrol(*, code: str, name: str, now: datetime) -> tuple[Tablet, str]:
    """Use a one-time code: a tablet of its station, and the key that the tablet keeps.

    A wrong code is a miss for every station whose code is open, since it could have been meant for any of them; where
    none is open it counts just the same, so that the answer does not tell.

    raises  TooManyTries, WrongInput
    """
    digits = "".join(character for character in code if character.isascii() and character.isdigit())
    with_codes = EnrolmentCode.objects.filter(used_at=None, expires_at__gt=now, station__is_active=True)
    subjects = [f"station {one}" for one in sorted(set(with_codes.values_list("station__code", flat=True)))]
    subjects = subjects or ["station none"]
    check_open(subjects=subjects, now=now)
    found = with_codes.filter(digest=_code_digest(digits)).select_related("station").first()
    if found is None:
        try_book(subjects=subjects, is_right=False, now=now)
        raise WrongInput([FieldError("code", "", f"{CODE_DIGITS} digits", WRONG_CODE)], WRONG_CODE)
    with transaction.atomic():
        try_book(subjects=[f"station {found.station.code}"], is_right=True, now=now)
        if not EnrolmentCode.objects.filter(pk=found.pk, used_at=None).update(used_at=now):
            raise WrongInput([FieldError("code", "", f"{CODE_DIGITS} digits", WRONG_CODE)], WRONG_CODE)
        key, secret = key_make(now=now, station=found.station, label="tablet")
        count = Tablet.objects.filter(station=found.station).count()
        tablet = Tablet.objects.create(
            name=(name.strip() or f"{found.station.code} tablet {count + 1}")[:60],
            station=found.station,
            key=key,
            enrolled_at=now,
            enrolled_by=found.made_by,
        )
    return tablet, secret
