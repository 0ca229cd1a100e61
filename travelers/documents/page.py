"""A page of ours: the canvas with its metadata, letterhead, foot and code, and text put into boxes. Lengths in pt."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import Any

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from shared.codes import grouped
from travelers.documents.data import Shop
from travelers.documents.qr import MM, draw_qr, size_of
from travelers.documents.text import BOLD, MONO_BOLD, PLAIN, clean, fit, register_fonts, width_of, wrap

rl_config.useA85 = 0  # streams as bytes: half the time of a page went into writing them as text

LETTER = (612.0, 792.0)
MARGIN = 36.0
INNER = LETTER[0] - 2 * MARGIN
HEAD = 26.0  # letterhead with its rule
FOOT = 18.0
TOP = LETTER[1] - MARGIN - HEAD  # where the body begins, downwards
BOTTOM = MARGIN + FOOT  # where it must have ended
SMALL = 10.0
BODY = 12.0
CODE_SIZE = 16.0
CODE_MODULE_MM = 1.0
CODE_SIDE = size_of(CODE_MODULE_MM)
CODE_PANEL = 150.0  # width kept for a code and its text


class Paper:
    """One PDF being written. Pages are LETTER unless a size is given."""

    def __init__(self, *, title: str, subject: str, shop: Shop, size: tuple[float, float] = LETTER):
        register_fonts()
        self.shop = shop
        self.size = size
        self._buffer = BytesIO()
        self.canvas: Any = Canvas(self._buffer, pagesize=size, lang="en-US", invariant=1, pageCompression=1)
        self.canvas.setTitle(clean(title))
        self.canvas.setSubject(clean(subject))
        self.canvas.setAuthor(clean(shop.name))
        self.canvas.setCreator("Shop papers")
        self.canvas.setViewerPreference("DisplayDocTitle", "true")
        self._forms: dict[Any, str] = {}

    def finish(self) -> bytes:
        self.canvas.save()
        return self._buffer.getvalue()

    @contextmanager
    def form(self, key: Any) -> Iterator[bool]:
        """Draws a repeated thing once a document: yields True when it is to be drawn, at its place; then stamps it."""
        name = self._forms.get(key)
        if name is None:
            name = self._forms[key] = f"form{len(self._forms)}"
            self.canvas.beginForm(name, 0, 0, *self.size)
            yield True
            self.canvas.endForm()
        else:
            yield False
        self.canvas.doForm(name)

    # -- text in boxes ------------------------------------------------------

    def line(
        self,
        text: str,
        x: float,
        y: float,
        width: float,
        size: float,
        *,
        font: str = PLAIN,
        floor: float = SMALL,
    ) -> float:
        """One line with its base at y, shrunk or cut to the width; returns the size used."""
        text, size = fit(text, font, size, width, min(floor, size))
        self.canvas.setFont(font, size)
        self.canvas.drawString(x, y, text)
        return size

    def line_right(
        self,
        text: str,
        right: float,
        y: float,
        width: float,
        size: float,
        *,
        font: str = PLAIN,
        floor: float = SMALL,
    ) -> None:
        text, size = fit(text, font, size, width, min(floor, size))
        self.canvas.setFont(font, size)
        self.canvas.drawRightString(right, y, text)

    def lines(
        self, text: str, x: float, y: float, width: float, size: float, *, font: str = PLAIN, most: int = 99
    ) -> float:
        """Wrapped lines, the first with its base at y; returns the base of the line after the last."""
        self.canvas.setFont(font, size)
        for line in wrap(text, font, size, width, most):
            self.canvas.drawString(x, y, line)
            y -= 1.25 * size
        return y

    def rule(
        self, y: float, *, weight: float = 0.75, left: float = MARGIN, right: float = MARGIN + INNER
    ) -> None:
        self.canvas.setLineWidth(weight)
        self.canvas.line(left, y, right, y)

    # -- what every page has ------------------------------------------------

    def furniture(
        self, *, document: str, page: int, pages: int, printed_at_text: str, reprint: int = 0, note: str = ""
    ) -> None:
        """Letterhead above; page n of m, the time of printing and a reprint's mark below."""
        canvas = self.canvas
        top = LETTER[1] - MARGIN
        contact = "  ·  ".join(part for part in (clean(self.shop.address), clean(self.shop.phone)) if part)
        self.line(self.shop.name, MARGIN, top - 13, 200, 13, font=BOLD)
        self.line(contact, MARGIN + 210, top - 13, 220, SMALL, floor=8)
        self.line_right(document, MARGIN + INNER, top - 13, 100, 13, font=BOLD)
        self.rule(top - 19)
        base = MARGIN + 2
        self.rule(base + 13, weight=0.5)
        printed = f"Printed {printed_at_text}" if printed_at_text else ""
        self.line("  ·  ".join(part for part in (printed, note) if part), MARGIN, base, 300, SMALL, floor=8)
        self.line_right(f"Page {page} of {pages}", MARGIN + INNER, base, 100, BODY, font=BOLD)
        if reprint:
            text = f"Reprint {reprint}"
            wide = width_of(text, BOLD, BODY) + 10
            left = MARGIN + INNER - 110 - wide
            canvas.setLineWidth(1.2)
            canvas.rect(left, base - 4, wide, 15)
            self.line(text, left + 5, base, wide, BODY, font=BOLD)

    def code_panel(self, code: str, right: float, top: float, words: str) -> float:
        """The code, its text in groups of four, and what it is, in a panel of CODE_PANEL; returns its lower end."""
        left = right - CODE_PANEL
        draw_qr(
            self.canvas, code, right - (CODE_PANEL + CODE_SIDE) / 2, top - CODE_SIDE, module_mm=CODE_MODULE_MM
        )
        text = grouped(code)
        base = top - CODE_SIDE - CODE_SIZE * 0.75 - 2
        self.canvas.setFillGray(0)
        self.canvas.setFont(MONO_BOLD, CODE_SIZE)
        self.canvas.drawCentredString((left + right) / 2, base, text)
        shown, size = fit(words, PLAIN, SMALL, CODE_PANEL, 8)
        self.canvas.setFont(PLAIN, size)
        self.canvas.drawCentredString((left + right) / 2, base - 13, shown)
        return base - 17


def mm(value: float) -> float:
    """Millimetres in pt."""
    return value * MM
