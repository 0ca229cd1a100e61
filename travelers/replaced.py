"""What a change of an order put in the place of a traveler, a fitting or a segment, in the operator's words."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone

from fittings.models import Fitting, PieceState, Segment
from shared.words import day_said, say
from travelers.leaving import KEEP
from travelers.models import Traveler
from travelers.pieces import Loaded
from travelers.state import DONE, SCRAPPED, derive


def traveler_said(code: str) -> str:
    """What is to know of a void traveler; blank where there is none of this code."""
    found = Traveler.objects.filter(code=code).exclude(void_at=None)
    row = found.values_list("void_at", "void_version", "replaced_by__code").first()
    if row is None:
        return ""
    at, version, now_code = row
    if now_code:
        return say(
            "This traveler was replaced by {code} on {day}, version {version}.",
            code=newest_code(now_code),
            day=_day(at),
            version=version,
        )
    return say("This traveler is void since {day}, version {version}.", day=_day(at), version=version)


def traveler_void(code: str) -> Traveler | None:
    """The traveler of a code where it is void."""
    return Traveler.objects.filter(code=code).exclude(void_at=None).first()


def piece_said(one: Loaded, segment: int | None, piece: str) -> str:
    """What is to know of a fitting, or one segment of it, that a change took out of its order.

    piece  what it is called
    """
    row = Fitting.objects.values_list("taken_out_at", "taken_out_version", "replaced_by").get(pk=one.id)
    at, version, new = row
    code = _new_code(new, one, segment) if new else ""
    if code:
        text = say(
            "{piece} was replaced by {code} on {day}, version {version}.",
            piece=piece,
            code=code,
            day=_day(at),
            version=version,
        )
    else:
        text = say(
            "{piece} was taken out of the order on {day}, version {version}.",
            piece=piece,
            day=_day(at),
            version=version,
        )
    return f"{text} {_fate_said(one, segment)}"


def newest_code(code: str) -> str:
    """The traveler that goes with the work now, where the one that replaced another was replaced itself."""
    seen = {code}
    while True:
        later = Traveler.objects.filter(code=code).values_list("replaced_by__code", flat=True).first()
        if not later or later in seen:
            return code
        seen.add(later)
        code = later


def codes_before(code: str) -> list[str]:
    """A traveler's code and those of the travelers that it replaced, however many changes ago."""
    codes = [code]
    fresh = codes
    while fresh:
        fresh = list(Traveler.objects.filter(replaced_by__code__in=fresh).values_list("code", flat=True))
        fresh = [one for one in fresh if one not in codes]
        codes = codes + fresh
    return codes


def _new_code(fitting: int, one: Loaded, segment: int | None) -> str:
    """The code of what is made in its place now: the segment of the same position, else the fitting."""
    now = Fitting.objects.only("code", "replaced_by").get(pk=fitting)
    while now.replaced_by_id:
        now = Fitting.objects.only("code", "replaced_by").get(pk=now.replaced_by_id)
    if segment is None:
        return now.code
    position = next(spec.position for spec in one.spec.segments if spec.id == segment)
    same = Segment.objects.filter(fitting=now, position=position).exclude(
        state__in=(PieceState.SCRAPPED, PieceState.VOID)
    )
    return same.order_by("-generation").values_list("code", flat=True).first() or now.code


def _fate_said(one: Loaded, segment: int | None) -> str:
    state = derive(one.spec, one.events)
    if segment is None:
        pieces = list(state.segments)
        fate = state.fitting
    else:
        pieces = [segment]
        fate = state.segments[segment]
    if fate == SCRAPPED:
        return say("It is scrap.")
    done = any(state.tasks[task.id].state == DONE for task in one.spec.tasks if task.segment in pieces)
    if one.spec.taken_out_as == KEEP and (done or fate == DONE):
        return say("It is kept: set it aside.")
    return say("Do not make it.")


def _day(at: datetime) -> str:
    return day_said(timezone.localtime(at))
