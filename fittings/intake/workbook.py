"""XLSX to grids, with what a spreadsheet hides named: errors, formulas never worked out, merged cells. Pure.

openpyxl reads the values; the package is measured before, as its directory says and as it unpacks, and a second look
at the sheets' own XML says what openpyxl leaves out.
"""

from __future__ import annotations

import math
import re
import zipfile
import zlib
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from io import BytesIO
from typing import Any
from xml.etree.ElementTree import ParseError, iterparse

from openpyxl import load_workbook
from openpyxl.utils.cell import range_boundaries

from fittings.intake.grid import Page, too_many_rows
from fittings.intake.limits import MOST_BLANK_ROWS, MOST_UNPACKED, Deadline, unreadable
from shared.problems import FieldError, TooLarge

LIMIT = "XLSX, or CSV"
CHUNK = 256 * 1024
ROWS_A_CHECK = 200
OLD_FORM = b"\xd0\xcf\x11\xe0"
UNVALUED = "The cell holds a formula that was never worked out. Open the file, save it, or write the value."
_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_HAS_ENTITIES = re.compile(rb"<!(?:DOCTYPE|ENTITY)", re.I)


@dataclass
class SheetFacts:
    """What a sheet's XML says besides values: merged ranges, hidden rows, formulas without a value, by cell."""

    merged: list[str] = field(default_factory=list)
    hidden: set[int] = field(default_factory=set)
    unvalued: set[tuple[int, int]] = field(default_factory=set)


def read_xlsx(content: bytes, *, name: str, deadline: Deadline) -> tuple[list[Page], list[str]]:
    """A grid for each sheet that is seen, and what to know of the others.

    raises  WrongInput naming what is wrong with the file as a whole; TooLarge
    """
    if content.startswith(OLD_FORM):
        message = "The file is in an old form or protected by a password. Save it as XLSX without a password."
        raise unreadable(name, LIMIT, message)
    parts = unpacked(content, name, deadline)
    try:
        book = load_workbook(BytesIO(content), read_only=True, data_only=True, keep_links=False)
        pages, notes = _pages(book, parts, deadline)
    except (
        KeyError,
        ValueError,
        TypeError,
        AttributeError,
        IndexError,
        zipfile.BadZipFile,
        ParseError,
    ) as error:
        raise unreadable(name, LIMIT, f"The file is no XLSX that can be read ({_short(error)}).") from None
    return pages, notes


def unpacked(content: bytes, name: str, deadline: Deadline) -> dict[str, bytes]:
    """The XML parts of the package, at most 50 MiB together, by its directory and as they come out."""
    try:
        with zipfile.ZipFile(BytesIO(content)) as archive:
            _check_size(sum(part.file_size for part in archive.infolist()))
            parts, size = {}, 0
            for part in archive.infolist():
                pieces = []
                with archive.open(part) as stream:
                    while piece := stream.read(CHUNK):
                        size += len(piece)
                        _check_size(size)
                        deadline.check()
                        pieces.append(piece)
                whole = b"".join(pieces)
                if part.filename.endswith((".xml", ".rels")):
                    if _HAS_ENTITIES.search(whole.replace(b"\0", b"")):
                        message = (
                            f"The part {part.filename[:60]} declares entities, which no spreadsheet does."
                        )
                        raise unreadable(name, LIMIT, message)
                    parts[part.filename] = whole
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        RuntimeError,
        NotImplementedError,
        OSError,
        ValueError,
    ) as error:
        message = f"The file is broken or no XLSX ({_short(error)}). Save it again and send it whole."
        raise unreadable(name, LIMIT, message) from None
    if "[Content_Types].xml" not in parts or not any(part.startswith("xl/") for part in parts):
        raise unreadable(name, LIMIT, "The file is a package, but no XLSX.")
    return parts


def _check_size(size: int) -> None:
    if size > MOST_UNPACKED:
        message = f"The file unpacks to more than {MOST_UNPACKED} bytes (50 MiB)."
        raise TooLarge(
            message, [FieldError("file", size, f"at most {MOST_UNPACKED} bytes unpacked", message)]
        )


def _pages(book, parts: dict[str, bytes], deadline: Deadline) -> tuple[list[Page], list[str]]:
    pages, notes = [], []
    for sheet in book.worksheets:
        if sheet.sheet_state != "visible":
            notes.append(f"The sheet “{sheet.title}” is hidden and is not read.")
            continue
        facts = _facts(parts.get(sheet._worksheet_path.lstrip("/"), b""), deadline)
        page = _page(sheet, facts, deadline)
        hidden = [number for number in page.numbers if number in facts.hidden]
        if hidden:
            rows = ", ".join(map(str, hidden[:8])) + (" …" if len(hidden) > 8 else "")
            which = f"Row {rows} is" if len(hidden) == 1 else f"Rows {rows} are"
            notes.append(f"{which} hidden in the sheet “{sheet.title}”; what stands there is taken too.")
        if page.rows:
            pages.append(page)
    return pages, notes


def _page(sheet, facts: SheetFacts, deadline: Deadline) -> Page:
    page = Page(sheet.title)
    sheet.reset_dimensions()
    wrong: dict[tuple[int, int], tuple[str, str]] = {}
    for number, row in enumerate(sheet.iter_rows(), start=1):
        if number % ROWS_A_CHECK == 0:
            deadline.check()
        if number > MOST_BLANK_ROWS:
            raise too_many_rows(number)
        cells = []
        for at, cell in enumerate(row):
            text = cell_text(cell.value)
            if (number, at) in facts.unvalued:
                text = "="
                wrong[number, at] = ("a value", UNVALUED)
            elif getattr(cell, "data_type", "") == "e":
                wrong[number, at] = ("a value", f"The cell holds the error {text[:20]}.")
            cells.append(text)
        page.take(number, cells)
    there = set(page.numbers)
    for where in facts.merged:
        left, top, _, _ = range_boundaries(where)
        if top in there:
            wrong[top, left - 1] = (
                "a cell of its own",
                f"The cells {where} are merged. Write the value in each.",
            )
    page.wrong |= wrong
    return page


def _facts(xml: bytes, deadline: Deadline) -> SheetFacts:
    facts = SheetFacts()
    for seen, (_, element) in enumerate(iterparse(BytesIO(xml))):
        if seen % 5000 == 0:
            deadline.check()
        tag = element.tag
        if tag == _MAIN + "c":
            if element.find(_MAIN + "f") is not None:
                value = element.find(_MAIN + "v")
                if value is None or not value.text:
                    left, top, _, _ = range_boundaries(element.get("r", "A1"))
                    facts.unvalued.add((top, left - 1))
        elif tag == _MAIN + "row":
            if element.get("hidden") in ("1", "true"):
                facts.hidden.add(int(element.get("r", 0)))
            element.clear()
        elif tag == _MAIN + "mergeCell":
            facts.merged.append(element.get("ref", "A1"))
    return facts


def cell_text(value: Any) -> str:
    """A cell's value as it would be typed: numbers in full, days as 2026-03-04.

    >>> cell_text(14.5), cell_text(24.0), cell_text(True), cell_text(None)
    ('14.5', '24', 'yes', '')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return (
            str(int(value))
            if math.isfinite(value) and value == int(value) and abs(value) < 1e15
            else repr(value)
        )
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(" ", "seconds")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return str(value)
    return str(value).strip()


def _short(error: Exception) -> str:
    return (str(error).split("\n")[0][:80] or type(error).__name__).rstrip(".")
