"""One sheet of a cut plan on its own page: the picture, its pieces in feed order, what is cut. Only reads."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from django.db.models import Max
from django.utils.safestring import SafeString, mark_safe

from fittings.cut_sheets import SheetPiece, sheet_contents
from fittings.drawing.cut_sheet import sheet_svg
from fittings.forms import shop_unit
from fittings.models import CutPiece, CutPlan, CutSheet
from fittings.money import currency_sign, money_text
from shared.problems import Conflict, NotFound
from shared.units import MM_PER_IN
from travelers.cut_list_page import CutCount, metal_text
from travelers.cut_plan_page import SheetWords
from travelers.cut_work import CUT
from travelers.models import Task, TaskState
from travelers.pieces import plates_cut

PICTURE = "1"
"""Counted up when the pictures are drawn in another way, so that none is kept that was drawn in the old one."""


@dataclass(frozen=True)
class PieceRow:
    """A piece of the sheet as the list shows it. `state` is the mark that it carries."""

    piece: SheetPiece
    state: str
    word: str
    size: str
    is_meant: bool = False

    @property
    def may_come_off(self) -> bool:
        return self.state not in ("done", "void")


@dataclass(frozen=True)
class SheetPage(SheetWords):
    sheet: CutSheet
    unit: str
    picture: SafeString
    rows: tuple[PieceRow, ...]
    cut: CutCount
    meant: PieceRow | None
    before: CutSheet | None
    after: CutSheet | None
    total: int
    remnant_code: str
    cost: str

    @property
    def plan(self) -> CutPlan:
        return self.sheet.plan

    @property
    def metal(self) -> str:
        return metal_text(self.plan.material, self.plan.gauge)

    @property
    def is_sent(self) -> bool:
        return self.plan.state == CutPlan.State.SENT


def sheet_by_id(pk: int) -> CutSheet:
    """raises  NotFound"""
    sheet = CutSheet.objects.select_related("plan").filter(pk=pk).first()
    if sheet is None:
        raise NotFound("There is no such sheet. Its plan may have been made again.")
    return sheet


def code_of_sent(pk: int) -> str:
    """The code of a sheet that is on the floor.

    raises  NotFound; Conflict where its plan was not sent
    """
    sheet = sheet_by_id(pk)
    if not sheet.code:
        raise Conflict(
            f"Sheet {sheet.position} of cut plan {sheet.plan.number} is not on the floor yet, so nothing comes off it. "
            "Nothing was changed."
        )
    return sheet.code


def sheet_page(pk: int, *, piece: str = "") -> SheetPage:
    """A sheet with the piece that is meant, where its code is on the sheet. The same few queries, whatever its size.

    raises  NotFound
    """
    sheet = sheet_by_id(pk)
    content = sheet_contents([sheet])[0]
    states, unit = _states(sheet), shop_unit()
    rows = tuple(
        _row(
            one, states.get((one.segment_id, one.plate), ""), unit, is_meant=bool(piece) and one.code == piece
        )
        for one in content.pieces
    )
    done = {row.piece.code for row in rows if row.state == "done"}
    on = [row for row in rows if not row.piece.is_off]
    meant = next((row for row in rows if row.is_meant), None)
    picture = sheet_svg(content.drawing, highlight=meant.piece.code if meant else None, is_done=done)
    neighbours = list(sheet.plan.sheets.order_by("position").only("pk", "position", "plan"))
    at = next(number for number, one in enumerate(neighbours) if one.pk == sheet.pk)
    return SheetPage(
        sheet,
        unit,
        mark_safe(picture),
        rows,
        CutCount(len(on), sum(row.state == "done" for row in on)),
        meant,
        neighbours[at - 1] if at else None,
        neighbours[at + 1] if at + 1 < len(neighbours) else None,
        len(neighbours),
        content.drawing.remnant_code,
        money_text(sheet.cost, currency_sign()),
    )


def _states(sheet: CutSheet) -> dict[tuple[int, int], str]:
    """Segment and plate to the state of its cutting. Two queries; before the plan is sent nothing of it is asked."""
    if sheet.plan.state != CutPlan.State.SENT:
        return {}
    pieces = list(
        CutPiece.objects.filter(sheet=sheet)
        .values_list("segment_id", "plate", "segment__fitting_id")
        .order_by()
    )
    tasks = Task.objects.filter(operation=CUT, segment__in={segment for segment, _, _ in pieces})
    states = dict(tasks.values_list("segment_id", "state").order_by())
    plated = sorted({fitting for _, plate, fitting in pieces if plate})
    cut = plates_cut(plated) if plated else {}
    return {
        (segment, plate): TaskState.DONE if plate in cut.get(segment, ()) else states.get(segment, "")
        for segment, plate, _ in pieces
    }


WORDS = {
    TaskState.DONE: ("done", "Cut"),
    TaskState.RUNNING: ("running", "Being cut"),
    TaskState.HELD: ("held", ""),
    TaskState.VOID: ("void", ""),
}


def _row(piece: SheetPiece, state: str, unit: str, *, is_meant: bool) -> PieceRow:
    if piece.is_off:
        mark = ("void", "Taken off")
    else:
        mark = WORDS.get(state, ("ready", "To cut") if state else ("draft", "Planned"))
    scale, places = (MM_PER_IN, 1) if unit == "mm" else (1, 2)
    size = f"{piece.long * scale:.{places}f} × {piece.wide * scale:.{places}f}"
    return PieceRow(piece, *mark, size, is_meant)


def picture_tag(pk: int, *, small: bool, piece: str = "") -> str:
    """Changes whenever the picture of a sheet does. One query."""
    found = (
        CutSheet.objects.filter(pk=pk)
        .annotate(off=Max("pieces__off_at"), cut=Max("pieces__segment__tasks__finished_at"))
        .values_list("plan__version", "plan__state", "off", "cut")
        .first()
    )
    words = f"{PICTURE} {pk} {small} {piece} {found}"
    return f'"{hashlib.sha256(words.encode()).hexdigest()[:24]}"'
