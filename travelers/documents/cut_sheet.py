"""The paper of a sheet to cut: code, place on the table, picture, hazards, pieces in feed order. Lengths in pt."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import nullcontext
from functools import partial

from fittings.drawing.cut_sheet_pdf import draw_picture
from fittings.drawing.cut_sheet_picture import (
    SheetPicture,
    numbered,
    sheet_picture,
    size_words,
)
from fittings.drawing.dimensions import inches
from shared.codes import grouped
from shared.units import fraction_text
from travelers.documents.blocks import LOCAL_CODES, WRITE_BOX
from travelers.documents.cautions import caution_height, draw_caution
from travelers.documents.data import CutPieceRow, CutSheetPaper, Shop
from travelers.documents.flow import Flow
from travelers.documents.page import BODY, BOTTOM, CODE_PANEL, HEAD, LETTER, MARGIN, SMALL, Paper
from travelers.documents.text import BOLD, ELLIPSIS, MONO, MONO_BOLD, PLAIN, clean, fit

LANDSCAPE = (LETTER[1], LETTER[0])
PICTURE_TEXT = 10.0  # of dimensions; pieces have smaller numbers where they are small
HEAD_HEIGHT, LATER_HEAD = 164.0, 126.0
HEADING, TABLE_HEAD, ROW, NOTE = 22.0, 18.0, 17.0, 12.0
COLUMNS = (("No.", 30.0), ("Code", 92.0), ("Order", 70.0), ("Tag", 96.0), ("Piece", 120.0), ("Size", 132.0))
TAG_COLUMN = 3
LEAST = 8.0  # of a text in the list
FEWEST = 3  # rows under a heading, or they begin on the next page
Columns = Sequence[tuple[str, float]]
BOX_WIDTH, BOX_GAP = WRITE_BOX * 1.6, 10.0
PICTURE_GAP, LEAST_PICTURE, HIGHEST_PICTURE = 8.0, 150.0, 330.0
NOTHING = "–"
PIECES = "pieces"

# -- whole papers -------------------------------------------------------------------


def cut_sheet_pdf(sheet: CutSheetPaper, *, shop: Shop, printed_at_text: str) -> bytes:
    """One sheet alone."""
    title = f"Sheet {sheet.position} of cut plan {sheet.plan_number}"
    paper = Paper(title=title, subject=counted(len(sheet.pieces), "piece"), shop=shop)
    write_sheet(paper, sheet, printed_at_text)
    return paper.finish()


def place_text(sheet: CutSheetPaper) -> str:
    """Where it lies on the table: "Load 2, rear sheet: begins at 120 in"."""
    place = f", {sheet.place}" if sheet.place else ""
    begins = f": begins at {inches(sheet.offset)}" if sheet.offset else ": at the front of the table"
    return f"Load {sheet.load}{place}{begins}"


def stock_text(sheet: CutSheetPaper) -> str:
    """ "60 × 120 in", or "60 × 86 1/2 in of coil"."""
    size = size_words(sheet.drawing.width, sheet.drawing.shown_length)
    return f"{size} of coil" if sheet.drawing.is_coil else size


def remnant_text(sheet: CutSheetPaper) -> str:
    """What to keep of it, and what to write on that; of a coil, what to cut off."""
    if sheet.drawing.is_coil:
        return f"Cut {inches(sheet.drawing.used_length)} off the coil."
    if not sheet.drawing.remnant:
        return "No remnant to keep."
    size = size_words(*sheet.drawing.remnant[2:])
    code = sheet.drawing.remnant_code
    return f"Keep the remnant: {size}, write {grouped(code)} on it." if code else f"Keep the remnant: {size}."


def counted(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def percent(share: float) -> str:
    return f"{100 * share:.1f} %"


# -- a sheet ------------------------------------------------------------------------


def write_sheet(paper: Paper, sheet: CutSheetPaper, printed_at_text: str) -> None:
    size, picture = _picture(sheet)
    first, later = (one[1] - MARGIN - HEAD for one in (size, LETTER))
    flow = Flow(first - HEAD_HEIGHT, later - LATER_HEAD)
    flow.place(picture.height + PICTURE_GAP, partial(_draw_picture, paper, picture))
    _cautions(flow, paper, sheet)
    _pieces(flow, paper, sheet)
    with paper.tag("Sect"):
        for number, draws in enumerate(flow.pages, 1):
            is_first = number == 1
            paper.turn(size if is_first else LETTER)  # a list is read upright
            paper.furniture(
                document="Cut sheet",
                page=number,
                pages=len(flow.pages),
                printed_at_text=printed_at_text,
                note=f"Cut plan {sheet.plan_number}, sheet {sheet.position} of {sheet.sheets}",
            )
            with nullcontext() if is_first else paper.artifact(is_pagination=True):
                _head(paper, sheet, first if is_first else later, is_first=is_first)
            for placed in draws:
                placed.draw()
            paper.end_page()


def _picture(sheet: CutSheetPaper) -> tuple[tuple[float, float], SheetPicture]:
    """The page's size and the picture for it: upright, unless more pieces have their number on a wide page."""
    under = HEAD + HEAD_HEIGHT + PICTURE_GAP + _cautions_height(sheet)
    found = []
    for size in (LETTER, LANDSCAPE):
        width = size[0] - 2 * MARGIN
        room = min(size[1] - MARGIN - BOTTOM - under, HIGHEST_PICTURE)
        picture = sheet_picture(sheet.drawing, width=width, text_size=PICTURE_TEXT)
        if picture.height > room:  # a wide, short sheet: as high as there is room
            least = max(room, LEAST_PICTURE)
            width *= least / picture.height
            picture = sheet_picture(sheet.drawing, width=width, text_size=PICTURE_TEXT)
        found.append((size, picture))
        if numbered(picture) == len(picture.pieces):
            return found[-1]
    return max(found, key=lambda one: numbered(one[1]))


