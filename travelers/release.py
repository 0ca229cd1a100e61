"""Release: an order becomes fittings, segments, tasks and travelers, all or nothing, once.

The development of each line is computed once, with the shop's tables as they stand, and frozen: every number that is
printed or shown later comes from it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from fittings import numbering
from fittings.developing import develop_for, development_answer, words_of
from fittings.drawing import role_title
from fittings.models import Fitting, Order, OrderLine, PieceState, Segment
from fittings.numbering import CodesAhead
from fittings.orders import order_changed
from fittings.tables import all_rows, versions_in_force
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.turn import write_turn
from travelers.forms import ends_of, finishes_of, form_of, forms_of
from travelers.measures import RAW, fitting_measures, segment_measures
from travelers.models import IS_OPEN, Operation, Task, TaskState
from travelers.price_freeze import prices_freeze
from travelers.pulse import pulse_beat
from travelers.release_kept import kept_lock, kept_put_in
from travelers.release_rows import LineWork, Timed, Work, pieces_write
from travelers.routing import FITTING, SEGMENT, OperationRow, Step, route_for, standard_minutes
from travelers.sentences import clock

MOST_TRIES = 3
_OF_DEVELOPING, _OF_CODES = 0.85, 0.95
"""How far a release is, of 1, when its lines are developed, and when it has its codes."""
Tell = Callable[[float, str], Any]


@dataclass(frozen=True)
class Release:
    """All that a release will write, worked out before anything is locked, and what it was worked out from."""

    order: Order
    tables: Mapping[str, int]
    plans: Sequence[LineWork]
    codes: CodesAhead

    @property
    def fittings(self) -> int:
        return sum(len(plan.numbers) for plan in self.plans)


def order_release(
    *,
    number: str,
    actor: Actor,
    now: datetime,
    ready: Release | None = None,
    use_kept: Sequence[int] = (),
) -> Order:
    """Break an order down into fittings, segments and tasks, and give out its travelers.

    ready     what `release_ready` worked out, where the caller asked it outside his own transaction
    use_kept  ids of kept pieces that become fittings or segments of the order (`travelers.release_kept`)
    raises    NotFound; Conflict where it is not a draft; WrongInput where it has no lines, a line cannot be made, or a
              kept piece fits nowhere
    """
    for is_last in [False] * (MOST_TRIES - 1) + [True]:
        ready = ready or release_ready(number)
        with write_turn(), transaction.atomic():
            order = release_write(ready, actor=actor, now=now, is_last=is_last, use_kept=use_kept)
        if order is not None:
            return order
        ready = None
    raise Conflict(f"Order {number[:30]} was being changed. Nothing was released; try again.", retry_after=1)


def release_ready(number: str, tell: Tell = lambda share, words: None) -> Release:
    """What a release of the order would write. Reads only, and takes a while for thousands of fittings.

    tell    told how far it is, 0 to 1, and what is being done
    raises  as `order_release`
    """
    order = release_check(number)
    numbers = versions_in_force()
    lines = list(order.lines.order_by("position"))
    plans = _plan(lines, all_rows(numbers), tell)
    tell(_OF_DEVELOPING, "The codes are made.")
    codes = numbering.ahead(sum(plan.codes for plan in plans))
    tell(_OF_CODES, "It is being written.")
    return Release(order, numbers, plans, codes)


def release_check(number: str) -> Order:
    """The order, if it is one that could be released. raises as `order_release`"""
    order = Order.objects.filter(number=number).first()
    if order is None:
        raise NotFound(f"There is no order {number[:30]}.")
    _check_draft(order)
    if not order.lines.exists():
        message = f"Order {order.number} has no lines. Add one before release."
        raise WrongInput([FieldError("lines", 0, "1 or more", message)])
    return order


def release_write(
    ready: Release, *, actor: Actor, now: datetime, is_last: bool = True, use_kept: Sequence[int] = ()
) -> Order | None:
    """Write a release in the caller's transaction. None, and nothing written, where it must be worked out again:
    the order, the shop's tables or the codes were changed since.

    is_last  other codes taken meanwhile are no reason to begin again: fresh ones are made while all wait
    raises   NotFound; Conflict where it is not a draft any more
    """
    kept_lock(use_kept)
    order = _locked(ready.order.number)
    _check_draft(order)
    if order.version != ready.order.version or versions_in_force() != ready.tables:
        return None
    codes = numbering.claimed(ready.codes)
    if codes is None and not is_last:
        return None
    pieces_write(ready.plans, codes or numbering.take(len(ready.codes.codes)), now)
    works = [(plan.line, plan.work) for plan in ready.plans]
    prices_freeze(order=order, works=works, numbers=ready.tables, actor=actor, now=now)
    order.state, order.tables = Order.State.RELEASED, ready.tables
    order.released_at, order.released_by = now, actor.name
    order.fittings_total = ready.fittings
    order.save(update_fields=["state", "tables", "released_at", "released_by", "fittings_total"])
    order_changed(order=order, changes={"state": ["draft", "released"]}, actor=actor, now=now)
    if kept_put_in(order=order, plans=ready.plans, ids=use_kept, actor=actor, now=now):
        order.refresh_from_db()
    pulse_beat()
    return order


def _check_draft(order: Order) -> None:
    if order.state != Order.State.DRAFT:
        when = f" since {clock(timezone.localtime(order.released_at))}" if order.released_at else ""
        raise Conflict(f"Order {order.number} is {order.state}{when}. Only a draft can be released.")


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


def _plan(lines: list[OrderLine], tables: Mapping[str, Any], tell: Tell) -> list[LineWork]:
    """Develop and route every line, equal ones once. Nothing is written; all wrong lines are named at once."""
    operations = operation_rows()
    plans, errors = [], []
    known: dict[str, Work | list[FieldError]] = {}
    for at, line in enumerate(lines):
        tell(_OF_DEVELOPING * at / len(lines), f"{at} of {len(lines)} lines are developed.")
        key = _key(line)
        if key not in known:
            known[key] = work_of(line, operations, tables)
        work = known[key]
        if isinstance(work, Work):
            plans.append(LineWork(line, work, range(1, line.quantity + 1)))
        else:
            errors += [_of_line(error, at, line) for error in work]
    if errors:
        raise WrongInput(errors)
    return plans


def operation_rows() -> list[OperationRow]:
    """The shop's operations as routes are made of them."""
    rows = Operation.objects.values_list("code", "level", "position", "needs_own_scan")
    return [OperationRow(*row) for row in rows]


