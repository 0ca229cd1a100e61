"""The parts of a traveler under its head. Lengths in pt; `top` is where a block begins, downwards."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from fittings.drawing import fitting_scene, fitting_text, positions_text
from fittings.drawing.pdf import draw_scene
from shared.codes import grouped
from shared.units import NO_BREAK, decimal_text
from travelers.documents.cautions import caution_height, draw_caution
from travelers.documents.columns import Column, draw_head, draw_row, table_columns
from travelers.documents.data import CautionRow, SegmentRow, StepRow, TravelerSheet
from travelers.documents.page import BODY, CODE_PANEL, INNER, MARGIN, SMALL, Paper, mm
from travelers.documents.segments import segment_rows, warning_texts
from travelers.documents.text import BOLD, ELLIPSIS, MONO, MONO_BOLD, PLAIN, clean, day_text, fit, wrap

TAG_SIZE, TAG_FLOOR, TAG_WIDTH = 30.0, 28.0, INNER - CODE_PANEL - 12

PICTURE_HEIGHT = 268.0
PICTURE_WIDTH = 330.0
FACTS_LEFT = MARGIN + PICTURE_WIDTH + 14
FACTS_WIDTH = INNER - PICTURE_WIDTH - 14

HEADING = 22.0
ROW = 31.0
TABLE_HEAD = 30.0
NARROWEST_TABLE = TABLE_HEAD + ROW

WRITE_BOX = mm(20)
STEP_GAP = 4.0
STEP_NAME = 120.0
CAUTIONS_LEFT = MARGIN + STEP_NAME + 6
CAUTIONS_WIDTH = INNER - STEP_NAME - 12 - WRITE_BOX * 1.6
LOCAL_CODES = "Follow local codes and your shop's safety program."


# -- what it is ---------------------------------------------------------------


def picture(paper: Paper, sheet: TravelerSheet, top: float) -> None:
    """The fitting from its side, with its dimensions."""
    height = PICTURE_HEIGHT - 12
    words = f"Side view with dimensions: {fitting_text(sheet.development)}"
    with paper.tag("Figure", alt=words), paper.form(("side", id(sheet.development), top)) as is_new:
        if is_new:
            scene = fitting_scene(sheet.development, width=PICTURE_WIDTH, height=height, text_size=13)
            draw_scene(paper.canvas, scene, MARGIN, top - height, PICTURE_WIDTH, height, font=MONO)


def facts(paper: Paper, sheet: TravelerSheet, top: float) -> None:
    """Beside the drawing, what the office knows."""
    height = PICTURE_HEIGHT - 12
    y = top - 6
    thickness = decimal_text(float(sheet.development.get("thickness") or 0), 4)
    quantity = str(sheet.quantity)
    if sheet.quantity < sheet.line_quantity:
        quantity = f"{sheet.quantity} of {sheet.line_quantity}"
    for name, value, size, most in (
        ("Due", day_text(sheet.due_on), 18, 1),
        ("Quantity", quantity, 18, 1),
        ("Material", f"{clean(sheet.material)}, {sheet.gauge} ga, {thickness}{NO_BREAK}in", 14, 2),
        ("Ends" if len(sheet.ends) > 1 else "End", ends_text(sheet), 14, 2),
        ("Customer", sheet.customer, 14, 2),
        ("Line, purchase order", f"{sheet.line}, {clean(sheet.purchase_order) or 'none'}", BODY, 1),
        ("From stock, not made again", sheet.from_stock, BODY, 4),
        ("Notes", sheet.notes, BODY, 3),
    ):
        if name[:4] in ("Note", "From") and not value.strip():
            continue
        with paper.tag("P"):
            paper.line(name, FACTS_LEFT, y - 8, FACTS_WIDTH, SMALL)
            base = y - 10 - size
            if most == 1:
                paper.line(value, FACTS_LEFT, base, FACTS_WIDTH, size, font=BOLD, floor=BODY)
                y -= 15 + size
            else:
                y = paper.lines(value, FACTS_LEFT, base, FACTS_WIDTH, size, font=BOLD, most=most) + size - 5
        if y - 30 < top - height:
            break


def ends_text(sheet: TravelerSheet) -> str:
    """The finish of each free end: "A Raw, B Raw, C Turned flange"."""
    return ", ".join(f"{letter} {clean(title)}" for letter, title in sheet.ends)


# -- the segments ----------------------------------------------------------------


def segment_table(flow: Any, paper: Paper, sheet: TravelerSheet) -> None:
    """One row a pattern, the fraction large and the decimal under it; the head is repeated on every page."""
    count = len(sheet.development["segments"])
    flow.need(HEADING + NARROWEST_TABLE)
    title = f"Segments of one fitting: {count}, in inches on the mean surface"
    flow.place(HEADING, partial(heading, paper, title), is_shared=True)
    rows = segment_rows(sheet.development)
    columns = table_columns(rows)
    flow.place(TABLE_HEAD - 12, partial(_table_head, paper, columns), is_shared=True)
    for row in rows:
        if flow.room() < ROW:
            flow.need(HEADING + NARROWEST_TABLE)
            flow.place(HEADING, partial(heading, paper, f"{title}, continued", again=True), is_shared=True)
            flow.place(TABLE_HEAD - 12, partial(_table_head, paper, columns), is_shared=True)
        flow.place(ROW, partial(_table_row, paper, columns, row), is_shared=True)
    flow.place(8, lambda top: None, is_shared=True)


def heading(paper: Paper, text: str, top: float, *, again: bool = False) -> None:
    """`again`: it only says that something goes on from the page before, and is not read."""
    with paper.artifact() if again else paper.tag("H2"):
        paper.line(text, MARGIN, top - 15, INNER, 13, font=BOLD)
    paper.rule(top - 19, weight=1.2)


def _table_head(paper: Paper, columns: Sequence[Column], top: float) -> None:
    with paper.tag("Table", key="segments") as is_new, paper.tag("TR") if is_new else paper.artifact():
        draw_head(paper, columns, MARGIN, top - 11)
    paper.rule(top - 16, weight=0.5)


def _table_row(paper: Paper, columns: Sequence[Column], row: SegmentRow, top: float) -> None:
    with paper.tag("Table", key="segments"), paper.tag("TR"):
        draw_row(paper, columns, row, MARGIN, top - 14)
    paper.rule(top - ROW + 1.5, weight=0.3)


def is_tag_cut(sheet: TravelerSheet) -> bool:
    return fit(sheet.tag, BOLD, TAG_SIZE, TAG_WIDTH, TAG_FLOOR)[0].endswith(ELLIPSIS)


def warnings(flow: Any, paper: Paper, sheet: TravelerSheet) -> None:
    """What is unusual about the fitting, and a tag that was cut above. No signal word: those are for bodies."""
    texts = [f"Unusual: {text}" for text in warning_texts(sheet.development)]
    if is_tag_cut(sheet):
        texts.insert(0, f"Tag in full: {sheet.tag}")
    for text in texts:
        lines = wrap(text, PLAIN, 11, INNER, 6)
        flow.place(len(lines) * 13.75 + 3, partial(_warning, paper, text), is_shared=True)


def _warning(paper: Paper, text: str, top: float) -> None:
    paper.lines(text, MARGIN, top - 11, INNER, 11, most=6)


# -- the steps ------------------------------------------------------------------------


def route(flow: Any, paper: Paper, sheet: TravelerSheet) -> None:
    """A panel a step: what, how, the hazards of it, and a box to write in."""
    left_over = list(sheet.cautions)
    for number, step in enumerate(sheet.steps, 1):
        here = [caution for caution in sheet.cautions if caution.operation == step.operation]
        left_over = [caution for caution in left_over if caution.operation != step.operation]
        height = _step_height(here)
        if number == 1:
            flow.need(HEADING + height)
            flow.place(HEADING, partial(_route_heading, paper), is_shared=True)
        flow.place(height + STEP_GAP, partial(_step, paper, number, step, here, height), is_shared=True)
    for caution in left_over:
        flow.place(
            caution_height(caution, INNER) + 3,
            partial(draw_caution, paper, caution, MARGIN, width=INNER),
            is_shared=True,
        )
    flow.place(18, partial(_local_codes, paper), is_shared=True)


def _route_heading(paper: Paper, top: float) -> None:
    heading(paper, "Steps", top)
    with paper.artifact():
        paper.line_right("initials, time", MARGIN + INNER, top - 15, 120, SMALL)


def _step_height(cautions: list[CautionRow]) -> float:
    return max(WRITE_BOX, 6 + sum(caution_height(caution, CAUTIONS_WIDTH) + 3 for caution in cautions))


def _step(
    paper: Paper, number: int, step: StepRow, cautions: list[CautionRow], height: float, top: float
) -> None:
    canvas = paper.canvas
    canvas.setLineWidth(0.75)
    canvas.rect(MARGIN, top - height, INNER, height)
    box = WRITE_BOX * 1.6
    canvas.setLineWidth(1.2)
    canvas.rect(MARGIN + INNER - box, top - WRITE_BOX, box, WRITE_BOX)
    x, width = MARGIN + 6, STEP_NAME - 6
    with paper.tag("P"):
        paper.line(f"{number}  {clean(step.name)}", x, top - 17, width, 15, font=BOLD)
        y = paper.lines(step.method, x, top - 31, width, 11, most=2) if step.method.strip() else top - 31
        each = _each(step)
        minutes = f", {step.minutes:.0f} min" if step.minutes is not None and step.minutes >= 0.5 else ""
        if y > top - height + 4:
            paper.line(f"{each}{minutes}", x, y, width, SMALL)
    y = top - 4
    for caution in cautions:
        draw_caution(paper, caution, CAUTIONS_LEFT, y, width=CAUTIONS_WIDTH)
        y -= caution_height(caution, CAUTIONS_WIDTH) + 3


def _each(step: StepRow) -> str:
    """What a scan of the step stands for: "each segment", "segments 2–4", "the fitting"."""
    if step.each != "segment":
        return "the fitting"
    if not step.positions:
        return "each segment"
    return f"segment{'s' if len(step.positions) > 1 else ''} {positions_text(step.positions)}"


def _local_codes(paper: Paper, top: float) -> None:
    paper.line(LOCAL_CODES, MARGIN, top - 13, INNER, BODY, font=BOLD)


# -- the pieces --------------------------------------------------------------------

PIECE_ROW = 14.0
CODE_COLUMN = 88.0
CODE_TEXT = 9.0


def pieces(flow: Any, paper: Paper, sheet: TravelerSheet) -> None:
    """The codes of the fittings and their segments, for typing one in when a label is lost."""
    if not sheet.pieces:
        return
    title = "Codes of the pieces"
    rows: list[tuple[str, list[str]]] = []
    for piece in sheet.pieces:
        cells = [f"{position:>2} {grouped(code)}" for position, code in piece.segments]
        rows.append((f"{piece.number}  {grouped(piece.code)}", cells[:5]))
        rows += [("", cells[start : start + 5]) for start in range(5, len(cells), 5)]
    flow.need(HEADING + 3 * PIECE_ROW)
    flow.place(HEADING, partial(heading, paper, title))
    for name, cells in rows:
        if flow.room() < PIECE_ROW:
            flow.need(HEADING + PIECE_ROW)
            flow.place(HEADING, partial(heading, paper, f"{title}, continued", again=True))
        flow.place(PIECE_ROW, partial(_piece_row, paper, name, cells))


def _piece_row(paper: Paper, name: str, cells: list[str], top: float) -> None:
    base = top - 11
    with paper.tag("P"):
        if name:
            paper.line(name, MARGIN, base, CODE_COLUMN, CODE_TEXT, font=MONO_BOLD, floor=7)
        for column, cell in enumerate(cells):
            x = MARGIN + CODE_COLUMN + 6 + column * (CODE_COLUMN + 2)
            paper.line(cell, x, base, CODE_COLUMN - 4, CODE_TEXT, font=MONO, floor=7)