def _draw_picture(paper: Paper, picture: SheetPicture, top: float) -> None:
    x = MARGIN + (paper.inner - picture.width) / 2
    with paper.tag("Figure", alt="The sheet with its pieces, numbered as they are listed below"):
        draw_picture(paper.canvas, picture, x, top - picture.height, font=MONO, strong=MONO_BOLD, weight=0.8)


def _head(paper: Paper, sheet: CutSheetPaper, top: float, *, is_first: bool) -> None:
    """Plan, sheet and pieces, large; the code, or what stands in its stead, in a panel of its own."""
    right = MARGIN + paper.inner
    width = paper.inner - CODE_PANEL - 12
    metal = f"{clean(sheet.material).capitalize()}, {sheet.gauge} ga"
    count = sum(not piece.is_off for piece in sheet.pieces)
    x = MARGIN
    for role, share, upper, lower in (
        ("H1", 0.36, ("Cut plan", str(sheet.plan_number)), ("Material", metal)),
        ("P", 0.4, ("Sheet", f"{sheet.position} of {sheet.sheets}"), ("Stock", stock_text(sheet))),
        ("P", 0.24, ("Pieces", str(count)), ("Metal used", percent(sheet.utilisation))),
    ):
        wide = share * width - 14
        with paper.tag(role):
            paper.line(upper[0], x, top - 12, wide, SMALL)
            paper.line(upper[1], x, top - 43, wide, 34, font=BOLD, floor=18)
        with paper.tag("P"):
            paper.line(lower[0], x, top - 60, wide, SMALL)
            paper.line(lower[1], x, top - 78, wide, 16, font=BOLD, floor=SMALL)
        x += share * width
    if sheet.code:
        paper.code_panel(sheet.code, right, top, f"Sheet {sheet.position} of cut plan {sheet.plan_number}")
    else:
        stamp_panel(paper, sheet.stamp, right, top)
    paper.line(place_text(sheet), MARGIN, top - 102, width, 16, font=BOLD, floor=BODY)
    if is_first:
        paper.line(remnant_text(sheet), MARGIN, top - 124, width, 14, font=BOLD, floor=SMALL)
        paper.line(
            "The picture has the front of the table at the left. Front pieces are cut first.",
            MARGIN,
            top - 143,
            paper.inner,
            BODY,
            floor=SMALL,
        )


def stamp_panel(paper: Paper, text: str, right: float, top: float) -> None:
    """In the place of a code: what the paper is while it has none."""
    first, dash, rest = text.partition(" – ")
    lines = [f"{first} –", rest] if dash else [text]
    height = 20 * len(lines) + 14
    paper.canvas.setLineWidth(1.6)
    paper.canvas.rect(right - CODE_PANEL, top - 8 - height, CODE_PANEL, height)
    y = top - 8 - 21
    with paper.tag("P"):
        for line in lines:
            paper.line(line, right - CODE_PANEL + 8, y, CODE_PANEL - 16, 16, font=BOLD)
            y -= 20


def _caution_heights(sheet: CutSheetPaper) -> list[float]:
    """Of the panels on an upright page; on a wide one they are no higher."""
    width = LETTER[0] - 2 * MARGIN - BOX_WIDTH - BOX_GAP
    return [caution_height(caution, width) + 3 for caution in sheet.cautions]


def _cautions_height(sheet: CutSheetPaper) -> float:
    return max(WRITE_BOX, sum(_caution_heights(sheet))) + 18


