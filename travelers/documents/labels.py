"""Labels, one a segment: a small drawing with its gore filled, what and whose it is, its pattern, and the code.

A label has the code at its right, as large as the height allows; the words take what is left. Small labels drop the
pattern first, then the drawing; the code, its text, order, tag and position always stand.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from fittings.drawing import fitting_text, icon_scene, pattern_icon, role_title, short_text
from fittings.drawing.pdf import draw_scene
from shared.codes import grouped
from travelers.documents.data import LabelFormat, LabelItem, Shop
from travelers.documents.page import Paper
from travelers.documents.qr import MM, size_of
from travelers.documents.qr import draw_qr as draw_code
from travelers.documents.text import BOLD, ELLIPSIS, MONO_BOLD, PLAIN, clean, day_text, fit, wrap
from travelers.sentences import piece_word

IN = 72.0
LEAST_MODULE_MM = 0.76  # nine dots of a 300 dpi printer
LARGEST_MODULE_MM = 1.0
PAD = 6.0  # kept free along the edges of a label
CODE_TEXT = 16.0


class LabelTooSmall(ValueError):
    """The format cannot hold a code that scans; `sentence` says what it needs."""

    def __init__(self, fmt: LabelFormat):
        least = size_of(LEAST_MODULE_MM) / IN
        self.sentence = (
            f"Labels of “{fmt.name}” are {fmt.width_in:g} × {fmt.height_in:g} in; "
            f"a code needs at least {2 * least:.2f} × {least:.2f} in."
        )
        super().__init__(self.sentence)


def labels_pdf(
    items: Sequence[LabelItem],
    fmt: LabelFormat,
    *,
    start_at: int = 1,
    shop: Shop | None = None,
    outlines: bool = False,
    told: Callable[[int], object] = lambda done: None,
) -> bytes:
    """Sheets of labels, filled row by row.

    start_at   the first label of the first sheet that is still there, from 1
    outlines   draw the labels' edges: for a trial print on plain paper
    told       called after each full sheet with how many labels are done
    raises     ValueError without an item or where start_at is not on the sheet; LabelTooSmall
    """
    if not items:
        raise ValueError("there is no label to print")
    if not 1 <= start_at <= fmt.per_page:
        raise ValueError(f"the first label is {start_at}; the sheet has 1 to {fmt.per_page}")
    if fmt.height_in * IN < size_of(LEAST_MODULE_MM) or fmt.width_in * IN < 2 * size_of(LEAST_MODULE_MM):
        raise LabelTooSmall(fmt)
    orders = sorted({item.order_number for item in items})
    paper = Paper(
        title=f"Labels of order {', '.join(orders[:5])}",
        subject=f"{len(items)} labels, {fmt.name}",
        shop=shop or Shop(""),
        size=(fmt.page_width_in * IN, fmt.page_height_in * IN),
    )
    for number, item in enumerate(items, start_at - 1):
        place = number % fmt.per_page
        if place == 0 and number > start_at - 1:
            paper.end_page()
            told(number - start_at + 1)
        row, column = divmod(place, fmt.columns)
        x = (fmt.left_in + column * fmt.pitch_x_in) * IN
        top = (fmt.page_height_in - fmt.top_in - row * fmt.pitch_y_in) * IN
        if outlines:
            paper.canvas.setLineWidth(0.3)
            paper.canvas.rect(x, top - fmt.height_in * IN, fmt.width_in * IN, fmt.height_in * IN)
        with paper.tag("Sect"):
            _label(paper, item, fmt, x, top)
    paper.end_page()
    return paper.finish()


def position_text(item: LabelItem) -> str:
    """ "gore 2 of 5", "piece 2 of 2", "one piece", or "fitting 4 of 12"."""
    if item.position is None:
        return f"fitting {item.fitting_number} of {item.line_quantity}"
    count = len(item.development["segments"])
    return "one piece" if count == 1 else f"{_word(item)} {item.position} of {count}"


def part_text(item: LabelItem) -> str:
    """What the piece is where they differ, and which plate of it: "branch", "run, plate 1 of 2"."""
    parts = []
    segments = item.development["segments"]
    if item.position is not None and len(segments) > 1 and _word(item) != "gore":
        parts.append(role_title(segments[item.position - 1]["role"]).lower())
    if item.plates > 1:
        parts.append(f"plate {item.plate} of {item.plates}")
    return ", ".join(parts)


def _word(item: LabelItem) -> str:
    return piece_word(segment["role"] for segment in item.development["segments"])


def _label(paper: Paper, item: LabelItem, fmt: LabelFormat, x: float, top: float) -> None:
    width, height = fmt.width_in * IN, fmt.height_in * IN
    code_right = x + width - (PAD if height >= 1.6 * IN else 2.0)
    code_left = _code(paper, item, code_right, top, height)
    left, right = x + PAD, code_left - (6 if height >= 1.6 * IN else 2)
    has_room = height >= 1.6 * IN and right - left >= 1.9 * IN
    if has_room:
        side = min(0.42 * (right - left), 0.46 * height)
        _drawing(paper, item, left, top - PAD - side, side)
        _tall_words(paper, item, left, right, top, height, side)
    else:
        side = min(0.34 * (right - left), height - 2 * PAD)
        if right - left >= 1.3 * IN:
            _drawing(paper, item, left, top - (height + side) / 2, side)
            left += side + 4
        _few_words(paper, item, left, right, top, height)


def _code(paper: Paper, item: LabelItem, right: float, top: float, height: float) -> float:
    """The code with its text under it where both fit, else the text goes to the words; returns its left edge."""
    canvas = paper.canvas
    text_high = CODE_TEXT + 2 if height >= size_of(LEAST_MODULE_MM) + CODE_TEXT + 8 else 0
    module = (height - text_high - PAD) / size_of(1.0)
    module = max(LEAST_MODULE_MM, min(LARGEST_MODULE_MM, module))
    side = size_of(module)
    text = grouped(item.code)
    wide = max(side, paper_width(text)) if text_high else side
    top_of_code = top - max(0.0, (height - side - text_high) / 2)
    with paper.tag("Figure", alt=f"Code {text} to scan"):
        draw_code(canvas, item.code, right - (wide + side) / 2, top_of_code - side, module_mm=module)
    if text_high:
        with paper.tag("P"):
            canvas.setFont(MONO_BOLD, CODE_TEXT)
            canvas.drawCentredString(right - wide / 2, top_of_code - side - CODE_TEXT * 0.75 - 1, text)
    return right - wide


def paper_width(text: str) -> float:
    """Width of a code's text [pt]: the mono face advances 0.65 em."""
    return len(text) * 0.65 * CODE_TEXT


