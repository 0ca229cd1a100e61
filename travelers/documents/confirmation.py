"""The order confirmation: what was understood, line by line, for the customer to hold against what was asked."""

from __future__ import annotations

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
from travelers.documents.page import INNER, MARGIN, SMALL, Paper
from travelers.documents.text import BOLD, clean, day_text

HEAD_HEIGHT = 3 * FACT + 14
TOTAL_HEIGHT = 34.0


@dataclass(frozen=True)
class ConfirmedLine:
    """`ends` as they are read ("A flange, B raw"); weight of one fitting [lb], 0 where it is not known."""

    line: int
    quantity: int
    description: str
    material: str
    ends: str = ""
    tag: str = ""
    weight_each_lb: float = 0.0


@dataclass(frozen=True)
class Confirmation:
    """`stamp` says what is not final ("Draft: …"); blank for an order that was released."""

    order_number: str
    customer: str
    lines: tuple[ConfirmedLine, ...]
    ordered_on: date | None = None
    purchase_order: str = ""
    contact: str = ""
    address: str = ""
    due_on: date | None = None
    notes: str = ""
    stamp: str = ""
    version: int = 1


COLUMNS = (
    LineColumn("Line", 30, lambda row: str(row.line)),
    LineColumn("Qty", 38, lambda row: f"{row.quantity:,}", font=BOLD),
    LineColumn("What", 172, lambda row: row.description, is_long=True),
    LineColumn("Metal", 84, lambda row: row.material, is_long=True),
    LineColumn("Ends", 84, lambda row: row.ends, is_long=True),
    LineColumn("Tag", 76, lambda row: row.tag, is_long=True, font=BOLD),
    LineColumn("lb each", 50, lambda row: _pounds(row.weight_each_lb), is_right=True),
)


def confirmation_pdf(data: Confirmation, *, shop: Shop, printed_at_text: str) -> bytes:
    """One PDF of one page or more.

    raises  ValueError for an order without a line
    """
    if not data.lines:
        raise ValueError("there is no line to confirm")
    order = f"Order {clean(data.order_number)}"
    paper = Paper(title=f"Order confirmation {data.order_number}", subject=order, shop=shop)
    flow = letter_flow(HEAD_HEIGHT + address_height(data.address) + (24 if data.stamp else 0))
    line_table(flow, paper, COLUMNS, data.lines)
    flow.place(TOTAL_HEIGHT, partial(_totals, paper, data))
    if data.notes.strip():
        flow.need(60)
        flow.place(24, partial(heading, paper, "Notes"))
        paragraph(flow, paper, data.notes)
    paragraph(
        flow,
        paper,
        "Sizes are inside dimensions. Hold this against your order and tell us what differs.",
    )
    return letter_pages(
        paper,
        flow,
        document="Order confirmation",
        of=order,
        customer=data.customer,
        head=partial(_head, paper, data),
        printed_at_text=printed_at_text,
    )


def _head(paper: Paper, data: Confirmation, top: float) -> None:
    changed = f", version {data.version}" if data.version > 1 else ""
    rows = [
        [("Order", f"{clean(data.order_number)}{changed}"), ("Ordered", day_text(data.ordered_on))],
        [("Customer", data.customer), ("Contact", data.contact or "none")],
        [("Your purchase order", data.purchase_order or "none"), ("Due", day_text(data.due_on))],
    ]
    facts(paper, rows, top)
    address_lines(paper, data.address, top - 3 * FACT)
    stamp_box(paper, data.stamp, top - 3 * FACT - address_height(data.address))


def _totals(paper: Paper, data: Confirmation, top: float) -> None:
    pieces = sum(line.quantity for line in data.lines)
    weight = sum(line.quantity * line.weight_each_lb for line in data.lines)
    unknown = sum(line.quantity for line in data.lines if not line.weight_each_lb)
    words = f"{counted(pieces, 'fitting')} in {counted(len(data.lines), 'line')}"
    with paper.tag("P"):
        paper.line(words, MARGIN, top - 20, INNER / 2, 14, font=BOLD)
        known = weight_text(weight) + (f" and {unknown:,} not weighed" if unknown else "")
        paper.line_right(known, MARGIN + INNER, top - 20, INNER / 2 - 6, 14, font=BOLD, floor=SMALL)


def _pounds(weight: float) -> str:
    return f"{weight:,.1f}" if weight else "unknown"


__all__ = ["Confirmation", "ConfirmedLine", "confirmation_pdf"]
