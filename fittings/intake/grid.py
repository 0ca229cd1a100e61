"""A file as a grid of texts, whatever it came as; cells keep the row and the column that they have in the file."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fittings.intake.limits import LONGEST_CELL, MOST_COLUMNS, MOST_ROWS, ROWS_ABOVE
from shared.problems import FieldError, WrongInput
from shared.texts import printable


@dataclass(frozen=True)
class CellWrong:
    """One wrong cell. `row` is counted from 1 as in the file, `column` from 0; None where no cell is meant.

    `name` is the field that is meant where no column of the file is: one of the order's head, typed beside the file.
    """

    sheet: int
    row: int | None
    column: int | None
    value: str
    limit: str
    reason: str
    head: str = ""
    name: str = ""


@dataclass
class Page:
    """One sheet: its rows that are not blank, each with its number in the file; wrong cells by (row, column)."""

    name: str
    numbers: list[int] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)
    wrong: dict[tuple[int, int], tuple[str, str]] = field(default_factory=dict)
    left_out: set[int] = field(default_factory=set)
    added: dict[str, int] = field(default_factory=dict)
    """Columns that the file does not have and that stand at the right of it: what each means, and where."""

    @property
    def width(self) -> int:
        return max(map(len, self.rows), default=0)

    def take(self, number: int, cells: Iterable[str]) -> None:
        """The next row of the file. raises WrongInput for too many rows or columns"""
        row = list(cells)
        while row and not row[-1]:
            row.pop()
        if not row:
            return
        if len(row) > MOST_COLUMNS:
            limit = f"at most {MOST_COLUMNS} columns"
            where = cell_name(number, MOST_COLUMNS)
            message = f"Row {number} has {len(row)} columns, {where} is the first too many; the file can have {limit}."
            raise WrongInput([FieldError("file", len(row), limit, message)])
        if len(self.rows) >= MOST_ROWS + ROWS_ABOVE:
            raise too_many_rows(number)
        for at, text in enumerate(row):
            if len(text) > LONGEST_CELL:
                limit = f"at most {LONGEST_CELL} characters"
                self.wrong[number, at] = (limit, f"The cell has {len(text)} characters; it can have {limit}.")
                row[at] = text[:LONGEST_CELL]
            if printable_text(row[at]) != row[at]:
                self.wrong[number, at] = (
                    "text without control characters",
                    "The cell holds characters that cannot be printed.",
                )
                row[at] = printable_text(row[at])
        self.numbers.append(number)
        self.rows.append(row)

    def cell(self, at: int, column: int) -> str:
        row = self.rows[at]
        return row[column] if column < len(row) else ""

    def put(self, number: int, column: int, text: str) -> None:
        """A cell as somebody typed it over; what was wrong with the old one is forgotten."""
        row = self.rows[self.numbers.index(number)]
        row += [""] * (column + 1 - len(row))
        row[column] = text
        self.wrong.pop((number, column), None)

    # to keep and back

    def kept(self) -> dict[str, Any]:
        wrong = [[row, column, *told] for (row, column), told in self.wrong.items()]
        own = {"name": self.name, "numbers": self.numbers, "rows": self.rows, "wrong": wrong}
        return own | {
            "left_out": sorted(self.left_out),
            "added": [[name, at] for name, at in self.added.items()],
        }

    @classmethod
    def of_kept(cls, kept: Mapping[str, Any]) -> Page:
        wrong = {(row, column): (limit, reason) for row, column, limit, reason in kept["wrong"]}
        rows = [list(row) for row in kept["rows"]]
        return cls(
            kept["name"], list(kept["numbers"]), rows, wrong, set(kept["left_out"]), dict(kept["added"])
        )


def too_many_rows(number: int) -> WrongInput:
    message = f"The file goes on in row {number}; at most {MOST_ROWS} rows are taken."
    return WrongInput([FieldError("file", number, f"at most {MOST_ROWS} rows", message)])


def printable_text(text: str) -> str:
    """The text with marks for what cannot be printed; line breaks and tabs stay.

    >>> printable_text("a\\x01b\\n")
    'a\N{REPLACEMENT CHARACTER}b\\n'
    """
    if text.isprintable():
        return text
    return "".join(one if one in "\n\t" or one.isprintable() else printable(one) for one in text)


def column_letters(column: int) -> str:
    """How a spreadsheet calls a column, counted from 0.

    >>> column_letters(0), column_letters(25), column_letters(26), column_letters(59)
    ('A', 'Z', 'AA', 'BH')
    """
    text, column = "", column + 1
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text


def cell_name(row: int, column: int) -> str:
    return f"{column_letters(column)}{row}"


def digest(pages: Iterable[Page]) -> str:
    """One name for what a file says: equal grids have the same, whatever form they came in."""
    said = [[page.name, page.numbers, page.rows] for page in pages]
    return hashlib.sha256(json.dumps(said, separators=(",", ":")).encode()).hexdigest()