def _drawing(paper: Paper, item: LabelItem, x: float, bottom: float, side: float) -> None:
    """The fitting with its gore filled; drawn once a document for equal ones, then stamped."""
    canvas = paper.canvas
    canvas.saveState()
    canvas.translate(x, bottom)
    words = f"{fitting_text(item.development)}, with this piece filled"
    with (
        paper.tag("Figure", alt=words),
        paper.form(("icon", id(item.development), item.position, side)) as is_new,
    ):
        if is_new:
            scene = icon_scene(item.development, width=side, height=side, highlight=item.position)
            draw_scene(canvas, scene, 0, 0, side, side, font=PLAIN, weight=0.7)
    canvas.restoreState()


def _pattern(paper: Paper, item: LabelItem, x: float, bottom: float, width: float, height: float) -> None:
    canvas = paper.canvas
    canvas.saveState()
    canvas.translate(x, bottom)
    key = ("pattern", id(item.development), item.position, item.plate, width, height)
    with paper.tag("Figure", alt="Its flat pattern"), paper.form(key) as is_new:
        if is_new:
            scene = pattern_icon(
                item.development, item.position or 1, width=width, height=height, plate=item.plate
            )
            draw_scene(canvas, scene, 0, 0, width, height, font=PLAIN, weight=0.6)
    canvas.restoreState()


