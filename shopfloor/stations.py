"""Stations and their tablets: what the supervisor sets up."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Max

from shared.problems import FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.units import plain_number
from shopfloor.access import key_revoke
from shopfloor.downtime import down_now
from shopfloor.models import Downtime, Station, Tablet
from travelers.models import Operation, Scan

LOOKED_BACK = 2000
FIELDS = (
    "code",
    "name",
    "position",
    "operations",
    "gauge_lightest",
    "gauge_heaviest",
    "diameter_least_in",
    "diameter_most_in",
    "one_scan_finishes",
    "is_active",
)


# -- reading ----------------------------------------------------------------


@dataclass
class StationRow:
    """A station as the supervisor's list shows it."""

    station: Station
    operations: str
    limits: str
    last_scan_at: datetime | None = None
    tablets: list[Tablet] = field(default_factory=list)
    down: Downtime | None = None


def station_get(code: str) -> Station:
    station = Station.objects.filter(code=code).first()
    if station is None:
        raise NotFound(f"There is no station {code[:20]}.")
    return station


def station_list(*, now: datetime) -> list[StationRow]:
    """Every station with its tablets in use, whether it is down, and its last scan among the newest of the record.

    Five queries.
    """
    names = dict(Operation.objects.values_list("code", "name"))
    tablets = defaultdict(list)
    for tablet in Tablet.objects.filter(key__revoked_at=None).order_by("name", "pk"):
        tablets[tablet.station_id].append(tablet)
    last, down = last_scans(), down_now(now=now)
    return [
        StationRow(
            station,
            ", ".join(names.get(code, code) for code in station.operations),
            limits_text(station),
            last.get(station.code),
            tablets[station.pk],
            down.get(station.code),
        )
        for station in Station.objects.order_by("-is_active", "position", "code")
    ]


def last_scans() -> dict[str, datetime]:
    """When each station scanned last, as far back as the newest scans of the record go. One query."""
    newest = Scan.objects.order_by("-sequence").values_list("sequence", flat=True)[:1]
    rows = Scan.objects.filter(sequence__gt=_first_of(newest) - LOOKED_BACK).values_list("station")
    return dict(rows.annotate(last=Max("received_at")).order_by())


def _first_of(query) -> int:
    return next(iter(query), 0)


def limits_text(station: Station) -> str:
    """What the station takes, in words: “16 to 28 gauge, 4 to 24 in”."""
    parts = []
    heavy, light = station.gauge_heaviest, station.gauge_lightest
    if heavy and light:
        parts.append(f"{heavy} to {light} gauge")
    elif heavy or light:
        parts.append(f"{heavy} gauge and lighter" if heavy else f"{light} gauge and heavier")
    least, most = station.diameter_least_in, station.diameter_most_in
    if least is not None and most is not None:
        parts.append(f"{plain_number(least)} to {plain_number(most)} in")
    elif least is not None or most is not None:
        parts.append(
            f"from {plain_number(least)} in" if least is not None else f"up to {plain_number(most)} in"
        )
    return ", ".join(parts) or "none"


# -- changing ---------------------------------------------------------------


def station_save(*, code: str | None, data: Mapping[str, Any], actor: Actor, now: datetime) -> Station:
    """Add a station (code None) or change one. A code stays as it is: the record names the station by it.

    raises  WrongInput naming every wrong field
    """
    station = Station() if code is None else station_get(code)
    values = {name: data[name] for name in FIELDS if name in data and (code is None or name != "code")}
    errors = _wrong(values)
    if errors:
        raise WrongInput(errors)
    for name, value in values.items():
        setattr(station, name, value)
    try:
        with transaction.atomic():
            station.save()
    except IntegrityError:
        message = f"There is a station {station.code} already. Choose another code."
        raise WrongInput([FieldError("code", station.code, "a new code", message)]) from None
    return station


def _wrong(values: Mapping[str, Any]) -> list[FieldError]:
    errors = []
    known = list(Operation.objects.order_by("position").values_list("code", flat=True))
    chosen: Sequence[str] = values.get("operations") or ()
    if not chosen:
        errors.append(FieldError("operations", "", ", ".join(known), "Choose what is done at this station."))
    for one in chosen:
        if one not in known:
            message = f"There is no operation “{one}”. There are {', '.join(known)}."
            errors.append(FieldError("operations", one, ", ".join(known), message))
    heavy, light = values.get("gauge_heaviest"), values.get("gauge_lightest")
    if heavy and light and heavy > light:
        message = f"The heaviest gauge is {heavy}; with {light} as the lightest it can be 1 to {light}."
        errors.append(FieldError("gauge_heaviest", heavy, f"1 to {light}", message))
    least, most = values.get("diameter_least_in"), values.get("diameter_most_in")
    if least is not None and most is not None and least > most:
        limit = f"up to {plain_number(most)} in"
        message = f"The least diameter is {plain_number(least)} in; with this greatest one it can be {limit}."
        errors.append(FieldError("diameter_least_in", least, limit, message))
    return errors


def tablet_revoke(*, tablet_id: int, actor: Actor, now: datetime) -> Tablet:
    """The tablet's key is dead on the next request. What it keeps unsent stays on it until it is enrolled again."""
    tablet = Tablet.objects.select_related("key", "station").filter(pk=tablet_id).first()
    if tablet is None:
        raise NotFound("There is no such tablet.")
    key_revoke(key=tablet.key, actor=actor, now=now)
    return tablet
