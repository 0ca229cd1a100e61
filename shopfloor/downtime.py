"""Stations that are down, now or planned: told, ended, and what they take from the floor's hours."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone

from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.turn import write_turn
from shared.words import say
from shopfloor.flow.calendar import Calendar
from shopfloor.flow.queue import Horizon
from shopfloor.models import Downtime, Station
from travelers.models import Operator
from travelers.pulse import pulse_beat
from travelers.reasons import reasons_now
from travelers.sentences import clock

LONGEST_REASON = 200
LONGEST = timedelta(days=366)
KEPT_SHOWN = timedelta(days=28)


# -- changes ----------------------------------------------------------------


def downtime_tell(
    *,
    station: str,
    reason: str = "",
    from_at: datetime | None = None,
    until_at: datetime | None = None,
    who: str = "",
    actor: Actor,
    now: datetime,
) -> Downtime:
    """A station does not work, from now on or for a time that is planned.

    from_at   None or past: it is so now, and lasts until somebody says that it runs again; later: planned
    until_at  when it is expected to run again; of a planned time its end
    who       whose badge was in, where a tablet told it
    raises    NotFound; WrongInput; Conflict where it is down already
    """
    begins = from_at if from_at and from_at > now else now
    is_planned = begins > now
    reason = " ".join(reason.split())
    errors = _wrong(reason, begins, until_at, is_planned, now)
    if errors:
        raise WrongInput(errors)
    with write_turn(), transaction.atomic():
        found = _station(station)
        if not found.is_active:
            message = f"{found.code} is not in use; only a station in use can be down."
            raise WrongInput([FieldError("station", found.code, "a station in use", message)])
        _refuse_overlap(found, begins, until_at, now)
        try:
            with transaction.atomic():
                made = Downtime.objects.create(
                    station=found,
                    from_at=begins,
                    until_at=until_at,
                    is_planned=is_planned,
                    reason=reason,
                    told_at=now,
                    told_by=(who or actor.name)[:150],
                )
        except IntegrityError:
            raise Conflict(f"{found.code} is down already.") from None
        pulse_beat()
    return made


def downtime_end(*, pk: int, who: str = "", actor: Actor, now: datetime) -> Downtime:
    """It runs again; a planned time that has not begun is taken back.

    raises  NotFound; Conflict where it has ended
    """
    with write_turn(), transaction.atomic():
        found = (
            Downtime.objects.select_for_update(of=("self",)).select_related("station").filter(pk=pk).first()
        )
        if found is None:
            raise NotFound("There is no such downtime.")
        if _has_ended(found, now):
            raise Conflict(f"{found.station.code} runs already.")
        found.ended_at, found.ended_by = now, (who or actor.name)[:150]
        found.save(update_fields=["ended_at", "ended_by"])
        pulse_beat()
    return found


def _wrong(
    reason: str, begins: datetime, until_at: datetime | None, is_planned: bool, now: datetime
) -> list[FieldError]:
    errors = []
    if len(reason) > LONGEST_REASON:
        message = f"The reason has {len(reason)} characters; it can be up to {LONGEST_REASON}."
        errors.append(FieldError("reason", reason[:40], f"up to {LONGEST_REASON} characters", message))
    if begins > now + LONGEST:
        message = "The start is more than a year ahead."
        errors.append(FieldError("from_at", begins.isoformat(), "within a year", message))
    if until_at is None and is_planned:
        message = "Say until when: a planned time has an end."
        errors.append(FieldError("until_at", None, "a moment after the start", message))
    if until_at is not None and not begins < until_at <= begins + LONGEST:
        limit = f"after {clock(timezone.localtime(begins))}, within a year"
        message = f"The end is {clock(timezone.localtime(until_at))}; it can be {limit}."
        errors.append(FieldError("until_at", until_at.isoformat(), limit, message))
    return errors


def _refuse_overlap(station: Station, begins: datetime, until_at: datetime | None, now: datetime) -> None:
    for one in downtimes_open(now=begins).filter(station=station):
        its_end = one.until_at if one.is_planned else None
        if (its_end is None or its_end > begins) and (until_at is None or until_at > one.from_at):
            raise Conflict(f"{station.code}: {words(one, now=now)} End that first, or choose another time.")


def _station(code: str) -> Station:
    found = Station.objects.select_for_update().filter(code=code).first()
    if found is None:
        raise NotFound(f"There is no station {code[:20]}.")
    return found


def _has_ended(one: Downtime, now: datetime) -> bool:
    return one.ended_at is not None or (one.is_planned and one.until_at is not None and one.until_at <= now)


def station_down(
    *, code: str, badge: str, reason: str, minutes: int | None, actor: Actor, now: datetime
) -> Downtime:
    """As a tablet tells it: from now on, back in so many minutes where that is known.

    raises  as `downtime_tell`; WrongInput for a badge that is none, or minutes that are none
    """
    who = _operator(badge)
    if minutes is not None and (
        isinstance(minutes, bool) or not isinstance(minutes, int) or not 1 <= minutes <= 10080
    ):
        limit = "a whole number from 1 to 10080, or null"
        message = f"minutes is {str(minutes)[:20]}; it can be {limit}."
        raise WrongInput([FieldError("minutes", str(minutes)[:20], limit, message)])
    until = now + timedelta(minutes=minutes) if minutes else None
    return downtime_tell(station=code, reason=reason, until_at=until, who=who, actor=actor, now=now)


def station_up(*, code: str, badge: str, actor: Actor, now: datetime) -> Downtime:
    """As a tablet tells it: the station runs again.

    raises  WrongInput for a badge that is none; Conflict where it is not down
    """
    who = _operator(badge)
    found = down_now(now=now).get(code)
    if found is None:
        raise Conflict(say("{station} is not down.", station=code))
    return downtime_end(pk=found.pk, who=who, actor=actor, now=now)


def _operator(badge: str) -> str:
    found = Operator.objects.filter(code=badge, is_active=True).values_list("name", flat=True).first()
    if found is None:
        message = say("That badge is not known here. Ask the supervisor.")
        raise WrongInput([FieldError("badge", badge[:20], "an operator's badge", message)], message)
    return found


# -- reads ------------------------------------------------------------------


def downtimes_open(*, now: datetime):
    """Those that last, and those that are planned."""
    return (
        Downtime.objects.filter(Q(is_planned=False) | Q(until_at__gt=now), ended_at=None)
        .select_related("station")
        .order_by("from_at", "pk")
    )


def down_now(*, now: datetime) -> dict[str, Downtime]:
    """By the codes of the stations that are down at this moment. One query."""
    return {one.station.code: one for one in downtimes_open(now=now).filter(from_at__lte=now)}


def downtimes_lately(station: Station, *, now: datetime) -> list[Downtime]:
    """Those of a station that ended in the last four weeks, the newest first."""
    over = Q(ended_at__gte=now - KEPT_SHOWN) | Q(
        ended_at=None, is_planned=True, until_at__lte=now, until_at__gte=now - KEPT_SHOWN
    )
    return list(station.downtimes.filter(over).order_by("-from_at", "-pk")[:50])


def words(one: Downtime, *, now: datetime) -> str:
    """“Down since 09:40. Back about 11:30. Motor.”, in the language in use; another day than now's is named.

    Where 11:30 is past and nobody has said that it runs: “It was due back 11:30.”
    """
    begins, until = _moment(one.from_at, now), _moment(one.until_at, now) if one.until_at else ""
    reason = reasons_now().said(one.reason) if one.reason else ""
    if one.is_planned:
        said = say("Down from {begins} to {until}.", begins=begins, until=until)
    elif until and one.until_at <= now:
        said = say("Down since {begins}. It was due back {until}.", begins=begins, until=until)
    elif until:
        said = say("Down since {begins}. Back about {until}.", begins=begins, until=until)
    else:
        said = say("Down since {begins}.", begins=begins)
    return f"{said} {reason}.".replace("..", ".") if reason else said


def _moment(at: datetime, now: datetime) -> str:
    at = timezone.localtime(at)
    return f"{at:%H:%M}" if at.date() == timezone.localdate(now) else clock(at)


def runs_words(code: str) -> str:
    return say("{station} runs again.", station=code)


def taken_as_until(one: Downtime, *, calendar: Calendar, now: datetime) -> datetime:
    """Until when it is reckoned with: its own end, or the end of the working day where that is unknown or past."""
    if one.until_at is not None and one.until_at > now:
        return one.until_at
    left = calendar.hours_left(now)
    return calendar.ahead(now, left) if left else calendar.ahead(now, calendar.day_hours)


def down_hours(
    downtimes: Iterable[Downtime], *, calendar: Calendar, now: datetime
) -> dict[str, tuple[tuple[float, float], ...]]:
    """By station: the hours of work from now in which it is down, as the simulation takes them."""
    found: dict[str, list[tuple[float, float]]] = {}
    for one in downtimes:
        begins = calendar.hours_between(now, one.from_at)
        ends = calendar.hours_between(now, taken_as_until(one, calendar=calendar, now=now))
        if ends > begins:
            found.setdefault(one.station.code, []).append((begins, ends))
    return {code: tuple(sorted(spans)) for code, spans in found.items()}


def hours_lost(
    downtimes: Iterable[Downtime], look: Horizon, *, calendar: Calendar, now: datetime
) -> dict[str, float]:
    """By station: how many of the hours that the board looks ahead it is down."""
    spans = down_hours(downtimes, calendar=calendar, now=now)
    return {
        code: sum(max(0.0, min(ends, look.hours) - begins) for begins, ends in own)
        for code, own in spans.items()
    }
