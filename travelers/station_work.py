"""What a station needs to see: what is next, and the numbers of the piece at hand. Only reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import F, Q

from fittings.models import Fitting, OrderLine, PieceState, Segment
from shared.problems import NotFound
from travelers.forms import ends_of, finishes_of, sizes_at
from travelers.models import OPEN_STATES, Task, TaskState, Traveler
from travelers.where import Found, code_read, fitting_where, piece_place, tasks_of

DIAMETERS = ("diameter", "diameter_a", "diameter_b", "branch_diameter")
"""Parameters of kinds that are diameters of their segments."""
MOST_LOOKS = 10


@dataclass(frozen=True)
class QueueRow:
    """One piece that is next at a station. `position` is None where the whole fitting is worked on.

    sizes   its inside diameters [in]: one, or a cone's two, or none
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


@dataclass(frozen=True)
class Limits:
    """What a station can take; None is no limit. A heavier gauge has a smaller number."""

    gauge_lightest: int | None = None
    gauge_heaviest: int | None = None
    diameter_least_in: float | None = None
    diameter_most_in: float | None = None

    def take(self, sizes: Sequence[float]) -> bool:
        """Whether a piece of these diameters [in] can be worked on here; one without is taken."""
        least, most = self.diameter_least_in, self.diameter_most_in
        return all((least is None or size >= least) and (most is None or size <= most) for size in sizes)


def queue_at(operations: Sequence[str], *, limits: Limits | None = None, limit: int = 20) -> list[QueueRow]:
    """What is next at a station: running and held first shown with ready, by due date, priority, then the oldest."""
    limits = limits or Limits()
    query = Task.objects.filter(
        operation_id__in=operations, state__in=(TaskState.READY, TaskState.RUNNING, TaskState.HELD)
    )
    if limits.gauge_lightest is not None:
        query = query.filter(fitting__line__gauge__lte=limits.gauge_lightest)
    if limits.gauge_heaviest is not None:
        query = query.filter(fitting__line__gauge__gte=limits.gauge_heaviest)
    rows = (
        query.filter(_may_fit(limits))
        .order_by(
            F("fitting__order__due_on").asc(nulls_last=True), "fitting__order__priority", "ready_at", "id"
        )
        .select_related("segment", "fitting__order", "fitting__line")
    )
    found: list[QueueRow] = []
    for start in range(0, limit * MOST_LOOKS, limit):
        tasks = rows[start : start + limit]
        found += [row for row in map(_queue_row, tasks) if limits.take(row.sizes)]
        if len(tasks) < limit or len(found) >= limit:
            break
    return found[:limit]


def _may_fit(limits: Limits) -> Q:
    """Lines of which something may be in the limits of diameter, by what was ordered; `Limits.take` then decides."""
    bounds = (("gte", limits.diameter_least_in), ("lte", limits.diameter_most_in))
    asked = {side: bound for side, bound in bounds if bound is not None}
    if not asked:
        return Q()
    params = "fitting__line__params__"
    unsaid = Q(**{f"{params}{name}__isnull": True for name in DIAMETERS})
    for name in DIAMETERS:
        unsaid |= Q(**{f"{params}{name}__{side}": bound for side, bound in asked.items()})
    return unsaid


def _queue_row(task: Task) -> QueueRow:
    line = task.fitting.line
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
        line_id=task.fitting.line_id,
        fitting=task.fitting.number,
        position=position,
        of=len(line.development["segments"]),
        kind=line.kind,
        material=line.material,
        gauge=line.gauge,
        sizes=sizes_at(line.development, position),
        ready_at=task.ready_at,
        minutes=task.minutes,
    )


@dataclass(frozen=True)
class PieceHere:
    """A scanned or chosen piece with what a station needs to know: the frozen development and how far its kit is.

    finishes   of the free ends, by letter
    kit        (position, code, operation, state) of the pieces that the operation here is about
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


def piece_at(code: str, operations: Sequence[str]) -> PieceHere:
    """The piece of a code as a station sees it. raises NotFound"""
    found = where_find_piece(code)
    fitting: Fitting = found.fittings.select_related("order__customer", "line").order_by("number").first()
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
        where=fitting_where(fitting, tasks, gone)["text"],
        kit=tuple(kit),
    )


def where_find_piece(code: str) -> Found:
    """The fittings of a scanned code: a segment's, a fitting's, a traveler's. raises NotFound"""
    wanted = code_read(code)
    segment = Segment.objects.filter(code=wanted).values_list("fitting_id", flat=True).first()
    if segment:
        return Found("segment", Fitting.objects.filter(pk=segment), wanted)
    for what, match in (("fitting", Q(code=wanted)), ("lot", Q(traveler_code=wanted))):
        found = Fitting.objects.filter(match)
        if found.exists():
            return Found(what, found)
    if Traveler.objects.filter(code=wanted).exists():
        raise NotFound(f"Traveler {wanted} is void.")
    raise NotFound(f"No piece has the code {code[:20]}.")
