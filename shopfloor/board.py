"""The board: where the work is, what piles up, which kits are short, what will be late. Built in one place, here.

A constant number of queries (at most `QUERIES`), over open work or over the last hours, never over history.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import datetime, time

from django.utils import timezone

from fittings import tables
from shared import rows
from shopfloor.attention import LateRisk, ShortKit, late_risk, short_kits
from shopfloor.flow import queue
from shopfloor.flow.pile import Slat
from shopfloor.flow.shift import MONDAY_TO_FRIDAY, Shift
from shopfloor.models import Station
from shopfloor.open_work import Total, Work, arrivals_since, finished, midnight_of, totals, work_lying
from shopfloor.piling import Piling
from travelers.models import Operation
from travelers.sentences import piece_word_of

QUERIES = 12
RATE_HOURS = 2.0
_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True)
class BoardOperation:
    """One bay. `hours_queued` is the work that is ready or running; held work is counted, not queued."""

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
    slats: tuple[Slat, ...] = field(default=(), repr=False)


@dataclass(frozen=True)
class Bottleneck:
    """The operation with the most hours queued per hour of capacity. `load` is None where no station does it."""

    operation: str
    name: str
    hours_queued: float
    hours_clear: float
    load: float | None


@dataclass(frozen=True)
class Board:
    as_of: datetime
    version: int
    epoch: str
    operations: tuple[BoardOperation, ...]
    bottleneck: Bottleneck | None
    short_kits: tuple[ShortKit, ...]
    short_kits_more: int
    late_risk: tuple[LateRisk, ...]
    late_risk_more: int
    look: queue.Horizon

    @property
    def piling(self) -> tuple[BoardOperation, ...]:
        """What piles up, the highest load first."""
        found = [one for one in self.operations if one.piling_up]
        return tuple(sorted(found, key=lambda one: -queue.load(one.hours_queued, one.hours_clear)))

    def as_dict(self) -> dict:
        """The answer of the API: plain values, the slats left out."""
        body = {"as_of": self.as_of.isoformat(timespec="milliseconds"), "version": self.version}
        body["operations"] = [
            {name: value for name, value in vars(one).items() if name != "slats"} for one in self.operations
        ]
        body["bottleneck"] = asdict(self.bottleneck) if self.bottleneck else None
        body["short_kits"] = [asdict(one) for one in self.short_kits]
        body["short_kits_more"] = self.short_kits_more
        body["late_risk"] = [asdict(one) for one in self.late_risk]
        body["late_risk_more"] = self.late_risk_more
        return body

    def as_json(self) -> bytes:
        return json.dumps(self.as_dict(), separators=(",", ":"), ensure_ascii=False).encode()


def shop_shift() -> Shift:
    """The shift of the shop's own table; what is missing or not understood there is the usual. One query.

    A row `work_days` ("Mon Tue Wed Thu") changes the working days.
    """
    facts = {row["key"]: str(row["value"] or "").strip() for row in tables.rows("shop")}
    usual = Shift()
    days = frozenset(
        at for at, day in enumerate(_DAYS) if day in facts.get("work_days", "").lower().replace(",", " ")
    )
    return Shift(
        _read(facts.get("day_starts"), time.fromisoformat, usual.starts),
        _read(facts.get("day_ends"), time.fromisoformat, usual.ends),
        _read(facts.get("break_minutes"), float, usual.break_minutes),
        days or MONDAY_TO_FRIDAY,
    )


def _read(text: str | None, reader: Callable, usual):
    try:
        return reader(text.rjust(5, "0") if reader is time.fromisoformat else text)
    except (ValueError, TypeError, AttributeError):
        return usual


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
    shift = shop_shift()
    look = queue.horizon(shift, now)
    operations = list(Operation.objects.order_by("position"))
    codes = [one.code for one in operations]
    stations = queue.stations_by_operation(
        Station.objects.filter(is_active=True).values_list("operations", flat=True)
    )
    open_totals = totals()
    work = work_lying(codes)
    since = shift.back(now, RATE_HOURS)
    done_today, finishes = finished(codes, midnight=midnight_of(now), since=since)
    arrivals = arrivals_since(codes, since=since)
    before = piling.read()
    bays = []
    for one in operations:
        bays.append(
            _bay(
                one,
                total=open_totals.get(one.code, {}),
                work=work.get(one.code, []),
                stations=stations.get(one.code, 0),
                look=look,
                was=one.code in before,
                done_today=done_today.get(one.code, 0),
                arrivals=queue.rate(arrivals.get(one.code, 0), RATE_HOURS),
                finishes=queue.rate(finishes.get(one.code, 0), RATE_HOURS),
                now=now,
            )
        )
    piling.write({one.operation for one in bays if one.piling_up}, before)
    kits, kits_more = short_kits(_assembly(operations))
    late, late_more = late_risk(now=now, shift=shift)
    return Board(
        as_of=now,
        version=version,
        epoch=epoch,
        operations=tuple(bays),
        bottleneck=_bottleneck(bays),
        short_kits=kits,
        short_kits_more=kits_more,
        late_risk=late,
        late_risk_more=late_more,
        look=look,
    )


def _bay(
    one: Operation,
    *,
    total: dict[str, Total],
    work: list[Work],
    stations: int,
    look: queue.Horizon,
    was: bool,
    done_today: int,
    arrivals: float,
    finishes: float,
    now: datetime,
) -> BoardOperation:
    nothing = Total(0, 0.0, None)
    waiting, ready, running, held = (
        total.get(state, nothing) for state in ("waiting", "ready", "running", "held")
    )
    queued = (ready.minutes + running.minutes) / 60
    clears = stations * look.hours
    known = [row for row in work if row.state != "held"]
    pieces = ready.tasks + running.tasks
    sentence = queue.why(
        queued,
        clears,
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
        done_today=done_today,
        oldest_ready_minutes=_minutes_since(ready.since, now),
        hours_queued=round(queued, 2),
        hours_clear=round(clears, 2),
        arrivals_per_hour=arrivals,
        finishes_per_hour=finishes,
        piling_up=queue.is_piling_up(queued, clears, was),
        why=sentence,
        slats=tuple(Slat(row.minutes / 60, row.state) for row in work),
    )


def _minutes_since(since: datetime | None, now: datetime) -> int | None:
    """Whole minutes, never negative: a tablet's clock may run ahead."""
    return max(0, int((now - since).total_seconds() // 60)) if since else None


def _pieces(count: int, level: str, are_gores: bool) -> str:
    if level == Operation.Level.FITTING:
        noun = "fitting"
    else:
        noun = "gore" if are_gores else "segment"
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _bottleneck(bays: list[BoardOperation]) -> Bottleneck | None:
    busiest = max(
        bays, key=lambda one: (queue.load(one.hours_queued, one.hours_clear), one.hours_queued), default=None
    )
    if busiest is None or busiest.hours_queued <= 0:
        return None
    ratio = round(busiest.hours_queued / busiest.hours_clear, 2) if busiest.hours_clear > 0 else None
    return Bottleneck(busiest.operation, busiest.name, busiest.hours_queued, busiest.hours_clear, ratio)


def _assembly(operations: list[Operation]) -> str:
    """Where the segments of a fitting come together: `assemble`, or the first operation of the whole fitting."""
    codes = [one.code for one in operations if one.level == Operation.Level.FITTING]
    return "assemble" if "assemble" in codes else next(iter(codes), "")
