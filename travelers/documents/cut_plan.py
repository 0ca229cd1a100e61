"""A cut plan as papers: a page that tells all its sheets by load, then each sheet. Lengths in pt.

Each sheet counts its own pages, because on the floor it goes its own way.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from itertools import groupby

from fittings.drawing.cut_sheet_pdf import draw_picture
from fittings.drawing.cut_sheet_picture import size_words, small_picture
from fittings.drawing.dimensions import inches
from shared.codes import grouped
from shared.units import IN2_PER_FT2
from travelers.documents.cut_sheet import (
    HEADING,
    TABLE_HEAD,
    counted,
    heading,
    percent,
    stamp_panel,
    stock_text,
    table_head,
    widths_of,
    write_sheet,
)
from travelers.documents.data import CutPlanPaper, CutSheetPaper, Shop
from travelers.documents.flow import Flow
from travelers.documents.page import BODY, CODE_PANEL, HEAD, LETTER, MARGIN, SMALL, Paper
from travelers.documents.text import BOLD, MONO, MONO_BOLD, clean

PLAN_HEAD, LATER_PLAN_HEAD, SHEET_ROW, TOTAL_ROW = 128.0, 56.0, 52.0, 17.0
PLAN_COLUMNS = (
    ("", 92.0),
    ("Sheet", 140.0),
    ("Code", 92.0),
    ("Pieces", 46.0),
    ("Used", 54.0),
    ("Remnant to keep", 116.0),
)


def cut_plan_pdf(plan: CutPlanPaper, *, shop: Shop, printed_at_text: str) -> bytes:
    """A cut plan as one PDF: a page of all its sheets where it has more than one, then each sheet.

    raises  ValueError for a plan without a sheet
    """
    if not plan.sheets:
        raise ValueError("there is no sheet to print")
    count = len(plan.sheets)
    paper = Paper(title=f"Cut plan {plan.number}", subject=counted(count, "sheet"), shop=shop)
    if count > 1:
        _write_plan(paper, plan, printed_at_text)
    for sheet in plan.sheets:
        write_sheet(paper, sheet, printed_at_text)
    return paper.finish()


def _write_plan(paper: Paper, plan: CutPlanPaper, printed_at_text: str) -> None:
    paper.turn(LETTER)
    top = LETTER[1] - MARGIN - HEAD
    flow = Flow(top - PLAN_HEAD, top - LATER_PLAN_HEAD)
    for load, group in groupby(plan.sheets, key=lambda sheet: sheet.load):
        sheets = list(group)
        flow.need(HEADING + TABLE_HEAD + SHEET_ROW)
        flow.place(HEADING, partial(heading, paper, f"Load {load}: {counted(len(sheets), 'sheet')}"))
        flow.place(TABLE_HEAD, partial(table_head, paper, PLAN_COLUMNS, load))
        for sheet in sheets:
            if flow.room() < SHEET_ROW:
                flow.need(HEADING + SHEET_ROW)
                flow.place(HEADING, partial(heading, paper, f"Load {load}, continued", again=True))
            flow.place(SHEET_ROW, partial(_sheet_row, paper, sheet, load))
    totals = total_lines(plan)
    flow.place(HEADING + TOTAL_ROW * len(totals) + 6, partial(_totals, paper, totals))
    for number, draws in enumerate(flow.pages, 1):
        paper.furniture(
            document="Cut plan",
            page=number,
            pages=len(flow.pages),
            printed_at_text=printed_at_text,
            note=plan.said,
        )
        _plan_head(paper, plan, top, is_first=number == 1)
        for placed in draws:
            placed.draw()
        paper.end_page()


def _plan_head(paper: Paper, plan: CutPlanPaper, top: float, *, is_first: bool) -> None:
    metal = f"{clean(plan.material).capitalize()}, {plan.gauge} ga"
    width = paper.inner - CODE_PANEL - 12
    if not is_first:
        paper.line(f"Cut plan {plan.number}", MARGIN, top - 30, width, 22, font=BOLD)
        paper.line_right(metal, MARGIN + paper.inner, top - 30, CODE_PANEL, 14)
        return
    if plan.stamp:
        stamp_panel(paper, plan.stamp, MARGIN + paper.inner, top)
    third = width / 3
    pieces = sum(not piece.is_off for sheet in plan.sheets for piece in sheet.pieces)
    for at, (name, value) in enumerate(
        (("Cut plan", plan.number), ("Sheets", len(plan.sheets)), ("Pieces", pieces))
    ):
        paper.line(name, MARGIN + at * third, top - 12, third - 8, SMALL)
        paper.line(str(value), MARGIN + at * third, top - 43, third - 8, 34, font=BOLD, floor=18)
    for at, (name, value) in enumerate(
        (("Material", metal), ("", ""), ("Metal used", percent(plan.utilisation)))
    ):
        paper.line(name, MARGIN + at * third, top - 60, third - 8, SMALL)
        paper.line(value, MARGIN + at * third, top - 80, (2 if not at else 1) * third - 8, 18, font=BOLD)
    paper.line(
        "Loads in the order of cutting. In each load the sheet at the front of the table comes first.",
        MARGIN,
        top - 104,
        paper.inner,
        BODY,
        floor=SMALL,
    )


def _sheet_row(paper: Paper, sheet: CutSheetPaper, load: int, top: float) -> None:
    widths = widths_of(paper, PLAN_COLUMNS)
    lefts = [MARGIN + sum(widths[:at]) for at in range(len(widths))]
    picture = small_picture(sheet.drawing, width=widths[0] - 10)
    if picture.height > SHEET_ROW - 8:
        picture = small_picture(sheet.drawing, width=(widths[0] - 10) * (SHEET_ROW - 8) / picture.height)
    place = sheet.place or "alone on the table"
    begins = f", begins at {inches(sheet.offset)}" if sheet.offset else ""
    code = grouped(sheet.code) or "not sent"
    count = sum(not piece.is_off for piece in sheet.pieces)
    with paper.tag("Table", key=load), paper.tag("TR"):
        with paper.tag("TD", alt="The sheet with its pieces, small"):
            draw_picture(
                paper.canvas,
                picture,
                MARGIN,
                top - 4 - picture.height,
                font=MONO,
                strong=MONO_BOLD,
                weight=0.4,
            )
        with paper.tag("TD"):
            paper.line(f"Sheet {sheet.position}", lefts[1], top - 16, widths[1] - 6, 14, font=BOLD)
            paper.line(stock_text(sheet), lefts[1], top - 30, widths[1] - 6, 11, floor=8)
            paper.line(f"{place}{begins}", lefts[1], top - 43, widths[1] - 6, SMALL, floor=8)
        with paper.tag("TD"):
            paper.line(code, lefts[2], top - 16, widths[2] - 6, BODY, font=MONO_BOLD, floor=9)
        with paper.tag("TD"):
            paper.line(str(count), lefts[3], top - 16, widths[3] - 6, 14, font=BOLD)
        with paper.tag("TD"):
            paper.line(percent(sheet.utilisation), lefts[4], top - 16, widths[4] - 6, BODY)
        with paper.tag("TD"):
            _remnant(paper, sheet, lefts[5], widths[5], top)
    paper.rule(top - SHEET_ROW + 1, weight=0.3, right=MARGIN + paper.inner)


def _remnant(paper: Paper, sheet: CutSheetPaper, left: float, width: float, top: float) -> None:
    if not sheet.drawing.remnant:
        paper.line("none", left, top - 16, width, BODY)
        return
    paper.line(size_words(*sheet.drawing.remnant[2:]), left, top - 16, width, BODY, floor=8)
    if sheet.drawing.remnant_code:
        paper.line(grouped(sheet.drawing.remnant_code), left, top - 31, width, BODY, font=MONO_BOLD)


def total_lines(plan: CutPlanPaper) -> list[str]:
    """What the plan takes and gives, a line each: loads, metal by size, pieces, remnants."""
    loads = len({sheet.load for sheet in plan.sheets})
    found = [f"{counted(len(plan.sheets), 'sheet')} in {counted(loads, 'load')} of the table."]
    sizes: dict[str, list[CutSheetPaper]] = {}
    for sheet in plan.sheets:
        key = f"{inches(sheet.drawing.width)} coil" if sheet.drawing.is_coil else stock_text(sheet)
        sizes.setdefault(key, []).append(sheet)
    for size, sheets in sizes.items():
        if sheets[0].drawing.is_coil:
            whole = sum(sheet.drawing.used_length for sheet in sheets)
            found.append(f"{size}: {counted(len(sheets), 'length')}, {inches(whole)} together.")
        else:
            found.append(f"{size}: {counted(len(sheets), 'sheet')}.")
    area = sum(sheet.drawing.width * sheet.drawing.shown_length for sheet in plan.sheets) / IN2_PER_FT2
    kept = [sheet.drawing.remnant for sheet in plan.sheets if sheet.drawing.remnant]
    back = sum(wide * long for _, _, wide, long in kept) / IN2_PER_FT2
    metal = f"Metal taken {area:.1f} sq ft"
    found.append(
        f"{metal}; {counted(len(kept), 'remnant')} to keep, {back:.1f} sq ft." if kept else f"{metal}."
    )
    return found


def _totals(paper: Paper, lines: Sequence[str], top: float) -> None:
    heading(paper, "Together", top)
    y = top - HEADING - 14
    for line in lines:
        paper.line(line, MARGIN, y, paper.inner, BODY)
        y -= TOTAL_ROW


__all__ = ["cut_plan_pdf", "total_lines"]
