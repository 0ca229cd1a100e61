"""From an empty database to a working shop: the one code that opens it, and the steps, told by what the data says.

While nobody can sign in, whoever has the code that `up` printed makes the first account. With that the code is dead.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import transaction
from django.db.models import Max
from django.urls import reverse

from fittings.models import Order, StockItem, TableVersion
from fittings.tables import SET_UP, newest_made_by
from shared.codes import ALPHABET
from shared.problems import Conflict, FieldError, WrongInput
from shared.roles import OFFICE, ROLE_NAMES, SUPERVISOR, Actor
from shared.turn import write_turn
from shopfloor.misses import check_open, try_book
from shopfloor.models import FirstSteps, Person, Station, Tablet
from shopfloor.people import person_add
from shopfloor.stations import station_save
from travelers.models import Operation, Operator, Scan

CODE_GROUPS, GROUP = 3, 4
SUBJECT = "first steps"
WRONG_CODE = "That code is wrong or was replaced. “python manage.py setup_code” prints a new one."
OPENED_ALREADY = "Someone can sign in already: the code is no longer needed. Sign in."


# -- opening the shop -----------------------------------------------------------


def is_closed_to_all() -> bool:
    """Nobody can sign in yet: there is no account at all."""
    return not Person.objects.exists()


def setup_code_make(*, now: datetime) -> str:
    """A fresh code that opens the empty shop; an earlier one ends.

    raises  Conflict where there is an account already
    """
    groups = ("".join(secrets.choice(ALPHABET) for _ in range(GROUP)) for _ in range(CODE_GROUPS))
    code = "-".join(groups)
    with write_turn(), transaction.atomic():
        if not is_closed_to_all():
            raise Conflict(OPENED_ALREADY)
        FirstSteps.objects.update_or_create(pk=1, defaults={"digest": _digest(code), "made_at": now})
    return code


def shop_open(*, code: str, username: str, full_name: str, password: str, now: datetime) -> Person:
    """The first account, of the office, by whoever has the code; the code is dead with it.

    raises  TooManyTries; WrongInput naming every wrong field; Conflict where somebody was faster
    """
    check_open(subjects=[SUBJECT], now=now)
    row = FirstSteps.objects.filter(pk=1).exclude(digest="").first()
    is_right = bool(row) and hmac.compare_digest(row.digest, _digest(code))
    try_book(subjects=[SUBJECT], is_right=is_right, now=now)
    if not is_right:
        raise WrongInput([FieldError("code", "", "the code that “up” printed", WRONG_CODE)], WRONG_CODE)
    with write_turn(), transaction.atomic():
        FirstSteps.objects.select_for_update().get(pk=1)
        if not is_closed_to_all():
            raise Conflict(OPENED_ALREADY)
        person = person_add(
            username=username,
            full_name=full_name,
            role=OFFICE,
            password=password,
            actor=Actor(username.strip().lower()[:150], OFFICE),
            now=now,
        )
        FirstSteps.objects.filter(pk=1).update(digest="")
    return person


def _digest(code: str) -> str:
    """Keyed, so that a copy of the database does not tell the code."""
    plain = "".join(character for character in code.upper() if character.isalnum())
    plain = plain.translate(str.maketrans("ILO", "110"))
    return hmac.new(settings.SECRET_KEY.encode(), b"setup " + plain.encode(), hashlib.sha256).hexdigest()


# -- the steps ------------------------------------------------------------------


@dataclass(frozen=True)
class Step:
    """One step: `url` is empty where the reader's role cannot take it, and `who` says which can."""

    name: str
    title: str
    text: str
    is_done: bool
    url: str = ""
    act: str = ""
    who: str = ""


@dataclass(frozen=True)
class Guide:
    steps: tuple[Step, ...]
    is_put_away: bool

    @property
    def done(self) -> int:
        return sum(step.is_done for step in self.steps)

    @property
    def next(self) -> Step | None:
        return next((step for step in self.steps if not step.is_done), None)


def guide(actor: Actor) -> Guide:
    """All steps as this role finds them, ticked by what there is. A constant number of queries."""
    row = FirstSteps.objects.filter(pk=1).first()
    steps = tuple(_step(told, actor) for told in _TOLD)
    return Guide(steps, row is None or row.put_away_at is not None)


def guide_to_remind(actor: Actor | None) -> Guide | None:
    """The guide, while it is to be remembered: the shop began empty, something is left, nobody put it away."""
    if actor is None or actor.role not in (OFFICE, SUPERVISOR):
        return None
    if not FirstSteps.objects.filter(pk=1, put_away_at=None).exists():
        return None
    found = guide(actor)
    return found if found.next else None


def guide_put_away(*, is_away: bool, actor: Actor, now: datetime) -> None:
    """Do not remind of the guide any more, or do so again. It stays on its page."""
    values = (
        {"put_away_at": now, "put_away_by": actor.name}
        if is_away
        else {"put_away_at": None, "put_away_by": ""}
    )
    FirstSteps.objects.update_or_create(pk=1, defaults=values, create_defaults={"made_at": now, **values})


