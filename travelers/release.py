"""Release: an order becomes fittings, segments, tasks and travelers, all or nothing, once.

The development of each line is computed once, with the shop's tables as they stand, and frozen: every number that is
printed or shown later comes from it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from fittings import numbering
from fittings.developing import develop_for, development_answer, words_of
from fittings.drawing import role_title
from fittings.models import Fitting, Order, OrderLine, PieceState, Segment
from fittings.orders import order_changed
from fittings.tables import all_rows, versions_in_force
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from travelers.forms import ends_of, finishes_of, form_of, forms_of
from travelers.measures import RAW, fitting_measures, segment_measures
from travelers.models import IS_OPEN, Operation, Task, TaskState, Traveler
from travelers.pulse import pulse_beat
from travelers.routing import FITTING, SEGMENT, OperationRow, Step, route_for, standard_minutes
from travelers.sentences import clock
from travelers.turn import write_turn

BATCH = 2000


Timed = tuple[tuple[Step, float], ...]


@dataclass(frozen=True)
class _Work:
    """How a fitting is made: its development, the steps with minutes of each of its segments, and of itself."""

    development: dict[str, Any]
    segment_steps: tuple[Timed, ...]
    fitting_steps: Timed


@dataclass(frozen=True)
class _Plan:
    """One line, ready to be written. Lines of equal fittings share one work."""

    line: OrderLine
    work: _Work

    @property
    def segments(self) -> list[dict[str, Any]]:
        return self.work.development["segments"]


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
    """Develop and route every line, equal ones once. Nothing is written; all wrong lines are named at once."""
    operations = [
        OperationRow(*row)
        for row in Operation.objects.values_list("code", "level", "position", "needs_own_scan")
    ]
    plans, errors = [], []
    known: dict[str, _Work | list[FieldError]] = {}
    for at, line in enumerate(lines):
        key = _key(line)
        if key not in known:
            known[key] = _work(line, operations, tables)
        work = known[key]
        if isinstance(work, _Work):
            plans.append(_Plan(line, work))
        else:
            errors += [_of_line(error, at, line) for error in work]
    if errors:
        raise WrongInput(errors)
    return plans


def _key(line: OrderLine) -> str:
    """All of a line that its development, steps and minutes depend on, the shop's tables apart."""
    return json.dumps(words_of(line), sort_keys=True)


def _of_line(error: FieldError, at: int, line: OrderLine) -> FieldError:
    """What is wrong with a fitting, as what is wrong with a line of the order."""
    field = f"lines[{at}]" + (f".{error.field}" if error.field else "")
    message = error.message if error.field else f"Line {line.position} {error.message}"
    return FieldError(field, error.value, error.limit, message)


def _work(
    line: OrderLine, operations: list[OperationRow], tables: Mapping[str, Any]
) -> _Work | list[FieldError]:
    """How the fitting of a line is made, or what is wrong with it."""
    try:
        development = development_answer(develop_for(**words_of(line), tables=tables), "in")
    except WrongInput as wrong:
        return wrong.errors
    segments = development["segments"]
    finishes = finishes_of(line, ends_of(development))

    def route(level: str, forms: tuple[str, ...]) -> tuple[Step, ...]:
        return route_for(
            [row for row in operations if row.level == level],
            tables["routes"],
            kind=line.kind,
            material=line.material,
            gauge=line.gauge,
            ends_worked=any(finish != RAW for finish in finishes.values()),
            ends=tuple(finishes.values()),
            forms=forms,
            pieces=len(segments),
        )

    of_form = {form: route(SEGMENT, (form,)) for form in forms_of(development)}
    of_segment = [of_form[form_of(segment)] for segment in segments]
    of_fitting = route(FITTING, forms_of(development))
    if not of_fitting and not any(of_segment):
        message = "has no route: no row of the route table fits it."
        return [FieldError("", line.kind, "a row of the route table", message)]
    idle = [segment for segment, steps in zip(segments, of_segment, strict=True) if not steps]
    if idle and any(of_segment):
        words = ", ".join(
            f"{segment['position']} ({role_title(segment['role']).lower()})" for segment in idle
        )
        message = f"has no step for piece {words}: no row of the route table fits it."
        return [FieldError("", line.kind, "a row of the route table for every piece", message)]
    return _Work(
        development,
        tuple(
            _timed(steps, tables["times"], segment_measures(segment))
            for segment, steps in zip(segments, of_segment, strict=True)
        ),
        _timed(of_fitting, tables["times"], fitting_measures(development, finishes)),
    )


def _timed(steps: Iterable[Step], times: Sequence[Mapping[str, Any]], measures: Mapping[str, float]) -> Timed:
    return tuple(
        (step, standard_minutes(times, operation=step.operation, method=step.method, measures=measures))
        for step in steps
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
        plan.line.development = plan.work.development
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
        shapes = [
            (one["position"], one["role"], one["pattern"], PieceState.OPEN if steps else PieceState.DONE)
            for one, steps in zip(plan.segments, plan.work.segment_steps, strict=True)
        ]
        for fitting in fittings[at : at + plan.line.quantity]:
            segments += [
                Segment(
                    fitting=fitting,
                    position=position,
                    role=role,
                    pattern=pattern,
                    state=state,
                    code=next(codes),
                )
                for position, role, pattern, state in shapes
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
        work = plan.work
        has_segment_steps = any(work.segment_steps)
        for _ in range(plan.line.quantity):
            fitting = next(next_fitting)
            for steps in work.segment_steps:
                segment = next(next_segment)
                for at, (step, minutes) in enumerate(steps):
                    tasks.append(_task(fitting, segment, step, minutes, at == 0, now))
            for at, (step, minutes) in enumerate(work.fitting_steps):
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
