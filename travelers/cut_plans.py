"""Cut plans: asked for, made again, dropped, sent to the floor; and single pieces taken off a sheet.

A plan holds its pieces from the moment it is asked for. The search itself is a job (`travelers.cut_job`). Locks are
taken in one order: the plan, then fittings by primary key (as a scan takes them), then codes and stock.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Max

from fittings import numbering
from fittings.cutting.work import MOST_PARTS
from fittings.models import CutPiece, CutPlan, CutSheet, Fitting
from fittings.stock import stock_for, stock_take
from shared import jobs, rows
from shared.models import Job
from shared.problems import Conflict, FieldError, NotAllowed, NotFound, WrongInput
from shared.roles import OFFICE, SUPERVISOR, Actor
from shared.texts import tidy
from shared.turn import write_turn
from travelers.cut_choices import AGAIN_FIELDS, CutChoices, choices_read, nothing_waits, stock_chosen
from travelers.cut_lookup import sheet_by_code
from travelers.cut_work import CUT, PieceToCut, pieces_to_cut
from travelers.models import OPEN_STATES, TaskState
from travelers.pieces import plates_cut
from travelers.where import code_read

CUT_PLAN = "cut_plan"
"""The kind of the job; its subject is the plan's number."""
PLANNERS = (OFFICE, SUPERVISOR)
BATCH = 1000
MOST_TRIES = 20
MOST_NAMED = 5
LONGEST_REASON = 200
_HOLD = (
    "INSERT INTO fittings_cutpiece (plan_id, segment_id, plate, pattern, area, is_live, seam_at, feed, why,"
    " off_reason, off_by) VALUES (%s, %s, %s, %s, %s, %s, '', 0, '', '', '')"
)
"""Plain: five thousand rows by the ORM would keep everybody else from writing for seconds."""
State = CutPlan.State


# -- asked for ---------------------------------------------------------------


def plan_request(
    *,
    material: str,
    gauge: int,
    orders: Sequence[str] = (),
    due_to: date | None = None,
    stock_ids: Sequence[int] | None = None,
    effort: str | None = None,
    gap_in: float | None = None,
    margin_in: float | None = None,
    turns: str | None = None,
    seams: str | None = None,
    seed: int = 1,
    actor: Actor,
    now: datetime,
) -> CutPlan:
    """A new plan of the work of a metal that waits to be cut. It holds the pieces; a worker makes the layout.

    orders     numbers of the orders wanted; none is all
    due_to     the last date wanted; what has no date is then left out
    stock_ids  what to cut from; None or empty is all that is on hand
    effort, gap_in, margin_in, turns, seams  None is as the shop's settings say
    raises     WrongInput naming `gap`, `margin`, `stock` and so on; Conflict where no piece waits (naming the plan
               that holds them), or where there is no stock of the metal; nothing is changed
    """
    choices = choices_read(
        {
            "material": material,
            "gauge": gauge,
            "orders": list(orders),
            "due_to": due_to,
            "stock": list(stock_ids or ()),
            "effort": effort,
            "gap": gap_in,
            "margin": margin_in,
            "turns": turns,
            "seams": seams,
            "seed": seed,
        }
    )
    return plan_chosen(choices=choices, actor=actor, now=now)


def plan_chosen(*, choices: CutChoices, actor: Actor, now: datetime) -> CutPlan:
    """A new plan by choices that were checked. raises Conflict as `plan_request`"""
    _check_role(actor)
    with write_turn(), transaction.atomic():
        return _requested(choices, actor, now)


def plan_again(*, number: int, actor: Actor, now: datetime, unit: str = "in", **changes: Any) -> CutPlan:
    """Another plan in place of one: those of its pieces that still wait, its choices but for the changes.

    unit     of the gap and the margin
    changes  any of effort, gap_in, margin_in, turns, seams, seed, stock_ids; None is no change
    raises   NotFound; WrongInput; Conflict where the plan is being made or was sent, or none of its pieces waits
    """
    _check_role(actor)
    names = {"gap_in": "gap", "margin_in": "margin", "stock_ids": "stock"}
    given = {names.get(name, name): value for name, value in changes.items() if value is not None}
    with write_turn(), transaction.atomic():
        old = plan_locked(number)
        choices = again_choices(old, given, unit=unit)
        if old.state == State.MAKING:
            raise _not_in_state(old, "Stop or drop it before it is made again.")
        if old.state == State.SENT:
            raise _not_in_state(old, "Plan what was taken off its sheets as new work.")
        only = set(old.pieces.filter(off_at=None).values_list("segment_id", "plate"))
        if old.state == State.MADE:
            _end(old, State.DROPPED, now)
        return _requested(choices, actor, now, only=only, again=old)