def _cautions(flow: Flow, paper: Paper, sheet: CutSheetPaper) -> None:
    """The hazards of cutting, and a box to write in when all else is down."""
    heights, height = _caution_heights(sheet), _cautions_height(sheet)

    def draw(top: float) -> None:
        y, left = top, MARGIN + paper.inner - BOX_WIDTH
        for caution, high in zip(sheet.cautions, heights, strict=True):
            draw_caution(paper, caution, MARGIN, y, width=left - BOX_GAP - MARGIN)
            y -= high
        paper.canvas.setLineWidth(1.2)
        paper.canvas.rect(left, top - WRITE_BOX, BOX_WIDTH, WRITE_BOX)
        with paper.artifact():
            paper.line("cut: initials, time", left + 4, top - 12, BOX_WIDTH - 8, SMALL, floor=8)
        paper.line(LOCAL_CODES, MARGIN, top - height + 7, paper.inner, BODY, font=BOLD)

    flow.place(height, draw)


# -- its pieces ---------------------------------------------------------------------


def _pieces(flow: Flow, paper: Paper, sheet: CutSheetPaper) -> None:
    title = "Pieces in the order of cutting, the front of the table first"
    for number, piece in enumerate(sheet.pieces):
        notes = _notes(piece)
        height = ROW + (NOTE if notes else 0.0)
        if not number or flow.room() < height:
            flow.need(HEADING + TABLE_HEAD + (height if number else FEWEST * ROW))
            words = f"{title}, continued" if number else title
            flow.place(HEADING, partial(heading, paper, words, again=bool(number)))
            flow.place(TABLE_HEAD, partial(table_head, paper, COLUMNS, PIECES))
        flow.place(height, partial(_piece_row, paper, piece, notes, height))


def heading(paper: Paper, text: str, top: float, *, again: bool = False) -> None:
    """`again`: it only says that something goes on from the page before, and is not read."""
    with paper.artifact() if again else paper.tag("H2"):
        paper.line(text, MARGIN, top - 15, paper.inner, 13, font=BOLD)
    paper.rule(top - 19, weight=1.2, right=MARGIN + paper.inner)


def widths_of(paper: Paper, columns: Columns) -> list[float]:
    """The columns' widths, together as wide as the page."""
    scale = paper.inner / sum(width for _, width in columns)
    return [width * scale for _, width in columns]


def table_head(paper: Paper, columns: Columns, key: object, top: float) -> None:
    """`key` names the table; where it goes on from another page its head is not read again."""
    x = MARGIN
    with paper.tag("Table", key=key) as is_new, paper.tag("TR") if is_new else paper.artifact():
        for (name, _), width in zip(columns, widths_of(paper, columns), strict=True):
            with paper.tag("TH"):
                paper.line(name, x, top - 11, width - 6, SMALL)
            x += width
    paper.rule(top - 15, weight=0.5, right=MARGIN + paper.inner)


def _is_tag_cut(piece: CutPieceRow) -> bool:
    return fit(piece.tag, BOLD, BODY, COLUMNS[TAG_COLUMN][1] - 6, LEAST)[0].endswith(ELLIPSIS)


def _notes(piece: CutPieceRow) -> str:
    """What stands under its row: what is not plain about it, and a tag that is too long for its column."""
    tag = [f"tag {clean(piece.tag)}"] if _is_tag_cut(piece) else []
    return ", ".join([*tag, *piece.notes])


def _piece_row(paper: Paper, piece: CutPieceRow, notes: str, height: float, top: float) -> None:
    widths = widths_of(paper, COLUMNS)
    base = top - 12.5
    size = f"{fraction_text(piece.long)} × {fraction_text(piece.wide)} in"
    cells = (
        (str(piece.feed), BOLD, 13.0),
        (grouped(piece.code), MONO_BOLD, 11.0),
        (piece.order_number, PLAIN, BODY),
        (piece.tag or NOTHING, BOLD, BODY),
        (piece.name, PLAIN, BODY),
        (size, MONO, 10.5),
    )
    note_at = TAG_COLUMN if _is_tag_cut(piece) else TAG_COLUMN + 1
    x = MARGIN
    with paper.tag("Table", key=PIECES), paper.tag("TR"):
        for at, ((text, font, points), width) in enumerate(zip(cells, widths, strict=True)):
            with paper.tag("TD"):
                paper.line(text, x, base, width - 6, points, font=font, floor=LEAST)
                if notes and at == note_at:
                    room = sum(widths[at:])
                    paper.line(notes, x, base - NOTE + 0.5, room, SMALL, floor=LEAST)
            x += width
    if piece.is_off:
        paper.canvas.setLineWidth(1.2)
        paper.canvas.line(MARGIN, base + 4, MARGIN + paper.inner - 6, base + 4)
    paper.rule(top - height + 0.8, weight=0.3, right=MARGIN + paper.inner)


__all__ = ["cut_sheet_pdf", "place_text", "remnant_text", "stock_text", "write_sheet"]
