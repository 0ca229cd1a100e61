"""What the pages of the shop's tables show: the list, a table as an editable grid, its history."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fittings.models import TableVersion
from fittings.table_differences import Difference, differences
from fittings.tables import (
    SCHEMAS,
    Column,
    TableSchema,
    all_rows,
    check_rows,
    rows,
    schema_of,
    versions_in_force,
)
from shared.problems import FieldError, NotFound, WrongInput
from shared.units import LengthNotUnderstood, read_length

SPARE_ROWS = 3
MOST_VERSIONS_SHOWN = 100
LONG_TEXT = 24
_ROW_WORD = re.compile(r"([Rr]ow) (\d+)")
_ROW_PATH = re.compile(r"rows\[(\d+)\](?:\.(\w+))?$")


@dataclass(frozen=True)
class TableSummary:
    schema: TableSchema
    version: TableVersion
    rows: int


def table_list() -> list[TableSummary]:
    """Every table with its version in force. Three queries."""
    newest = versions_in_force()
    found = {
        (version.table, version.number): version
        for version in TableVersion.objects.filter(table__in=newest, number__in=set(newest.values())).defer(
            "rows"
        )
    }
    counts = {name: len(kept) for name, kept in all_rows(newest).items()}
    return [
        TableSummary(schema, found[name, newest[name]], counts[name])
        for name, schema in SCHEMAS.items()
        if name in newest
    ]


def table_history(name: str) -> list[TableVersion]:
    """The versions of a table, newest first, without their rows."""
    schema_of(name)
    found = TableVersion.objects.filter(table=name).defer("rows").order_by("-number")
    versions = list(found[:MOST_VERSIONS_SHOWN])
    if not versions:
        raise NotFound(f"The shop table “{name}” was never filled. “python manage.py up” fills it.")
    return versions


def table_version(name: str, number: int) -> tuple[TableVersion, int]:
    """One version and the number in force."""
    history = table_history(name)
    version = TableVersion.objects.filter(table=name, number=number).first()
    if version is None:
        raise NotFound(f"{schema_of(name).title} has no version {number}; the newest is {history[0].number}.")
    return version, history[0].number


def version_differences(schema: TableSchema, before: Sequence, after: Sequence) -> list[Difference]:
    """What two versions' rows differ by, each row with its words."""
    columns = [(column.name, column.label) for column in schema.columns]
    return differences(columns, schema.once, before, after)


def rows_before(version: TableVersion) -> Sequence[Mapping[str, Any]] | None:
    """The rows of the version before, None for the first."""
    found = TableVersion.objects.filter(table=version.table, number__lt=version.number).order_by("-number")
    before = found.first()
    return None if before is None else before.rows


@dataclass(frozen=True)
class OldRow:
    cells: tuple[tuple[Column, Any], ...]
    is_in_force: bool


def old_rows(schema: TableSchema, version: TableVersion) -> list[OldRow]:
    """The rows of a version, each with whether it stands the same in the version in force."""
    now = {_key(schema, row) for row in rows(schema.name)}
    return [
        OldRow(tuple((column, row.get(column.name)) for column in schema.columns), _key(schema, row) in now)
        for row in version.rows
    ]


def _key(schema: TableSchema, row: Mapping[str, Any]) -> tuple:
    return tuple(row.get(column.name) for column in schema.columns)


# -- the grid ---------------------------------------------------------------


@dataclass
class Cell:
    column: Column
    name: str
    value: str
    error: str = ""
    is_long: bool = False

    @property
    def id(self) -> str:
        return f"id_{self.name}"

    @property
    def error_id(self) -> str:
        return f"{self.id}_error"


@dataclass
class GridRow:
    """A row of the grid: `at` is its place in field names, `number` the one that people see."""

    at: int
    cells: list[Cell]
    remove_name: str
    number: int = 0
    is_removed: bool = False
    error: str = ""

    @property
    def is_blank(self) -> bool:
        return not any(cell.value.strip() for cell in self.cells)