def again_choices(old: CutPlan, given: dict[str, Any], *, unit: str = "in") -> CutChoices:
    """The choices of a plan with some changed. raises WrongInput naming a field that is wrong or cannot change"""
    unknown = [name for name in given if name not in (*AGAIN_FIELDS, "unit")]
    if unknown:
        limit = ", ".join(AGAIN_FIELDS)
        message = f"“{unknown[0][:40]}” cannot be changed when a plan is made again."
        raise WrongInput([FieldError(unknown[0][:60], None, limit, message)])
    asked = choices_read({"material": old.material, "gauge": old.gauge, **given}, unit=unit)
    there = stock_for(old.material, old.gauge, ids=old.stock_ids)  # a remnant may be gone meanwhile
    kept = {
        "stock": ("stock_ids", tuple(item.pk for item in there) if old.stock_ids else ()),
        "effort": ("effort", old.effort),
        "gap": ("gap_in", old.gap_in),
        "margin": ("margin_in", old.margin_in),
        "turns": ("turns", old.turns),
        "seams": ("seams", old.seams),
        "seed": ("seed", old.seed),
    }
    choices = replace(asked, **dict(pair for name, pair in kept.items() if name not in given))
    stock_chosen(choices)
    return choices


def _requested(
    choices: CutChoices,
    actor: Actor,
    now: datetime,
    *,
    only: Collection[tuple[int, int]] | None = None,
    again: CutPlan | None = None,
) -> CutPlan:
    """The plan with its pieces and its job, in the caller's transaction."""
    plan = CutPlan(
        material=choices.material,
        gauge=choices.gauge,
        effort=choices.effort,
        seed=choices.seed,
        gap_in=choices.gap_in,
        margin_in=choices.margin_in,
        turns=choices.turns,
        seams=choices.seams,
        due_to=again.due_to if again else choices.due_to,
        stock_ids=list(choices.stock_ids),
        made_by=actor.name,
        asked_at=now,
    )
    # numbered before the pieces are read: on PostgreSQL a second planner waits here and then sees what is taken
    _save_numbered(plan)
    pieces = pieces_to_cut(
        material=choices.material,
        gauge=choices.gauge,
        orders=choices.orders,
        due_to=choices.due_to,
        only=only,
    )
    if not pieces:
        raise nothing_waits(choices, again, only)
    if len(pieces) > MOST_PARTS:
        message = f"{len(pieces)} pieces wait; a plan takes at most {MOST_PARTS}. Choose orders or a date."
        raise WrongInput([FieldError("orders", len(pieces), f"at most {MOST_PARTS} pieces", message)])
    _hold(plan, pieces, lambda: nothing_waits(choices, again, only))
    jobs.job_enqueue(kind=CUT_PLAN, subject=job_subject(plan), asked_by=actor.name, now=now)
    return plan


def _hold(plan: CutPlan, pieces: Sequence[PieceToCut], refusal: Callable[[], Conflict]) -> None:
    held = [(plan.pk, one.segment_id, one.plate, one.pattern, one.area_in2, True) for one in pieces]
    try:
        with transaction.atomic():
            rows.execute_many(_HOLD, held)
    except IntegrityError:
        raise refusal() from None


def _save_numbered(plan: CutPlan) -> None:
    """Insert under the next number; someone else may take it at the same moment."""
    for _ in range(MOST_TRIES):
        plan.number = (CutPlan.objects.aggregate(most=Max("number"))["most"] or 0) + 1
        try:
            with transaction.atomic():
                plan.save(force_insert=True)
            return
        except IntegrityError:
            plan.pk = None
            if not CutPlan.objects.filter(number=plan.number).exists():
                raise
    raise Conflict("Many plans are being made at this moment. Nothing was changed; try again.", retry_after=1)


# -- ended -------------------------------------------------------------------


