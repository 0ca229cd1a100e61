"""Release: an order becomes fittings, segments, tasks and travelers, all or nothing, once.

The development of each line is computed once, with the shop's tables as they stand, and frozen: every number that is
printed or shown later comes from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from fittings import numbering
from fittings.developing import develop_for, development_answer
from fittings.models import Fitting, Order, OrderLine, PieceState, Segment
from fittings.orders import order_changed
from fittings.tables import all_rows, versions_in_force
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from travelers.models import IS_OPEN, Operation, Task, TaskState, Traveler
from travelers.pulse import pulse_beat
from travelers.routing import SEGMENT, OperationRow, Step, route_for, standard_minutes
from travelers.sentences import clock
from travelers.turn import write_turn

RAW = "raw"
BATCH = 2000


@dataclass(frozen=True)
class _Plan:
    """One line, ready to be written: its development, its steps with minutes, its segments."""

    line: OrderLine
    development: dict[str, Any]
    segment_steps: tuple[tuple[Step, tuple[float, ...]], ...]
    fitting_steps: tuple[tuple[Step, float], ...]

    @property
    def segments(self) -> list[dict[str, Any]]:
        return self.development["segments"]


def order_release(*, number: str, actor: Actor, now: datetime) -> Order:
    """Break an order down into fittings, segments and tasks, and give out its travelers.

    raises  NotFound; Conflict where it is not a draft; WrongInput where it has no lines or a line cannot be made
    """
    with write_turn(), transaction.atomic():
        order = _locked(number)
        if order.state != Order.State.DRAFT:
            when = f" since {clock(timezone.localtime(order.released_at))}" if order.released_at else ""
            raise Conflict(f"Order {order.number} is {order.state}{when}. Only a draft can be released.")
        lines = list(order.lines.order_by("position"))
        if not lines:
            raise WrongInput(
                [
                    FieldError(
                        "lines", 0, "1 or more", f"Order {order.number} has no lines. Add one before release."
                    )
                ]
            )
        numbers = versions_in_force()
        plans = _plan(lines, all_rows(numbers))
        _write(order, plans, now)
        order.state, order.tables = Order.State.RELEASED, numbers
        order.released_at, order.released_by = now, actor.name
        order.fittings_total = sum(plan.line.quantity for plan in plans)
        order.save(update_fields=["state", "tables", "released_at", "released_by", "fittings_total"])
        order_changed(order=order, changes={"state": ["draft", "released"]}, actor=actor, now=now)
        pulse_beat()
    return order


def order_cancel(*, number: str, actor: Actor, now: datetime) -> Order:
    """Cancel a draft or a released order: what is not finished becomes void; what was scanned stays in the record.

    raises  NotFound; Conflict where it is done or cancelled already
    """
    with write_turn(), transaction.atomic():
        # fittings before their order, as a scan locks them: the other way round the two wait for each other
        list(_locking(Fitting.objects.filter(order__number=number)))
        order = _locked(number)
        if order.state not in (Order.State.DRAFT, Order.State.RELEASED):
            raise Conflict(
                f"Order {order.number} is {order.state}. Only a draft or released order can be cancelled."
            )
        open_fittings = Fitting.objects.filter(order=order, state=PieceState.OPEN)
        ids = list(_locking(open_fittings))
        before, order.state, order.ended_at = order.state, Order.State.CANCELLED, now
        order.save(update_fields=["state", "ended_at"])
        order_changed(order=order, changes={"state": [str(before), "cancelled"]}, actor=actor, now=now)
        Task.objects.filter(IS_OPEN, fitting__in=open_fittings).update(
            state=TaskState.VOID,
            ready_at=None,
            started_at=None,
            station="",
            badge="",
            reason="",
        )
        pieces = Segment.objects.filter(fitting__in=open_fittings).exclude(state=PieceState.SCRAPPED)
        pieces.update(state=PieceState.VOID)
        Fitting.objects.filter(pk__in=ids).update(state=PieceState.VOID)
        pulse_beat()
    return order


def _locking(fittings):
    """The ids of fittings, which are locked in primary-key order to the end of the transaction."""
    return fittings.select_for_update(no_key=True, of=("self",)).order_by("pk").values_list("pk", flat=True)


def _locked(number: str) -> Order:
    order = Order.objects.select_for_update().filter(number=number).first()
    if order is None:
        raise NotFound(f"There is no order {number[:30]}.")
    return order


# -- planning ---------------------------------------------------------------


def _plan(lines: list[OrderLine], tables: Mapping[str, Any]) -> list[_Plan]:
    """Develop and route every line. Nothing is written; all wrong lines are named at once."""
    operations = [
        OperationRow(*row)
        for row in Operation.objects.values_list("code", "level", "position", "needs_own_scan")
    ]
    plans, errors = [], []
    for at, line in enumerate(lines):
        try:
            development = development_answer(
                develop_for(
                    kind=line.kind,
                    material=line.material,
                    gauge=line.gauge,
                    params=line.params,
                    end_a=line.end_a,
                    end_b=line.end_b,
                    allowances=line.allowances,
                    tables=tables,
                ),
                "in",
            )
        except WrongInput as wrong:
            errors += [
                FieldError(f"lines[{at}].{error.field}", error.value, error.limit, error.message)
                for error in wrong.errors
            ]
            continue
        steps = route_for(
            operations,
            tables["routes"],
            kind=line.kind,
            material=line.material,
            gauge=line.gauge,
            ends_worked=line.end_a != RAW or line.end_b != RAW,
            ends=(line.end_a, line.end_b),
        )
        if not steps:
            message = f"Line {line.position} has no route: no row of the route table fits it."
            errors.append(FieldError(f"lines[{at}]", line.kind, "a row of the route table", message))
            continue
        plans.append(_timed(line, development, steps, tables["times"]))
    if errors:
        raise WrongInput(errors)
    return plans


def _timed(line: OrderLine, development: dict[str, Any], steps: tuple[Step, ...], times) -> _Plan:
    segment_steps, fitting_steps = [], []
    segments = development["segments"]
    whole = fitting_measures(development, line.end_a, line.end_b)
    for step in steps:
        if step.level == SEGMENT:
            minutes = tuple(
                standard_minutes(
                    times, operation=step.operation, method=step.method, measures=segment_measures(segment)
                )
                for segment in segments
            )
            segment_steps.append((step, minutes))
        else:
            minutes = standard_minutes(times, operation=step.operation, method=step.method, measures=whole)
            fitting_steps.append((step, minutes))
    return _Plan(line, development, tuple(segment_steps), tuple(fitting_steps))


def segment_measures(segment: Mapping[str, Any]) -> dict[str, float]:
    """What a segment's standard times go by [in]: the length cut, the stretch-out, the seam."""
    outlines = [plate["cut_outline"] for plate in segment.get("plates") or ()] or [segment["cut_outline"]]
    return {
        "cut_length": sum(_perimeter(outline) for outline in outlines),
        "stretch_out": segment["stretch_out"],
        "seam_length": (segment["throat"] + segment["heel"]) / 2 * len(outlines),
    }


