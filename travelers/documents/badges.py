"""Operators' badges as cards to cut out: the size of a bank card, eight a page, with marks to cut along.

The code is at the right, as large as the card takes; the shop, the name and the code's text at the left. Lengths in pt.
"""

from __future__ import annotations

from collections.abc import Sequence

from shared.codes import grouped
from travelers.documents.data import BadgeCard, Shop
from travelers.documents.page import LETTER, Paper, mm
from travelers.documents.qr import draw_qr, size_of
from travelers.documents.text import BOLD, MONO_BOLD, clean, wrap

CARD = (mm(85.6), mm(54.0))  # ISO/IEC 7810 ID-1 is 85.60 × 53.98 mm
COLUMNS, ROWS = 2, 4
PER_PAGE = COLUMNS * ROWS
GAP = mm(5)
MODULE_MM = 1.25
PAD = 9.0
MARK, MARK_OFF = 9.0, 2.0  # a cut mark's length, and how far it stays off the corner
NAME_SIZES = ((19.0, 3), (16.0, 4), (13.0, 4), (11.0, 5))
"""Sizes of a name, the largest first, each with the most lines that it may take."""


def badges_pdf(cards: Sequence[BadgeCard], *, shop: Shop) -> bytes:
    """Pages of cards, filled row by row.

    raises  ValueError without a card
    """
    if not cards:
        raise ValueError("there is no badge to print")
    count = f"{len(cards)} card{'' if len(cards) == 1 else 's'}"
    paper = Paper(title="Badges of operators", subject=count, shop=shop)
    for number, card in enumerate(cards):
        place = number % PER_PAGE
        if place == 0 and number:
            paper.end_page()
        _card(paper, card, *corner_of(place))
    paper.end_page()
    return paper.finish()


def corner_of(place: int) -> tuple[float, float]:
    """Lower left corner of a card on its page; places run along the rows, the top one first."""
    row, column = divmod(place, COLUMNS)
    wide = COLUMNS * CARD[0] + (COLUMNS - 1) * GAP
    high = ROWS * CARD[1] + (ROWS - 1) * GAP
    left = (LETTER[0] - wide) / 2 + column * (CARD[0] + GAP)
    top = (LETTER[1] + high) / 2 - row * (CARD[1] + GAP)
    return left, top - CARD[1]


def _card(paper: Paper, card: BadgeCard, x: float, y: float) -> None:
    _cut_marks(paper, x, y)
    side = size_of(MODULE_MM)
    width = CARD[0] - side - PAD - 3
    left, top = x + PAD, y + CARD[1] - PAD
    paper.line(paper.shop.name, left, top - 10, CARD[0] - 2 * PAD, 11, floor=7)
    paper.rule(top - 16, weight=0.75, left=left, right=x + CARD[0] - PAD)
    draw_qr(paper.canvas, card.code, x + CARD[0] - side - 3, y + 3, module_mm=MODULE_MM)
    size, lines = _name(card.name, width)
    base = top - 24 - size
    for at, line in enumerate(lines):
        paper.line(line, left, base - at * 1.2 * size, width, size, font=BOLD, floor=7)
    text = grouped(card.code)
    paper.line(text, left, y + PAD + 2, width, 16, font=MONO_BOLD, floor=9)


def _name(name: str, width: float) -> tuple[float, tuple[str, ...]]:
    """The largest size in which the name stands without a word broken; else the smallest, broken and cut."""
    for size, most in NAME_SIZES:
        lines = wrap(name, BOLD, size, width, most)
        if " ".join(lines) == clean(name):
            return size, lines
    return size, lines


def _cut_marks(paper: Paper, x: float, y: float) -> None:
    canvas = paper.canvas
    canvas.setLineWidth(0.4)
    for at_x, way_x in ((x, -1), (x + CARD[0], 1)):
        for at_y, way_y in ((y, -1), (y + CARD[1], 1)):
            canvas.line(at_x + way_x * MARK_OFF, at_y, at_x + way_x * (MARK_OFF + MARK / 2), at_y)
            canvas.line(at_x, at_y + way_y * MARK_OFF, at_x, at_y + way_y * (MARK_OFF + MARK / 2))
