"""What the pages of a file show: its grid with the wrong cells, what it would make, what its columns mean."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.core.paginator import Page as Shown
from django.core.paginator import Paginator

from fittings.customers import names_unknown
from fittings.developing import materials
from fittings.due_date import DateNotUnderstood, date_text, read_date
from fittings.forms import shop_unit
from fittings.geometry import KINDS
from fittings.intake.checking import HEAD_FIELDS, NEEDED, Asked
from fittings.intake.columns import PARAMS, PART_OF_ORDER, columns
from fittings.intake.grid import column_letters
from fittings.intake.matching import Match, named_by_sense
from fittings.intake.services import earlier, intake_matches, intake_of
from fittings.models import IntakeFile
from fittings.tables import all_rows

ROWS_ON_A_PAGE = 100
MOST_LISTED = 40
ORDERS_SHOWN = 20
SAMPLES = 3
FILES_SHOWN = 20
HEAD_TITLES = {
    "customer": "Customer",
    "purchase_order": "Customer’s PO",
    "due": "Due",
    "priority": "Priority",
    "number": "Order number",
    "notes": "Notes",
}
USUAL = ("kind", "material", "gauge", "end_a", "end_b")


@dataclass(frozen=True)
class CellShown:
    """One cell. `name` is its field where it can be typed over."""

    text: str
    name: str = ""
    reason: str = ""
    is_meant: bool = True
    label: str = ""

    @property
    def is_wrong(self) -> bool:
        return bool(self.reason)


@dataclass(frozen=True)
class RowShown:
    sheet: int
    number: int
    cells: tuple[CellShown, ...]
    reasons: tuple[str, ...]
    is_left_out: bool

    @property
    def key(self) -> str:
        return f"{self.sheet}-{self.number}"

    @property
    def is_wrong(self) -> bool:
        return bool(self.reasons) or any(cell.is_wrong for cell in self.cells)


@dataclass(frozen=True)
class SheetShown:
    """A sheet's rows on this page, below its heads: each with what it means."""

    name: str
    heads: tuple[tuple[str, str], ...]
    rows: tuple[RowShown, ...]


@dataclass(frozen=True)
class WrongShown:
    """A wrong cell in the list: where its link goes, its name, its sentence."""

    link: str
    where: str
    reason: str


@dataclass(frozen=True)
class HeadField:
    name: str
    label: str
    value: str
    error: str = ""
    hint: str = ""
    echo: str = ""

    @property
    def css(self) -> str:
        return {"purchase_order": "head-po"}.get(self.name, f"head-{self.name}")


@dataclass(frozen=True)
class IntakePage:
    row: IntakeFile
    sheets: tuple[SheetShown, ...]
    wrong: tuple[WrongShown, ...]
    head: tuple[HeadField, ...]
    page: Shown
    shows_all: bool
    rows_wrong: int
    earlier: tuple[tuple[IntakeFile, str], ...]
    new_customers: tuple[str, ...]

    @property
    def found(self) -> Mapping[str, Any]:
        return self.row.found

    @property
    def orders(self) -> list[Mapping[str, Any]]:
        return self.row.found.get("orders", [])[:ORDERS_SHOWN]

    @property
    def is_good(self) -> bool:
        return not self.row.found.get("wrong_count")


