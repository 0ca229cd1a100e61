"""The packing list: what leaves the door, counted and weighed, with a line to sign on."""

from __future__ import annotations

from functools import partial

from shared.units import KG_PER_LB
from travelers.documents.blocks import heading
from travelers.documents.data import PackingList, PackingRow, Shop
from travelers.documents.flow import Flow
from travelers.documents.page import BODY, CODE_PANEL, INNER, MARGIN, SMALL, TOP, Paper
from travelers.documents.text import BOLD, PLAIN, clean, day_text, fit, wrap

HEAD_HEIGHT = 176.0
LATER_HEAD = 52.0
COLUMNS = (
    ("Line", 36.0),
    ("Qty", 40.0),
    ("Description", 232.0),
    ("Tag", 104.0),
    ("lb each", 60.0),
    ("lb", 68.0),
)
TABLE_HEAD = 20.0
SIGNATURE_HEIGHT = 74.0
TOTAL_HEIGHT = 44.0


def packing_list_pdf(data: PackingList, *, shop: Shop, printed_at_text: str = "") -> bytes:
    """One PDF of one page or more; page n of m, the table's head repeated.

    raises   ValueError for a list without a row
    """
    if not data.rows:
        raise ValueError("there is nothing on the packing list")
    paper = Paper(
        title=f"Packing list of order {data.order_number}", subject=f"{len(data.rows)} lines", shop=shop
    )
    flow = Flow(TOP - HEAD_HEIGHT, TOP - LATER_HEAD)
    flow.place(TABLE_HEAD, partial(_table_head, paper))
    for row in data.rows:
        description = wrap(_description(row), PLAIN, 11, COLUMNS[2][1] - 6, 3)
        height = 8 + 13.75 * len(description)
        if flow.room() < height:
            flow.need(height + TABLE_HEAD)
            flow.place(TABLE_HEAD, partial(_table_head, paper))
        flow.place(height, partial(_row, paper, row, height))
    flow.place(TOTAL_HEIGHT, partial(_totals, paper, data))
    notes = wrap(data.notes, PLAIN, 11, INNER, 8) if data.notes.strip() else ()
    if notes:
        flow.place(8 + 13.75 * len(notes), partial(_notes, paper, data.notes))
    flow.place(SIGNATURE_HEIGHT, partial(_signature, paper))
    for number, draws in enumerate(flow.pages, 1):
        paper.furniture(
            document="Packing list",
            page=number,
            pages=len(flow.pages),
            printed_at_text=printed_at_text,
            reprint=data.reprint,
        )
        (_head if number == 1 else _later_head)(paper, data)
        for placed in draws:
            placed.draw()
        paper.end_page()
    return paper.finish()


def total_weight(rows) -> tuple[float, int]:
    """Pounds of the rows whose weight is known, and how many pieces have none."""
    known = sum(row.weight_each_lb * row.quantity for row in rows if row.weight_each_lb is not None)
    return known, sum(row.quantity for row in rows if row.weight_each_lb is None)


def _description(row: PackingRow) -> str:
    return ", ".join(part for part in (clean(row.description), clean(row.material)) if part)


def _head(paper: Paper, data: PackingList) -> None:
    width = INNER - CODE_PANEL - 12 if data.code else INNER
    with paper.tag("H1"):
        paper.line("Order", MARGIN, TOP - 12, 60, SMALL)
        paper.line(data.order_number, MARGIN, TOP - 43, width, 34, font=BOLD, floor=28)
    with paper.tag("P"):
        paper.line("Customer", MARGIN, TOP - 60, 100, SMALL)
        paper.line(data.customer, MARGIN, TOP - 78, width, 18, font=BOLD, floor=BODY)
    half = width / 2 - 6
    with paper.tag("P"):
        paper.line("Purchase order", MARGIN, TOP - 95, half, SMALL)
        paper.line(data.purchase_order or "none", MARGIN, TOP - 110, half, 14, font=BOLD)
    with paper.tag("P"):
        paper.line("Due", MARGIN + half + 12, TOP - 95, half, SMALL)
        paper.line(day_text(data.due_on), MARGIN + half + 12, TOP - 110, half, 14, font=BOLD)
    if data.code:
        paper.code_panel(data.code, MARGIN + INNER, TOP, f"Order {clean(data.order_number)}")
    if data.ship_to.strip():
        parts = [part for part in data.ship_to.splitlines() if part.strip()]
        with paper.tag("P"):
            paper.line("Ship to", MARGIN, TOP - 127, 100, SMALL)
            paper.lines(", ".join(parts), MARGIN, TOP - 141, INNER, 11, most=3)


