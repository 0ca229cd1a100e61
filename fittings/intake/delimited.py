"""CSV to a grid: the delimiter and the encoding are found by what the bytes say. Pure."""

from __future__ import annotations

import csv
from io import StringIO

from fittings.intake.grid import Page
from fittings.intake.limits import MOST_UNPACKED, Deadline, unreadable

DELIMITERS = (",", ";", "\t")
LOOKED_AT = 50  # lines for the delimiter
LIMIT = "CSV in UTF-8, UTF-16 or Windows-1252, or XLSX"
ROWS_A_CHECK = 500


def read_csv(content: bytes, *, name: str, deadline: Deadline) -> tuple[Page, bool]:
    """The grid, and whether a comma stands for the decimal point (where semicolons part the columns).

    raises  WrongInput naming what is wrong with the file as a whole; TooLarge
    """
    text = decoded(content, name)
    delimiter, text = delimiter_of(text)
    csv.field_size_limit(MOST_UNPACKED)
    reader = csv.reader(StringIO(text, newline=""), delimiter=delimiter, strict=True)
    page, number = Page(""), 0
    try:
        for row in reader:
            number += 1
            if number % ROWS_A_CHECK == 0:
                deadline.check()
            page.take(number, (cell.strip() for cell in row))
    except csv.Error as error:
        message = f"Line {reader.line_num} is no CSV: {error}. A quotation mark may be missing."
        raise unreadable(name, "CSV as spreadsheets write it", message) from None
    return page, delimiter == ";"


def decoded(content: bytes, name: str) -> str:
    """The text by its byte order mark, else UTF-8, else Windows-1252."""
    if not content.strip(b"\xef\xbb\xbf\xff\xfe\0 \r\n\t"):
        raise unreadable(name, "a file with rows", "The file is empty.")
    tries = ["utf-8-sig", "cp1252"]
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        tries = ["utf-16"]
    elif content[1:40:2].count(0) > 10:
        tries = ["utf-16-le"]
    elif content[:40:2].count(0) > 10:
        tries = ["utf-16-be"]
    for encoding in tries:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            line = text[: text.index("\0")].count("\n") + 1
            message = f"Line {line} holds a NUL character, so the file is no CSV."
            raise unreadable(name, LIMIT, message)
        return text
    message = "The file's letters cannot be read: it is neither UTF-8, UTF-16 nor Windows-1252. Save it as “CSV UTF-8”."
    raise unreadable(name, LIMIT, message)


def delimiter_of(text: str) -> tuple[str, str]:
    """What parts the columns: what parts most lines into equally many; and the text after a line that says so."""
    first = text[:10].lstrip("\ufeff").splitlines()[:1]
    if first and first[0].lower().startswith("sep=") and len(first[0]) == 5:
        return first[0][4], text.partition("\n")[2] if "\n" in text else ""
    lines = [line for line in text[:200_000].splitlines() if line.strip()][:LOOKED_AT]

    def share(delimiter: str) -> tuple[float, int]:
        counts = [len(next(csv.reader([line], delimiter=delimiter), [])) for line in lines]
        usual = max(set(counts), key=lambda count: (count > 1, counts.count(count)), default=1)
        return (counts.count(usual) if usual > 1 else 0, usual)

    try:
        return max(DELIMITERS, key=share), text
    except csv.Error:
        return ",", text
