"""What a station needs to see: what is next, and the numbers of the piece at hand. Only reads."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db.models import Count, Q, QuerySet

from fittings.models import Fitting, OrderLine, PieceState, Segment
from shared.problems import NotFound
from travelers import replaced
from travelers.forms import ends_of, finishes_of, sizes_at
from travelers.kept_codes import LAST, became
from travelers.languages import in_languages
from travelers.limits import Limits
from travelers.models import OPEN_STATES, Task, Traveler
from travelers.next_piece import Waiting, next_of
from travelers.readiness import Lacking, lacking
from travelers.ready_work import work_at
from travelers.where import Found, code_read, fitting_where, piece_place, tasks_of

DIAMETERS = ("diameter", "diameter_a", "diameter_b", "branch_diameter")
"""Parameters of kinds that are diameters of their segments."""


@dataclass(frozen=True)
class QueueRow:
    """One piece that is next at a station. `position` is None where the whole fitting is worked on.

    sizes   its inside diameters [in]: one, or a cone's two, or none
    choice  what its place in the list follows from; `next_piece.reason` has the words
    """

    task: int
    code: str
    operation: str
    method: str
    state: str
    reason: str
    order: str
    tag: str
    due: date | None
    priority: int
    line: int
    line_id: int
    fitting: int
    position: int | None
    of: int
    kind: str
    material: str
    gauge: int
    sizes: tuple[float, ...]
    ready_at: datetime | None
    minutes: float
    choice: Waiting
    development: Mapping[str, Any] = field(repr=False, default_factory=dict)


def queue_at(
    operations: Sequence[str], *, limits: Limits | None = None, station: str = "", limit: int = 20
) -> list[QueueRow]:
    """What is next at a station, in the order of `travelers.next_piece`.

    What is cut with a sheet is left out: it is counted there (`travelers.sheet_work`). So is what cannot be worked on
    within the limits, and what was begun at another station than the one that is named. A constant number of queries
    where the station takes every diameter.
    """
    if not operations:
        return []
    limits = limits or Limits()
    developments: dict[int, Mapping[str, Any]] = {}

    def takes(line: int, position: int | None) -> bool:
        _developments_of([line], developments)
        return limits.take(sizes_at(developments[line], position))

    found: list[Waiting] = []
    for part in work_at(
        operations,
        most=limit,
        station=station,
        lines=_lines_within(limits),
        takes=takes if limits.has_diameters else None,
    ):
        found += next_of(part, limit - len(found))
        if len(found) >= limit:
            break
    return _queue_rows(found, developments)


def _lines_within(limits: Limits) -> QuerySet[OrderLine]:
    """Lines of which something may be within the limits."""
    lines = OrderLine.objects.filter(_may_fit(limits))
    if limits.gauge_lightest is not None:
        lines = lines.filter(gauge__lte=limits.gauge_lightest)
    if limits.gauge_heaviest is not None:
        lines = lines.filter(gauge__gte=limits.gauge_heaviest)
    return lines


def _developments_of(lines: Collection[int], known: dict[int, Mapping[str, Any]]) -> None:
    """Add the developments of lines that are not known yet."""
    lacking = [line for line in lines if line not in known]
    if lacking:
        known |= OrderLine.objects.filter(pk__in=lacking).values_list("pk", "development")


def _may_fit(limits: Limits) -> Q:
    """Lines of which something may be in the limits of diameter, by what was ordered; `Limits.take` then decides."""
    bounds = (("gte", limits.diameter_least_in), ("lte", limits.diameter_most_in))
    asked = {side: bound for side, bound in bounds if bound is not None}
    if not asked:
        return Q()
    params = "params__"
    unsaid = Q(**{f"{params}{name}__isnull": True for name in DIAMETERS})
    for name in DIAMETERS:
        unsaid |= Q(**{f"{params}{name}__{side}": bound for side, bound in asked.items()})
    return unsaid


def _queue_rows(chosen: Sequence[Waiting], developments: dict[int, Mapping[str, Any]]) -> list[QueueRow]:
    tasks = (
        Task.objects.select_related("segment", "fitting__order", "fitting__line")
        .defer("fitting__line__development")
        .in_bulk([one.task for one in chosen])
    )
    _developments_of({task.fitting.line_id for task in tasks.values()}, developments)
    return [_queue_row(tasks[one.task], one, developments) for one in chosen if one.task in tasks]


def _queue_row(task: Task, choice: Waiting, developments: Mapping[int, Mapping[str, Any]]) -> QueueRow:
    line = task.fitting.line
    development = developments[line.pk]
    position = task.segment.position if task.segment else None
    return QueueRow(
        task=task.pk,
        code=task.segment.code if task.segment else task.fitting.code,
        operation=task.operation_id,
        method=task.method,
        state=task.state,
        reason=task.reason,
        order=task.fitting.order.number,
        tag=line.tag,
        due=task.fitting.order.due_on,
        priority=task.fitting.order.priority,
        line=line.position,
        line_id=line.pk,
        fitting=task.fitting.number,
        position=position,
        of=len(development["segments"]),
        kind=line.kind,
        material=line.material,
        gauge=line.gauge,
        sizes=sizes_at(development, position),
        ready_at=task.ready_at,
        minutes=task.minutes,
        choice=choice,
        development=development,
    )


@dataclass(frozen=True)
class PieceHere:
    """A scanned or chosen piece with what a station needs to know: the frozen development and how far its kit is.

    finishes   of the free ends, by letter
    kit        (position, code, operation, state) of the pieces that the operation here is about
    lacks      what comes before the operation here, where the piece is not ready for it
    lot_left   of a lot: how many of its pieces are left here, those on hold too
    where      in English; `where_in` in each other language
    """

    code: str
    what: str
    order: str
    customer: str
    tag: str
    due: date | None
    line: int
    quantity: int
    kind: str
    material: str
    gauge: int
    finishes: Mapping[str, str]
    position: int | None
    fitting_code: str
    fitting_number: int
    state: str
    development: Mapping[str, Any]
    operation: str
    method: str
    task_state: str
    reason: str
    where: str
    kit: tuple[tuple[int, str, str, str], ...]
    where_in: Mapping[str, str] = field(default_factory=dict)
    lacks: tuple[Lacking, ...] = ()
    lot_left: int | None = None
    purchase_order: str = ""


def piece_at(code: str, operations: Sequence[str]) -> PieceHere:
    """The piece of a code as a station sees it. raises NotFound"""
    found = where_find_piece(code)
    fitting: Fitting = (
        found.fittings.select_related("order__customer", "line", "delivered__delivery")
        .order_by("number")
        .first()
    )
    tasks = tasks_of([fitting.pk])[fitting.pk]
    segments = list(
        Segment.objects.filter(fitting=fitting)
        .exclude(state__in=(PieceState.VOID, PieceState.SCRAPPED))
        .order_by("position")
    )
    segment = Segment.objects.filter(code=found.segment_code).first() if found.segment_code else None
    own = [
        task
        for task in tasks
        if task["operation"] in operations
        and task["segment_id"] in ((segment.pk, None) if segment else (None, *(one.pk for one in segments)))
    ]
    task = next((task for task in own if task["state"] in OPEN_STATES), own[-1] if own else None)
    whole = next((one for one in tasks if one["segment_id"] is None and one["state"] in OPEN_STATES), None)
    at_whole = task is None or task["segment_id"] is None
    gone = {one["segment_id"] for one in tasks} - {one.pk for one in segments} - {None}
    kit = []
    for one in segments:
        own = [task for task in tasks if task["segment_id"] == one.pk]
        place = piece_place(one.state, own, whole)
        if at_whole or task["operation"] in {step["operation"] for step in own}:
            kit.append((one.position, one.code, place["operation"] or "", place["task_state"]))
    line: OrderLine = fitting.line
    where = in_languages(lambda: {"text": fitting_where(fitting, tasks, gone)["text"]})
    return PieceHere(
        code=code_read(code),
        what=found.what,
        order=fitting.order.number,
        customer=fitting.order.customer.name,
        tag=line.tag,
        due=fitting.order.due_on,
        line=line.position,
        quantity=line.quantity,
        kind=line.kind,
        material=line.material,
        gauge=line.gauge,
        finishes=finishes_of(line, ends_of(line.development)),
        position=segment.position if segment else None,
        fitting_code=fitting.code,
        fitting_number=fitting.number,
        state=segment.state if segment else fitting.state,
        development=line.development,
        operation=task["operation"] if task else "",
        method=task["method"] if task else "",
        task_state=task["state"] if task else "",
        reason=task["reason"] if task else "",
        where=where["text"],
        kit=tuple(kit),
        lacks=lacking(task, tasks, {one.pk: one.position for one in segments}),
        lot_left=_left_of(found, operations) if found.what == "lot" else None,
        where_in={language: said.get("text", where["text"]) for language, said in where["in"].items()},
        purchase_order=fitting.order.purchase_order,
    )


def _left_of(lot: Found, operations: Sequence[str]) -> int:
    """How many pieces a scan of the lot would be about: those open at the first operation here that has any."""
    counts = (
        Task.objects.filter(fitting__in=lot.fittings, operation__in=operations, state__in=OPEN_STATES)
        .values("step")
        .annotate(n=Count("pk"))
        .order_by("step")
    )
    return next((row["n"] for row in counts), 0)


def where_find_piece(code: str) -> Found:
    """The fittings of a scanned code: a segment's, a fitting's, a traveler's. raises NotFound"""
    wanted = code_read(code)
    segment = Segment.objects.filter(code=wanted).values_list("fitting_id", "pk").first()
    if segment:
        now = became(*segment, LAST)
        if now:
            wanted = Segment.objects.values_list("code", flat=True).get(pk=now.segment)
        return Found("segment", Fitting.objects.filter(pk=now.fitting if now else segment[0]), wanted)
    void = replaced.traveler_said(wanted)
    if void:
        raise NotFound(void)
    fitting = Fitting.objects.filter(code=wanted).values_list("pk", flat=True).first()
    if fitting:
        now = became(fitting, None, LAST)
        return Found("fitting", Fitting.objects.filter(pk=now.fitting if now else fitting))
    lot = Fitting.objects.filter(traveler_code=wanted)
    if lot.exists():
        return Found("lot", lot)
    if Traveler.objects.filter(code=wanted).exists():
        raise NotFound(f"Traveler {wanted} is void.")
    raise NotFound(f"No piece has the code {code[:20]}.")
