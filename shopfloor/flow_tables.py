"""What the page of the flow is made of: tables as texts, the same on the page and as CSV, and sections with charts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from shared.problems import NotFound
from shared.sheets import csv_text
from shared.templatetags.parts import day
from shopfloor.flow.charts import Chart
from shopfloor.flow.figures import Cell

SHARES = (0.5, 0.85, 0.95)
DASH = "—"
DAY = "day"  # the name of a column of days


@dataclass(frozen=True)
class Column:
    """`name` heads the CSV, `label` the page. `places` None: a text."""

    name: str
    label: str
    places: int | None = 0


@dataclass(frozen=True)
class Table:
    """Rows as texts, the same on the page and in the CSV.

    What is not known is a dash there and empty here; a day is said there, and here it is as ISO 8601 writes it.
    """

    name: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    is_long: bool = False

    @property
    def heads(self) -> list[tuple[str, bool]]:
        return [(one.label, one.places is not None) for one in self.columns]

    @property
    def marked(self) -> list[list[tuple[str, bool]]]:
        """Each row's cells as the page says them, with whether they are numbers."""
        return [
            [
                (day(date.fromisoformat(cell)) if column.name == DAY else cell, column.places is not None)
                for cell, column in zip(row, self.columns, strict=True)
            ]
            for row in self.rows
        ]

    @property
    def plain(self) -> list[list[str]]:
        """The rows for programs and spreadsheets: empty where nothing is known."""
        return [["" if cell == DASH else cell for cell in row] for row in self.rows]

    def csv(self) -> str:
        return csv_text([[one.name for one in self.columns], *self.plain])


@dataclass(frozen=True)
class Section:
    name: str
    title: str
    says: str
    charts: tuple[Chart, ...] = ()
    tables: tuple[Table, ...] = ()


@dataclass(frozen=True)
class FlowPage:
    """`days_missing`: days that are not added up yet, and left out. `is_empty`: nothing came anywhere, or left."""

    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    days_missing: int = 0
    is_empty: bool = False

    def csv(self, name: str) -> str:
        """One table. raises NotFound for one that there is not"""
        tables = {table.name: table for section in self.sections for table in section.tables}
        if name not in tables:
            raise NotFound(f"There is no such table of figures. There are {', '.join(tables)}.")
        return tables[name].csv()


def text(value: float | None, places: int | None) -> str:
    if value is None:
        return DASH
    return f"{value:.{places}f}" if places is not None else f"{value}"


def with_unit(value: float | None, places: int, unit: str) -> str:
    return DASH if value is None else f"{value:.{places}f} {unit}"


def percent(share: float | None) -> float | None:
    return None if share is None else 100 * share


def table(
    name: str, title: str, columns: Sequence[Column], rows: Iterable[Sequence], *, is_long: bool = False
) -> Table:
    texts = (
        tuple(text(cell, column.places) for cell, column in zip(row, columns, strict=True)) for row in rows
    )
    return Table(name, title, tuple(columns), tuple(texts), is_long)


def shares(name: str, label: str, places: int = 2) -> list[Column]:
    return [Column(f"{name}_{100 * share:.0f}", f"{label}, {100 * share:.0f} %", places) for share in SHARES]


def percentiles(cell: Cell, name: str) -> list[float | None]:
    return [cell.percentile(name, share) for share in SHARES]
