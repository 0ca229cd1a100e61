"""How papers to customers begin: a page that shows the letterhead alone, and what those papers share. Lengths in pt."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from travelers.documents.data import Shop
from travelers.documents.flow import Flow
from travelers.documents.page import BODY, HEAD, INNER, LETTER, LETTERHEAD, MARGIN, SMALL, Paper
from travelers.documents.text import BOLD, PLAIN, wrap

LETTER_TOP = LETTER[1] - MARGIN - LETTERHEAD  # where the body of a letter's first page begins, downwards
LATER_TOP = LETTER[1] - MARGIN - HEAD
LATER_HEAD = 46.0
LEADING = 1.25
FACT = 32.0
ADDRESS_SIZE, MOST_ADDRESS_ROWS = 11.0, 3


def letterhead_pdf(*, shop: Shop, printed_at_text: str) -> bytes:
    """One page with the letterhead, to look at before it goes out."""
    paper = Paper(title="Letterhead", subject="How papers begin", shop=shop)
    paper.furniture(document="Letterhead", page=1, pages=1, printed_at_text=printed_at_text, is_letter=True)
    text = "Order confirmations and delivery notes begin like this. Papers of the floor have the same in one line."
    paper.lines(text, MARGIN, LETTER_TOP - 24, INNER, BODY)
    paper.end_page()
    return paper.finish()


def letter_flow(head_height: float) -> Flow:
    """The pages of a letter: the first under letterhead and head, the others under a line that names it."""
    return Flow(LETTER_TOP - head_height, LATER_TOP - LATER_HEAD)


def letter_pages(
    paper: Paper,
    flow: Flow,
    *,
    document: str,
    of: str,
    customer: str,
    head: Callable[[float], None],
    printed_at_text: str,
) -> bytes:
    """Draws all: letterhead and `head` on the first page, `of` and the customer on the others, the foot on each."""
    for number, draws in enumerate(flow.pages, 1):
        paper.furniture(
            document=document,
            page=number,
            pages=len(flow.pages),
            printed_at_text=printed_at_text,
            note=of,
            is_letter=True,
        )
        if number == 1:
            head(LETTER_TOP)
        else:
            with paper.artifact(is_pagination=True):
                paper.line(of, MARGIN, LATER_TOP - 28, INNER / 2, 18, font=BOLD, floor=BODY)
                half = INNER / 2 - 6
                paper.line_right(customer, MARGIN + INNER, LATER_TOP - 28, half, 13, floor=SMALL)
        for placed in draws:
            placed.draw()
        paper.end_page()
    return paper.finish()


def facts(paper: Paper, rows: list[list[tuple[str, str]]], top: float) -> None:
    """Names with their values under them, a row beside each other."""
    for row in rows:
        width = INNER / len(row)
        for at, (name, value) in enumerate(row):
            with paper.tag("P"):
                paper.line(name, MARGIN + at * width, top - 10, width - 12, SMALL)
                paper.line(value, MARGIN + at * width, top - 25, width - 12, 13, font=BOLD, floor=SMALL)
        top -= FACT


def stamp_box(paper: Paper, stamp: str, top: float) -> None:
    """What the paper is not, in a frame; nothing where it is blank."""
    if stamp:
        paper.canvas.setLineWidth(1.2)
        paper.canvas.rect(MARGIN, top - 22, INNER, 20)
        paper.line(stamp, MARGIN + 8, top - 16, INNER - 16, 12, font=BOLD, floor=SMALL)


def address_height(address: str) -> float:
    """What `address_lines` takes; nothing where there is none."""
    rows = wrap(_in_a_row(address), PLAIN, ADDRESS_SIZE, INNER, MOST_ADDRESS_ROWS)
    return 16 + LEADING * ADDRESS_SIZE * len(rows) if address.strip() else 0.0


def address_lines(paper: Paper, address: str, top: float, name: str = "Address") -> None:
    """A postal address under its name, its lines one after the other."""
    if address.strip():
        with paper.tag("P"):
            paper.line(name, MARGIN, top - 10, INNER, SMALL)
            row = _in_a_row(address)
            paper.lines(row, MARGIN, top - 24, INNER, ADDRESS_SIZE, most=MOST_ADDRESS_ROWS)


def _in_a_row(address: str) -> str:
    return ", ".join(line.strip() for line in address.splitlines() if line.strip())


def paragraph(
    flow: Flow, paper: Paper, text: str, size: float = 11.0, *, most: int = 30, after: float = 6
) -> None:
    """A text on as many lines as it takes; nothing where it is blank."""
    count = len(wrap(text, PLAIN, size, INNER, most))
    if count:
        height = LEADING * size * count + after
        flow.place(height, partial(_paragraph, paper, text, size, most))


def _paragraph(paper: Paper, text: str, size: float, most: int, top: float) -> None:
    paper.lines(text, MARGIN, top - size, INNER, size, most=most)