def plan_stop(*, number: int, actor: Actor, now: datetime) -> CutPlan:
    """Stop the search and keep the best so far; the plan is made of it within moments.

    raises  NotFound; Conflict where nothing is being searched
    """
    _check_role(actor)
    with write_turn(), transaction.atomic():
        plan = plan_locked(number)
        if not _is_searched(plan):
            raise _not_in_state(plan, "There is no search to stop.")
        jobs.job_stop(kind=CUT_PLAN, subject=job_subject(plan), now=now)
    return plan


def plan_drop(*, number: int, actor: Actor, now: datetime) -> CutPlan:
    """Drop a plan that is made, being made or failed: its pieces wait to be cut again.

    raises  NotFound; Conflict where it was sent or dropped
    """
    _check_role(actor)
    with write_turn(), transaction.atomic():
        plan = plan_locked(number)
        if plan.state == State.SENT:
            raise _not_in_state(plan, "Take single pieces off its sheets instead.")
        if plan.state == State.DROPPED:
            raise _not_in_state(plan, "It was dropped before.")
        _end(plan, State.DROPPED, now)
    return plan


def plan_failed(*, plan: CutPlan, sentence: str, now: datetime) -> None:
    """Mark a locked plan as failed, with the sentence, and free its pieces, in the caller's transaction."""
    plan.message = sentence[:300]
    plan.save(update_fields=["message"])
    _end(plan, State.FAILED, now, is_searched=False)


def _end(plan: CutPlan, state: str, now: datetime, *, is_searched: bool = True) -> None:
    if is_searched and _is_searched(plan):
        jobs.job_cancel(kind=CUT_PLAN, subject=job_subject(plan), now=now)
    plan.pieces.filter(is_live=True).update(is_live=False)
    plan.state, plan.ended_at = state, now
    plan.version += 1
    plan.save(update_fields=["state", "ended_at", "version"])


def _is_searched(plan: CutPlan) -> bool:
    job = plan_job(plan)
    return job is not None and job.state in jobs.OPEN


def plan_job(plan: CutPlan) -> Job | None:
    """The newest job about a plan, whatever its state."""
    return jobs.job_of(CUT_PLAN, job_subject(plan))


def job_subject(plan: CutPlan) -> str:
    return str(plan.number)


# -- sent --------------------------------------------------------------------


def plan_send(*, number: int, actor: Actor, now: datetime, version: int | None = None) -> CutPlan:
    """Send a made plan to the floor, all or nothing: sheets get codes, the stock goes down, remnants are made.

    version  the one that was seen, where somebody saw one
    raises   NotFound; Conflict where the plan is not made or has another version, where pieces of it need not be cut
             any more (naming them), or where stock has run out
    """
    _check_role(actor)
    with write_turn(), transaction.atomic():
        plan = plan_locked(number)
        if plan.state != State.MADE:
            raise _not_in_state(plan, "Only a plan that is made can be sent.")
        if version is not None and version != plan.version:
            detail = f"Cut plan {plan.number} is at version {plan.version} now; you began with {version}."
            raise Conflict(detail, [FieldError("version", version, str(plan.version), detail)])
        _lock_fittings(plan)
        _check_still_open(plan)
        sheets = list(plan.sheets.order_by("position"))
        for sheet, code in zip(sheets, numbering.take(len(sheets)), strict=True):
            sheet.plan, sheet.code = plan, code
        CutSheet.objects.bulk_update(sheets, ["code"], batch_size=BATCH)
        stock_take(sheets=sheets, now=now)
        if _is_searched(plan):  # what rules cost is still being computed
            jobs.job_stop(kind=CUT_PLAN, subject=job_subject(plan), now=now)
        plan.state, plan.sent_at, plan.sent_by = State.SENT, now, actor.name
        plan.version += 1
        plan.save(update_fields=["state", "sent_at", "sent_by", "version"])
    return plan


def _lock_fittings(plan: CutPlan) -> None:
    """Lock the fittings of a plan's pieces, as a scan does, to the end of the transaction: nothing is cut meanwhile."""
    ids = plan.pieces.filter(is_live=True).values("segment__fitting_id")
    list(
        Fitting.objects.filter(pk__in=ids)
        .select_for_update(no_key=True, of=("self",))
        .order_by("pk")
        .values_list("pk", flat=True)
    )


