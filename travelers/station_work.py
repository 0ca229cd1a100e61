"""What a station needs to see: what is next, and the numbers of the piece at hand. Only reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import F, Q

from fittings.models import Fitting, OrderLine, PieceState, Segment
from shared.problems import NotFound
from travelers.models import OPEN_STATES, Task, TaskState, Traveler
from travelers.where import Found, code_read, fitting_where, piece_place, tasks_of


@dataclass(frozen=True)
class QueueRow:
    """One piece that is next at a station. `segment` is None where the whole fitting is worked on."""

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
    size_in: float | None
    ready_at: datetime | None
    minutes: float


@dataclass(frozen=True)
class Limits:
    """What a station can take; None is no limit. A heavier gauge has a smaller number."""

    gauge_lightest: int | None = None
    gauge_heaviest: int | None = None
    diameter_least_in: float | None = None
    diameter_most_in: float | None = None


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
    for side, bound in (("gte", limits.diameter_least_in), ("lte", limits.diameter_most_in)):
        if bound is not None:
            query = query.filter(**{f"fitting__line__params__diameter__{side}": bound})
    rows = query.order_by(
        F("fitting__order__due_on").asc(nulls_last=True), "fitting__order__priority", "ready_at", "id"
    )[:limit]
    return [
        QueueRow(
            task=task.pk,
            code=task.segment.code if task.segment else task.fitting.code,
            operation=task.operation_id,
            method=task.method,
            state=task.state,
            reason=task.reason,
            order=task.fitting.order.number,
            tag=task.fitting.line.tag,
            due=task.fitting.order.due_on,
            priority=task.fitting.order.priority,
            line=task.fitting.line.position,
            line_id=task.fitting.line_id,
            fitting=task.fitting.number,
            position=task.segment.position if task.segment else None,
            of=len(task.fitting.line.development["segments"]),
            kind=task.fitting.line.kind,
            material=task.fitting.line.material,
            gauge=task.fitting.line.gauge,
            size_in=task.fitting.line.development["dimensions"].get("diameter"),
            ready_at=task.ready_at,
            minutes=task.minutes,
        )
        for task in rows.select_related("segment", "fitting__order", "fitting__line")
    ]


@dataclass(frozen=True)
class PieceHere:
    """A scanned or chosen piece with what a station needs to know: the frozen development and how far its kit is."""

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
    end_a: str
    end_b: str
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
    """The piece of a code as a station sees it; `kit` has (position, code, operation, state). raises NotFound"""
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
    kit = []
    for one in segments:
        place = piece_place(one.state, [task for task in tasks if task["segment_id"] == one.pk], whole)
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
        end_a=line.end_a,
        end_b=line.end_b,
        position=segment.position if segment else None,
        fitting_code=fitting.code,
        fitting_number=fitting.number,
        state=segment.state if segment else fitting.state,
        development=line.development,
        operation=task["operation"] if task else "",
        method=task["method"] if task else "",
        task_state=task["state"] if task else "",
        reason=task["reason"] if task else "",
        where=fitting_where(fitting.state, tasks)["text"],
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
