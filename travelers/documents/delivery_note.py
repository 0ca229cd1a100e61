"""The delivery note: what left with this delivery, what is still to come, and who took it over. Lengths in pt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial

from travelers.documents.blocks import heading
from travelers.documents.data import Shop
from travelers.documents.letterhead import (
    FACT,
    address_height,
    address_lines,
    facts,
    letter_flow,
    letter_pages,
    paragraph,
    stamp_box,
)
from travelers.documents.line_table import LineColumn, counted, line_table, weight_text
from travelers.documents.page import BODY, INNER, MARGIN, SMALL, Paper
from travelers.documents.text import BOLD, clean, day_text

HEAD_HEIGHT = 3 * FACT + 14
TOTAL_HEIGHT = 34.0
BOX = (1000.0, 400.0)
"""The box that strokes are given in, y downwards."""
SIGNATURE_WIDTH = 220.0
CODES_A_ROW = 6
SIGNATURE_HEIGHT = SIGNATURE_WIDTH * BOX[1] / BOX[0]
Strokes = Sequence[Sequence[Sequence[float]]]


@dataclass(frozen=True)
class DeliveredLine:
    """`codes` of its fittings on this delivery, as they are read; weight of one fitting [lb], None where unknown."""

    line: int
    quantity: int
    ordered: int
    description: str
    tag: str = ""
    weight_each_lb: float | None = None
    codes: tuple[str, ...] = ()


@dataclass(frozen=True)
class DeliveryNote:
    """`left_to_come`: fittings of the order on no delivery yet. `stamp`: why the note is not to be used."""

    order_number: str
    number: int
    customer: str
    lines: tuple[DeliveredLine, ...]
    left_on: date
    purchase_order: str = ""
    contact: str = ""
    address: str = ""
    notes: str = ""
    left_to_come: int = 0
    received_by: str = ""
    received_text: str = ""
    strokes: Strokes = ()
    stamp: str = ""

    @property
    def name(self) -> str:
        return f"{self.order_number}-{self.number}"


COLUMNS = (
    LineColumn("Line", 30, lambda row: str(row.line)),
    LineColumn("Delivered", 64, lambda row: f"{row.quantity:,} of {row.ordered:,}", font=BOLD),
    LineColumn("What", 226, lambda row: row.description, is_long=True),
    LineColumn("Tag", 110, lambda row: row.tag, is_long=True, font=BOLD),
    LineColumn("lb each", 54, lambda row: _pounds(row.weight_each_lb), is_right=True),
    LineColumn("lb", 60, lambda row: _pounds(row.weight_each_lb, row.quantity), is_right=True),
)


def delivery_note_pdf(data: DeliveryNote, *, shop: Shop, printed_at_text: str) -> bytes:
    """One PDF of one page or more, with the signature, or with lines to sign on.

    raises  ValueError for a delivery of nothing
    """
    if not data.lines:
        raise ValueError("there is nothing on the delivery")
    name = clean(data.name)
    paper = Paper(title=f"Delivery note {name}", subject=f"Order {data.order_number}", shop=shop)
    flow = letter_flow(HEAD_HEIGHT + address_height(data.address) + (24 if data.stamp else 0))
    line_table(flow, paper, COLUMNS, data.lines)
    flow.place(TOTAL_HEIGHT, partial(_totals, paper, data))
    paragraph(flow, paper, data.notes)
    codes = [
        f"Line {row.line}: {', '.join(row.codes[start : start + CODES_A_ROW])}"
        for row in data.lines
        for start in range(0, len(row.codes), CODES_A_ROW)
    ]
    if codes:
        flow.need(60)
        flow.place(24, partial(heading, paper, "Codes of the fittings"))
        for text in codes:
            paragraph(flow, paper, text, 9, after=3)
    flow.place(34 + SIGNATURE_HEIGHT, partial(_received, paper, data))
    return letter_pages(
        paper,
        flow,
        document="Delivery note",
        of=f"Delivery {name}",
        customer=data.customer,
        head=partial(_head, paper, data),
        printed_at_text=printed_at_text,
    )


def _head(paper: Paper, data: DeliveryNote, top: float) -> None:
    rows = [
        [("Delivery", data.name), ("Date", day_text(data.left_on))],
        [("Customer", data.customer), ("Contact", data.contact or "none")],
        [("Order", data.order_number), ("Your purchase order", data.purchase_order or "none")],
    ]
    facts(paper, rows, top)
    address_lines(paper, data.address, top - 3 * FACT)
    stamp_box(paper, data.stamp, top - 3 * FACT - address_height(data.address))


def _totals(paper: Paper, data: DeliveryNote, top: float) -> None:
    pieces = sum(row.quantity for row in data.lines)
    known = sum(row.quantity * row.weight_each_lb for row in data.lines if row.weight_each_lb is not None)
    unknown = sum(row.quantity for row in data.lines if row.weight_each_lb is None)
    rest = f"{data.left_to_come:,} still to come" if data.left_to_come else "the order is complete"
    with paper.tag("P"):
        words = f"{counted(pieces, 'fitting')}; {rest}"
        paper.line(words, MARGIN, top - 20, INNER / 2 + 40, 14, font=BOLD, floor=SMALL)
        weight = weight_text(known) + (f" and {unknown:,} not weighed" if unknown else "")
        paper.line_right(weight, MARGIN + INNER, top - 20, INNER / 2 - 50, 14, font=BOLD, floor=SMALL)


def _received(paper: Paper, data: DeliveryNote, top: float) -> None:
    heading(paper, "Received in good order, counted", top)
    base = top - 26 - SIGNATURE_HEIGHT
    left = MARGIN + INNER - SIGNATURE_WIDTH
    words = (("Name", data.received_by), ("Date and time", data.received_text))
    for at, (name, value) in enumerate(words):
        y = top - 52 - 36 * at
        with paper.tag("P"):
            paper.line(name, MARGIN, y - 12, left - MARGIN - 20, SMALL)
            paper.line(value, MARGIN, y + 3, left - MARGIN - 20, 13, font=BOLD, floor=SMALL)
        paper.rule(y, right=left - 20)
    paper.rule(base + 10, left=left)
    paper.line("Signature", left, base - 2, SIGNATURE_WIDTH, SMALL)
    if data.strokes:
        with paper.tag("Figure", alt=f"Signature of {clean(data.received_by)}"):
            signature(paper, data.strokes, left, base + 12)
    elif data.received_by:
        paper.line("signed on paper", left, base + 16, SIGNATURE_WIDTH, BODY)


def signature(paper: Paper, strokes: Strokes, left: float, bottom: float) -> None:
    """The strokes as one path of lines, each from the first point on; a point alone is a dot."""
    canvas = paper.canvas
    scale = SIGNATURE_WIDTH / BOX[0]
    canvas.saveState()
    canvas.setLineWidth(1.4)
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    path = canvas.beginPath()
    for stroke in strokes:
        points = [(left + scale * x, bottom + scale * (BOX[1] - y)) for x, y in stroke]
        path.moveTo(*points[0])
        for point in points[1:] or points:
            path.lineTo(*point)
    canvas.drawPath(path, stroke=1, fill=0)
    canvas.restoreState()


def _pounds(weight: float | None, quantity: int = 1) -> str:
    return "unknown" if weight is None else f"{weight * quantity:,.1f}"


__all__ = ["BOX", "DeliveredLine", "DeliveryNote", "Strokes", "delivery_note_pdf"]