def usual_stations_add(*, actor: Actor, now: datetime) -> list[Station]:
    """A station for each operation that none does yet: ROLL-1 for roll, and so on."""
    with write_turn(), transaction.atomic():
        place = Station.objects.aggregate(last=Max("position"))["last"] or 0
        made = []
        for operation in _without_station():
            place += 1
            data = {
                "code": _free_code(operation.code),
                "name": operation.name,
                "operations": [operation.code],
                "position": place,
            }
            made.append(station_save(code=None, data=data, actor=actor, now=now))
        return made


def _free_code(operation: str) -> str:
    taken = set(Station.objects.values_list("code", flat=True))
    number = 1
    while (code := f"{operation.upper()[:17]}-{number}") in taken:
        number += 1
    return code


def _without_station() -> list[Operation]:
    done_at = {
        code
        for codes in Station.objects.filter(is_active=True).values_list("operations", flat=True)
        for code in codes
    }
    return [one for one in Operation.objects.order_by("position") if one.code not in done_at]


# -- what each step looks at -----------------------------------------------------


@dataclass(frozen=True)
class _Told:
    name: str
    title: str
    text: str
    act: str
    page: str
    roles: tuple[str, ...]
    look: Callable[[], bool]
    query: str = ""


BOTH = (OFFICE, SUPERVISOR)


def _shop_is_named() -> bool:
    return newest_made_by("shop") not in ("", SET_UP)


def _is_routed() -> bool:
    return Operation.objects.exists() and TableVersion.objects.filter(table="routes").exists()


_TOLD = (
    _Told(
        "shop",
        "Name the shop",
        "Name and address for papers, inches or millimetres, currency, language of the tablets.",
        "Name it",
        "shop_form",
        BOTH,
        _shop_is_named,
    ),
    _Told(
        "people",
        "Add a supervisor",
        "Stations, badges and holds are the supervisor's. In a small shop that can be you, with a second account.",
        "Add a user",
        "person_new",
        (OFFICE,),
        lambda: Person.objects.filter(role=SUPERVISOR, is_active=True).exists(),
        "?role=supervisor",
    ),
    _Told(
        "operations",
        "Look at the operations",
        "Cut, roll, seam, assemble, ends, wrap: they may stay as they come, with their routes and times.",
        "Look at them",
        "operations",
        BOTH,
        _is_routed,
    ),
    _Told(
        "stations",
        "Add the stations",
        "A bench or machine for every operation. More, and limits of gauge and diameter, can follow later.",
        "Open stations",
        "stations",
        (SUPERVISOR,),
        lambda: Operation.objects.exists() and not _without_station(),
    ),
    _Told(
        "tablets",
        "Enroll a tablet",
        "Open a station, make a code there, and type it on the tablet. Any tablet with a browser will do.",
        "Open stations",
        "stations",
        (SUPERVISOR,),
        lambda: Tablet.objects.filter(key__revoked_at=None).exists(),
    ),
    _Told(
        "operators",
        "Add the operators",
        "Everyone who scans gets a badge; each in English or Spanish.",
        "Add operators",
        "operators",
        (SUPERVISOR,),
        lambda: Operator.objects.filter(is_active=True).exists(),
    ),
    _Told(
        "badges",
        "Print the badges",
        "Cards to cut out, eight a page.",
        "Print badges",
        "operators",
        (SUPERVISOR,),
        lambda: Operator.objects.filter(is_active=True).exclude(card_printed_at=None).exists(),
    ),
    _Told(
        "stock",
        "Say what metal is there",
        "Sheets and coils on hand, so that cut plans can be made. One press adds the usual sizes of a metal.",
        "Add stock",
        "stock_new",
        BOTH,
        lambda: StockItem.objects.exists(),
    ),
    _Told(
        "order",
        "Type the first order",
        "A customer's name, and a line: a new name makes a new customer.",
        "New order",
        "order_new",
        BOTH,
        lambda: Order.objects.exists(),
    ),
    _Told(
        "release",
        "Release it",
        "On its page. Then print its travelers and labels.",
        "Open orders",
        "orders",
        BOTH,
        lambda: Order.objects.exclude(released_at=None).exists(),
    ),
    _Told(
        "scan",
        "Make the first scan",
        "At the tablet: the badge, then a code of the traveler. The board follows within a second.",
        "Open the board",
        "board",
        BOTH,
        lambda: Scan.objects.filter(outcome=Scan.Outcome.RECORDED).exists(),
    ),
)


def _step(told: _Told, actor: Actor) -> Step:
    is_done = told.look()
    if actor.role in told.roles:
        return Step(told.name, told.title, told.text, is_done, reverse(told.page) + told.query, told.act)
    return Step(told.name, told.title, told.text, is_done, who=ROLE_NAMES[told.roles[0]].lower())