def _key(line: OrderLine) -> str:
    """All of a line that its development, steps and minutes depend on, the shop's tables apart."""
    return json.dumps(words_of(line), sort_keys=True)


def _of_line(error: FieldError, at: int, line: OrderLine) -> FieldError:
    """What is wrong with a fitting, as what is wrong with a line of the order."""
    field = f"lines[{at}]" + (f".{error.field}" if error.field else "")
    message = error.message if error.field else f"Line {line.position} {error.message}"
    return FieldError(field, error.value, error.limit, message)


def work_of(
    line: OrderLine, operations: list[OperationRow], tables: Mapping[str, Any]
) -> Work | list[FieldError]:
    """How the fitting of a line is made, or what is wrong with it. A development that is frozen stays as it is."""
    try:
        development = line.development or development_answer(
            develop_for(**words_of(line), tables=tables), "in"
        )
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
    return Work(
        development,
        json.dumps(development),
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


def line_work(line: OrderLine, tables: Mapping[str, Any]) -> Work:
    """How the fitting of a line is made by these tables, released or not. One query.

    raises  WrongInput where it cannot be made
    """
    operations = [
        OperationRow(*row)
        for row in Operation.objects.values_list("code", "level", "position", "needs_own_scan")
    ]
    work = work_of(line, operations, tables)
    if isinstance(work, Work):
        return work
    raise WrongInput(work)