def _size_text(item: LabelItem) -> str:
    return f"{clean(item.material)} {item.gauge} ga"


def _remade(item: LabelItem) -> str:
    return f"remade {item.generation}" if item.generation > 1 else ""


def _tall_words(
    paper: Paper, item: LabelItem, left: float, right: float, top: float, height: float, side: float
) -> None:
    """Order, tag and position beside the drawing; under it what it is, and the pattern with its marks."""
    beside, width = left + side + 5, right - left - side - 5
    y = top - PAD - 10
    with paper.tag("H1"):
        paper.line("Order", beside, y + 2, width, 8)
        paper.line(item.order_number, beside, y - 16, width, 18, font=BOLD)
    tag_size = _fit_lines(paper, item.tag or "no tag", beside, y - 34, width, 15)
    y = y - 34 - tag_size
    paper.line(position_text(item), beside, y - 2, width, 13, font=BOLD, floor=9)
    if part_text(item):
        paper.line(part_text(item), beside, y - 15, width, 12, font=BOLD, floor=9)
        y -= 13
    y = min(y - 14, top - PAD - side - 9)
    whole = right - left
    name = fitting_text(item.development)
    if fit(name, PLAIN, 10, whole, 7)[0].endswith(ELLIPSIS):
        name = short_text(item.development)
    paper.line(name, left, y, whole, 10, floor=7)
    due = f"due {day_text(item.due_on)}" if item.due_on else ""
    facts = [_size_text(item), f"line {item.line}", f"fitting {item.fitting_number} of {item.line_quantity}"]
    paper.line(", ".join(facts), left, y - 12, whole, 10, floor=7)
    paper.line(", ".join(part for part in (_remade(item), due) if part), left, y - 24, whole, 10, floor=7)
    bottom = top - height + PAD
    room = y - 28 - bottom
    if item.position is not None and room >= 13:
        _pattern(paper, item, left, bottom, whole, room)


def _fit_lines(paper: Paper, text: str, x: float, y: float, width: float, size: float) -> float:
    """A bold text on one line, or on two smaller ones; returns the height taken under the first base [pt]."""
    shown, fitted = fit(text, BOLD, size, width, 11)
    if not shown.endswith("…"):
        paper.line(text, x, y, width, size, font=BOLD, floor=11)
        return 14.0
    with paper.tag("P"):
        paper.canvas.setFont(BOLD, 10)
        for number, line in enumerate(wrap(text, BOLD, 10, width, 2)):
            paper.canvas.drawString(x, y + 3 - 11 * number, line)
    return 22.0


def _few_words(paper: Paper, item: LabelItem, left: float, right: float, top: float, height: float) -> None:
    """Six lines in what is left beside the code of a low label."""
    width = right - left
    lines: list[tuple[str, Any, float]] = [
        (f"{clean(item.order_number)}  {clean(item.tag)}", BOLD, 11.0),
        (position_text(item), BOLD, 10.0),
        (grouped(item.code), MONO_BOLD, 11.0),
        (short_text(item.development), PLAIN, 8.0),
        (f"{item.gauge} ga, no. {item.fitting_number} of {item.line_quantity}", PLAIN, 8.0),
    ]
    lines[2:2] = [(part, BOLD, 9.0) for part in (part_text(item), _remade(item)) if part]
    step = min(14.0, (height - 2 * PAD) / len(lines))
    y = top - (height - step * len(lines)) / 2 - step + 3
    for number, (text, font, size) in enumerate(lines):
        with paper.tag("P" if number else "H1"):
            paper.line(text, left, y, width, min(size, step - 1), font=font, floor=6.5)
        y -= step


__all__ = ["LabelTooSmall", "labels_pdf", "part_text", "position_text", "MM"]
