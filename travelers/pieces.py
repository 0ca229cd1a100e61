"""Fittings from the database as the plain data that `travelers.state` folds over, and the state written back.

The scan record, the replay and the remaking of a scrapped segment all read and write through here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db.models import F

from fittings.models import Fitting, Order, Segment
from travelers.models import ScanTarget, Task
from travelers.state import DONE, Event, FittingSpec, FittingState, SegmentSpec, TaskSpec

TASK_FIELDS = (
    "state",
    "is_implied",
    "station",
    "badge",
    "reason",
    "ready_at",
    "started_at",
    "finished_at",
)


@dataclass(slots=True)
class Loaded:
    """One fitting with everything that its state follows from, and what is stored of that state."""

    id: int
    code: str
    number: int
    line_id: int
    order_id: int
    state: str
    done_at: object
    spec: FittingSpec
    events: list[Event]
    stored_tasks: dict[int, tuple]
    stored_segments: dict[int, str]
    roles: dict[int, str] = field(default_factory=dict)
    segment_count: int = 0


def load(fitting_ids: Sequence[int], *, lock: bool) -> list[Loaded]:
    """The fittings with tasks, segments and recorded scans, locked in primary-key order if asked. Four queries."""
    query = Fitting.objects.filter(pk__in=fitting_ids).order_by("pk")
    if lock:
        query = query.select_for_update(no_key=True, of=("self",))
    heads = list(
        query.values_list(
            "id",
            "code",
            "number",
            "line_id",
            "order_id",
            "state",
            "done_at",
            "order__state",
            "order__released_at",
            "order__ended_at",
        )
    )
    segments: dict[int, list] = defaultdict(list)
    for row in (
        Segment.objects.filter(fitting_id__in=fitting_ids)
        .order_by("position", "generation")
        .values_list("fitting_id", "id", "position", "generation", "state", "role")
    ):
        segments[row[0]].append(row[1:])
    tasks: dict[int, list] = defaultdict(list)
    for row in Task.objects.filter(fitting_id__in=fitting_ids).values_list(
        "fitting_id", "id", "operation_id", "step", "segment_id", "needs_own_scan", *TASK_FIELDS
    ):
        tasks[row[0]].append(row[1:])
    events = _events(fitting_ids)
    loaded = []
    for id_, code, number, line_id, order_id, state, done_at, order_state, released_at, ended_at in heads:
        mine = segments[id_]
        spec = FittingSpec(
            id_,
            released_at,
            tuple(SegmentSpec(row[0], row[1], row[2]) for row in mine),
            tuple(TaskSpec(*row[:5]) for row in tasks[id_]),
            voided_at=ended_at if order_state == Order.State.CANCELLED else None,
        )
        loaded.append(
            Loaded(
                id_,
                code,
                number,
                line_id,
                order_id,
                state,
                done_at,
                spec,
                events[id_],
                {row[0]: row[5:] for row in tasks[id_]},
                {row[0]: row[3] for row in mine},
                {row[0]: row[4] for row in mine},
                len({row[1] for row in mine}),
            )
        )
    return loaded


def _events(fitting_ids: Sequence[int]) -> dict[int, list[Event]]:
    """The recorded scans of fittings. A scan's targets within one fitting become one event."""
    rows: dict[tuple[int, int], list] = {}
    for row in ScanTarget.objects.filter(fitting_id__in=fitting_ids).values_list(
        "fitting_id",
        "scan_id",
        "segment_id",
        "scan__scan_id",
        "scan__effective_at",
        "scan__action",
        "scan__station",
        "scan__operations",
        "scan__badge",
        "scan__reason",
        "scan__undoes",
    ):
        rows.setdefault(row[:2], []).append(row)
    events: dict[int, list[Event]] = defaultdict(list)
    for (fitting_id, sequence), group in rows.items():
        _, _, _, scan_id, at, action, station, operations, badge, reason, undoes = group[0]
        events[fitting_id].append(
            Event(
                scan_id,
                sequence,
                at,
                action,
                station,
                tuple(operations.split()),
                badge,
                reason,
                undoes,
                tuple(sorted(row[2] for row in group if row[2] is not None)),
            )
        )
    return events


def differences(
    one: Loaded, state: FittingState
) -> tuple[list[tuple[int, tuple]], list[tuple[int, str]], bool]:
    """What is stored otherwise than derived: tasks (id, facts), segments (id, state), whether the fitting is."""
    tasks = [(id_, new.facts()) for id_, new in state.tasks.items() if one.stored_tasks[id_] != new.facts()]
    segments = [(id_, new) for id_, new in state.segments.items() if one.stored_segments[id_] != new]
    return tasks, segments, (one.state, one.done_at) != (state.fitting, state.done_at)


def store(one: Loaded, state: FittingState) -> int:
    """Write what differs, in the caller's transaction. Returns the number of tasks changed."""
    tasks, segments, fitting = differences(one, state)
    for id_, facts in tasks:
        Task.objects.filter(pk=id_).update(**dict(zip(TASK_FIELDS, facts, strict=True)))
    for id_, new in segments:
        Segment.objects.filter(pk=id_).update(state=new)
    if fitting:
        Fitting.objects.filter(pk=one.id).update(state=state.fitting, done_at=state.done_at)
        _count(one, state)
    return len(tasks)


def _count(one: Loaded, state: FittingState) -> None:
    """Keep the order's count of finished fittings, and end or reopen the order with it."""
    change = (state.fitting == DONE) - (one.state == DONE)
    if not change:
        return
    orders = Order.objects.filter(pk=one.order_id)
    orders.update(fittings_done=F("fittings_done") + change)
    if change > 0:
        orders.filter(state=Order.State.RELEASED, fittings_done=F("fittings_total")).update(
            state=Order.State.DONE, ended_at=state.done_at
        )
    else:
        orders.filter(state=Order.State.DONE).update(state=Order.State.RELEASED, ended_at=None)


def remake(one: Loaded, segments: Iterable[int], codes: Sequence[str]) -> None:
    """The next generation of scrapped segments, with its tasks, in the caller's transaction."""
    old = list(Segment.objects.filter(pk__in=list(segments)).order_by("pk"))
    new = Segment.objects.bulk_create(
        Segment(
            fitting_id=one.id,
            position=segment.position,
            generation=segment.generation + 1,
            role=segment.role,
            pattern=segment.pattern,
            code=code,
        )
        for segment, code in zip(old, codes, strict=True)
    )
    successor = {segment.pk: made for segment, made in zip(old, new, strict=True)}
    Task.objects.bulk_create(
        Task(
            fitting_id=one.id,
            segment=successor[task.segment_id],
            operation_id=task.operation_id,
            step=task.step,
            method=task.method,
            minutes=task.minutes,
            needs_own_scan=task.needs_own_scan,
        )
        for task in Task.objects.filter(segment_id__in=successor).order_by("segment_id", "step")
    )
