"""The sheets of cut plans that were sent to the floor, as scans and stations need them. Only reads."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fittings.models import CutPiece, CutPlan, CutSheet, OrderLine, Segment
from fittings.stock import remnants_arrive
from shared import rows
from shared.words import say
from travelers.models import IS_OPEN, Task

CUT = "cut"
"""The operation that a sheet as a whole goes through."""


@dataclass(frozen=True, slots=True)
class PieceHere:
    """A segment on a sheet, or one plate of it (`plate` from 1, 0 for the whole). Not live: taken off the sheet."""

    fitting: int
    segment: int
    plate: int
    is_live: bool
    id: int = 0
    off_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class SheetHere:
    """A sheet with what lies on it, in feed order."""

    id: int
    code: str
    position: int
    plan: int
    pieces: tuple[PieceHere, ...]

    @property
    def word(self) -> str:
        return sheet_word(self.position, self.plan)


def sheet_word(position: int, plan: int) -> str:
    """
    >>> sheet_word(3, 12)
    'Sheet 3 of plan 12'
    """
    return say("Sheet {position} of plan {plan}", position=position, plan=plan)


_SHEET = (
    "SELECT c.id, c.position, p.number FROM fittings_cutsheet c JOIN fittings_cutplan p ON p.id = c.plan_id"
    " WHERE c.code = %s AND c.code <> ''"
)
_PIECES = (
    "SELECT s.fitting_id, c.segment_id, c.plate, c.is_live, c.id, c.off_at FROM fittings_cutpiece c"
    " JOIN fittings_segment s ON s.id = c.segment_id WHERE c.sheet_id = %s ORDER BY c.feed, c.id"
)


def sheet_here(code: str) -> SheetHere | None:
    """The sheet of a code, where there is one on the floor."""
    found = rows.select(_SHEET, [code])
    if not found:
        return None
    id_, position, plan = found[0]
    return SheetHere(id_, code, position, plan, pieces_on(id_))


def pieces_on(sheet_id: int) -> tuple[PieceHere, ...]:
    """What lies on a sheet and what was taken off it, in feed order."""
    return tuple(
        PieceHere(*row[:3], bool(row[3]), row[4], rows.moment(row[5]))
        for row in rows.select(_PIECES, [sheet_id])
    )


def plates_of(segments: Collection[int]) -> dict[int, int]:
    """Of how many plates segments are made, by the frozen developments. Two queries; none without segments."""
    if not segments:
        return {}
    places = list(Segment.objects.filter(pk__in=segments).values_list("pk", "position", "fitting__line_id"))
    developments = dict(
        OrderLine.objects.filter(pk__in={line for _, _, line in places}).values_list("pk", "development")
    )
    return {
        segment: len(developments[line]["segments"][position - 1].get("plates") or ())
        for segment, position, line in places
    }


def sheets_of_plates(segments: Collection[int]) -> Mapping[tuple[int, int], tuple[int, int]]:
    """(segment, plate) to (sheet, plan) by number, of plates that lie on sheets sent to the floor. One query."""
    found = CutPiece.objects.filter(
        segment_id__in=segments, plate__gt=0, is_live=True, sheet__plan__state=CutPlan.State.SENT
    ).values_list("segment_id", "plate", "sheet__position", "sheet__plan__number")
    return {(segment, plate): (sheet, plan) for segment, plate, sheet, plan in found}


def sheet_codes(fitting_ids: Iterable[int]) -> dict[int, str]:
    """Segments of fittings to the code of the sheet on which they lie, or the first of their plates. One query."""
    found = CutPiece.objects.filter(
        segment__fitting_id__in=list(fitting_ids), is_live=True, sheet__plan__state=CutPlan.State.SENT
    )
    return dict(found.order_by("-plate").values_list("segment_id", "sheet__code"))


def sheet_of_piece(code: str) -> tuple[int, int] | None:
    """(sheet, plan) by number, of the sheet on the floor that a segment lies on whole. One query."""
    found = CutPiece.objects.filter(
        segment__code=code, plate=0, is_live=True, sheet__plan__state=CutPlan.State.SENT
    )
    return found.values_list("sheet__position", "sheet__plan__number").first()


def sheet_facts(code: str) -> dict[str, Any] | None:
    """A sheet on the floor by its code, as answers name it. One query where there is none, else two."""
    row = (
        CutSheet.objects.filter(code=code)
        .exclude(code="")
        .values("id", "code", "position", "plan_id", "plan__number")
        .first()
    )
    if row is None:
        return None
    return {
        "id": row["id"],
        "code": row["code"],
        "position": row["position"],
        "of": CutSheet.objects.filter(plan=row["plan_id"]).count(),
        "plan": row["plan__number"],
    }


def cut_through(segments: Collection[int], now: datetime) -> None:
    """The remnants of the sheets whose last piece one of these cut segments was are on hand from now on.

    Only a cut that was scanned does this, not one that a later scan implies. They stay on hand when a single piece is
    undone: the sheet was cut all the same.
    """
    if not segments:
        return
    waiting = CutSheet.objects.filter(
        pieces__segment__in=segments, remnants__is_active=True, remnants__count=0
    ).distinct()
    for sheet in waiting:
        still = Task.objects.filter(
            IS_OPEN, operation=CUT, segment__cut_pieces__sheet=sheet, segment__cut_pieces__off_at=None
        )
        if not still.exists():
            remnants_arrive(sheet, is_back=False, now=now)
