"""Measured times: what the starts and finishes of the record say beside the standard times. Only reads.

Of each operation the newest finished pieces are read, so the cost does not grow with the record.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from math import sqrt
from typing import Any

from django.db.models import F

from fittings import tables
from fittings.models import Order, OrderLine
from shared.portions import in_portions
from shopfloor.flow.calendar import Calendar
from shopfloor.flow.learned import Learned, learned
from shopfloor.flow.timings import Piece, Timing, timings
from shopfloor.open_work import all_rows, marks, moment, stored
from travelers.models import Operation, Scan
from travelers.routing import times_row
from travelers.state import FINISH, HOLD, START

TIMES = "times"
NO_MEASURE = "none"
PLACES = 3
"""Of minutes in the table."""
NEWEST = 1000
"""Pieces that are read of each operation."""
ELSEWHERE = "started at another station"
IMPLIED = "finished by a later scan"
HELD = "on hold in between"
CLOCK = "scanned with a clock that was off"
_AT_A_TIME = 500

Way = tuple[str, str]
"""An operation and a method."""
PieceKey = tuple[int, int | None]
"""A fitting and its segment; None for the fitting as a whole."""


@dataclass(frozen=True)
class TimesRow:
    """A row of standard times, as the arithmetic takes it."""

    each: float = 0.0
    per_foot: float = 0.0
    measure: str = NO_MEASURE

    @classmethod
    def of(cls, rows: Sequence[Mapping[str, Any]], way: Way) -> TimesRow | None:
        """None where the way has no row."""
        row = times_row(rows, operation=way[0], method=way[1])
        return row and cls(row["minutes_each"], row["minutes_per_foot"], row["measure"])

    def feet(self, minutes: float) -> float | None:
        """The feet that gave these minutes; None where the time does not go by feet."""
        return max(0.0, (minutes - self.each) / self.per_foot) if self.per_foot else None


@dataclass(frozen=True)
class MeasuredTimes:
    """All that was measured.

    timings   by operation and method
    left_out  by operation: how many pieces, by reason
    read      by operation: how many finished pieces were looked at
    standard  the times in force, by operation and method; missing where there is no row
    """

    timings: Mapping[Way, Sequence[Timing]]
    left_out: Mapping[str, Counter[str]]
    read: Mapping[str, int]
    standard: Mapping[Way, TimesRow]

    @cached_property
    def learned(self) -> dict[Way, Learned]:
        found = {}
        for way, own in self.timings.items():
            row = self.standard.get(way, TimesRow())
            found[way] = learned(own, each=row.each, per_foot=row.per_foot)
        return found

    def proposal(self, way: Way) -> TimesRow | None:
        """The times to adopt, as the table would keep them; None where they do not surely differ from the standard."""
        one, now = self.learned.get(way), self.standard.get(way)
        if one is None or not one.differs:
            return None
        measure = now.measure if now else NO_MEASURE
        found = TimesRow(round(one.each, PLACES), round(one.per_foot, PLACES), measure)
        return found if found != now else None

    @cached_property
    def spread(self) -> dict[str, float]:
        """Standard deviation by mean, by operation: the mean square of its methods'; of those measured often enough."""
        squares: dict[str, list[tuple[float, int]]] = defaultdict(list)
        for (operation, _), one in self.learned.items():
            if one.is_enough:
                squares[operation].append((one.spread**2, one.timings))
        return {
            operation: sqrt(sum(square * count for square, count in own) / sum(count for _, count in own))
            for operation, own in squares.items()
        }

    def minutes(self, way: Way, minutes: float, row: TimesRow | None) -> float:
        """A piece's time as measured [min]; as planned where that is not known.

        minutes, row  as planned, by the row of the times that its order was released with
        """
        one = self.learned.get(way)
        if one is None or not one.is_enough or row is None:
            return minutes
        now = self.standard.get(way)
        feet = row.feet(minutes)
        if feet is not None and now is not None and row.measure == now.measure:
            return one.minutes(feet)
        return minutes * one.ratio if row == now and one.ratio else minutes


def measured_times(calendar: Calendar, *, until: datetime, version: int | None = None) -> MeasuredTimes:
    """What was finished up to a moment. A query an operation, one for each 500 fittings, and a few.

    version  of the standard times that it is set beside; None for that in force
    raises   NotFound for a version that there is not
    """
    rows: list[_Finished] = []
    read, since = {}, {}
    for operation in Operation.objects.order_by("position").values_list("code", flat=True):
        own = list(_newest(operation, until))
        read[operation] = len(own)
        if len(own) == NEWEST:
            since[operation] = own[-1].ended
        rows += own
    times = ReleasedTimes({row.order for row in rows}, version)
    found, left_out = timings(list(_pieces(rows, times)), calendar, read_since=since)
    by_way: dict[Way, list[Timing]] = defaultdict(list)
    for one in found:
        by_way[one.operation, one.method].append(one)
    standard = {way: row for way in by_way if (row := times.now(way)) is not None}
    return MeasuredTimes(by_way, left_out, read, standard)


