"""The quote: each line with its small drawing, quantity and price; the total, how long it holds, and the terms."""

from __future__ import annotations

from decimal import Decimal
from functools import partial

from fittings.drawing import Scene
from fittings.drawing.pdf import draw_scene
from travelers.documents.data import QuotePaper, QuoteRow, Shop
from travelers.documents.flow import Flow
from travelers.documents.letterhead import address_height, address_lines
from travelers.documents.page import BODY, INNER, LETTER, LETTERHEAD, MARGIN, SMALL, TOP, Paper
from travelers.documents.text import BOLD, MONO, PLAIN, clean, day_text, wrap

LETTER_TOP = LETTER[1] - MARGIN - LETTERHEAD
HEAD_HEIGHT = 132.0
LATER_HEAD = 52.0
TABLE_HEAD = 20.0
TOTAL_HEIGHT = 44.0
LINE_HEIGHT = 13.75
DRAWING = 40.0
COLUMNS = (
    ("Line", 34.0),
    ("", DRAWING + 8),
    ("Description", 250.0),
    ("Qty", 46.0),
    ("Each", 74.0),
    ("Amount", 88.0),
)
RIGHT = (3, 4, 5)
MOST_LINES = 6
KEY = "lines"


def quote_pdf(data: QuotePaper, *, shop: Shop, printed_at_text: str = "") -> bytes:
    """One PDF of one page or more; page n of m, the table's head repeated.

    raises   ValueError for a quote without a row
    """
    if not data.rows:
        raise ValueError("there is nothing on the quote")
    paper = Paper(
        title=f"Quote {data.number} for order {data.order_number}",
        subject=f"{len(data.rows)} lines",
        shop=shop,
    )
    flow = Flow(LETTER_TOP - HEAD_HEIGHT - address_height(data.address), TOP - LATER_HEAD)
    flow.place(TABLE_HEAD, partial(_table_head, paper))
    for row in data.rows:
        texts = _texts(row)
        height = max(DRAWING + 6, 8 + LINE_HEIGHT * len(texts))
        if flow.room() < height:
            flow.need(height + TABLE_HEAD)
            flow.place(TABLE_HEAD, partial(_table_head, paper))
        flow.place(height, partial(_row, paper, data, row, texts, height))
    flow.place(TOTAL_HEIGHT, partial(_total, paper, data))
    for title, text in (("Note", data.note), ("Terms", data.terms)):
        _paragraph(flow, paper, title, text)
    for number, draws in enumerate(flow.pages, 1):
        paper.furniture(
            document="Quote",
            page=number,
            pages=len(flow.pages),
            printed_at_text=printed_at_text,
            note=f"Quote {data.number}",
            is_letter=True,
        )
        (_head if number == 1 else _later_head)(paper, data)
        for placed in draws:
            placed.draw()
        paper.end_page()
    return paper.finish()


def money(amount: Decimal, sign: str) -> str:
    """An amount with its sign. A sign of letters stands apart."""
    gap = " " if sign[-1:].isalpha() else ""
    return f"{sign}{gap}{amount:,.2f}"


def _texts(row: QuoteRow) -> list[tuple[str, str]]:
    """The description's lines with their font."""
    width = COLUMNS[2][1] - 8
    found = [(text, BOLD) for text in wrap(clean(row.text), BOLD, 11, width, 2)]
    second = f"{clean(row.metal)}; ends {clean(row.ends)}" if row.ends else clean(row.metal)
    found += [(text, PLAIN) for text in wrap(second, PLAIN, SMALL, width, 2)]
    if row.tag.strip():
        found += [(text, PLAIN) for text in wrap(f"Tag {clean(row.tag)}", PLAIN, SMALL, width, 2)]
    return found[:MOST_LINES]


def _head(paper: Paper, data: QuotePaper) -> None:
    half = INNER / 2 - 6
    right, top = MARGIN + half + 12, LETTER_TOP
    with paper.tag("P"):
        paper.line("Quote", MARGIN, top - 12, 60, SMALL)
        paper.line(str(data.number), MARGIN, top - 43, half, 34, font=BOLD, floor=28)
    with paper.tag("P"):
        paper.line("Customer", MARGIN, top - 60, 100, SMALL)
        paper.line(data.customer, MARGIN, top - 78, half, 18, font=BOLD, floor=SMALL)
    with paper.tag("P"):
        paper.line("Your purchase order", MARGIN, top - 95, half, SMALL)
        paper.line(data.purchase_order or "none yet", MARGIN, top - 110, half, 14, font=BOLD, floor=SMALL)
    again = f", version {data.version}" if data.version > 1 else ""
    for at, (name, value) in enumerate(
        (
            ("Date", day_text(data.made_on)),
            ("Valid until", day_text(data.valid_until)),
            ("Our order", f"{clean(data.order_number)}{again}"),
        )
    ):
        with paper.tag("P"):
            paper.line(name, right, top - 12 - 35 * at, half, SMALL)
            paper.line(value, right, top - 28 - 35 * at, half, 14, font=BOLD, floor=SMALL)
    address_lines(paper, data.address, top - 117)


