"""The table of an order's lines on papers that go to a customer, over as many pages as it takes. Lengths in pt."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from shared.units import KG_PER_LB
from travelers.documents.flow import Flow
from travelers.documents.page import INNER, MARGIN, SMALL, Paper
from travelers.documents.text import PLAIN, wrap

TABLE_HEAD = 20.0
ROW_SIZE, STEP, PAD = 10.5, 13.0, 8.0
GAP = 6.0
MOST_LINES = 6
KEY = "lines"


@dataclass(frozen=True)
class LineColumn:
    """A column: what it says of a row. The shares of all columns make up the page's width.

    is_long  wrapped over several lines, where the others are shrunk to one
    """

    title: str
    share: float
    text: Callable[[Any], str]
    is_right: bool = False
    is_long: bool = False
    font: str = PLAIN


def line_table(flow: Flow, paper: Paper, columns: Sequence[LineColumn], rows: Sequence[Any]) -> None:
    scale = INNER / sum(column.share for column in columns)
    widths = [column.share * scale for column in columns]
    for number, row in enumerate(rows):
        most = max(
            (
                len(wrap(column.text(row), column.font, ROW_SIZE, width - GAP, MOST_LINES))
                for column, width in zip(columns, widths, strict=True)
                if column.is_long
            ),
            default=1,
        )
        height = PAD + STEP * max(1, most)
        if not number or flow.room() < height:
            flow.need(TABLE_HEAD + height)
            flow.place(TABLE_HEAD, partial(_head, paper, columns, widths))
        flow.place(height, partial(_row, paper, columns, widths, row, height))


def _head(paper: Paper, columns: Sequence[LineColumn], widths: Sequence[float], top: float) -> None:
    x = MARGIN
    with paper.tag("Table", key=KEY) as is_new, paper.tag("TR") if is_new else paper.artifact():
        for column, width in zip(columns, widths, strict=True):
            with paper.tag("TH"):
                if column.is_right:
                    paper.line_right(column.title, x + width, top - 12, width - GAP, SMALL)
                else:
                    paper.line(column.title, x, top - 12, width - GAP, SMALL)
            x += width
    paper.rule(top - 17, weight=1.2)


def _row(
    paper: Paper, columns: Sequence[LineColumn], widths: Sequence[float], row: Any, height: float, top: float
) -> None:
    x, base = MARGIN, top - 12.5
    with paper.tag("Table", key=KEY), paper.tag("TR"):
        for column, width in zip(columns, widths, strict=True):
            text = column.text(row)
            with paper.tag("TD"):
                if column.is_long:
                    paper.lines(text, x, base, width - GAP, ROW_SIZE, font=column.font, most=MOST_LINES)
                elif column.is_right:
                    paper.line_right(text, x + width, base, width - GAP, ROW_SIZE, font=column.font, floor=8)
                else:
                    paper.line(text, x, base, width - GAP, ROW_SIZE, font=column.font, floor=8)
            x += width
    paper.rule(top - height + 1.5, weight=0.3)


def weight_text(pounds: float) -> str:
    return f"{pounds:,.1f} lb ({pounds * KG_PER_LB:,.1f} kg)"


def counted(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"
