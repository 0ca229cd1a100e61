"""Tables that we write for spreadsheets: CSV and XLSX, one way for all. Pure: no Django, no clock.

A text that a spreadsheet would count as a formula gets a leading apostrophe; numbers stay numbers, dates dates. What
is None stays empty. Text is UTF-8.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from io import BytesIO, StringIO
from typing import Any

CSV, XLSX = "csv", "xlsx"
MEDIA_TYPES = {
    CSV: "text/csv; charset=utf-8",
    XLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
LONGEST_CELL = 32_767  # characters that an XLSX cell holds (ECMA-376 leaves it to programs; from memory)
LONGEST_SHEET_NAME = 31
WIDEST_COLUMN = 48
_TEXT_THAT_COUNTS = tuple("=+-@\t\r\0")
_NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_NOT_IN_A_NAME = re.compile(r"[\[\]:*?/\\]")


@dataclass(frozen=True)
class Sheet:
    """One table: `heads` above `rows`. `wide` names columns (from 0) whose texts are long and wrap."""

    name: str
    heads: Sequence[str]
    rows: Iterable[Sequence[Any]]
    wide: frozenset[int] = field(default_factory=frozenset)


def guarded(value: Any) -> Any:
    """A text that a spreadsheet would count as a formula, as text; anything else as it is.

    >>> guarded("=1+1"), guarded(-3), guarded("AHU-3")
    ("'=1+1", -3, 'AHU-3')
    """
    return f"'{value}" if isinstance(value, str) and value.startswith(_TEXT_THAT_COUNTS) else value


def csv_text(rows: Iterable[Sequence[Any]]) -> str:
    """Rows, the head among them, as RFC 4180 has it."""
    stream = StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    for row in rows:
        writer.writerow([_csv_cell(value) for value in row])
    return stream.getvalue()


def csv_bytes(sheet: Sheet) -> bytes:
    """One table with the mark at its beginning by which spreadsheets know UTF-8."""
    return csv_text([sheet.heads, *sheet.rows]).encode("utf-8-sig")


def xlsx_bytes(sheets: Sequence[Sheet], *, title: str = "") -> bytes:
    """A workbook, one sheet a table: heads bold and kept in sight, columns as wide as what stands in them."""
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    book.properties.creator, book.properties.title = "", title or None
    for sheet in sheets:
        _write(book.create_sheet(_sheet_name(sheet.name)), sheet)
    stream = BytesIO()
    book.save(stream)
    return stream.getvalue()


def sheet_bytes(form: str, sheet: Sheet) -> bytes:
    return csv_bytes(sheet) if form == CSV else xlsx_bytes([sheet])


def _write(page, sheet: Sheet) -> None:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    rows = [list(row) for row in sheet.rows]
    page.freeze_panes = "A2"
    for at, head in enumerate(sheet.heads):
        shown = [len(str(row[at])) for row in rows[:200] if at < len(row) and row[at] is not None]
        page.column_dimensions[get_column_letter(at + 1)].width = min(
            max([len(head), *shown]) + 2, WIDEST_COLUMN
        )
    bold, wraps = Font(bold=True), Alignment(wrap_text=True, vertical="top")
    cells = []
    for head in sheet.heads:
        cell = WriteOnlyCell(page, value=_xlsx_cell(head))
        cell.font = bold
        cells.append(cell)
    page.append(cells)
    for row in rows:
        cells = []
        for at, value in enumerate(row):
            cell = WriteOnlyCell(page, value=_xlsx_cell(value))
            if isinstance(cell.value, str):
                cell.data_type = "s"  # never read as a formula
            if at in sheet.wide:
                cell.alignment = wraps
            cells.append(cell)
        page.append(cells)


def _csv_cell(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, date | datetime) else guarded(value)


def _xlsx_cell(value: Any) -> Any:
    """What openpyxl can keep: no zones, no control characters, a text within the longest cell."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.replace(tzinfo=None)
    if value is None or isinstance(value, int | float | Decimal | date):
        return value
    return _NOT_IN_XML.sub("\N{REPLACEMENT CHARACTER}", guarded(str(value)))[:LONGEST_CELL]


def _sheet_name(name: str) -> str:
    return _NOT_IN_A_NAME.sub(" ", name)[:LONGEST_SHEET_NAME].strip("' ") or "Sheet"