def _later_head(paper: Paper, data: QuotePaper) -> None:
    with paper.artifact(is_pagination=True):
        paper.line(f"Quote {data.number}", MARGIN, TOP - 30, INNER / 2, 22, font=BOLD, floor=BODY)
        paper.line(data.customer, MARGIN + INNER / 2 + 6, TOP - 30, INNER / 2 - 6, 14, floor=SMALL)


def _table_head(paper: Paper, top: float) -> None:
    x = MARGIN
    with paper.tag("Table", key=KEY) as is_new, paper.tag("TR") if is_new else paper.artifact():
        for at, (name, width) in enumerate(COLUMNS):
            if name:
                with paper.tag("TH"):
                    if at in RIGHT:
                        paper.line_right(name, x + width, top - 12, width - 4, SMALL + 0.5)
                    else:
                        paper.line(name, x, top - 12, width - 4, SMALL + 0.5)
            x += width
    paper.rule(top - 17, weight=1.2)


def _row(
    paper: Paper, data: QuotePaper, row: QuoteRow, texts: list[tuple[str, str]], height: float, top: float
) -> None:
    base = top - 13
    starts = [MARGIN + sum(width for _, width in COLUMNS[:at]) for at in range(len(COLUMNS))]
    with paper.tag("Table", key=KEY), paper.tag("TR"):
        with paper.tag("TD"):
            paper.line(str(row.line), starts[0], base, COLUMNS[0][1] - 4, BODY)
        if row.drawing is not None:
            _drawing(paper, row.drawing, starts[1], top)
        with paper.tag("TD"):
            for at, (text, font) in enumerate(texts):
                size = 11 if font == BOLD else SMALL
                paper.line(text, starts[2], base - LINE_HEIGHT * at, COLUMNS[2][1] - 8, size, font=font)
        for at, text, font in (
            (3, f"{row.quantity:,}", BOLD),
            (4, money(row.unit_price, data.sign), PLAIN),
            (5, money(row.total, data.sign), BOLD),
        ):
            width = COLUMNS[at][1]
            with paper.tag("TD"):
                paper.line_right(text, starts[at] + width, base, width - 6, BODY, font=font, floor=7)
    paper.rule(top - height + 2, weight=0.3)


def _drawing(paper: Paper, drawing: Scene, left: float, top: float) -> None:
    """Beside the description, which says the same in words: it is not read out."""
    with paper.artifact():
        draw_scene(paper.canvas, drawing, left, top - DRAWING - 3, DRAWING, DRAWING, font=MONO, weight=0.6)
        paper.canvas.setFillGray(0)
        paper.canvas.setStrokeGray(0)
        paper.canvas.setDash()


def _total(paper: Paper, data: QuotePaper, top: float) -> None:
    pieces, lines = sum(row.quantity for row in data.rows), len(data.rows)
    paper.rule(top - 2, weight=1.2)
    counted = f"{pieces:,} fitting{'' if pieces == 1 else 's'} in {lines} line{'' if lines == 1 else 's'}"
    total = f"Total {money(data.total, data.sign)}"
    with paper.tag("P"):
        paper.line(counted, MARGIN, top - 21, INNER / 2, 14)
        paper.line_right(total, MARGIN + INNER - 6, top - 21, INNER / 2, 16, font=BOLD, floor=SMALL)


def _paragraph(flow: Flow, paper: Paper, title: str, text: str) -> None:
    """A title and its text, line by line, so that a long one goes on over the page."""
    if not text.strip():
        return
    lines = [
        line for part in text.splitlines() or [text] for line in (wrap(part, PLAIN, 11, INNER, 40) or [""])
    ]
    flow.need(18 + LINE_HEIGHT)
    flow.place(18, partial(_title, paper, title))
    for line in lines:
        flow.place(LINE_HEIGHT, partial(_text, paper, line))
    flow.place(8, lambda top: None)


def _title(paper: Paper, title: str, top: float) -> None:
    with paper.tag("H2"):
        paper.line(title, MARGIN, top - 13, INNER, BODY, font=BOLD)


def _text(paper: Paper, text: str, top: float) -> None:
    paper.line(text, MARGIN, top - 10, INNER, 11)