@dataclass(frozen=True, slots=True)
class _Finished:
    """A finished piece as it was recorded."""

    fitting: int
    line: int
    order: int
    segment: int | None
    operation: str
    method: str
    minutes: float
    is_implied: bool
    station: str
    began: datetime | None
    ended: datetime

    @property
    def way(self) -> Way:
        return self.operation, self.method

    @property
    def piece(self) -> PieceKey:
        return self.fitting, self.segment

    @property
    def is_timed(self) -> bool:
        return self.began is not None and not self.is_implied


def _newest(operation: str, until: datetime) -> Iterator[_Finished]:
    for *row, began, ended in all_rows(
        "SELECT t.fitting_id, f.line_id, f.order_id, t.segment_id, t.operation_id, t.method, t.minutes, t.is_implied,"
        " t.station, t.started_at, t.finished_at FROM travelers_task t JOIN fittings_fitting f ON f.id = t.fitting_id"
        " WHERE t.operation_id = %s AND t.state = 'done' AND t.finished_at <= %s"
        " ORDER BY t.finished_at DESC LIMIT %s",
        [operation, stored(until), NEWEST],
    ):
        yield _Finished(*row, moment(began), moment(ended))


class ReleasedTimes:
    """The standard times that orders were released with, and those in force (or of a version). A few queries."""

    def __init__(self, orders: Iterable[int], version: int | None = None):
        self.version = version
        self.versions = {
            pk: (numbers or {}).get(TIMES)
            for pk, numbers in Order.objects.filter(pk__in=set(orders)).values_list("pk", "tables")
        }
        self.rows = {number: tables.rows(TIMES, number) for number in {*self.versions.values(), version}}
        self.kept: dict[tuple[Way, int | None], TimesRow | None] = {}

    def of(self, order: int, way: Way) -> TimesRow | None:
        return self._row(self.versions.get(order), way)

    def now(self, way: Way) -> TimesRow | None:
        return self._row(self.version, way)

    def _row(self, number: int | None, way: Way) -> TimesRow | None:
        if (way, number) not in self.kept:
            self.kept[way, number] = TimesRow.of(self.rows[number], way)
        return self.kept[way, number]


def _pieces(rows: Sequence[_Finished], times: ReleasedTimes) -> Iterator[Piece]:
    """The finished pieces with their standard time now. What a later scan finished has no station: it is left out."""
    scans = PieceScans((row.piece, row.began, row.ended) for row in rows if row.is_timed)
    lines = _lines({row.line for row in rows})
    for row in rows:
        now, then = times.now(row.way), times.of(row.order, row.way)
        feet = then.feet(row.minutes) if then and now and then.measure == now.measure else None
        standard = 0.0
        if now is not None:
            standard = None if feet is None and now.per_foot else now.each + now.per_foot * (feet or 0.0)
        gauge, size = lines[row.line]
        why = IMPLIED if row.is_implied else ""
        if row.is_timed:
            why = scans.why(row.piece, row.station, row.began, row.ended)
        yield Piece(
            *row.way,
            row.station,
            row.began if row.is_timed else None,
            row.ended,
            standard,
            feet,
            gauge,
            size,
            why,
        )


def _lines(ids: set[int]) -> dict[int, tuple[int, float | None]]:
    """Gauge and largest inside diameter of lines."""
    found = OrderLine.objects.filter(pk__in=ids).annotate(ends=F("development__free_ends"))
    return {
        pk: (gauge, max((end.get("diameter") or 0.0 for end in ends or ()), default=0.0) or None)
        for pk, gauge, ends in found.values_list("pk", "gauge", "ends")
    }


class PieceScans:
    """The starts, finishes and holds of pieces, as recorded."""

    def __init__(self, spans: Iterable[tuple[PieceKey, datetime, datetime]]):
        self.at: dict[tuple, list[tuple[str, bool]]] = {}
        for piece, began, ended in spans:
            self.at[piece, START, began] = []
            self.at[piece, FINISH, ended] = []
        self.holds: dict[PieceKey, list[datetime]] = defaultdict(list)
        for part in in_portions(sorted({fitting for (fitting, _), _, _ in self.at}), _AT_A_TIME):
            for fitting, segment, action, station, at, is_doubtful in all_rows(
                "SELECT c.fitting_id, c.segment_id, s.action, s.station, s.effective_at, s.is_time_doubtful"
                " FROM travelers_scantarget c JOIN travelers_scan s ON s.sequence = c.scan_id"
                f" WHERE c.fitting_id IN ({marks(part)}) AND s.action IN (%s, %s, %s) AND s.outcome = %s",
                [*part, START, FINISH, HOLD, Scan.Outcome.RECORDED.value],
            ):
                piece, at = (fitting, segment), moment(at)
                if action == HOLD:
                    self.holds[piece].append(at)
                elif (own := self.at.get((piece, action, at))) is not None:
                    own.append((station, is_doubtful))

    def why(self, piece: PieceKey, station: str, began: datetime, ended: datetime) -> str:
        """Why the time between start and finish is not the work's; blank where it is."""
        starts, finishes = self.at[piece, START, began], self.at[piece, FINISH, ended]
        if station not in {station for station, _ in finishes}:
            return IMPLIED
        if station not in {station for station, _ in starts}:
            return ELSEWHERE
        if any(is_doubtful for _, is_doubtful in (*starts, *finishes)):
            return CLOCK
        return HELD if any(began < at < ended for at in self.holds.get(piece, ())) else ""
