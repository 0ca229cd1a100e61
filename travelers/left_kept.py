"""What is kept of a fitting that a change took out of its order, and that late scans keep it true."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime

from fittings.models import Fitting, KeptPiece, PieceState, Segment
from shared.roles import Actor
from travelers.kept import kept_add
from travelers.leaving import KEEP
from travelers.models import Task, TaskState
from travelers.pieces import Loaded

Piece = Fitting | Segment


def pieces_to_keep(fitting_ids: Collection[int]) -> list[Piece]:
    """Of fittings that were taken out to be kept, as they are stored: the finished ones, and of the others the segments
    of which an operation is finished.
    """
    mine = Fitting.objects.filter(pk__in=fitting_ids, taken_out_as=KEEP).order_by("pk")
    whole = list(mine.filter(state=PieceState.DONE))
    begun = Task.objects.filter(
        fitting__in=mine.filter(state=PieceState.VOID), segment__isnull=False, state=TaskState.DONE
    )
    loose = Segment.objects.filter(pk__in=begun.values("segment"), state=PieceState.VOID)
    return [*whole, *loose.order_by("pk")]


def kept_follow(loaded: Sequence[Loaded], *, actor: Actor, now: datetime) -> None:
    """After a scan that came late: what it shows to be begun is kept too, what it undoes is not; used pieces stay."""
    for one in loaded:
        if one.spec.taken_out_as == KEEP:
            _follow(one.id, actor, now)


def _follow(fitting: int, actor: Actor, now: datetime) -> None:
    wanted = {_key(piece): piece for piece in pieces_to_keep([fitting])}
    rows = {row.segment_id: row for row in KeptPiece.objects.filter(fitting=fitting, ended_at=None)}
    for segment, row in rows.items():
        if segment not in wanted and row.used_at is None:
            row.ended_why = KeptPiece.Ended.LOST
            row.ended_at, row.ended_by, row.version = now, actor.name, row.version + 1
            row.save(update_fields=["ended_why", "ended_at", "ended_by", "version"])
    are_used = any(row.used_at for row in rows.values())
    fresh = [piece for key, piece in wanted.items() if key not in rows and not (key is None and are_used)]
    if fresh:
        note = "By a scan that came late"
        kept_add(pieces=fresh, why=KeptPiece.Why.CHANGED, note=note, actor=actor, now=now)


def _key(piece: Piece) -> int | None:
    return piece.pk if isinstance(piece, Segment) else None
