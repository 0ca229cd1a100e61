"""The papers and files of cut plans: rows from the database to plain data, and PDF, DXF and SVG back. Only reads."""

from __future__ import annotations

import zipfile
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime
from io import BytesIO

from fittings import tables
from fittings.cut_sheets import SheetContent, SheetPiece, sheet_contents
from fittings.downloads import MadeFile, plain_name, unit_asked, zip_put
from fittings.drawing.cut_sheet import sheet_dxf, sheet_svg
from fittings.models import CutPiece, CutPlan, CutSheet
from shared.problems import Conflict
from shared.sheets import csv_text
from shared.units import plain_number
from travelers import documents
from travelers.cut_lookup import plan_by_number, sheet_by_id
from travelers.cut_work import CUT
from travelers.documents.data import CautionRow, CutPieceRow, CutPlanPaper, CutSheetPaper
from travelers.letterhead import shop_head
from travelers.models import Task, TaskState
from travelers.papers import printed_text

PDF, DXF, SVG, ZIP = "application/pdf", "image/vnd.dxf", "image/svg+xml", "application/zip"
LISTED = ("file", "sheet", "code", "width_in", "length_in", "load", "begins_at_in", "pieces")
STAMPS = {
    CutPlan.State.MADE: "Proposal – not sent",
    CutPlan.State.DROPPED: "Dropped – do not cut",
}
WITHOUT_SHEETS = {
    CutPlan.State.MAKING: "is still being made",
    CutPlan.State.FAILED: "has failed",
}


# -- PDF ---------------------------------------------------------------------


def plan_pdf(number: int, *, now: datetime) -> MadeFile:
    """All sheets of a plan as one PDF, with a page that tells them where there is more than one.

    raises  NotFound; Conflict where the plan has no sheets
    """
    paper = plan_paper(plan_by_number(number))
    content = documents.cut_plan_pdf(paper, shop=shop_head(), printed_at_text=printed_text(now))
    return MadeFile(f"{plain_name('cut-plan', number, _suffix(paper.stamp))}.pdf", PDF, content)


def sheet_pdf(sheet: CutSheet | int, *, now: datetime) -> MadeFile:
    """One sheet as PDF. raises NotFound"""
    sheet = _sheet(sheet)
    paper = plan_paper(sheet.plan, only=sheet.pk).sheets[0]
    content = documents.cut_sheet_pdf(paper, shop=shop_head(), printed_at_text=printed_text(now))
    return MadeFile(f"{_sheet_name(sheet)}.pdf", PDF, content)


def plan_paper(plan: CutPlan, *, only: int | None = None) -> CutPlanPaper:
    """The data of a plan's papers; `only` is the one sheet that is wanted. A constant number of queries."""
    sheets = _sheets(plan)
    places = _places(sheets)
    cautions = _cautions(plan)
    wanted = [sheet for sheet in sheets if only in (None, sheet.pk)]
    stamp = STAMPS.get(plan.state, "")
    said = ""
    if plan.state == CutPlan.State.SENT:
        said = f"Sent {printed_text(plan.sent_at)} by {plan.sent_by}"
    taken = sum(sheet.taken_area for sheet in sheets)
    share = sum(sheet.parts_area for sheet in sheets) / taken if taken else 0.0
    return CutPlanPaper(
        number=plan.number,
        material=plan.material,
        gauge=plan.gauge,
        sheets=tuple(
            _sheet_paper(content, len(sheets), places[content.sheet.pk], cautions, stamp)
            for content in sheet_contents(wanted)
        ),
        utilisation=share if plan.utilisation is None else plan.utilisation,
        stamp=stamp,
        said=said,
    )


def _sheet_paper(
    content: SheetContent, sheets: int, place: str, cautions: Sequence[CautionRow], stamp: str
) -> CutSheetPaper:
    sheet = content.sheet
    return CutSheetPaper(
        plan_number=sheet.plan.number,
        position=sheet.position,
        sheets=sheets,
        material=sheet.plan.material,
        gauge=sheet.plan.gauge,
        stock_name=sheet.stock_name,
        drawing=content.drawing,
        utilisation=sheet.utilisation,
        pieces=tuple(map(_piece_row, content.pieces)),
        code="" if stamp else sheet.code,
        stamp=stamp,
        load=sheet.load,
        offset=sheet.load_offset_in,
        place=place,
        cautions=cautions,
    )


def _piece_row(piece: SheetPiece) -> CutPieceRow:
    off = f"taken off: {piece.off_reason}" if piece.off_reason else "taken off"
    return CutPieceRow(
        feed=piece.feed,
        code=piece.code,
        order_number=piece.order_number,
        name=piece.label,
        long=piece.long,
        wide=piece.wide,
        tag=piece.tag,
        notes=(*piece.notes, off) if piece.is_off else piece.notes,
        is_off=piece.is_off,
    )


def _places(sheets: Iterable[CutSheet]) -> dict[int, str]:
    """Which sheet of its load each is, in words; blank where it lies alone."""
    sheets = list(sheets)
    counts = Counter(sheet.load for sheet in sheets)
    at: Counter[int] = Counter()
    found = {}
    for sheet in sorted(sheets, key=lambda sheet: (sheet.load, sheet.load_offset_in)):
        at[sheet.load] += 1
        number, count = at[sheet.load], counts[sheet.load]
        middle = f"sheet {number} from the front"
        words = {1: "front sheet", count: "rear sheet"}
        found[sheet.pk] = "" if count == 1 else words.get(number, middle)
    return found


