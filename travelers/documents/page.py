"""A page of ours: the canvas with its metadata, letterhead, foot and code, and text put into boxes. Lengths in pt."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cached_property
from io import BytesIO
from typing import Any

from reportlab import rl_config
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from shared.codes import grouped
from shared.tagging import Tags
from travelers.documents.data import Shop
from travelers.documents.qr import MM, draw_qr, size_of
from travelers.documents.text import BOLD, MONO_BOLD, PLAIN, clean, fit, register_fonts, width_of, wrap

rl_config.useA85 = 0  # streams as bytes: half the time of a page went into writing them as text

LETTER = (612.0, 792.0)
MARGIN = 36.0
INNER = LETTER[0] - 2 * MARGIN
HEAD = 26.0  # the shop's line with its rule
LETTERHEAD = 74.0  # of the first page of a paper that goes to a customer, with its rule
LOGO = 18.0  # height of the logo in the shop's line
LOGO_WIDTH = 80.0
LETTER_LOGO, LETTER_LOGO_WIDTH = 56.0, 150.0
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
    """One PDF being written. Pages are LETTER unless a size is given.

    after_page  called after each page; the app lets scans that wait go first there
    """

    @staticmethod
    def after_page() -> None:
        pass

    def __init__(
        self,
        *,
        title: str,
        subject: str,
        shop: Shop,
        size: tuple[float, float] = LETTER,
        language: str = "en-US",
    ):
        register_fonts()
        self.shop = shop
        self.size = size
        self._title, self._language = clean(title), language
        self.canvas: Any = Canvas(
            BytesIO(), pagesize=size, lang=language, invariant=1, pageCompression=1, pdfVersion=(1, 7)
        )
        self.tags = Tags(self.canvas)
        self.tag, self.artifact = self.tags.tag, self.tags.artifact
        self.canvas.setTitle(self._title)
        self.canvas.setSubject(clean(subject))
        self.canvas.setAuthor(clean(shop.name))
        self.canvas.setCreator("Shop papers")
        self.canvas.setViewerPreference("DisplayDocTitle", "true")
        self._forms: dict[Any, str] = {}

    @property
    def inner(self) -> float:
        """Width between the margins of the page at hand."""
        return self.size[0] - 2 * MARGIN

    def turn(self, size: tuple[float, float]) -> None:
        """The size of this page and those after it; before anything is drawn on it."""
        self.size = size
        self.canvas.setPageSize(size)

    def end_page(self) -> None:
        """The page is done."""
        self.tags.end_page()
        self.after_page()

    def finish(self) -> bytes:
        return self.tags.finish(title=self._title, author=clean(self.shop.name), language=self._language)

    @contextmanager
    def form(self, key: Any) -> Iterator[bool]:
        """Draws a repeated thing once a document: yields True when it is to be drawn, at its place; then stamps it."""
        name = self._forms.get(key)
        if name is None:
            name = self._forms[key] = f"form{len(self._forms)}"
            with self.tags.unread():
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
        """One line with its base at y, shrunk or cut to the width; returns the size used. Outside a tag a paragraph."""
        if self.tags.is_loose:
            with self.tag("P"):
                return self.line(text, x, y, width, size, font=font, floor=floor)
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
        if self.tags.is_loose:
            with self.tag("P"):
                self.line_right(text, right, y, width, size, font=font, floor=floor)
            return
        text, size = fit(text, font, size, width, min(floor, size))
        self.canvas.setFont(font, size)
        self.canvas.drawRightString(right, y, text)

    def lines(
        self, text: str, x: float, y: float, width: float, size: float, *, font: str = PLAIN, most: int = 99
    ) -> float:
        """Wrapped lines, the first with its base at y; returns the base of the line after the last."""
        if self.tags.is_loose:
            with self.tag("P"):
                return self.lines(text, x, y, width, size, font=font, most=most)
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
        self,
        *,
        document: str,
        page: int,
        pages: int,
        printed_at_text: str,
        reprint: int = 0,
        note: str = "",
        is_letter: bool = False,
    ) -> None:
        """The shop above; page n of m, the time of printing and a reprint's mark below.

        is_letter  the paper goes to a customer: on its first page the shop's letterhead, LETTERHEAD high, stands above
        """
        if is_letter and page == 1:
            self._letterhead(document)
        else:
            with self.artifact(is_pagination=True):
                self._shop_line(document)
        with self.artifact(is_pagination=True):
            self._foot(page, pages, printed_at_text, reprint, note)

    def _shop_line(self, document: str) -> None:
        top, right = self.size[1] - MARGIN, MARGIN + self.inner
        left = MARGIN + self._logo(MARGIN, top - LOGO + 1, LOGO_WIDTH, LOGO)
        contact = "  ·  ".join(part for part in (clean(self.shop.address), clean(self.shop.phone)) if part)
        self.line(self.shop.name, left, top - 13, MARGIN + 200 - left, 13, font=BOLD)
        self.line(contact, MARGIN + 210, top - 13, 220, SMALL, floor=8)
        self.line_right(document, right, top - 13, 100, 13, font=BOLD)
        self.rule(top - 19, right=right)

    def _letterhead(self, document: str) -> None:
        """Logo, name, address and telephone as large as a letter has them; what it is at the right."""
        top, right = self.size[1] - MARGIN, MARGIN + self.inner
        left = MARGIN + self._logo(MARGIN, top - LETTER_LOGO, LETTER_LOGO_WIDTH, LETTER_LOGO)
        width = right - left - 180
        with self.tag("P"):
            y = top - 16
            self.line(self.shop.name, left, y, width, 18, font=BOLD)
            y = self.lines(self.shop.address, left, y - 16, width, 10.5, most=2)
            self.line(self.shop.phone, left, y - 1, width, 10.5)
        with self.tag("H1"):
            self.line_right(document, right, top - 18, 172, 20, font=BOLD, floor=12)
        self.rule(top - LETTERHEAD + 10, right=right, weight=1.2)

    def _logo(self, left: float, bottom: float, width: float, height: float) -> float:
        """The shop's picture in that box, from its left; returns the width taken with a gap, 0 without one.

        It says nothing that the name beside it does not say, so it is not read.
        """
        if not self.shop.logo:
            return 0.0
        picture = self._picture
        wide, high = picture.getSize()
        scale = min(width / wide, height / high)
        with self.artifact():
            self.canvas.saveState()
            self.canvas.translate(left, bottom + (height - scale * high) / 2)
            self.canvas.scale(scale * wide, scale * high)
            with self.form("logo") as is_new:
                if is_new:
                    self.canvas.drawImage(picture, 0, 0, 1, 1, mask="auto")
            self.canvas.restoreState()
        return scale * wide + 10

    @cached_property
    def _picture(self) -> ImageReader:
        return ImageReader(BytesIO(self.shop.logo))

    def _foot(self, page: int, pages: int, printed_at_text: str, reprint: int, note: str) -> None:
        canvas, right = self.canvas, MARGIN + self.inner
        base = MARGIN + 2
        self.rule(base + 13, weight=0.5, right=right)
        printed = f"Printed {printed_at_text}" if printed_at_text else ""
        self.line("  ·  ".join(part for part in (printed, note) if part), MARGIN, base, 300, SMALL, floor=8)
        self.line_right(f"Page {page} of {pages}", right, base, 100, BODY, font=BOLD)
        if reprint:
            text = f"Reprint {reprint}"
            wide = width_of(text, BOLD, BODY) + 10
            left = right - 110 - wide
            canvas.setLineWidth(1.2)
            canvas.rect(left, base - 4, wide, 15)
            self.line(text, left + 5, base, wide, BODY, font=BOLD)

    def code_panel(self, code: str, right: float, top: float, words: str) -> float:
        """The code, its text in groups of four, and what it is, in a panel of CODE_PANEL; returns its lower end."""
        left = right - CODE_PANEL
        text = grouped(code)
        with self.tag("Figure", alt=f"Code {text} to scan"):
            x = right - (CODE_PANEL + CODE_SIDE) / 2
            draw_qr(self.canvas, code, x, top - CODE_SIDE, module_mm=CODE_MODULE_MM)
        base = top - CODE_SIDE - CODE_SIZE * 0.75 - 2
        with self.tag("P"):
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
