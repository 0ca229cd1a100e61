"""The sheets of a station for a day without power: what is next there, its numbers, boxes to tick, codes to scan later.

Words come in the language that is spoken when it is drawn. Lengths in pt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from shared.codes import grouped
from shared.words import say
from travelers.documents.data import Shop
from travelers.documents.flow import Flow
from travelers.documents.page import BODY, INNER, MARGIN, SMALL, TOP, Paper, mm
from travelers.documents.qr import draw_qr, size_of
from travelers.documents.text import BOLD, MONO_BOLD, clean

HEAD_HEIGHT, LATER_HEAD = 92.0, 34.0
MODULE_MM = 0.76  # nine dots of a 300 dpi printer
CODE_SIDE = size_of(MODULE_MM)
ROW = CODE_SIDE + 22.0
TICK = mm(9)
WRITE = 92.0
NUMBERS_LEFT = TICK + CODE_SIDE + 150.0
MOST_NUMBERS = 8
LANGUAGES = {"en": "en-US"}


@dataclass(frozen=True)
class StationPiece:
    """One piece, or one sheet to cut, as the tablet lists it.

    title, piece, size, due, why   as they are read; `why` is why it stands there
    numbers                        (label, value) of the operation
    """

    code: str
    title: str
    piece: str
    size: str = ""
    due: str = ""
    why: str = ""
    operation: str = ""
    numbers: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class StationSheet:
    """`more`: pieces that are ready there beyond those on the sheet."""

    station: str
    name: str
    operations: str
    pieces: Sequence[StationPiece]
    more: int = 0


def station_sheets_pdf(
    sheets: Sequence[StationSheet], *, shop: Shop, printed_at_text: str, language: str = "en"
) -> bytes:
    """One PDF, each station with its own page count.

    raises  ValueError without a station
    """
    if not sheets:
        raise ValueError("there is no station to print")
    names = ", ".join(sheet.station for sheet in sheets[:8])
    title = say("Work without power: {stations}", stations=names)
    paper = Paper(title=title, subject=title, shop=shop, language=LANGUAGES.get(language, language))
    for sheet in sheets:
        with paper.tag("Sect"):
            _write(paper, sheet, printed_at_text)
    return paper.finish()


def _write(paper: Paper, sheet: StationSheet, printed_at_text: str) -> None:
    flow = Flow(TOP - HEAD_HEIGHT, TOP - LATER_HEAD)
    for number, piece in enumerate(sheet.pieces, 1):
        flow.place(ROW, partial(_piece, paper, number, piece))
    if not sheet.pieces:
        flow.place(30, partial(_words, paper, say("Nothing is ready here.")))
    if sheet.more:
        flow.place(26, partial(_words, paper, say("{n} more are not on this sheet.", n=sheet.more)))
    for number, draws in enumerate(flow.pages, 1):
        paper.furniture(
            document=sheet.station,
            page=number,
            pages=len(flow.pages),
            printed_at_text=printed_at_text,
            note=sheet.name,
        )
        if number == 1:
            _head(paper, sheet)
        else:
            with paper.artifact(is_pagination=True):
                paper.line(
                    f"{sheet.station}  {clean(sheet.operations)}", MARGIN, TOP - 24, INNER, 16, font=BOLD
                )
        for placed in draws:
            placed.draw()
        paper.end_page()


def _head(paper: Paper, sheet: StationSheet) -> None:
    with paper.tag("H1"):
        paper.line(sheet.station, MARGIN, TOP - 30, INNER * 0.4, 28, font=BOLD, floor=14)
        paper.line_right(sheet.operations, MARGIN + INNER, TOP - 30, INNER * 0.56, 18, font=BOLD)
    text = say(
        "Work from above. Tick what is finished and write initials and time. "
        "When the power is back, scan the code of each ticked piece."
    )
    paper.lines(text, MARGIN, TOP - 50, INNER, BODY, most=3)


def _words(paper: Paper, text: str, top: float) -> None:
    paper.line(text, MARGIN, top - 18, INNER, 14, font=BOLD, floor=SMALL)


def _piece(paper: Paper, number: int, piece: StationPiece, top: float) -> None:
    canvas = paper.canvas
    bottom, base = top - ROW + 4, top - 13
    canvas.setLineWidth(0.75)
    canvas.rect(MARGIN, bottom, INNER, ROW - 4)
    canvas.setLineWidth(1.4)
    canvas.rect(MARGIN + 6, top - 10 - TICK, TICK, TICK)
    left = MARGIN + TICK + 10
    draw_at = (left, bottom + 16)
    words_left = left + CODE_SIDE + 6
    words = NUMBERS_LEFT - TICK - CODE_SIDE - 22
    with paper.tag("H2"):
        paper.line(
            f"{number}  {clean(piece.title)}", words_left, base - 2, words + 30, 14, font=BOLD, floor=8
        )
    with paper.tag("P"):
        y = base - 18
        for text, font in ((piece.piece, BOLD), (piece.size, ""), (piece.due, ""), (piece.why, "")):
            if text:
                paper.line(text, words_left, y, words, 10.5, floor=7, **({"font": font} if font else {}))
                y -= 13
    with paper.tag("Figure", alt=f"Code {grouped(piece.code)} to scan"):
        draw_qr(canvas, piece.code, *draw_at, module_mm=MODULE_MM)
    with paper.tag("P"):
        paper.line(grouped(piece.code), left, bottom + 6, CODE_SIDE + 4, 12, font=MONO_BOLD, floor=8)
    _numbers(paper, piece, MARGIN + NUMBERS_LEFT + 14, MARGIN + INNER - WRITE - 8, base)
    canvas.setLineWidth(1.2)
    canvas.rect(MARGIN + INNER - WRITE, bottom + 4, WRITE - 4, ROW - 12)
    with paper.artifact():
        paper.line(say("initials, time"), MARGIN + INNER - WRITE + 4, base - 2, WRITE - 12, 9, floor=6)


def _numbers(paper: Paper, piece: StationPiece, left: float, right: float, base: float) -> None:
    """In two columns: what it is in small, its value large under it."""
    width = (right - left) / 2
    with paper.tag("P"):
        if piece.operation:
            paper.line(piece.operation, left, base, right - left, 10, font=BOLD, floor=7)
        shown = piece.numbers[:MOST_NUMBERS]
        small, large, step = (8.0, 14.0, 29.0) if len(shown) <= 4 else (7.5, 10.5, 19.5)
        for at, (label, value) in enumerate(shown):
            x, y = left + (at % 2) * width, base - 12 - (at // 2) * step
            paper.line(label, x, y, width - 6, small, floor=5.5)
            paper.line(value, x, y - 1.25 * large + 3, width - 6, large, font=BOLD, floor=6)


__all__ = ["StationPiece", "StationSheet", "station_sheets_pdf"]
