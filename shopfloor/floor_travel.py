"""What was carried on the floor lately, from the record: the fittings that were finished, by station. Only reads."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from fittings.models import Fitting, PieceState
from shopfloor.flow.calendar import Calendar
from shopfloor.flow.room import DOOR, RACK, WRAPPING, Thing
from shopfloor.flow.travel import Carried, Ends, Made, Visit, carried
from travelers.models import Task, TaskState

USUAL_DAYS = 5
MOST_DAYS = 20
MOST_FITTINGS = 500


@dataclass(frozen=True)
class Lately:
    """Finished fittings of so many working days up to now.

    days    working days; fewer than were asked for where the most fittings were reached
    is_cut  whether they were
    """

    made: tuple[Made, ...]
    days: float
    is_cut: bool

    def traffic(self, things: Sequence[Thing], at_once: int | None) -> dict[Ends, Carried]:
        """From place to place on a layout: by its rack first, by its wrapping area and its door last."""

        def areas(*kinds: str) -> tuple[str, ...]:
            return tuple(one.code for kind in kinds for one in things if one.kind == kind)

        return carried(self.made, begin=areas(RACK), end=areas(WRAPPING, DOOR), at_once=at_once)


def made_lately(calendar: Calendar, *, days: int, now: datetime) -> Lately:
    """Two queries; as much is read as was finished in these days, at most MOST_FITTINGS, the newest."""
    since = calendar.back(now, days * calendar.day_hours)
    found = list(
        Fitting.objects.filter(state=PieceState.DONE, done_at__gte=since, done_at__lte=now)
        .order_by("-done_at", "-pk")
        .values_list("pk", "line_id", "done_at")[: MOST_FITTINGS + 1]
    )
    is_cut = len(found) > MOST_FITTINGS
    found = found[:MOST_FITTINGS]
    worked = float(days)
    if is_cut:
        worked = max(calendar.hours_between(found[-1][2], now) / calendar.day_hours, 0.001)
    visits = _visits([pk for pk, *_ in found])
    made = []
    for pk, line, _ in found:
        own = visits[pk]
        whole = tuple(own.pop(None, ()))
        made.append(Made(f"{line}", tuple(tuple(one) for one in own.values()), whole))
    return Lately(tuple(made), worked, is_cut)


def _visits(fittings: Sequence[int]) -> dict[int, dict[int | None, list[Visit]]]:
    """By fitting, then by segment, None for the whole, in order. What nobody scanned and scrap are left out."""
    rows = (
        Task.objects.filter(fitting_id__in=fittings, state=TaskState.DONE, is_implied=False)
        .exclude(station="")
        .exclude(segment__state=PieceState.SCRAPPED)
        .order_by("fitting_id", "segment_id", "finished_at", "step")
        .values_list("fitting_id", "segment_id", "station", "finished_at")
    )
    found: dict[int, dict[int | None, list[Visit]]] = defaultdict(lambda: defaultdict(list))
    for fitting, segment, station, finished_at in rows:
        found[fitting][segment].append(Visit(station, timezone.localdate(finished_at)))
    return found