def fitting_measures(development: Mapping[str, Any], end_a: str, end_b: str) -> dict[str, float]:
    """What a fitting's standard times go by [in]: the length of all joints, and of the ends that are worked."""
    segments = development["segments"]
    joints = sum(_length(segment["edge_b"]) for segment in segments[:-1])
    worked = [
        edge
        for edge, finish in ((segments[0]["edge_a"], end_a), (segments[-1]["edge_b"], end_b))
        if finish != RAW
    ]
    return {"joint_length": joints, "end_length": sum(_length(edge) for edge in worked)}


def _perimeter(outline) -> float:
    return _length([*outline, outline[0]])


def _length(points) -> float:
    return sum(
        ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
        for (x1, y1), (x2, y2) in zip(points, points[1:], strict=False)
    )


# -- writing ----------------------------------------------------------------


def _write(order: Order, plans: list[_Plan], now: datetime) -> None:
    """Lines' developments, travelers, fittings, segments and tasks, each kind in one go."""
    lots = sum(
        1 if plan.line.traveler_per == OrderLine.TravelerPer.LOT else plan.line.quantity for plan in plans
    )
    pieces = sum(plan.line.quantity * (1 + len(plan.segments)) for plan in plans)
    codes = iter(numbering.take(lots + pieces))
    travelers, fittings = [], []
    for plan in plans:
        plan.line.development = plan.development
        of_fitting = _travelers(plan.line, codes, travelers)
        fittings += [
            Fitting(
                order=order, line=plan.line, number=at + 1, code=next(codes), traveler_code=of_fitting[at]
            )
            for at in range(plan.line.quantity)
        ]
    OrderLine.objects.bulk_update([plan.line for plan in plans], ["development"], batch_size=200)
    Traveler.objects.bulk_create(travelers, batch_size=BATCH)
    fittings = Fitting.objects.bulk_create(fittings, batch_size=BATCH)
    segments = []
    at = 0
    for plan in plans:
        shapes = [(one["position"], one["role"], one["pattern"]) for one in plan.segments]
        for fitting in fittings[at : at + plan.line.quantity]:
            segments += [
                Segment(fitting=fitting, position=position, role=role, pattern=pattern, code=next(codes))
                for position, role, pattern in shapes
            ]
        at += plan.line.quantity
    segments = Segment.objects.bulk_create(segments, batch_size=BATCH)
    _write_tasks(plans, fittings, segments, now)


def _travelers(line: OrderLine, codes, travelers: list[Traveler]) -> list[str]:
    """The traveler's code of each fitting of a line; the travelers are added to the list."""
    if line.traveler_per == OrderLine.TravelerPer.LOT:
        traveler = Traveler(code=next(codes), line=line, first_number=1, last_number=line.quantity)
        travelers.append(traveler)
        return [traveler.code] * line.quantity
    made = [
        Traveler(code=next(codes), line=line, first_number=number, last_number=number)
        for number in range(1, line.quantity + 1)
    ]
    travelers += made
    return [traveler.code for traveler in made]


def _write_tasks(plans: list[_Plan], fittings: list[Fitting], segments: list[Segment], now: datetime) -> None:
    tasks = []
    next_fitting, next_segment = iter(fittings), iter(segments)
    for plan in plans:
        first = [True] + [False] * (len(plan.segment_steps) - 1)
        has_segment_steps = bool(plan.segment_steps)
        for _ in range(plan.line.quantity):
            fitting = next(next_fitting)
            for position in range(len(plan.segments)):
                segment = next(next_segment)
                for is_first, (step, minutes) in zip(first, plan.segment_steps, strict=False):
                    tasks.append(_task(fitting, segment, step, minutes[position], is_first, now))
            for at, (step, minutes) in enumerate(plan.fitting_steps):
                tasks.append(_task(fitting, None, step, minutes, at == 0 and not has_segment_steps, now))
    Task.objects.bulk_create(tasks, batch_size=BATCH)


def _task(fitting, segment, step: Step, minutes: float, is_first: bool, now: datetime) -> Task:
    return Task(
        fitting=fitting,
        segment=segment,
        operation_id=step.operation,
        step=step.position,
        method=step.method,
        minutes=minutes,
        needs_own_scan=step.needs_own_scan,
        state=TaskState.READY if is_first else TaskState.WAITING,
        ready_at=now if is_first else None,
    )
