"""What the fittings of an order really cost, from the record. Only reads.

Metal: the shares of the sheets that its segments were cut from, remnants credited; where no cut plan says it, the net
area at the metal's usual yield. A scrapped segment counts; a void one only if it was cut. What came from stock has
its metal and its work in the order that it was made for.
Labor: a finished step's own time between start and finish at its station, as `shopfloor.flow.timings` finds it, where
the record has one; else its standard minutes. A time that is far beyond the standard is not taken for work: a start
whose finish was forgotten.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

from django.db.models import Q

from fittings.cost_tables import YIELDS, cost_rows
from fittings.costing import Cost, metal_row, summed, taken
from fittings.models import Fitting, KeptPiece, Order, OrderLine, PieceState, Segment
from shared.portions import in_portions
from shopfloor.flow.timings import Piece, piece_minutes
from shopfloor.measured_times import IMPLIED, PieceKey, PieceScans
from shopfloor.working_time import shop_calendar
from travelers.cut_costs import segment_costs
from travelers.line_costs import CostRows, labor, segment_metal
from travelers.models import IS_DONE_HERE, Operation, Task

MOST_TIMES, LEAST_MINUTES = 8, 30.0
"""A measured time counts up to so many times the standard, or up to so many minutes; common practice, no source."""
_SPANS_AT_A_TIME = 20
Span = tuple[datetime, datetime]


@dataclass(frozen=True)
class FittingCost:
    """One fitting, as far as it is made.

    measured, standard  minutes of its labor that the record says, and of steps that have only their standard time
    by_plan, by_area    segments whose metal is known by a cut plan, and by net area
    """

    fitting: int
    line: int
    number: int
    code: str
    state: str
    done_at: datetime | None
    cost: Cost
    measured: Decimal
    standard: Decimal
    by_plan: int
    by_area: int


@dataclass
class _Making:
    """What is added up for one fitting."""

    metal: list[Cost] = field(default_factory=list)
    minutes: dict[str, Decimal] = field(default_factory=lambda: defaultdict(Decimal))
    measured: Decimal = Decimal("0.000")
    standard: Decimal = Decimal("0.000")
    by_plan: int = 0
    by_area: int = 0


def fitting_costs(order: Order, fittings: Sequence[int] | None = None) -> list[FittingCost]:
    """By fitting, in the order of lines and numbers. The cost depends on the order's work and what its stations did
    meanwhile, not on how long the record is.

    fittings  only these, by primary key; None: all of the order
    """
    found = Fitting.objects.filter(order=order)
    if fittings is not None:
        found = found.filter(pk__in=fittings)
    rows = cost_rows(order.tables)
    making: dict[int, _Making] = defaultdict(_Making)
    _add_metal(order, found, rows, making)
    _add_labor(found, making)
    listed = found.order_by("line__position", "number", "pk").values_list(
        "pk", "line", "number", "code", "state", "done_at"
    )
    return [_made(row, making[row[0]], rows) for row in listed]


def _made(row: tuple, one: _Making, rows: CostRows) -> FittingCost:
    cost = summed(one.metal) + labor(one.minutes, rows)
    return FittingCost(*row, cost, one.measured, one.standard, one.by_plan, one.by_area)


# -- metal ---------------------------------------------------------------------


def _add_metal(order: Order, fittings, rows: CostRows, making: Mapping[int, _Making]) -> None:
    segments = Segment.objects.filter(fitting__in=fittings.order_by().values("pk"))
    cut = segment_costs(segments)
    nets = _net_metal(order, rows)
    from_stock = set(
        KeptPiece.objects.filter(used_for__in=fittings.order_by().values("pk")).values_list(
            "used_for", "used_segment"
        )
    )
    for pk, fitting, line, position, generation, state in segments.order_by("pk").values_list(
        "pk", "fitting", "fitting__line", "position", "generation", "state"
    ):
        one, share = making[fitting], cut.get(pk)
        if (fitting, pk) in from_stock or ((fitting, None) in from_stock and generation == 1):
            continue
        if share is not None:
            one.metal.append(Cost(share))
            one.by_plan += 1
        elif state != PieceState.VOID or pk in cut:
            one.metal.append(nets[line][position])
            one.by_area += 1


def _net_metal(order: Order, rows: CostRows) -> dict[int, dict[int, Cost]]:
    """By line and position of the segment: its metal by net area."""
    found = {}
    for line in OrderLine.objects.filter(order=order):
        metal = metal_row(rows[YIELDS], material=line.material, gauge=line.gauge)
        found[line.pk] = {
            one["position"]: segment_metal(metal, one) for one in (line.development or {}).get("segments", ())
        }
    return found


# -- labor ---------------------------------------------------------------------


def _add_labor(fittings, making: Mapping[int, _Making]) -> None:
    own = list(
        Task.objects.filter(fitting__in=fittings.order_by().values("pk"), state="done", came_done=False)
        .order_by("step", "pk")
        .values(*_READ)
    )
    real = _measured(own)
    for row in own:
        one, standard = making[row["fitting_id"]], taken(row["minutes"])
        minutes = real.get(row["pk"])
        if minutes is not None and minutes <= max(LEAST_MINUTES, MOST_TIMES * row["minutes"]):
            amount = taken(minutes)
            one.measured += amount
        else:
            amount = standard
            one.standard += amount
        one.minutes[row["operation_id"]] += amount


_READ = (
    "pk",
    "fitting_id",
    "segment_id",
    "operation_id",
    "method",
    "minutes",
    "is_implied",
    "station",
    "started_at",
    "finished_at",
)


def _measured(own: Sequence[Mapping]) -> dict[int, float]:
    """By task, its minutes as the record has them; of those that have a time of their own."""
    spans: dict[str, list[Span]] = defaultdict(list)
    for row in own:
        if _is_timed(row):
            spans[row["station"]].append((row["started_at"], row["finished_at"]))
    if not spans:
        return {}
    rows = {row["pk"]: row for row in own if row["finished_at"] and row["station"]}
    for row in _meanwhile(spans):
        rows.setdefault(row["pk"], row)
    scans = PieceScans(_span(row) for row in rows.values() if _is_timed(row))
    found = piece_minutes([_piece(row, scans) for row in rows.values()], shop_calendar())
    return {row["pk"]: found[row["pk"]] for row in own if row["pk"] in found}


def _is_timed(row: Mapping) -> bool:
    return row["started_at"] is not None and bool(row["station"]) and not row["is_implied"]


def _span(row: Mapping) -> tuple[PieceKey, datetime, datetime]:
    return (row["fitting_id"], row["segment_id"]), row["started_at"], row["finished_at"]


def _piece(row: Mapping, scans: PieceScans) -> Piece:
    is_timed = _is_timed(row)
    why = IMPLIED if row["is_implied"] else ""
    if is_timed:
        piece, began, ended = _span(row)
        why = scans.why(piece, row["station"], began, ended)
    return Piece(
        row["operation_id"],
        row["method"],
        row["station"],
        row["started_at"] if is_timed else None,
        row["finished_at"],
        row["minutes"],
        why=why,
        key=row["pk"],
    )


def _meanwhile(spans: Mapping[str, Sequence[Span]]) -> Iterator[Mapping]:
    """What the stations finished while they worked on the order: those moments are not the order's."""
    operations = list(Operation.objects.order_by("position").values_list("code", flat=True))
    for station, own in spans.items():
        for part in in_portions(joined(own), _SPANS_AT_A_TIME):
            within = Q()
            for begin, end in part:
                within |= Q(finished_at__gte=begin, finished_at__lte=end)
            since, until = part[0][0], max(end for _, end in part)  # what the index is read from and to
            yield from Task.objects.filter(
                IS_DONE_HERE, within, operation__in=operations, station=station,
                finished_at__gte=since, finished_at__lte=until,
            ).values(*_READ)  # fmt: skip


def joined(spans: Iterable[Span]) -> list[Span]:
    """Spans of time that overlap or touch, as one."""
    found: list[Span] = []
    for begin, end in sorted(spans):
        if found and begin <= found[-1][1]:
            found[-1] = found[-1][0], max(end, found[-1][1])
        else:
            found.append((begin, end))
    return found
