"""Wrong cells as the errors of the HTTP contract: row, column, value, reason, besides what every error has."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fittings.intake.grid import CellWrong, Page, cell_name
from shared.problems import FieldError


@dataclass(frozen=True)
class CellError(FieldError):
    """One wrong cell of a file; `row` is counted from 1 as a spreadsheet shows it, `column` is its head."""

    row: int | None = None
    column: str = ""
    cell: str = ""
    sheet: str = ""

    def as_dict(self) -> dict:
        own = {"sheet": self.sheet, "row": self.row, "column": self.column, "cell": self.cell}
        return super().as_dict() | own | {"reason": self.message}


def cell_errors(wrong: Iterable[CellWrong], pages: Sequence[Page]) -> list[CellError]:
    return [_error(one, pages) for one in wrong]


def _error(one: CellWrong, pages: Sequence[Page]) -> CellError:
    cell = cell_name(one.row, one.column) if one.row is not None and one.column is not None else ""
    where = cell or one.name or (f"row {one.row}" if one.row is not None else "file")
    sheet = pages[one.sheet].name if one.sheet < len(pages) else ""
    field = f"{sheet}!{where}" if sheet and cell else where
    return CellError(field, one.value, one.limit, one.reason, one.row, one.head, cell, sheet)
