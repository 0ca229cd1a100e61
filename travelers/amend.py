"""A released order is changed: shown first, then made, all or nothing.

A line that becomes another fitting is ended and another takes its place; what is frozen and printed of the old one
stays true. Fittings that go are taken out of the order: from then on they take no scan, and what was started of them
is scrap, is kept, or goes on by choice. Locks are taken in one order: cut plans, fittings by primary key (as a scan
takes them), then the order.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max, Q

from fittings import numbering
from fittings.events import ORDER_DONE, event_keep
from fittings.models import CutPlan, Fitting, Order, OrderLine, PieceState, Pin
from fittings.orders import order_changed, stale
from fittings.selectors import order_by_number
from fittings.tables import all_rows, versions_in_force
from shared.problems import Conflict, FieldError, WrongInput
from shared.roles import Actor
from shared.texts import search_text
from shared.turn import write_turn
from travelers.amend_leaving import fittings_leave, sheets_clear
from travelers.amend_meaning import Meaning, Shown, meaning_of
from travelers.amend_reading import CANCEL, COUNT, GO_ON, KEEP, REPLACE, SAME, SCRAP, Change, change_read
from travelers.amend_travelers import travelers_renew
from travelers.price_freeze import prices_freeze
from travelers.pulse import pulse_beat
from travelers.release import operation_rows, work_of
from travelers.release_kept import kept_fittings, kept_lock, kept_put_in
from travelers.release_rows import LineWork, Work, pieces_write

CHANGED = "changed"


def change_show(*, number: str, data: Any, now: datetime) -> Shown:
    """What a change of a released order would mean. Nothing is changed.

    data    `version`, `lines`, `unit`, `note` as the HTTP contract has them
    raises  NotFound; WrongInput naming every wrong field; Conflict where the order is not released or has another
            version
    """
    order = order_by_number(number)
    change = _read(order, data)
    shown = meaning_of(order, change, now=now)
    _check_left(shown)
    return shown


def order_change(*, number: str, data: Any, actor: Actor, now: datetime) -> Shown:
    """Change a released order, all or nothing; what it meant is returned.

    data    as for `change_show`; with `seen`, the mark of what was shown, the change is made only if it means the same
            still
    raises  as `change_show`; Conflict where the floor went on since it was shown
    """
    order = order_by_number(number)
    change = _read(order, data)
    with write_turn(), transaction.atomic():
        order_lock(order.number, change.use_kept)
        order = Order.objects.select_for_update().select_related("customer").get(pk=order.pk)
        _check_changeable(order, change.version)
        shown = meaning_of(order, change, now=now)
        _check_left(shown)
        if change.seen and change.seen != shown.seen:
            raise Conflict(
                f"The floor went on, or something else was typed, since this change of order {order.number} was"
                " shown. Look at it again. Nothing was changed.",
                [FieldError("seen", change.seen, shown.seen, "What the change means is another now.")],
                seen=shown.seen,
            )
        _make(order, shown, actor, now)
    return shown


# -- checks ------------------------------------------------------------------


def _read(order: Order, data: Any) -> Change:
    _check_changeable(order, None)
    change = change_read(order, data)
    if order.version != change.version:
        raise stale(order, change.version)
    return change


def _check_changeable(order: Order, version: int | None) -> None:
    if order.state != Order.State.RELEASED:
        is_draft = order.state == Order.State.DRAFT
        how = "A draft is edited as it is." if is_draft else "It cannot be changed any more."
        detail = f"Order {order.number} is {order.get_state_display().lower()}. {how}"
        raise Conflict(detail, [FieldError("state", str(order.state), "released", detail)])
    if version is not None and order.version != version:
        raise stale(order, version)


def _check_left(shown: Shown) -> None:
    order = shown.order
    if all(line.wish.kind == SAME for line in shown.lines):
        message = f"This changes nothing of order {order.number}."
        raise WrongInput([FieldError("lines", None, "a line that differs", message)])
    if shown.fittings_after == 0:
        message = f"Nothing would be left of order {order.number}. Cancel the order instead."
        raise WrongInput([FieldError("lines", 0, "1 fitting or more", message)])


def order_lock(number: str, use_kept: Sequence[int] = ()) -> None:
    """Lock the plans on which the order's pieces lie, then its fittings, to the end of the transaction; with them
    those of kept pieces that it is to use, then these pieces."""
    plans = CutPlan.objects.filter(
        pieces__segment__fitting__order__number=search_text(number), pieces__is_live=True
    )
    ids = sorted(set(plans.values_list("pk", flat=True)))
    list(CutPlan.objects.filter(pk__in=ids).select_for_update(of=("self",), no_key=True).order_by("pk"))
    mine = Fitting.objects.filter(Q(order__number=search_text(number)) | Q(pk__in=kept_fittings(use_kept)))
    list(mine.select_for_update(no_key=True, of=("self",)).order_by("pk").values_list("pk", flat=True))
    kept_lock(use_kept)


# -- made --------------------------------------------------------------------


def _make(order: Order, shown: Shown, actor: Actor, now: datetime) -> None:
    version = order.version + 1
    lines = [line for line in shown.lines if line.wish.kind != SAME]
    ended = [line.wish.line.pk for line in lines if line.wish.kind in (CANCEL, REPLACE)]
    OrderLine.objects.filter(pk__in=ended).update(ended_version=version)
    plans: list[LineWork] = []
    for line in lines:
        plans += _line_make(order, line, version)
    new = _write(plans, now)
    later = [(plan.line, plan.work) for plan in plans if plan.line.tables]
    if later:
        prices_freeze(order=order, works=later, numbers=versions_in_force(), actor=actor, now=now)
    for line in lines:
        _leave(order, line, new, version, actor, now)
    kept_put_in(order=order, plans=plans, ids=shown.change.use_kept, actor=actor, now=now)
    order_count(order, now)
    changes = {_title(line): [line.before, _after(line)] for line in lines}
    if shown.change.use_kept:
        changes["kept pieces"] = ["", f"{len(shown.change.use_kept)} used"]
    if shown.change.note:
        changes["note"] = ["", shown.change.note]
    order_changed(order=order, changes=changes, actor=actor, now=now)
    pulse_beat()


def _line_make(order: Order, line: Meaning, version: int) -> list[LineWork]:
    """The rows of a line as it shall be, and the fittings that are to be made of it."""
    wish = line.wish
    if wish.kind == CANCEL:
        return []
    if wish.made is not None:
        made = wish.made
        made.order, made.replaces, made.added_version = order, wish.line, version
        made.tables = dict(versions_in_force())
        made.save(force_insert=True)
        if wish.line is not None:
            Pin.objects.filter(line=wish.line, ended_at=None).update(line=made)
        return [LineWork(made, wish.work, range(1, wish.given.quantity + 1))]
    stored = wish.line
    for name, value in wish.given.values().items():
        setattr(stored, name, value)
    stored.save(update_fields=list(wish.given.values()))
    if not line.made:
        return []
    work = work_of(stored, operation_rows(), all_rows(stored.tables_used))
    if not isinstance(work, Work):  # the operations changed since: the route of the line fits no more
        raise WrongInput(work)
    last = Fitting.objects.filter(line=stored).aggregate(last=Max("number"))["last"] or 0
    return [LineWork(stored, work, range(last + 1, last + line.made + 1))]


def _write(plans: Sequence[LineWork], now: datetime) -> dict[int, list[Fitting]]:
    """The new fittings, by line, in the order of their numbers."""
    if not plans:
        return {}
    pieces_write(plans, numbering.take(sum(plan.codes for plan in plans)), now)
    new: dict[int, list[Fitting]] = {}
    for plan in plans:
        mine = Fitting.objects.filter(
            line=plan.line, number__gte=plan.numbers[0], number__lte=plan.numbers[-1]
        )
        mine.update(added_at=now)
        new[plan.line.pk] = list(mine.order_by("number"))
    return new


def _leave(
    order: Order, line: Meaning, new: dict[int, list[Fitting]], version: int, actor: Actor, now: datetime
) -> None:
    """Take out what goes: plans, pieces, travelers."""
    if not line.go:
        return
    made = new.get(line.wish.made.pk, []) if line.wish.made is not None else []
    why = f"Order {order.number} was changed (version {version})"
    sheets_clear(line.sheets, why=why, actor=actor, now=now)
    fate = line.wish.started if line.wish.started in (SCRAP, KEEP) else KEEP
    fittings_leave(
        line.go,
        fate=fate,
        version=version,
        successors=made,
        why=CHANGED,
        note=f"Order {order.number}, line {line.wish.line.position}, version {version}",
        actor=actor,
        now=now,
    )
    travelers_renew(line.travelers, version=version, successors=made, now=now)


def order_count(order: Order, now: datetime) -> None:
    """The order's counts, and its end where only finished fittings are left."""
    mine = Fitting.objects.filter(order=order, taken_out_at=None)
    order.fittings_total = mine.count()
    done = mine.filter(state=PieceState.DONE)
    order.fittings_done = done.count()
    is_done = 0 < order.fittings_total == order.fittings_done
    if is_done and order.state == Order.State.RELEASED:
        order.state = Order.State.DONE
        order.ended_at = done.aggregate(last=Max("done_at"))["last"]
        event_keep(kind=ORDER_DONE, order_id=order.pk, at=now)
    order.save(update_fields=["fittings_total", "fittings_done", "state", "ended_at"])


# -- words -------------------------------------------------------------------


def _title(line: Meaning) -> str:
    wish = line.wish
    position = wish.made.position if wish.made is not None else wish.line.position
    return f"line {position}"


def _after(line: Meaning) -> str:
    """What became of a line, for the order's history."""
    wish = line.wish
    text = "cancelled" if wish.kind == CANCEL else line.after
    parts = []
    if line.made and wish.kind == COUNT:
        parts.append(f"{line.made} new")
    if line.void:
        parts.append(f"{line.void} not started and void")
    if line.begun and line.started == GO_ON:
        parts.append(f"{line.begun} started and going on")
    if line.kept_whole:
        parts.append(f"{line.kept_whole} finished and kept")
    if line.scrap_whole:
        parts.append(f"{line.scrap_whole} finished and scrapped")
    loose_kept = line.kept_loose
    if loose_kept:
        parts.append(f"{loose_kept} {'piece' if loose_kept == 1 else 'pieces'} kept")
    if line.scrap.pieces:
        parts.append(f"{line.scrap.pieces} {'piece' if line.scrap.pieces == 1 else 'pieces'} scrapped")
    return f"{text}; {', '.join(parts)}" if parts else text