def _cautions(plan: CutPlan) -> list[CautionRow]:
    """The cautions in force of cutting this metal by the methods of the plan's pieces, each once."""
    segments = CutPiece.objects.filter(plan=plan).values("segment_id")
    tasks = Task.objects.filter(operation=CUT, segment__in=segments)
    methods = {"*", *tasks.order_by().values_list("method", flat=True).distinct()}
    found = {
        CautionRow(CUT, row["word"], row["hazard"], row["text"]): None
        for row in tables.rows("cautions")
        if row["operation"] == CUT and row["method"] in methods and row["material"] in ("*", plan.material)
    }
    return list(found)


# -- DXF and SVG -------------------------------------------------------------


def sheet_dxf_file(sheet: CutSheet | int, unit: str = "in") -> MadeFile:
    """One sheet for the cutting table, at full scale.

    raises  NotFound; WrongInput naming the unit; Conflict where the plan was dropped
    """
    sheet = _sheet(sheet)
    unit = unit_asked(unit)
    _check_wanted(sheet.plan)
    content = sheet_dxf(sheet_contents([sheet])[0].drawing, unit)
    return MadeFile(f"{_sheet_name(sheet)}.dxf", DXF, content)


def plan_dxf_zip(number: int, unit: str = "in") -> MadeFile:
    """All sheets of a plan for the cutting table, a DXF each, with a list of them. The same plan gives the same bytes.

    raises  NotFound; WrongInput naming the unit; Conflict where the plan has no sheets or was dropped
    """
    plan = plan_by_number(number)
    unit = unit_asked(unit)
    _check_wanted(plan)
    packed = BytesIO()
    contents = sheet_contents(_sheets(plan))
    with zipfile.ZipFile(packed, "w") as archive:
        for content in contents:
            zip_put(archive, f"{_sheet_name(content.sheet)}.dxf", sheet_dxf(content.drawing, unit))
        zip_put(archive, "sheets.csv", _list(contents).encode())
    name = plain_name("cut-plan", plan.number, _suffix(STAMPS.get(plan.state, "")), unit)
    return MadeFile(f"{name}.zip", ZIP, packed.getvalue())


def _list(contents: Iterable[SheetContent]) -> str:
    """The sheets of a ZIP in the order of cutting: which file lies where on the table."""
    rows: list[Sequence] = [LISTED]
    for content in contents:
        sheet, drawing = content.sheet, content.drawing
        sides = [plain_number(side, 3) for side in (drawing.width, drawing.shown_length)]
        begins = plain_number(sheet.load_offset_in, 3)
        count = sum(not piece.is_off for piece in content.pieces)
        row = [f"{_sheet_name(sheet)}.dxf", sheet.position, sheet.code, *sides, sheet.load, begins, count]
        rows.append(row)
    return csv_text(rows)


def sheet_svg_text(sheet: CutSheet | int, *, small: bool = False, highlight: str | None = None) -> str:
    """The picture of one sheet, what is cut marked as done.

    small      outlines only, for lists
    highlight  code of the piece that is meant
    raises     NotFound
    """
    sheet = _sheet(sheet)
    content = sheet_contents([sheet])[0]
    return sheet_svg(content.drawing, highlight=highlight, is_done=_done(sheet, content.pieces), small=small)


def _done(sheet: CutSheet, pieces: Iterable[SheetPiece]) -> set[str]:
    """Codes of the pieces that are cut. One query; before the plan is sent none is asked."""
    if sheet.plan.state != CutPlan.State.SENT:
        return set()
    ids = {piece.segment_id for piece in pieces}
    done = Task.objects.filter(operation=CUT, segment__in=ids, state=TaskState.DONE)
    return set(done.order_by().values_list("segment__code", flat=True))


# -- shared ------------------------------------------------------------------


def _sheet(sheet: CutSheet | int) -> CutSheet:
    """The sheet with its plan, by its row or its key."""
    return sheet if isinstance(sheet, CutSheet) else sheet_by_id(sheet)


def _sheets(plan: CutPlan) -> list[CutSheet]:
    """A plan's sheets in the order of cutting, each with this plan at hand. raises Conflict"""
    sheets = list(plan.sheets.order_by("position"))
    if not sheets:
        why = WITHOUT_SHEETS.get(plan.state, "has no sheets")
        raise Conflict(f"Cut plan {plan.number} {why}. There are no sheets to print.")
    for sheet in sheets:
        sheet.plan = plan
    return sheets


def _check_wanted(plan: CutPlan) -> None:
    if plan.state == CutPlan.State.DROPPED:
        raise Conflict(
            f"Cut plan {plan.number} was dropped. Nothing is cut by it; its sheets are not given out."
        )


def _sheet_name(sheet: CutSheet) -> str:
    """A file's name: plan, sheet, and its code, or that it is a proposal."""
    last = sheet.code or _suffix(STAMPS.get(sheet.plan.state, ""))
    return plain_name("cut-plan", sheet.plan.number, "sheet", f"{sheet.position:02d}", last)


def _suffix(stamp: str) -> str:
    return stamp.split(" ", 1)[0]
