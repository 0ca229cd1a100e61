"""What the page of all settings shows: each place where something is set, and how it stands now."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.conf import settings
from django.db.models import Count, Q
from django.urls import NoReverseMatch, reverse

from fittings import tables
from fittings.models import Customer, TableVersion
from fittings.money import currency_sign
from shared.problems import NotFound
from shared.roles import OFFICE, ROLE_NAMES, SUPERVISOR, Actor
from shared.words import LANGUAGES
from shopfloor.first_steps import guide
from shopfloor.models import Person, Station, Tablet
from travelers.languages import shop_language
from travelers.models import Operation, Operator

UNITS = {"in": "inches", "mm": "millimetres"}


@dataclass(frozen=True)
class Setting:
    """A place where something is set. `url` is empty where another role sets it: `who` then says which."""

    label: str
    what: str
    now: str
    url: str = ""
    who: str = ""


@dataclass(frozen=True)
class Group:
    title: str
    settings: tuple[Setting, ...]


@dataclass(frozen=True)
class _Way:
    name: str
    label: str
    what: str
    now: str = ""
    roles: tuple[str, ...] = (OFFICE, SUPERVISOR)


def settings_groups(actor: Actor) -> list[Group]:
    """All settings as this role finds them. A constant number of queries."""
    people, operators = _people_text(), _operators_text()
    told = {
        "The shop": (
            _Way("shop_form", "Name, address, unit", "What papers and screens begin with", shop_text()),
            _Way(
                "first_steps", "First steps", "From an empty app to the first scan", first_steps_text(actor)
            ),
            _Way("letterhead", "Letterhead", "Name, address and logo at the head of every paper"),
            _Way("programs", "Programs", "Keys of other programs, and what they are told", roles=(OFFICE,)),
        ),
        "How it is made": (
            _Way("operations", "Operations", "The steps of the work, in flow order", _operations_text()),
            _Way(
                "tables",
                "Shop tables",
                "Gauges, gores, allowances, times, cautions and all else that is taken for granted",
                _tables_text(),
            ),
            _Way("measured_times", "Measured times", "What the scans say beside the standard times"),
        ),
        "The floor": (
            _Way(
                "stations",
                "Stations and tablets",
                "Benches and machines, and the tablets at them",
                _stations_text(),
                (SUPERVISOR,),
            ),
            _Way(
                "operators",
                "Operators and badges",
                "Who scans; badges as printed cards",
                operators,
                (SUPERVISOR,),
            ),
        ),
        "People and customers": (
            _Way("people", "Users", "Who signs in with a password, and as what", people, (OFFICE,)),
            _Way("customers", "Customers", "Who orders, and what papers say of them", _customers_text()),
        ),
    }
    groups = [Group(title, tuple(_settings(ways, actor))) for title, ways in told.items()]
    return [group for group in groups if group.settings]


def _settings(ways: Iterable[_Way], actor: Actor) -> Iterable[Setting]:
    for way in ways:
        try:
            url = reverse(way.name)
        except NoReverseMatch:
            continue
        if actor.role in way.roles:
            yield Setting(way.label, way.what, way.now, url)
        else:
            yield Setting(way.label, way.what, way.now, who=ROLE_NAMES[way.roles[0]].lower())


def first_steps_text(actor: Actor) -> str:
    found = guide(actor)
    return f"{found.done} of {len(found.steps)} done"


# -- how each stands ----------------------------------------------------------


def shop_text() -> str:
    """The shop in a line: name, unit, currency, language of the tablets, time zone."""
    try:
        values = {row["key"]: str(row["value"]).strip() for row in tables.rows("shop")}
    except NotFound:
        return ""
    parts = (
        values.get("name", ""),
        UNITS.get(values.get("unit", "in"), "inches"),
        currency_sign(),
        dict(LANGUAGES)[shop_language()],
        settings.TIME_ZONE.replace("_", " "),
    )
    return " · ".join(part for part in parts if part)


def _operations_text() -> str:
    return ", ".join(Operation.objects.order_by("position").values_list("name", flat=True))


def _tables_text() -> str:
    kept = set(TableVersion.objects.values_list("table", flat=True).distinct())
    own = TableVersion.objects.exclude(made_by=tables.SET_UP).values_list("table", flat=True).distinct()
    return (
        f"{len(kept & set(tables.SCHEMAS))} tables, {len(set(own) & set(tables.SCHEMAS))} changed by the shop"
    )


def _stations_text() -> str:
    stations = Station.objects.filter(is_active=True).count()
    return f"{_many(stations, 'station')}, {_many(Tablet.objects.filter(key__revoked_at=None).count(), 'tablet')}"


def _operators_text() -> str:
    return _many(Operator.objects.filter(is_active=True).count(), "badge") + " in use"


def _people_text() -> str:
    found = Person.objects.filter(is_active=True).aggregate(
        **{role: Count("pk", filter=Q(role=role)) for role in Person.Role.values}
    )
    return ", ".join(f"{count} {role}" for role, count in found.items() if count) or "none yet"


def _customers_text() -> str:
    return _many(Customer.objects.filter(is_active=True).count(), "customer")


def _many(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"
