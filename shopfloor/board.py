"""The board: where the work is, what piles up, which kits are short, what will be late. Built in one place, here.

A constant number of queries (at most `QUERIES`), over open work or over the last hours, never over history.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta

from django.utils import timezone

from shared import rows
from shopfloor.attention import LateRisk, ShortKit, late_risk, short_kits
from shopfloor.downtime import downtimes_open, hours_lost
from shopfloor.flow import queue
from shopfloor.flow.calendar import Calendar
from shopfloor.flow.day_plan import planned
from shopfloor.flow.pile import Slat
from shopfloor.models import Downtime, Station
from shopfloor.next_act import Place, act, starves
from shopfloor.open_work import (
    Finished,
    Total,
    Work,
    arrivals_since,
    finished,
    fittings_due,
    midnight_of,
    totals,
    work_lying,
)
from shopfloor.piling import Piling
from shopfloor.working_time import shop_calendar
from travelers.models import Operation
from travelers.sentences import piece_word_of

QUERIES = 17
RATE_HOURS = 2.0


@dataclass(frozen=True)
class BoardOperation:
    """One bay. `hours_queued` is the work that is ready or running; held work is counted, not queued.

    `said` are the sentences of `why`: how much lies there, of what, what follows, what to do.
    """

    operation: str
    name: str
    level: str
    stations: int
    waiting: int
    ready: int
    running: int
    held: int
    done_today: int
    oldest_ready_minutes: int | None
    hours_queued: float
    hours_clear: float
    arrivals_per_hour: float
    finishes_per_hour: float
    piling_up: bool
    why: str
    said: tuple[str, ...]
    slats: tuple[Slat, ...] = field(default=(), repr=False)


@dataclass(frozen=True)
class DownHere:
    """A station that is down. `until` is when it is expected to run again, None where nobody knows."""

    station: str
    operations: tuple[str, ...]
    since: datetime
    until: datetime | None
    reason: str


@dataclass(frozen=True)
class Bottleneck:
    """The operation that holds the floor back (`queue.offered`). `load` is None where no station does it."""

    operation: str
    name: str
    hours_queued: float
    hours_clear: float
    load: float | None


@dataclass(frozen=True)
class Board:
    """`finished_today` and `planned_today` are fittings."""

    as_of: datetime
    version: int
    epoch: str
    operations: tuple[BoardOperation, ...]
    bottleneck: Bottleneck | None
    short_kits: tuple[ShortKit, ...]
    short_kits_more: int
    late_risk: tuple[LateRisk, ...]
    late_risk_more: int
    finished_today: int
    planned_today: int
    look: queue.Horizon
    down: tuple[DownHere, ...] = ()

    @property
    def piling(self) -> tuple[BoardOperation, ...]:
        """What piles up, the highest load first."""
        found = [one for one in self.operations if one.piling_up]
        return tuple(sorted(found, key=lambda one: -queue.load(one.hours_queued, one.hours_clear)))

    def as_dict(self) -> dict:
        """The answer of the API: plain values, without what only the picture needs."""
        body = {"as_of": self.as_of.isoformat(timespec="milliseconds"), "version": self.version}
        body["operations"] = [
            {name: value for name, value in vars(one).items() if name not in ("slats", "said")}
            for one in self.operations
        ]
        body["bottleneck"] = asdict(self.bottleneck) if self.bottleneck else None
        body["short_kits"] = [asdict(one) for one in self.short_kits]
        body["short_kits_more"] = self.short_kits_more
        body["late_risk"] = [asdict(one) for one in self.late_risk]
        body["late_risk_more"] = self.late_risk_more
        body["finished_today"] = self.finished_today
        body["planned_today"] = self.planned_today
        body["down"] = [
            asdict(one)
            | {"since": one.since.isoformat(), "until": one.until.isoformat() if one.until else None}
            for one in self.down
        ]
        return body

    def as_json(self) -> bytes:
        return json.dumps(self.as_dict(), separators=(",", ":"), ensure_ascii=False).encode()


def pulse() -> tuple[str, int]:
    """Epoch and version: what every screen compares before it asks for more. One query."""
    found = rows.select("SELECT epoch, version FROM travelers_pulse WHERE id = 1")
    return found[0] if found else ("", 0)


def board(*, now: datetime, piling: Piling) -> Board:
    """The board as it is now.

    The version is read first, so what is shown is at least as new as the version says: a change between two of the
    queries has a later version, whose board follows.

    now     aware
    piling  remembers what piled up, for the dead band
    """
    now = now.astimezone(timezone.get_default_timezone())
    epoch, version = pulse()
    calendar = shop_calendar()
    look = queue.horizon(calendar, now)
    operations = list(Operation.objects.order_by("position"))
    codes = [one.code for one in operations]
    benches = list(Station.objects.order_by("position", "code"))
    told = list(downtimes_open(now=now))
    down = {one.station.code: one for one in told if one.from_at <= now}
    lost = hours_lost(told, look, calendar=calendar, now=now)
    clears = {one.code: max(0.0, look.hours - lost.get(one.code, 0.0)) for one in benches if one.is_active}
    open_totals, running_at = totals()
    work = work_lying(codes)
    since = calendar.back(now, RATE_HOURS)
    done, finished_at = finished(codes, midnight=midnight_of(now), since=since)
    arrivals = arrivals_since(codes, since=since)
    before = piling.read()
    bays = []
    for one in operations:
        bays.append(
            _bay(
                one,
                total=open_totals.get(one.code, {}),
                work=work.get(one.code, []),
                clears=[clears[row.code] for row in benches if row.is_active and one.code in row.operations],
                look=look,
                was=one.code in before,
                done=done.get(one.code, Finished()),
                arrivals=queue.rate(arrivals.get(one.code, 0), RATE_HOURS),
                now=now,
            )
        )
    piling.write({one.operation for one in bays if one.piling_up}, before)
    bays = _with_what_follows(
        bays,
        operations,
        benches=benches,
        at_work=running_at | finished_at,
        down=down,
        since=since,
        calendar=calendar,
        now=now,
    )
    by_due, finished_today = fittings_due(midnight=midnight_of(now))
    kits, kits_more = short_kits(_assembly(operations))
    late, late_more = late_risk(now=now, calendar=calendar)
    return Board(
        as_of=now,
        version=version,
        epoch=epoch,
        operations=tuple(bays),
        bottleneck=_bottleneck(bays, {code: one.minutes / 60 for code, one in done.items()}),
        short_kits=kits,
        short_kits_more=kits_more,
        late_risk=late,
        late_risk_more=late_more,
        finished_today=finished_today,
        planned_today=planned(by_due, today=now.date(), calendar=calendar),
        look=look,
        down=tuple(
            DownHere(code, tuple(one.station.operations), one.from_at, one.until_at, one.reason)
            for code, one in down.items()
        ),
    )


def _bay(
    one: Operation,
    *,
    total: dict[str, Total],
    work: list[Work],
    clears: list[float],
    look: queue.Horizon,
    was: bool,
    done: Finished,
    arrivals: float,
    now: datetime,
) -> BoardOperation:
    nothing = Total(0, 0.0, None)
    waiting, ready, running, held = (
        total.get(state, nothing) for state in ("waiting", "ready", "running", "held")
    )
    queued = (ready.minutes + running.minutes) / 60
    stations = sum(hours > 0 for hours in clears)
    known = [row for row in work if row.state != "held"]
    pieces = ready.tasks + running.tasks
    said = queue.why(
        queued,
        sum(clears),
        look,
        stations=stations,
        pieces=_pieces(pieces, one.level, all(piece_word_of(row.kind) == "gore" for row in known)),
        orders=len({row.order for row in known}),
        at_least=pieces > sum(row.tasks for row in known),
    )
    return BoardOperation(
        operation=one.code,
        name=one.name,
        level=one.level,
        stations=stations,
        waiting=waiting.tasks,
        ready=ready.tasks,
        running=running.tasks,
        held=held.tasks,
        done_today=done.today,
        oldest_ready_minutes=_minutes_since(ready.since, now),
        hours_queued=round(queued, 2),
        hours_clear=round(sum(clears), 2),
        arrivals_per_hour=arrivals,
        finishes_per_hour=queue.rate(done.lately, RATE_HOURS),
        piling_up=queue.is_piling_up(queued, sum(clears), was),
        why=" ".join(said),
        said=said,
        slats=tuple(Slat(row.minutes / 60, row.state) for row in work),
    )


def _with_what_follows(
    bays: list[BoardOperation],
    operations: list[Operation],
    *,
    benches: list[Station],
    at_work: set[str],
    down: Mapping[str, Downtime],
    since: datetime,
    calendar: Calendar,
    now: datetime,
) -> list[BoardOperation]:
    """Each bay that piles up, or that nothing comes to, says what follows for the next; a pile also what to do.

    at_work  codes of the stations where something is running or was finished since then
    """
    idle = {one.code for one in benches if one.is_active} - at_work - down.keys()
    places = [
        Place(
            one.operation,
            one.name,
            one.stations,
            one.hours_queued,
            one.waiting,
            one.ready + one.running,
            one.ready + one.running + one.held,
            operation.cap,
        )
        for one, operation in zip(bays, operations, strict=True)
    ]
    found = []
    for at, (bay, place) in enumerate(zip(bays, places, strict=True)):
        before = places[at - 1] if at else None
        following = places[at + 1] if at + 1 < len(places) else None
        is_dry = not any(one.queued for one in places[: at + 1])
        more = [f"{code} is down." for code, one in down.items() if bay.operation in one.station.operations]
        if bay.piling_up or is_dry:
            more.append(starves(place, following, is_dry=is_dry, calendar=calendar, now=now))
        if bay.piling_up:
            is_long_there = now - timedelta(minutes=bay.oldest_ready_minutes or 0) <= since
            is_known_idle = is_long_there and calendar.hours_left(now) is not None
            more.append(
                act(place, before, following, stations=benches, idle=idle if is_known_idle else frozenset())
            )
        said = (*bay.said, *filter(None, more))
        found.append(replace(bay, said=said, why=" ".join(said)))
    return found


def _minutes_since(since: datetime | None, now: datetime) -> int | None:
    """Whole minutes, never negative: a tablet's clock may run ahead."""
    return max(0, int((now - since).total_seconds() // 60)) if since else None


def _pieces(count: int, level: str, are_gores: bool) -> str:
    if level == Operation.Level.FITTING:
        noun = "fitting"
    else:
        noun = "gore" if are_gores else "segment"
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _bottleneck(bays: list[BoardOperation], finished_hours: dict[str, float]) -> Bottleneck | None:
    """Where the most work was offered to a station lately; `finished_hours` are those of the last `RATE_HOURS`."""
    offered = {
        one.operation: queue.offered(one.hours_queued, finished_hours.get(one.operation, 0.0), one.stations)
        for one in bays
        if one.hours_queued > 0
    }
    code = max(offered, key=offered.__getitem__, default=None)
    if code is None:
        return None
    (found,) = (one for one in bays if one.operation == code)
    ratio = round(found.hours_queued / found.hours_clear, 2) if found.hours_clear > 0 else None
    return Bottleneck(found.operation, found.name, found.hours_queued, found.hours_clear, ratio)


def _assembly(operations: list[Operation]) -> str:
    """Where the segments of a fitting come together: `assemble`, or the first operation of the whole fitting."""
    codes = [one.code for one in operations if one.level == Operation.Level.FITTING]
    return "assemble" if "assemble" in codes else next(iter(codes), "")
