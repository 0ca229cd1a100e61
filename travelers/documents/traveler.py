"""The traveler: what to make, every number it is made by, and the steps with room to write when all else is down.

The first page says what it is and shows it; the table of segments, the warnings, the steps with their cautions, the
patterns and the pieces' codes follow and flow over as many pages as they need. Each page carries the code.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Sequence
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


def travelers_pdf(
    sheets: Sequence[TravelerSheet],
    *,
    shop: Shop,
    printed_at_text: str,
    told: Callable[[int], object] = lambda done: None,
) -> bytes:
    """One PDF with a traveler a sheet, each with its own page count.

    sheets           at least one; equal developments should be the same object: each is then drawn once
    printed_at_text  as it is to be read, in the shop's zone ("Wed 25 Nov 2026, 13:02")
    told             called after each sheet with how many are done
    raises           ValueError without a sheet; what `told` raises
    """
    if not sheets:
        raise ValueError("there is no traveler to print")
    orders = sorted({sheet.order_number for sheet in sheets})
    title = f"Travelers of order {', '.join(orders[:5])}{' and more' if len(orders) > 5 else ''}"
    paper = Paper(title=title, subject=f"{len(sheets)} travelers", shop=shop)
    shared = Counter(_shared_key(sheet) for sheet in sheets)
    drawn: dict = {}
    for done, sheet in enumerate(sheets, 1):
        key = _shared_key(sheet)
        _write(paper, sheet, printed_at_text, drawn, key if shared[key] > 1 else None)
        told(done)
    return paper.finish()


def _shared_key(sheet: TravelerSheet) -> Hashable:
    """Sheets of one key have the same drawing, table and steps, in the same places."""
    tag = sheet.tag if blocks.is_tag_cut(sheet) else ""
    return (id(sheet.development), tuple(sheet.steps), tuple(sheet.cautions), tag)


def _write(paper: Paper, sheet: TravelerSheet, printed_at_text: str, drawn: dict, stamp: Hashable) -> None:
    """`stamp` names what is drawn once for several sheets and kept in `drawn`; None where this sheet stands alone."""
    pages = _laid_out(paper, sheet)
    with paper.tag("Sect"):
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
            for at, block in enumerate(placed):
                if stamp is None or not block.is_shared:
                    block.draw()
                elif (stamp, number, at) in drawn:
                    paper.tags.repeat(drawn[stamp, number, at])
                else:
                    with paper.tags.record() as drawn[stamp, number, at]:
                        block.draw()
            paper.end_page()


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
    """Order and tag, large; the code in its own panel, which nothing else enters. Read once, on the first page."""
    if not is_first:
        with paper.artifact(is_pagination=True):
            return _head_drawn(paper, sheet, size=13, font=PLAIN)
    return _head_drawn(paper, sheet, size=16, font=BOLD)


def _head_drawn(paper: Paper, sheet: TravelerSheet, *, size: float, font: str) -> None:
    right = MARGIN + INNER
    width = blocks.TAG_WIDTH
    with paper.tag("H1"):
        paper.line("Order", MARGIN, TOP - 12, 60, SMALL)
        paper.line(sheet.order_number, MARGIN, TOP - 43, width, 34, font=BOLD, floor=28)
    with paper.tag("P"):
        paper.line("Tag", MARGIN, TOP - 59, 60, SMALL)
        if sheet.tag.strip():
            paper.line(sheet.tag, MARGIN, TOP - 87, width, blocks.TAG_SIZE, font=BOLD, floor=blocks.TAG_FLOOR)
        else:
            paper.line("no tag", MARGIN, TOP - 80, width, 16)
    paper.line(fitting_text(sheet.development), MARGIN, TOP - 110, width, size, font=font)
    paper.code_panel(sheet.code, right, TOP, lot_text(sheet))


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