@dataclass
class Grid:
    """A table as a form: rows of texts and what is wrong with them. Field names are `<row>-<column>`."""

    schema: TableSchema
    rows: list[GridRow]
    kept: list[GridRow] = field(default_factory=list)

    @classmethod
    def of_rows(cls, schema: TableSchema, stored: Sequence[Mapping[str, Any]]) -> Grid:
        names = [column.name for column in schema.columns]
        texts = [{name: cell_text(row.get(name)) for name in names} for row in stored]
        return cls(schema, [_grid_row(schema, at, row) for at, row in enumerate(texts)])

    @classmethod
    def of_post(cls, schema: TableSchema, data: Mapping[str, str]) -> Grid:
        """As typed. Rows may be missing in between; blank ones at the end are let go."""
        first = schema.columns[0].name
        heads = [key.partition("-")[0] for key in data if key.endswith(f"-{first}")]
        ats = sorted({int(head) for head in heads if head.isdecimal() and len(head) < 6})
        found = []
        for at in ats:
            names = [column.name for column in schema.columns]
            texts = {name: " ".join(data.get(f"{at}-{name}", "").split()) for name in names}
            row = _grid_row(schema, at, texts)
            row.is_removed = bool(data.get(row.remove_name))
            if not row.is_blank:
                found.append(row)
        return cls(schema, found)

    def new_rows(self) -> list[dict[str, Any]]:
        """The rows to save: those not marked, numbers read as people write them."""
        self.kept = [row for row in self.rows if not row.is_removed]
        return [{cell.column.name: _read(cell) for cell in row.cells} for row in self.kept]

    def changes_nothing(self, new_rows: list[dict[str, Any]], stored: Sequence[Mapping[str, Any]]) -> bool:
        try:
            return check_rows(self.schema, new_rows) == list(stored)
        except WrongInput:
            return False

    def attach(self, errors: Iterable[FieldError]) -> list[tuple[str, str]]:
        """Put each error beside its cell. Returns (address on the page, sentence) for the summary.

        The table counts the rows that it was given; the page also shows those that are marked to be removed.
        """
        self.numbered()
        summary = []
        for error in errors:
            found = _ROW_PATH.match(error.field)
            if not found or int(found[1]) >= len(self.kept):
                summary.append(("", error.message))
                continue
            row = self.kept[int(found[1])]
            cell = next((cell for cell in row.cells if cell.column.name == found[2]), None)
            if cell:
                given = f"“{cell.value}”" if cell.value else "empty"
                sentence = f"{cell.column.label} is {given}; it can be {error.limit}."
                cell.error = sentence
                summary.append((cell.id, f"Row {row.number}: {sentence}"))
            else:
                sentence = _ROW_WORD.sub(lambda word: f"{word[1]} {self._shown(word[2])}", error.message)
                row.error = sentence
                summary.append((row.cells[0].id, sentence))
        return summary

    def _shown(self, text: str) -> str:
        at = int(text) - 1
        return str(self.kept[at].number) if 0 <= at < len(self.kept) else text

    def numbered(self) -> Grid:
        for number, row in enumerate(self.rows, start=1):
            row.number = number
        return self

    def with_spare_rows(self) -> Grid:
        start = max((row.at for row in self.rows), default=-1) + 1
        blank = {column.name: "" for column in self.schema.columns}
        self.rows += [_grid_row(self.schema, start + more, blank) for more in range(SPARE_ROWS)]
        for cells in zip(*(row.cells for row in self.rows), strict=True):
            is_long = cells[0].column.kind == "text" and max(len(cell.value) for cell in cells) > LONG_TEXT
            for cell in cells:
                cell.is_long = is_long
        return self.numbered()


def cell_text(value: Any) -> str:
    """A stored value as it stands in the grid."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.10f}".rstrip("0").rstrip(".")
    return str(value)


def _grid_row(schema: TableSchema, at: int, texts: Mapping[str, str]) -> GridRow:
    cells = [Cell(column, f"{at}-{column.name}", texts[column.name]) for column in schema.columns]
    return GridRow(at, cells, f"{at}-remove")


def _read(cell: Cell) -> Any:
    """A number as people write it (1/2, 0.5); what cannot be read stays as typed, for the table to refuse."""
    text = cell.value.strip()
    if cell.column.kind == "number" and "/" in text:
        try:
            return read_length(text)
        except LengthNotUnderstood:
            return text
    return text
