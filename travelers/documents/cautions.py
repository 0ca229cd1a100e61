"""Cautions on paper after ANSI Z535.4: word, triangle and border carry the meaning; colour only adds. Lengths in pt."""

from __future__ import annotations

from travelers.documents.data import CautionRow
from travelers.documents.page import SMALL, Paper
from travelers.documents.text import BOLD, PLAIN, clean, wrap

WORD_WIDTH = 84.0
LEADING = 1.25 * SMALL
# Fill of the word's panel and grey of its letters: safety red, orange and yellow, which print dark, middle and light.
PANELS = {
    "DANGER": ((0.78, 0.0, 0.05), 1.0),
    "WARNING": ((1.0, 0.52, 0.0), 0.0),
    "CAUTION": ((1.0, 0.86, 0.0), 0.0),
}


def caution_text(caution: CautionRow) -> str:
    """Hazard, then what to do, as sentences."""
    hazard = clean(caution.hazard).rstrip(".")
    hazard = hazard[:1].upper() + hazard[1:]
    return f"{hazard}. {clean(caution.text)}".strip()


def caution_height(caution: CautionRow, width: float) -> float:
    lines = wrap(caution_text(caution), PLAIN, SMALL, width - WORD_WIDTH - 10, 6)
    return max(18.0, len(lines) * LEADING + 6)


def draw_caution(paper: Paper, caution: CautionRow, x: float, top: float, *, width: float) -> None:
    """The bordered panel from its top left corner."""
    canvas = paper.canvas
    height = caution_height(caution, width)
    fill, letters = PANELS[caution.word]
    canvas.setFillColorRGB(*fill)
    canvas.rect(x, top - height, WORD_WIDTH, height, stroke=0, fill=1)
    canvas.setFillGray(letters)
    canvas.setStrokeGray(0)
    middle = top - height / 2
    _triangle(paper, x + 5, middle, letters)
    canvas.setLineWidth(1.2)
    canvas.rect(x, top - height, width, height)
    canvas.line(x + WORD_WIDTH, top - height, x + WORD_WIDTH, top)
    with paper.tag("P"):
        canvas.setFont(BOLD, 11)
        canvas.drawString(x + 22, middle - 4, caution.word)
        canvas.setFillGray(0)
        text = caution_text(caution)
        paper.lines(text, x + WORD_WIDTH + 5, top - SMALL - 2, width - WORD_WIDTH - 10, SMALL, most=6)


def _triangle(paper: Paper, left: float, middle: float, grey: float) -> None:
    """The safety alert symbol: a triangle round an exclamation mark."""
    canvas = paper.canvas
    side, high = 14.0, 12.2
    path = canvas.beginPath()
    path.moveTo(left, middle - high / 2)
    path.lineTo(left + side, middle - high / 2)
    path.lineTo(left + side / 2, middle + high / 2)
    path.close()
    canvas.setFillGray(grey)
    canvas.drawPath(path, stroke=0, fill=1)
    canvas.setFillGray(1 - grey)
    canvas.rect(left + side / 2 - 0.9, middle - 1.6, 1.8, 4.6, stroke=0, fill=1)
    canvas.rect(left + side / 2 - 0.9, middle - 4.6, 1.8, 1.8, stroke=0, fill=1)
    canvas.setFillGray(grey)