def intake_page(row: IntakeFile, *, page: str | None, rows: str, today: date) -> IntakePage:
    """A file with what the last look at it found.

    rows  "all", else those with a wrong cell where there are some
    """
    intake = intake_of(row)
    matches = intake_matches(intake)
    wrong = row.found.get("wrong", [])
    by_row: dict[tuple[int, int], list[dict]] = {}
    for one in wrong:
        if one["row"] is not None:
            by_row.setdefault((one["sheet"], one["row"]), []).append(one)
    every = [
        (sheet, at)
        for sheet, match in enumerate(matches)
        if match.is_known or not any(other.is_known for other in matches)
        for at in range(match.head_at + 1, len(intake.pages[sheet].rows))
    ]
    number_of = {key: intake.pages[key[0]].numbers[key[1]] for key in every}
    is_wrong = {key: (key[0], number_of[key]) in by_row for key in every}
    shows_all = rows == "all" or not any(is_wrong.values())
    listed = every if shows_all else [key for key in every if is_wrong[key]]
    shown = Paginator(listed, ROWS_ON_A_PAGE).get_page(page)
    page_of = {(key[0], number_of[key]): at // ROWS_ON_A_PAGE + 1 for at, key in enumerate(listed)}
    sheets = []
    for sheet in dict.fromkeys(key[0] for key in shown):
        ats = [key[1] for key in shown if key[0] == sheet]
        sheets.append(_sheet(sheet, intake.pages[sheet], matches[sheet], ats, by_row))
    link = "?rows=all&" if rows == "all" else "?"
    return IntakePage(
        row=row,
        sheets=tuple(sheets),
        wrong=tuple(_listed(one, matches, intake.pages, page_of, link) for one in wrong[:MOST_LISTED]),
        head=tuple(_head_fields(intake.asked, matches, wrong, today)),
        page=shown,
        shows_all=shows_all,
        rows_wrong=sum(is_wrong.values()),
        earlier=tuple((one, _said(one.orders)) for one in earlier(intake, row.digest))
        if not row.imported_at
        else (),
        new_customers=_new_customers(row),
    )


def _said(numbers: list[str]) -> str:
    return ", ".join(numbers[:5]) + (" …" if len(numbers) > 5 else "")


def _sheet(sheet: int, page, match: Match, ats: Iterable[int], by_row) -> SheetShown:
    width = max(len(match.names), *(len(page.rows[at]) for at in ats))
    heads = []
    for at in range(width):
        head = match.heads[at] if at < len(match.heads) else ""
        name = match.names[at] if at < len(match.names) else ""
        meant = columns()[name].title if name else "left out" if name == "" else "?"
        heads.append((head or column_letters(at), "" if meant.lower() == head.lower() else meant))
    rows = []
    for at in ats:
        number = page.numbers[at]
        told = by_row.get((sheet, number), [])
        reasons = {one["column"]: one["reason"] for one in reversed(told) if one["column"] is not None}
        cells = []
        for column in range(width):
            name = match.names[column] if column < len(match.names) else ""
            field = f"cell-{sheet}-{number}-{column}" if column in reasons else ""
            label = f"{heads[column][0]}, row {number}" if field else ""
            reason = reasons.get(column, "")
            cells.append(CellShown(page.cell(at, column), field, reason, bool(name), label))
        others = tuple(one["reason"] for one in told if one["column"] is None)
        rows.append(RowShown(sheet, number, tuple(cells), others, number in page.left_out))
    return SheetShown(page.name, tuple(heads), tuple(rows))


def _listed(one: Mapping[str, Any], matches, pages, page_of, link: str) -> WrongShown:
    row, column, sheet = one["row"], one["column"], one["sheet"]
    place = f"{pages[sheet].name}, " if len(pages) > 1 and sheet < len(pages) else ""
    if row is None:
        name = one["name"] if one["name"] in HEAD_FIELDS else ""
        return WrongShown(f"#head-{name}" if name else "", "", one["reason"])
    on = page_of.get((sheet, row))
    where = f"{place}{column_letters(column)}{row}" if column is not None else f"{place}row {row}"
    if on is None:  # among the heads
        return WrongShown("columns/", where, one["reason"])
    target = f"cell-{sheet}-{row}-{column}" if column is not None else f"row-{sheet}-{row}"
    return WrongShown(f"{link}page={on}#{target}", where, one["reason"])


def _head_fields(asked: Asked, matches: Iterable[Match], wrong, today: date) -> Iterable[HeadField]:
    in_file = {name for match in matches for name in match.column_of}
    told = {one["name"]: one["reason"] for one in reversed(wrong) if one["row"] is None and one["name"]}
    for name, label in HEAD_TITLES.items():
        if name in in_file and name not in told:
            continue
        value = asked.head.get(name, "")
        hint = {"number": "Blank: the next one", "due": "17 Dec, or Thursday", "priority": "1 first, 9 last"}
        echo = ""
        if name == "due" and value and name not in told:
            try:
                echo = date_text(read_date(value, today=today))
            except DateNotUnderstood:
                echo = ""
        yield HeadField(name, label, value, told.get(name, ""), hint.get(name, ""), echo)


def _new_customers(row: IntakeFile) -> tuple[str, ...]:
    """Customers of the file that the shop does not have yet, whatever the capitals."""
    names = {one["head"]["customer"] for one in row.found.get("orders", []) if one["head"]["customer"]}
    if not names or row.imported_at:
        return ()
    return names_unknown(names)


# -- what the columns mean ---------------------------------------------------------


@dataclass(frozen=True)
class ColumnShown:
    """One column of a sheet: its letter, its head, what stands in it, what it means."""

    field: str
    letter: str
    head: str
    samples: tuple[str, ...]
    chosen: str
    is_open: bool
    reason: str


@dataclass(frozen=True)
class Choice:
    value: str
    title: str
    unit: str = ""


@dataclass(frozen=True)
class UsualShown:
    name: str
    label: str
    value: str
    choices: tuple[tuple[str, str], ...]
    is_needed: bool


@dataclass(frozen=True)
class ColumnsPage:
    row: IntakeFile
    sheets: tuple[tuple[str, tuple[ColumnShown, ...]], ...]
    choices: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    usual: tuple[UsualShown, ...]
    unit: str

    @property
    def open(self) -> int:
        return sum(column.is_open for _, columns_ in self.sheets for column in columns_)


def columns_page(row: IntakeFile) -> ColumnsPage:
    intake = intake_of(row)
    matches = intake_matches(intake)
    has = {name for match in matches for name in match.column_of}
    sheets = []
    for at, (page, match) in enumerate(zip(intake.pages, matches, strict=True)):
        if not match.is_known and any(other.is_known for other in matches):
            continue
        sheets.append(
            (page.name, tuple(_column(at, page, match, column) for column in range(len(match.names))))
        )
    tables = all_rows()
    ends = tuple((row["name"], row["title"].partition(",")[0]) for row in tables["ends"])
    given = {
        "kind": tuple((kind.name, kind.title) for kind in KINDS.values()),
        "material": tuple((name, name.capitalize()) for name in materials(tables)),
        "gauge": (),
        "end_a": ends,
        "end_b": ends,
    }
    usual = tuple(
        UsualShown(
            name,
            columns()[name].title,
            intake.asked.usual.get(name, ""),
            given[name],
            name in NEEDED and name not in has,
        )
        for name in USUAL
    )
    return ColumnsPage(row, tuple(sheets), _choices(), usual, intake.asked.unit)


def _column(sheet: int, page, match: Match, column: int) -> ColumnShown:
    texts = [page.cell(at, column) for at in range(match.head_at + 1, len(page.rows))]
    samples = tuple(dict.fromkeys(text[:40] for text in texts if text))[:SAMPLES]
    name, reason = match.names[column], ""
    if column in match.doubled:
        reason = f"Means the same as “{match.heads[match.doubled[column]]}”: leave one of them out."
    elif name is None:
        reason = "Not known: say what it is, or leave it out."
    return ColumnShown(
        f"column-{sheet}-{column}",
        column_letters(column),
        match.heads[column],
        samples,
        "?" if name is None else name,
        bool(reason),
        reason,
    )


def _choices() -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """All columns in groups, as a select shows them."""
    groups: dict[str, list[tuple[str, str]]] = {
        "The order": [],
        "The line": [],
        "Sizes": [],
        "Allowances": [],
    }
    for name, column in columns().items():
        group = "The order" if name in PART_OF_ORDER else "Sizes" if name.startswith(PARAMS) else "The line"
        group = "Allowances" if name.startswith("allowances.") else group
        groups[group].append((name, column.title))
    return tuple((title, tuple(choices)) for title, choices in groups.items())


def columns_posted(row: IntakeFile, data: Mapping[str, str]) -> tuple[dict[str, str], Asked]:
    """What the page of columns said: heads to columns, and what holds for all lines.

    What is as it is read by sense is not said; an open column that was left as it is stays open.
    """
    intake = intake_of(row)
    said = {}
    for at, match in enumerate(intake_matches(intake)):
        for column, head in enumerate(match.heads):
            chosen = data.get(f"column-{at}-{column}")
            if chosen is None or chosen == "?" or column in intake.pages[at].added.values():
                continue
            if column in match.doubled or chosen != match.names[column] or chosen != named_by_sense(head)[0]:
                said[head] = chosen
    usual = {name: data.get(f"usual-{name}", "").strip()[:60] for name in USUAL}
    unit = data.get("unit", intake.asked.unit)
    return said, Asked(intake.asked.head, usual, unit if unit in ("in", "mm") else "in")


# -- the first page ---------------------------------------------------------------


def files_waiting() -> list[IntakeFile]:
    """Files that are not brought in yet, the newest first, without their grids."""
    found = IntakeFile.objects.filter(imported_at=None).defer("pages")
    return list(found.order_by("-made_at", "-pk")[:FILES_SHOWN])


def files_in() -> list[IntakeFile]:
    found = IntakeFile.objects.filter(imported_at__isnull=False).defer("pages", "found")
    return list(found.order_by("-imported_at", "-pk")[:FILES_SHOWN])


def asked_typed(data: Mapping[str, str], was: Asked | None = None) -> Asked:
    """What is typed beside the file; what the page does not show stays as it was."""
    head = dict(was.head) if was else {}
    for name in HEAD_FIELDS:
        if f"head-{name}" in data:
            head[name] = data[f"head-{name}"].strip()[:2000]
    unit = data.get("unit") or (was.unit if was else shop_unit())
    return Asked(
        {name: text for name, text in head.items() if text},
        dict(was.usual) if was else {},
        unit if unit in ("in", "mm") else "in",
    )


def corrections(data: Mapping[str, str]) -> tuple[dict[tuple[int, int, int], str], set, set]:
    """Cells typed over, rows left out, rows shown, as the page of the file sends them."""
    cells, left_out, shown = {}, set(), set()
    for name in data:
        sort, _, rest = name.partition("-")
        parts = rest.split("-")
        if not all(part.isdecimal() and len(part) < 8 for part in parts):
            continue
        key = tuple(int(part) for part in parts)
        if sort == "cell" and len(key) == 3:
            cells[key] = data[name][:2000]
        elif sort == "out" and len(key) == 2:
            left_out.add(key)
        elif sort == "shown" and len(key) == 2:
            shown.add(key)
    return cells, left_out, shown
