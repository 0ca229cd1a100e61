"""A day of the floor, and what is there now, read from the tasks as `flow.figures` takes them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from fittings.models import OrderLine, Segment
from shared.portions import in_portions
from shopfloor.flow.calendar import Calendar
from shopfloor.flow.figures import (
    FLOOR,
    Bench,
    Cell,
    Stay,
    benches_of_day,
    cells_of_day,
    rises_of_day,
)
from shopfloor.open_work import OPEN, all_rows, marks, moment, stored
from travelers.cut_costs import fitting_material_cost, segment_costs
from travelers.cut_work import CUT
from travelers.models import Operation, Scan, ScanTarget
from travelers.state import SCRAP

AT_A_TIME = 1000
_TASK = (
    "SELECT t.id, t.operation_id, f.line_id, t.fitting_id, t.segment_id, s.generation, s.state, t.minutes,"
    " t.is_implied, t.state, t.station, t.ready_at, t.started_at, t.finished_at FROM travelers_task t"
    " JOIN fittings_fitting f ON f.id = t.fitting_id LEFT JOIN fittings_segment s ON s.id = t.segment_id"
    " WHERE t.operation_id IN ({codes})"
)
_NOT_OF_STOCK = (
    " AND NOT EXISTS (SELECT 1 FROM fittings_keptpiece k WHERE k.used_for_id = f.id AND k.segment_id IS NULL)"
)
_CAME = _TASK + " AND t.ready_at >= %s AND t.ready_at < %s"
_LEFT = _TASK + " AND t.state = 'done' AND t.finished_at >= %s AND t.finished_at < %s"


@dataclass(frozen=True, slots=True)
class Line:
    """What the figures can be told apart by."""

    order: str
    kind: str
    gauge: int
    size_in: float


@dataclass(slots=True)
class Day:
    """One day added up: cells by (place, order line), stations, and how far the counts rose in it."""

    day: date
    cells: dict[tuple[str, int], Cell]
    stations: dict[str, Bench]
    rises: dict[str, int]


def bounds(day: date, calendar: Calendar) -> tuple[datetime, datetime]:
    """The day's two midnights, by the shop's clock."""
    low, high = (datetime.combine(one, time(0), calendar.zone) for one in (day, day + timedelta(days=1)))
    return low, high


def lines_of(ids: Iterable[int]) -> dict[int, Line]:
    found = {}
    for part in in_portions(sorted(set(ids)), AT_A_TIME):
        for pk, order, kind, gauge, params in OrderLine.objects.filter(pk__in=part).values_list(
            "pk", "order__number", "kind", "gauge", "params"
        ):
            sizes = [
                value
                for name, value in params.items()
                if "diameter" in name and isinstance(value, (int, float))
            ]
            found[pk] = Line(order, kind, gauge, float(max(sizes, default=0)))
    return found


# -- one day from the tasks ----------------------------------------------------------


def day_read(day: date, calendar: Calendar, *, until: datetime | None = None) -> Day:
    """A day from the tasks: a constant number of queries, through the indexes of their times.

    until  the moment at which the day that is on ends for its figures
    """
    low, high = bounds(day, calendar)
    high = min(high, until) if until else high
    codes = list(Operation.objects.order_by("position").values_list("code", flat=True))
    found = {}
    if codes:
        for sql in (_CAME, _LEFT):
            rows = all_rows(sql.format(codes=marks(codes)), [*codes, stored(low), stored(high)])
            found |= {row[0]: row for row in rows}
    whole = _fittings_of(low, high)
    scrapped = _with_scrap({row[3] for row in found.values()} | {row[0] for row in whole})
    costs = _Costs(codes)
    costs.look_up([(row[1], row[3], row[4]) for row in found.values()])
    stays = [_stay(row, scrapped, costs) for row in found.values()]
    stays += [
        Stay(FLOOR, line, released, left_at=done, is_first_pass=pk not in scrapped)
        for pk, line, released, done in whole
    ]
    cells = cells_of_day(stays, low, high, calendar)
    for (place, line, reason), count in _scrap_of(found.values(), low, high).items():
        cells.setdefault((place, line), Cell()).scrap[reason] = count
    return Day(
        day,
        cells,
        benches_of_day(stays, low, high, calendar),
        rises_of_day(stays, low, high),
    )


def _stay(row: tuple, scrapped: set[int], costs: _Costs) -> Stay:
    _, operation, line, fitting, segment, generation, state, minutes, implied, task_state, station = row[:11]
    ready, started, finished = map(moment, row[11:])
    left = finished if task_state == "done" else None
    good = fitting not in scrapped if segment is None else generation == 1 and state != "scrapped"
    return Stay(
        operation,
        line,
        ready or left,
        started,
        left,
        minutes / 60,
        station,
        bool(implied),
        good,
        costs.of(operation, fitting, segment),
    )


def _fittings_of(low: datetime, high: datetime) -> list[tuple[int, int, datetime, datetime | None]]:
    """Fittings released or finished in the day: id, line, release, finish. What was cancelled was never there, and
    neither was a fitting that came finished from stock: nobody made it in these days.
    """
    columns = (
        "f.id, f.line_id, o.released_at, f.done_at FROM fittings_fitting f"
        " JOIN fittings_order o ON o.id = f.order_id"
    )
    window = [stored(low), stored(high)]
    rows = all_rows(
        f"SELECT {columns} WHERE o.released_at >= %s AND o.released_at < %s AND f.state NOT IN ('void', 'scrapped')"
        + _NOT_OF_STOCK,
        window,
    )
    rows += all_rows(
        f"SELECT {columns} WHERE f.state = 'done' AND f.done_at >= %s AND f.done_at < %s" + _NOT_OF_STOCK,
        window,
    )
    return list({row[0]: (*row[:2], moment(row[2]), moment(row[3])) for row in rows}.values())


def _with_scrap(fittings: set[int]) -> set[int]:
    """Those of which a segment was scrapped."""
    found: set[int] = set()
    for part in in_portions(sorted(fittings), AT_A_TIME):
        found |= {
            row[0]
            for row in all_rows(
                "SELECT s.fitting_id FROM fittings_segment s WHERE s.state = 'scrapped'"
                f" AND s.fitting_id IN ({marks(part)})",
                part,
            )
        }
    return found


def _scrap_of(rows: Iterable[tuple], low: datetime, high: datetime) -> Counter[tuple[str, int, str]]:
    """Segments scrapped in the day by operation, line and reason: each is made again from that moment on."""
    remade: dict[int, tuple[int, int, datetime]] = {}
    for row in rows:
        ready = moment(row[11])
        if (row[5] or 1) > 1 and ready and low <= ready < high:
            _, line, fitting, segment = row[1:5]
            remade[segment] = min(remade.get(segment, (fitting, line, ready)), (fitting, line, ready))
    scans = {
        (fitting, at): (reason, operation)
        for part in in_portions(sorted({fitting for fitting, _, _ in remade.values()}), AT_A_TIME)
        for fitting, at, reason, operation in ScanTarget.objects.filter(
            fitting__in=part,
            scan__action=SCRAP,
            scan__outcome=Scan.Outcome.RECORDED,
            scan__effective_at__gte=low,
            scan__effective_at__lt=high,
        )
        .order_by("scan_id")
        .values_list("fitting_id", "scan__effective_at", "scan__reason", "scan__operation")
    }
    found: Counter[tuple[str, int, str]] = Counter()
    for fitting, line, at in remade.values():
        if (fitting, at) in scans:
            reason, operation = scans[fitting, at]
            found[operation, line, reason] += 1
    return found


class _Costs:
    """What the metal of pieces costs [cents]: of those that are cut. What is not cut is stock, and counts nothing."""

    def __init__(self, codes: Sequence[str]):
        self.uncut = set(codes[: codes.index(CUT) + 1]) if CUT in codes else set()
        self.segments: dict[int, Decimal | None] = {}
        self.whole: dict[int, Decimal | None] = {}

    def look_up(self, pieces: Iterable[tuple[str, int, int | None]]) -> None:
        """pieces  (operation, fitting, segment or None for the fitting whole)"""
        cut = [piece for piece in pieces if piece[0] not in self.uncut]
        for part in in_portions(sorted({segment for _, _, segment in cut if segment is not None}), AT_A_TIME):
            self.segments |= segment_costs(Segment.objects.filter(pk__in=part))
        self.whole = fitting_material_cost(
            sorted({fitting for _, fitting, segment in cut if segment is None})
        )

    def of(self, operation: str, fitting: int, segment: int | None) -> int | None:
        if operation in self.uncut:
            return 0
        cost = self.whole.get(fitting) if segment is None else self.segments.get(segment)
        return None if cost is None else int(cost * 100)


# -- what is there now ---------------------------------------------------------------


def here_now() -> dict[tuple[str, int], Cell]:
    """What is at each place now, by order line, as if it had come at once: open work alone is read."""
    codes = list(Operation.objects.order_by("position").values_list("code", flat=True))
    rows = all_rows(
        "SELECT t.operation_id, f.line_id, t.fitting_id, t.segment_id, t.minutes FROM travelers_task t"
        " JOIN fittings_fitting f ON f.id = t.fitting_id"
        f" WHERE {OPEN} AND t.ready_at IS NOT NULL"
    )
    costs = _Costs(codes)
    costs.look_up([(operation, fitting, segment) for operation, _, fitting, segment, _ in rows])
    found: dict[tuple[str, int], Cell] = defaultdict(Cell)
    for operation, line, fitting, segment, minutes in rows:
        cell, cents = found[operation, line], costs.of(operation, fitting, segment)
        cell.arrived += 1
        cell.arrived_hours += minutes / 60
        cell.arrived_cents += cents or 0
        cell.arrived_unpriced += cents is None
    for line, count in all_rows(
        "SELECT f.line_id, COUNT(*) FROM fittings_order o CROSS JOIN fittings_fitting f"
        " WHERE o.state = 'released' AND f.order_id = o.id AND f.state = 'open' GROUP BY f.line_id"
    ):
        found[FLOOR, line].arrived = count
    return dict(found)
