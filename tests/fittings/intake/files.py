"""Files of orders for tests, made with general-purpose libraries: csv, zipfile, openpyxl."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from openpyxl import Workbook

HEADS = ("Qty", "Type", "Mat'l", "Ga", "Dia", "Degrees", "CLR", "Length", "Mark")
ELBOW = ("4", "Elbow", "Galv", "24", "14", "90", "21", "", "AHU-3")
PIPE = ("2", "Pipe", "Galv", "24", "14", "", "", "48", "P-1")
ROWS = (HEADS, ELBOW, PIPE)


def csv_file(rows: Iterable[Sequence[Any]] = ROWS, *, delimiter: str = ",", encoding: str = "utf-8") -> bytes:
    stream = io.StringIO()
    csv.writer(stream, delimiter=delimiter).writerows(rows)
    return stream.getvalue().encode(encoding)


def changed(row: Sequence[Any], **cells: Any) -> list[Any]:
    """A row with other cells, by head: `changed(ELBOW, Dia="15")`."""
    made = list(row)
    for head, value in cells.items():
        made[[re.sub(r"\W", "", one) for one in HEADS].index(head)] = value
    return made


def xlsx_file(rows: Iterable[Sequence[Any]] = ROWS, *, after: Callable[[Any], None] | None = None) -> bytes:
    """A workbook of one sheet; `after` changes the sheet before it is saved."""
    book = Workbook()
    sheet = book.active
    sheet.title = "Take-off"
    for row in rows:
        sheet.append([None if cell == "" else cell for cell in row])
    if after:
        after(sheet)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def repacked(content: bytes, change: Callable[[str, bytes], bytes]) -> bytes:
    """The package with its parts changed: `change(name, content)`."""
    stream = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.infolist():
            new.writestr(part.filename, change(part.filename, old.read(part)))
    return stream.getvalue()


def upload(content: bytes, name: str = "take-off.csv") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content)


def send(
    caller,
    content: bytes,
    *,
    name: str = "take-off.csv",
    customer: str | None = "Example Mechanical",
    **fields,
):
    """POST to the import as a program does. `headers` in capitals (HTTP_IDEMPOTENCY_KEY) go as headers."""
    headers = {key: fields.pop(key) for key in list(fields) if key.startswith("HTTP_")}
    body = {"file": upload(content, name), **fields}
    if customer is not None:
        body["customer"] = customer
    return caller.client.post("/api/v1/orders/import/", body, **caller.headers, **headers)