def _later_head(paper: Paper, data: PackingList) -> None:
    with paper.artifact(is_pagination=True):
        order = f"Order {clean(data.order_number)}"
        paper.line(order, MARGIN, TOP - 30, INNER / 2, 22, font=BOLD, floor=BODY)
        paper.line(data.customer, MARGIN + INNER / 2 + 6, TOP - 30, INNER / 2 - 6, 14, floor=SMALL)


def _table_head(paper: Paper, top: float) -> None:
    x = MARGIN
    with paper.tag("Table", key="lines") as is_new, paper.tag("TR") if is_new else paper.artifact():
        for number, (name, width) in enumerate(COLUMNS):
            with paper.tag("TH"):
                if number >= 4:
                    paper.line_right(name, x + width, top - 12, width - 4, SMALL + 0.5)
                else:
                    paper.line(name, x, top - 12, width - 4, SMALL + 0.5)
            x += width
    paper.rule(top - 17, weight=1.2)


def _row(paper: Paper, row: PackingRow, height: float, top: float) -> None:
    base = top - 13
    starts = [MARGIN + sum(width for _, width in COLUMNS[:number]) for number in range(len(COLUMNS))]
    each, whole = "unknown", "unknown"
    if row.weight_each_lb is not None:
        each, whole = f"{row.weight_each_lb:.1f}", f"{row.weight_each_lb * row.quantity:.1f}"
    with paper.tag("Table", key="lines"), paper.tag("TR"):
        with paper.tag("TD"):
            paper.line(str(row.line), starts[0], base, COLUMNS[0][1] - 4, BODY)
        with paper.tag("TD"):
            paper.line(str(row.quantity), starts[1], base, COLUMNS[1][1] - 4, 14, font=BOLD)
        with paper.tag("TD"):
            paper.lines(_description(row), starts[2], base, COLUMNS[2][1] - 6, 11, most=3)
        with paper.tag("TD"):
            paper.line(row.tag, starts[3], base, COLUMNS[3][1] - 6, BODY, font=BOLD, floor=9)
        with paper.tag("TD"):
            paper.line_right(each, starts[4] + COLUMNS[4][1], base, COLUMNS[4][1] - 4, BODY)
        with paper.tag("TD"):
            paper.line_right(whole, starts[5] + COLUMNS[5][1], base, COLUMNS[5][1] - 4, BODY)
    paper.rule(top - height + 2, weight=0.3)


def _totals(paper: Paper, data: PackingList, top: float) -> None:
    pounds, unknown = total_weight(data.rows)
    pieces = sum(row.quantity for row in data.rows)
    lines = len(data.rows)
    paper.rule(top - 2, weight=1.2)
    counted = f"{pieces} fitting{'s' if pieces != 1 else ''} in {lines} line{'s' if lines != 1 else ''}"
    paper.line(counted, MARGIN, top - 20, INNER / 2, 16, font=BOLD)
    weight = f"{pounds:,.1f} lb ({pounds * KG_PER_LB:,.1f} kg)"
    if unknown:
        weight = f"{weight} and {unknown} not weighed"
    paper.line_right(weight, MARGIN + INNER, top - 20, INNER / 2, 16, font=BOLD, floor=SMALL)


def _notes(paper: Paper, notes: str, top: float) -> None:
    paper.lines(notes, MARGIN, top - 12, INNER, 11, most=8)


def _signature(paper: Paper, top: float) -> None:
    heading(paper, "Received in good order, counted", top)
    x = MARGIN
    for name, width in (("Name", 180.0), ("Signature", 216.0), ("Date", 120.0)):
        paper.canvas.setLineWidth(0.75)
        paper.canvas.line(x, top - 58, x + width, top - 58)
        shown, size = fit(name, PLAIN, SMALL, width, 8)
        paper.line(shown, x, top - 69, width, size)
        x += width + 12
