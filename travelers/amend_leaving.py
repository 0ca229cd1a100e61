"""Fittings that a change takes out of their order: derived again, their good pieces kept, their places freed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from fittings.models import CutPiece, CutPlan, Fitting, PieceState, Segment
from shared.portions import in_portions
from shared.roles import Actor
from travelers import pieces
from travelers.amend_meaning import Sheets
from travelers.amend_started import AT_A_TIME, One
from travelers.kept import kept_add
from travelers.left_kept import pieces_to_keep
from travelers.models import IS_OPEN, Task, TaskState
from travelers.state import derive


def fittings_leave(
    going: Sequence[One],
    *,
    fate: str,
    version: int,
    successors: Sequence[Fitting],
    why: str,
    note: str,
    actor: Actor,
    now: datetime,
) -> None:
    """Take fittings out of their order, in the caller's transaction, with them and their order locked.

    fate        scrap or keep: what becomes of what is started, also of what a late scan will show to be
    successors  fittings that are made in their place; the first takes the place of the first by number
    why         as `kept_add` takes it
    """
    by_number = sorted(going, key=lambda one: one.number)
    ids = [one.id for one in by_number]
    for part in in_portions(ids, AT_A_TIME):
        Fitting.objects.filter(pk__in=part).update(
            taken_out_at=now, taken_out_as=fate, taken_out_version=version
        )
    pairs = list(zip(by_number, successors, strict=False))
    Fitting.objects.bulk_update(
        [Fitting(pk=one.id, replaced_by=new) for one, new in pairs], ["replaced_by"], batch_size=AT_A_TIME
    )
    touched = [one.id for one in by_number if one.loaded is not None]
    _void_untouched([one.id for one in by_number if one.loaded is None])
    for part in in_portions(touched, AT_A_TIME):
        for one in pieces.load(part, lock=False):
            pieces.store(one, derive(one.spec, one.events), at=None)
        kept = pieces_to_keep(part)
        if kept:
            kept_add(pieces=kept, why=why, note=note, actor=actor, now=now)


def _void_untouched(ids: Sequence[int]) -> None:
    """What was never scanned becomes void whole, in three statements a part."""
    for part in in_portions(ids, AT_A_TIME):
        Task.objects.filter(IS_OPEN, fitting__in=part).update(
            state=TaskState.VOID, ready_at=None, started_at=None, station="", badge="", reason=""
        )
        Segment.objects.filter(fitting__in=part).update(state=PieceState.VOID)
        Fitting.objects.filter(pk__in=part).update(state=PieceState.VOID)


def sheets_clear(sheets: Sheets, *, why: str, actor: Actor, now: datetime) -> None:
    """Take pieces off their plans and sheets. A plan that is not sent yet has another version then."""
    ids = list(sheets.pieces)
    for part in in_portions(ids, AT_A_TIME):
        CutPiece.objects.filter(pk__in=part).update(
            is_live=False, off_reason=why[:200], off_at=now, off_by=actor.name
        )
    for plan in CutPlan.objects.filter(number__in=sheets.plans, state=CutPlan.State.MADE).order_by("pk"):
        plan.version += 1
        plan.save(update_fields=["version"])
