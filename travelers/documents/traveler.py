"""The traveler: what to make, every number it is made by, and the steps with room to write when all else is down.

The first page says what it is and shows it; the table of segments, the warnings, the steps with their cautions, the
patterns and the pieces' codes follow and flow over as many pages as they need. Each page carries the code.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Sequence
from functools import partial

from fittings.drawing import fitting_text
from travelers.documents import blocks
from travelers.documents.data import Shop, TravelerSheet
from travelers.documents.drawings import drawings
from travelers.documents.flow import Flow, Placed
from travelers.documents.page import INNER, MARGIN, SMALL, TOP, Paper
from travelers.documents.text import BOLD, PLAIN

HEAD_HEIGHT = 120.0  # of the first page's order, tag and code
LATER_HEAD = 120.0  # of the following pages


def travelers_pdf(sheets: Sequence[TravelerSheet], *, shop: Shop, printed_at_text: str) -> bytes:
    """One PDF with a traveler a sheet, each with its own page count.

    sheets           at least one; equal developments should be the same object: each is then drawn once
    printed_at_text  as it is to be read, in the shop's zone ("Wed 25 Nov 2026, 13:02")
    raises           ValueError without a sheet
    """
    if not sheets:
        raise ValueError("there is no traveler to print")
    orders = sorted({sheet.order_number for sheet in sheets})
    title = f"Travelers of order {', '.join(orders[:5])}{' and more' if len(orders) > 5 else ''}"
    paper = Paper(title=title, subject=f"{len(sheets)} travelers", shop=shop)
    shared = Counter(_shared_key(sheet) for sheet in sheets)
    for sheet in sheets:
        key = _shared_key(sheet)
        _write(paper, sheet, printed_at_text, stamp=key if shared[key] > 1 else None)
    return paper.finish()


def _shared_key(sheet: TravelerSheet) -> Hashable:
    """Sheets of one key have the same drawing, table and steps, in the same places."""
    tag = sheet.tag if blocks.is_tag_cut(sheet) else ""
    return (id(sheet.development), tuple(sheet.steps), tuple(sheet.cautions), tag)


def _write(paper: Paper, sheet: TravelerSheet, printed_at_text: str, *, stamp: Hashable | None) -> None:
    """`stamp` names what is drawn once for several sheets; None where this sheet stands alone."""
    pages = _laid_out(paper, sheet)
    for number, placed in enumerate(pages, 1):
        paper.furniture(
            document="Traveler",
            page=number,
            pages=len(pages),
            printed_at_text=printed_at_text,
            reprint=sheet.reprint,
            note=sheet.tables,
        )
        _head(paper, sheet, is_first=number == 1)
        shared = [block for block in placed if block.is_shared]
        if shared and stamp is not None:
            with paper.form((stamp, number)) as is_new:
                if is_new:
                    for block in shared:
                        block.draw()
        for block in placed:
            if stamp is None or not block.is_shared:
                block.draw()
        paper.canvas.showPage()


def _laid_out(paper: Paper, sheet: TravelerSheet) -> list[list[Placed]]:
    flow = Flow(TOP - HEAD_HEIGHT, TOP - LATER_HEAD)
    flow.place(0, partial(blocks.facts, paper, sheet))
    flow.place(blocks.PICTURE_HEIGHT, partial(blocks.picture, paper, sheet), is_shared=True)
    blocks.segment_table(flow, paper, sheet)
    blocks.warnings(flow, paper, sheet)
    blocks.route(flow, paper, sheet)
    drawings(flow, paper, sheet)
    blocks.pieces(flow, paper, sheet)
    return flow.pages


def _head(paper: Paper, sheet: TravelerSheet, *, is_first: bool) -> None:
    """Order and tag, large; the code in its own panel, which nothing else enters."""
    right = MARGIN + INNER
    width = blocks.TAG_WIDTH
    paper.code_panel(sheet.code, right, TOP, lot_text(sheet))
    paper.line("Order", MARGIN, TOP - 12, 60, SMALL)
    paper.line(sheet.order_number, MARGIN, TOP - 43, width, 34, font=BOLD, floor=28)
    paper.line("Tag", MARGIN, TOP - 59, 60, SMALL)
    if sheet.tag.strip():
        paper.line(sheet.tag, MARGIN, TOP - 87, width, blocks.TAG_SIZE, font=BOLD, floor=blocks.TAG_FLOOR)
    else:
        paper.line("no tag", MARGIN, TOP - 80, width, 16)
    size = 16 if is_first else 13
    paper.line(
        fitting_text(sheet.development), MARGIN, TOP - 110, width, size, font=BOLD if is_first else PLAIN
    )


def lot_text(sheet: TravelerSheet) -> str:
    """What the code stands for: "Lot of 12, line 3" or "Fitting 4 of 12, line 3"."""
    if sheet.quantity == 1 and sheet.line_quantity > 1:
        return f"Fitting {sheet.first_number} of {sheet.line_quantity}, line {sheet.line}"
    if sheet.quantity == 1:
        return f"One fitting, line {sheet.line}"
    if sheet.quantity < sheet.line_quantity:
        return (
            f"Fittings {sheet.first_number}–{sheet.last_number} of {sheet.line_quantity}, line {sheet.line}"
        )
    return f"Lot of {sheet.quantity}, line {sheet.line}"