def _check_still_open(plan: CutPlan) -> None:
    ended = plan.pieces.filter(
        is_live=True,
        segment__tasks__operation=CUT,
        segment__tasks__state__in=(TaskState.DONE, TaskState.VOID),
    )
    found = ended.order_by("pk").values_list("segment__code", "segment__state", "segment__tasks__state")
    gone = dict.fromkeys(found)
    if gone:
        named = ", ".join(
            f"{code} ({_ended_how(piece, task)})" for code, piece, task in list(gone)[:MOST_NAMED]
        )
        more = f" and {len(gone) - MOST_NAMED} more" if len(gone) > MOST_NAMED else ""
        need = "needs" if len(gone) == 1 else "need"
        raise Conflict(
            f"{named}{more} {need} no cutting any more. Make the plan again. Nothing was changed.",
            pieces=[code for code, _, _ in gone][:100],
        )


def _ended_how(segment_state: str, task_state: str) -> str:
    if segment_state in ("scrapped", "void"):
        return {"scrapped": "scrapped", "void": "cancelled"}[segment_state]
    return "cut meanwhile" if task_state == TaskState.DONE else "cancelled"


# -- single pieces -----------------------------------------------------------


def piece_take_off(
    *, sheet_code: str, segment_code: str, reason: str, actor: Actor, now: datetime
) -> CutPiece:
    """Take a piece off a sent sheet, with the reason: it waits to be cut again and enters a later plan.

    A segment of which several plates lie on the sheet is taken off with all of them.
    raises  NotFound; WrongInput naming `reason`; Conflict where it was cut, or taken off before
    """
    _check_role(actor)
    text = _reason(reason)
    with write_turn(), transaction.atomic():
        sheet = sheet_by_code(sheet_code)
        code = code_read(segment_code)
        on_sheet = sheet.pieces.filter(segment__code=code).select_related("segment").order_by("plate")
        first = on_sheet.first()
        if first is None:
            raise NotFound(f"{code} is not on sheet {sheet.code}.")
        Fitting.objects.select_for_update(no_key=True).get(pk=first.segment.fitting_id)
        pieces = [piece for piece in on_sheet if piece.is_live]
        if not pieces:
            who = f" by {first.off_by}: {first.off_reason}" if first.off_by else ""
            raise Conflict(f"{code} was taken off sheet {sheet.code} before{who}. Nothing was changed.")
        task = first.segment.tasks.filter(operation=CUT).first()
        if task is not None and task.state not in OPEN_STATES:
            done = task.state == TaskState.DONE
            how = "cut already. Scrap it to have it made again" if done else "cancelled"
            raise Conflict(f"{code} was {how}. Nothing was changed.")
        if any(piece.plate for piece in pieces):
            cut = plates_cut([first.segment.fitting_id]).get(first.segment_id, ())
            if any(piece.plate in cut for piece in pieces):
                detail = f"The plate of {code} on sheet {sheet.code} was cut already."
                raise Conflict(f"{detail} Scrap {code} to have it made again. Nothing was changed.")
        for piece in pieces:
            piece.is_live, piece.off_reason, piece.off_at, piece.off_by = False, text, now, actor.name
        CutPiece.objects.bulk_update(pieces, ["is_live", "off_reason", "off_at", "off_by"])
    return pieces[0]


def _reason(reason: Any) -> str:
    text = tidy(reason) if isinstance(reason, str) else None
    if not text or len(text) > LONGEST_REASON:
        limit = f"a text of 1 to {LONGEST_REASON} characters"
        message = f"Say why the piece is taken off: {limit}."
        raise WrongInput([FieldError("reason", reason if isinstance(reason, str) else None, limit, message)])
    return text


# -- common ------------------------------------------------------------------


def plan_locked(number: int) -> CutPlan:
    """The plan, locked to the end of the caller's transaction. raises NotFound"""
    plan = CutPlan.objects.select_for_update(of=("self",), no_key=True).filter(number=number).first()
    if plan is None:
        raise NotFound(f"There is no cut plan {number}.")
    return plan


def _check_role(actor: Actor) -> None:
    if actor.role not in PLANNERS:
        raise NotAllowed(role=actor.role, needed=PLANNERS)


def _not_in_state(plan: CutPlan, sentence: str) -> Conflict:
    detail = f"Cut plan {plan.number} is {plan.get_state_display().lower()}. {sentence} Nothing was changed."
    return Conflict(detail, state=str(plan.state))
