"""What waits for the cutting table and is on no cut plan, by metal and piece by piece. Only reads.

Pieces are found from the open tasks of the operation `cut`, so that the work asked for is the work that waits, not the
shop's history.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q

from fittings.models import OrderLine
from travelers.models import IS_OPEN_HERE, Task, TaskState

CUT = "cut"
NO_DATE = date.max
LEFT_OUT = {
    TaskState.RUNNING: ("is being cut by hand", "are being cut by hand"),
    TaskState.HELD: ("is on hold at the table", "are on hold at the table"),
    TaskState.WAITING: ("waits for an earlier operation", "wait for an earlier operation"),
}
_FIELDS = (
    "state",
    "segment_id",
    "segment__code",
    "segment__position",
    "segment__generation",
    "segment__role",
    "segment__pattern",
    "fitting_id",
    "fitting__code",
    "fitting__number",
    "fitting__line_id",
    "fitting__line__position",
    "fitting__line__material",
    "fitting__line__gauge",
    "fitting__line__tag",
    "fitting__order_id",
    "fitting__order__number",
    "fitting__order__due_on",
    "fitting__order__priority",
)


@dataclass(frozen=True)
class CutWork:
    """The work of one material and gauge that waits for a plan.

    pieces    to be cut, plates counted one by one; `late` of them are of orders past their date
    area_in2  of the cut outlines [in²]; weight_lb of the net patterns
    left_out  what is open at the table and not counted, a sentence each with its reason
    """

    material: str
    gauge: int
    pieces: int
    fittings: int
    orders: int
    area_in2: float
    weight_lb: float
    first_due: date | None
    late: int
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class PieceToCut:
    """A segment to cut, or one plate of it. `plate` is 0 for the whole segment, else from 1 to `plates`."""

    segment_id: int
    code: str
    plate: int
    plates: int
    pattern: str
    outline: Sequence[Sequence[float]]
    role: str
    position: int
    of: int
    line_id: int
    order: str
    tag: str
    due: date | None
    priority: int
    fitting_code: str
    generation: int
    area_in2: float
    weight_lb: float
    material: str
    gauge: int


def cut_work(*, today: date) -> list[CutWork]:
    """What is ready to be cut and on no live plan, by metal: the earliest date first. Three queries."""
    rows = open_rows()
    by_metal: dict[tuple[str, int], list[PieceToCut]] = {}
    for piece in _pieces(rows):
        by_metal.setdefault((piece.material, piece.gauge), []).append(piece)
    found = [_work(metal, pieces, rows, today) for metal, pieces in by_metal.items()]
    return sorted(found, key=lambda work: (work.first_due or NO_DATE, work.material, work.gauge))


def pieces_to_cut(
    *,
    material: str,
    gauge: int,
    orders: Collection[str] = (),
    due_to: date | None = None,
    only: Collection[tuple[int, int]] | None = None,
) -> list[PieceToCut]:
    """Pieces that are ready to be cut and on no live plan: the earliest date first, so late ones before all others.

    orders  numbers of the orders wanted; none is all
    due_to  the last date wanted; pieces of orders without a date are then left out
    only    (segment id, plate) that may be among them; None is all
    """
    rows = [
        row
        for row in open_rows(fitting__line__material=material, fitting__line__gauge=gauge)
        if _is_wanted(row, orders, due_to)
    ]
    pieces = _pieces(rows)
    return pieces if only is None else [piece for piece in pieces if (piece.segment_id, piece.plate) in only]


def left_out(rows: Iterable[Mapping[str, Any]]) -> tuple[str, ...]:
    """A sentence for each reason why open pieces are not ready."""
    counts = Counter(row["state"] for row in rows)
    return tuple(
        f"{counts[state]} {one if counts[state] == 1 else many}."
        for state, (one, many) in LEFT_OUT.items()
        if counts[state]
    )


def open_rows(**metal: Any) -> list[dict[str, Any]]:
    """Open cut tasks with what is asked of their pieces. One query, by the index of open work."""
    tasks = Task.objects.at(CUT).filter(IS_OPEN_HERE, segment__isnull=False, **metal)
    return list(tasks.order_by("pk").values(*_FIELDS))


def _is_wanted(row: Mapping[str, Any], orders: Collection[str], due_to: date | None) -> bool:
    due = row["fitting__order__due_on"]
    return (not orders or row["fitting__order__number"] in orders) and (
        due_to is None or (due is not None and due <= due_to)
    )


def _pieces(rows: Sequence[Mapping[str, Any]]) -> list[PieceToCut]:
    """The ready rows that no live plan holds, a plate a row, in the order in which they are wanted.

    A segment that was begun with the plates of one sheet goes on with those that are on none; one that was begun with
    its sheet and taken off it waits again.
    """
    if not rows:
        return []
    planned = list(_planned())
    held = {(segment, plate) for segment, plate, is_live in planned if is_live}
    begun = {segment for segment, plate, is_live in planned if plate or not is_live}
    ready = [row for row in rows if _is_ready(row, begun)]
    developments = developments_of({row["fitting__line_id"] for row in ready})
    found = []
    for row in sorted(ready, key=_when):
        segments = developments[row["fitting__line_id"]]["segments"]
        segment = segments[row["segment__position"] - 1]
        plates = segment.get("plates") or ()
        for number, flat in enumerate(plates, start=1) if plates else ((0, segment),):
            if (row["segment_id"], number) not in held:
                found.append(_piece(row, number, len(plates), flat, len(segments)))
    return found


def _is_ready(row: Mapping[str, Any], begun: Collection[int]) -> bool:
    return row["state"] == TaskState.READY or (
        row["state"] == TaskState.RUNNING and row["segment_id"] in begun
    )


def _planned() -> Iterable[tuple[int, int, bool]]:
    """Segment and plate of what is not cut yet and that a live plan holds, or that was taken off a sheet."""
    tasks = Task.objects.at(CUT).filter(
        IS_OPEN_HERE, Q(segment__cut_pieces__is_live=True) | Q(segment__cut_pieces__off_at__isnull=False)
    )
    return tasks.order_by().values_list(
        "segment_id", "segment__cut_pieces__plate", "segment__cut_pieces__is_live"
    )


def developments_of(line_ids: Collection[int]) -> dict[int, Mapping[str, Any]]:
    """The frozen development of each line."""
    return dict(OrderLine.objects.filter(pk__in=line_ids).values_list("pk", "development"))


def _when(row: Mapping[str, Any]) -> tuple:
    return (
        row["fitting__order__due_on"] or NO_DATE,
        row["fitting__order__priority"],
        row["fitting__order_id"],
        row["fitting__line__position"],
        row["fitting__number"],
        row["segment__position"],
        row["segment__generation"],
    )


def _piece(row: Mapping[str, Any], plate: int, plates: int, flat: Mapping[str, Any], of: int) -> PieceToCut:
    return PieceToCut(
        segment_id=row["segment_id"],
        code=row["segment__code"],
        plate=plate,
        plates=plates,
        pattern=row["segment__pattern"],
        outline=flat["cut_outline"],
        role=row["segment__role"],
        position=row["segment__position"],
        of=of,
        line_id=row["fitting__line_id"],
        order=row["fitting__order__number"],
        tag=row["fitting__line__tag"],
        due=row["fitting__order__due_on"],
        priority=row["fitting__order__priority"],
        fitting_code=row["fitting__code"],
        generation=row["segment__generation"],
        area_in2=flat["cut_area"],
        weight_lb=flat["weight"],
        material=row["fitting__line__material"],
        gauge=row["fitting__line__gauge"],
    )


def _work(
    metal: tuple[str, int], pieces: Sequence[PieceToCut], rows: Sequence[Mapping], today: date
) -> CutWork:
    dates = [piece.due for piece in pieces if piece.due]
    return CutWork(
        material=metal[0],
        gauge=metal[1],
        pieces=len(pieces),
        fittings=len({piece.fitting_code for piece in pieces}),
        orders=len({piece.order for piece in pieces}),
        area_in2=sum(piece.area_in2 for piece in pieces),
        weight_lb=sum(piece.weight_lb for piece in pieces),
        first_due=min(dates, default=None),
        late=sum(due < today for due in dates),
        left_out=left_out(
            row for row in rows if (row["fitting__line__material"], row["fitting__line__gauge"]) == metal
        ),
    )
