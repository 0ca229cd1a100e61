"""Flat patterns at 1:1 on pages as large as they are: for a plotter, or for laying out by hand."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from io import BytesIO
from typing import Any

from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFObject, PDFPage, PDFString
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from fittings.drawing.dxf import LAYERS, factor_of
from fittings.drawing.facts import Development, fitting_text
from fittings.drawing.sheet import Part, parts
from shared.tagging import Tags
from shared.units import MM_PER_IN, decimal_text

FONT, BOLD = "Helvetica", "Helvetica-Bold"  # standard faces: every reader has them
CAPITAL = 0.718  # height of Helvetica's capitals, em; Adobe font metrics
PT = 72.0
LARGEST_PT = 14400.0  # 200 in: the largest page without a UserUnit, ISO 32000-1 annex C
MARGIN, HEAD, FOOT = 0.75 * PT, 0.8 * PT, 1.25 * PT
BAR_IN = {"in": 10.0, "mm": 250 / MM_PER_IN}
BAR_TEXT = {"in": "10 in", "mm": "250 mm"}
# Width and dashes [pt] by layer: what is cut is heaviest.
LINES = {"CUT": (1.0, ()), "MARK": (0.6, ()), "BEND": (0.6, (9, 3))}


def patterns_pdf(development: Development, unit: str = "in", *, title: str = "") -> bytes:
    """PDF of the flat patterns at full scale, one page a pattern or plate.

    development  in inches
    unit         "in" or "mm": of the words and of the scale bar, 10 in or 250 mm long
    title        stands on every page; left out: what the fitting is
    layers       CUT, MARK and TEXT as optional content, which readers can switch; head and scale bar are always there
    raises       ValueError for another unit
    """
    factor_of(unit)
    title = title or fitting_text(development)
    canvas = _LayeredCanvas(BytesIO(), lang="en-US", invariant=1, pageCompression=1, pdfVersion=(1, 7))
    canvas.setTitle(title)
    canvas.setSubject("Flat patterns at full scale")
    canvas.setCreator("Shop papers")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    tags = Tags(canvas)
    placed = parts(development)
    for number, part in enumerate(placed, 1):
        with tags.tag("Sect"):
            _page(canvas, tags, development, part, unit, title, f"{number} of {len(placed)}")
    return tags.finish(title=title)


def _page(
    canvas: _LayeredCanvas,
    tags: Tags,
    development: Development,
    part: Part,
    unit: str,
    title: str,
    page: str,
) -> None:
    left, bottom, right, top = part.box
    wide, high = (right - left) * PT, (top - bottom) * PT
    words = _words(development, part, unit, page)
    widest = max(
        BAR_IN[unit] * PT, *(stringWidth(text, font, size) for text, font, size in _head(title, words))
    )
    page_wide = max(wide, widest) + 2 * MARGIN
    page_high = high + 2 * MARGIN + HEAD + FOOT
    canvas.begin(page_wide, page_high)
    y = page_high - MARGIN
    for number, (text, font, size) in enumerate(_head(title, words)):
        y -= size
        canvas.setFont(font, size)
        with tags.tag("P" if number else "H1"):
            canvas.drawString(MARGIN, y, text)
        y -= 0.45 * size
    with tags.tag("P"):
        _scale_bar(canvas, unit)
    canvas.translate(MARGIN - left * PT, MARGIN + FOOT - bottom * PT)
    with tags.tag("Figure", alt=f"Flat pattern at full scale: {part.text}"):
        _pattern(canvas, part)
    tags.end_page()


def _pattern(canvas: _LayeredCanvas, part: Part) -> None:
    with canvas.layer("CUT"):
        _strokes(canvas, (part.cut, *part.holes), "CUT", closed=True)
    with canvas.layer("MARK"):
        _strokes(canvas, [mark.line for mark in part.marks if mark.angle is None], "MARK")
        _strokes(canvas, [mark.line for mark in part.marks if mark.angle is not None], "BEND")
    with canvas.layer("TEXT"):
        place = part.place
        canvas.saveState()
        canvas.translate(place.x * PT, place.y * PT)
        canvas.rotate(math.degrees(place.angle))
        canvas.setFont(FONT, place.height * PT / CAPITAL)
        canvas.drawString(0, 0, part.text)
        canvas.restoreState()


def _words(development: Development, part: Part, unit: str, page: str) -> list[str]:
    """What the sheet is cut from and how often, in two lines."""
    left, bottom, right, top = part.box
    count = part.group.count
    times = "once" if count == 1 else f"{count} times"
    metal = [str(development.get("material") or "").replace("_", " ").strip()]
    if development.get("gauge") is not None:
        metal.append(f"{development['gauge']} ga")
    if development.get("thickness"):
        thickness = float(development["thickness"]) * (MM_PER_IN if unit == "mm" else 1.0)
        metal.append(f"{decimal_text(thickness, 2 if unit == 'mm' else 4)} {unit}")
    factor = factor_of(unit)
    size = " × ".join(
        decimal_text(length * factor, 1 if unit == "mm" else 3) for length in (right - left, top - bottom)
    )
    return [
        f"{part.text}; pattern {part.group.pattern}, cut {times} for each fitting",
        f"{', '.join(word for word in metal if word)}; outside {size} {unit}; sheet {page}",
    ]


def _head(title: str, words: Sequence[str]) -> list[tuple[str, str, float]]:
    return [(title, BOLD, 15.0), *((text, FONT, 10.5) for text in words)]


def _scale_bar(canvas: Canvas, unit: str) -> None:
    """A bar with end ticks, whole inches or every 50 mm between them, and how to print it true."""
    bar, y = BAR_IN[unit] * PT, MARGIN + 0.45 * PT
    steps = 10 if unit == "in" else 5
    canvas.setLineWidth(1.0)
    canvas.setLineCap(0)
    canvas.line(MARGIN, y, MARGIN + bar, y)
    for step in range(steps + 1):
        x = MARGIN + bar * step / steps
        tick = 14.0 if step in (0, steps) else 5.0
        canvas.setLineWidth(1.0 if step in (0, steps) else 0.6)
        canvas.line(x, y, x, y + tick)
    canvas.setFont(BOLD, 10.5)
    canvas.drawCentredString(MARGIN + bar / 2, y + 9, BAR_TEXT[unit])
    canvas.setFont(FONT, 9.5)
    canvas.drawString(MARGIN, y - 14, "Print at 100 %, not fitted to the page; then measure:")
    canvas.drawString(
        MARGIN, y - 26, f"between the end ticks it must be {BAR_TEXT[unit]}, or do not cut by this sheet."
    )


def _strokes(canvas: Canvas, lines: Sequence, role: str, *, closed: bool = False) -> None:
    if not lines:
        return
    width, dashes = LINES[role]
    canvas.setLineWidth(width)
    canvas.setLineJoin(0)
    canvas.setDash(list(dashes) or ())
    path = canvas.beginPath()
    for points in lines:
        for number, (x, y) in enumerate(points):
            place = path.lineTo if number else path.moveTo
            place(x * PT, y * PT)
        if closed:
            path.close()
    canvas.drawPath(path, stroke=1, fill=0)
    canvas.setDash()


class _LayeredCanvas(Canvas):
    """A canvas whose pages have optional content groups and, where they exceed 200 in, a UserUnit."""

    def __init__(self, *args: Any, **words: Any):
        super().__init__(*args, **words)
        self._unit = 1
        document = self._doc
        self._groups = {
            name: document.Reference(
                PDFDictionary({"Type": PDFName("OCG"), "Name": PDFString(name)}), f"layer{name}"
            )
            for name, _ in LAYERS
        }
        every = PDFArray(list(self._groups.values()))
        shown = PDFDictionary({"Name": PDFString("Layers"), "Order": every, "ON": every})
        catalog = document.Catalog
        catalog.__NoDefault__ = [*catalog.__NoDefault__, "OCProperties"]
        catalog.OCProperties = PDFDictionary({"OCGs": every, "D": shown})

    def begin(self, wide: float, high: float) -> None:
        """The size of the next page [pt at full scale]."""
        self._unit = max(1, math.ceil(max(wide, high) / LARGEST_PT))
        self.setPageSize((wide / self._unit, high / self._unit))
        if self._unit > 1:
            self.scale(1 / self._unit, 1 / self._unit)

    @contextmanager
    def layer(self, name: str) -> Iterator[None]:
        self._code.append(f"/OC /{name} BDC")
        yield
        self._code.append("EMC")

    def showPage(self) -> None:  # noqa: N802  the library's name
        super().showPage()
        page = self._doc.Pages.pages[-1]
        page.__class__ = _LayeredPage
        page.groups = self._groups
        if self._unit > 1:
            page.__NoDefault__ = [*page.__NoDefault__, "UserUnit"]
            page.UserUnit = self._unit


class _LayeredPage(PDFPage):
    groups: dict[str, PDFObject]

    def check_format(self, document: Any) -> None:
        super().check_format(document)
        self.Resources.Properties = self.groups


__all__ = ["patterns_pdf"]
