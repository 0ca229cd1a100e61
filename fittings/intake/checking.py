"""A matched grid to orders, and every wrong cell by its name. Whole or not at all: one wrong cell, and none is made.

Rows with one order number are one order; without numbers, those with one customer, purchase order and date. A blank
cell of these goes on with the order of the row above.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from fittings.due_date import DateNotUnderstood, read_date
from fittings.geometry import KINDS
from fittings.intake.cells import CellReader, Line
from fittings.intake.columns import PARAMS, PART_OF_ORDER, columns
from fittings.intake.grid import CellWrong, Page
from fittings.intake.limits import MOST_ROWS, Deadline
from fittings.intake.matching import Match, kind_named, with_added
from fittings.reading import MOST_LINES, Developed, OrderInput, read_order
from shared.problems import FieldError, WrongInput

EXAMPLE = "EXAMPLE"  # the tag of the template's example rows
HELP = "Columns"  # the template's sheet that says what the columns mean
HELP_HEADS = (
    "Column",
    "What it can be",
    "What it means",
    "For which kinds",
    "Other heads that are understood",
)
LINES_A_CHECK = 20
NEEDED = {"quantity": "quantity", "kind": "kind", "material": "material", "gauge": "gauge"}
TITLES = {"purchase_order": "Purchase order", "due": "Due", "customer": "Customer", "number": "Order number"}
HEAD_FIELDS = ("number", "customer", "purchase_order", "due", "priority", "notes")


@dataclass(frozen=True)
class Asked:
    """What is said beside the file, as typed: the order's head, what holds for all lines, the unit of bare numbers."""

    head: Mapping[str, str] = field(default_factory=dict)
    usual: Mapping[str, str] = field(default_factory=dict)
    unit: str = "in"


@dataclass
class FoundOrder:
    """One order of the file: its head as texts, where each came from, its lines with (sheet, row number)."""

    head: dict[str, str] = field(default_factory=dict)
    cells: dict[str, tuple[int, int, int]] = field(default_factory=dict)
    lines: list[Line] = field(default_factory=list)
    at: list[tuple[int, int]] = field(default_factory=list)
    order: OrderInput | None = None

    @property
    def pieces(self) -> int:
        return sum(line.data["quantity"] or 0 for line in self.lines)


@dataclass
class Found:
    """What a file would make, what is wrong, and what to know of it."""

    orders: list[FoundOrder] = field(default_factory=list)
    wrong: list[CellWrong] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    examples: int = 0

    @property
    def lines(self) -> int:
        return sum(len(order.lines) for order in self.orders)

    @property
    def pieces(self) -> int:
        return sum(order.pieces for order in self.orders)


class Checker:
    """Checks the sheets of one file by one state of the shop's tables.

    taken      which of some order numbers there are already
    developed  what was developed before by the same tables and unit
    """

    def __init__(
        self,
        *,
        asked: Asked,
        tables: Mapping[str, Sequence[Mapping[str, Any]]],
        today: date,
        taken: Callable[[list[str]], set[str]],
        deadline: Deadline,
        has_comma: bool = False,
        developed: Developed | None = None,
    ):
        self.asked, self.today, self.taken, self.deadline = asked, today, taken, deadline
        self.reader = CellReader(asked.unit, tables, has_comma)
        self.tables = tables
        self.developed: Developed = {} if developed is None else developed

    def checked(self, pages: Sequence[Page], matches: Sequence[Match]) -> Found:
        """What the sheets make. A size that a row lacks and no column has gets a column at the right of its sheet."""
        found = self._pass(pages, matches)
        lacking = {
            (one.sheet, one.name)
            for one in found.wrong
            if one.row is not None and one.column is None and one.name.startswith(PARAMS)
        }
        if not lacking:
            return found
        for sheet, name in sorted(lacking):
            page, match = pages[sheet], matches[sheet]
            page.added[name] = max(page.width, len(match.names))
            with_added(page, match)
        return self._pass(pages, matches)

    def _pass(self, pages: Sequence[Page], matches: Sequence[Match]) -> Found:
        found = Found()
        read = [at for at, match in enumerate(matches) if match.is_known]
        for at, page in enumerate(pages):
            if at not in read and read and not (page.name == HELP and page.cell(0, 0) == HELP_HEADS[0]):
                found.notes.append(f"The sheet “{page.name}” is not read: it has no head that is known.")
        self._check_heads(pages, matches, read or list(range(len(pages))), found)
        for at in read:
            self._read_sheet(at, pages[at], matches[at], found)
        rows = sum(len(page.rows) - match.head_at - 1 for page, match in zip(pages, matches, strict=True))
        if rows > MOST_ROWS:
            limit = f"at most {MOST_ROWS} rows"
            message = f"The file has {rows} rows; it can have {limit}."
            raise WrongInput([FieldError("file", rows, limit, message)])
        if read and not found.orders and not found.wrong:
            reason = "The file has heads but no rows below them."
            found.wrong.append(CellWrong(read[0], None, None, "", "at least one row", reason))
        if found.examples:
            which = "One row is an example" if found.examples == 1 else f"{found.examples} rows are examples"
            found.notes.append(f"{which} of the template and left out.")
        self._check_numbers(found)
        for order in found.orders:
            self._check_order(order, found)
        found.wrong = list(dict.fromkeys(found.wrong))  # what is typed beside the file holds for every order
        found.wrong.sort(key=lambda one: (one.sheet, one.row or 0, -1 if one.column is None else one.column))
        return found

    # -- heads

    def _check_heads(self, pages, matches, read: Iterable[int], found: Found) -> None:
        for at in read:
            match, page = matches[at], pages[at]
            number = page.numbers[match.head_at]
            if not match.is_known:
                reason = (
                    "No row of heads is known here. Heads are words such as Quantity, Kind, Diameter, Gauge."
                )
                found.wrong.append(CellWrong(at, number, None, "", "a row of heads", reason))
                continue
            for column in match.open:
                head = match.heads[column]
                if column in match.doubled:
                    first = match.heads[match.doubled[column]]
                    title = columns()[match.names[column]].title
                    reason = f"“{head[:40]}” means {title}, as “{first[:40]}” does already. Leave one out."
                    limit = "one column for each meaning"
                elif head:
                    reason = (
                        f"“{head[:40]}” is no head that is known. Say which column it is, or leave it out."
                    )
                    limit = "a known head"
                else:
                    reason, limit = "The column has values but no head.", "a head"
                found.wrong.append(CellWrong(at, number, column, head, limit, reason, head))
            has = match.column_of
            usual = {name for name, text in self._usual(page, match).items() if text}
            lacks = [name for name in NEEDED if name not in has and name not in usual]
            for name in lacks:
                reason = f"There is no column for the {NEEDED[name]}, and nothing is said for all lines."
                if name == "quantity":
                    reason = "There is no column for the quantity."
                found.wrong.append(CellWrong(at, number, None, "", "a column", reason, name=name))

    def _usual(self, page: Page, match: Match) -> dict[str, str]:
        """What holds for all lines of a sheet; a sheet named after a kind has lines of that kind."""
        usual = dict(self.asked.usual)
        if "kind" not in match.column_of and kind_named(page.name)[0]:
            usual["kind"] = page.name
        return usual

    # -- rows

    def _read_sheet(self, sheet: int, page: Page, match: Match, found: Found) -> None:
        column_of = match.column_of
        units = {name: match.units[at] if at < len(match.units) else "" for name, at in column_of.items()}
        usual = self._usual(page, match)
        wrong_by_row: dict[int, dict[int, tuple[str, str]]] = {}
        for (number, column), told in page.wrong.items():
            wrong_by_row.setdefault(number, {})[column] = told
        meant = set(column_of.values())
        for at in range(match.head_at + 1, len(page.rows)):
            number = page.numbers[at]
            if number in page.left_out:
                continue
            texts = {name: page.cell(at, column) for name, column in column_of.items()}
            if texts.get("tag") == EXAMPLE:
                found.examples += 1
                continue
            broken = wrong_by_row.get(number, {})
            for column, (limit, reason) in broken.items():
                if column in meant or column in match.open:
                    head = match.heads[column] if column < len(match.heads) else ""
                    value = page.cell(at, column)
                    found.wrong.append(CellWrong(sheet, number, column, value, limit, reason, head))
            beyond = [at_ for at_, text in enumerate(page.rows[at]) if text and at_ >= len(match.names)]
            for column in beyond:
                reason = "The cell has a value, but its column has no head."
                found.wrong.append(CellWrong(sheet, number, column, page.cell(at, column), "a head", reason))
            if not any(texts.values()):
                continue
            own = {name: text for name, text in texts.items() if name not in PART_OF_ORDER}
            line = self.reader.line(own, column_of, units, usual)
            for name, column in column_of.items():
                if column in broken:
                    line.wrong[name] = ("", "", "")  # named already
            order = self._order_of(sheet, number, texts, column_of, found)
            order.lines.append(line)
            order.at.append((sheet, number))

    def _order_of(
        self, sheet: int, number: int, texts: Mapping[str, str], column_of: Mapping[str, int], found: Found
    ) -> FoundOrder:
        given = {name: texts[name] for name in PART_OF_ORDER if texts.get(name)}
        last = found.orders[-1] if found.orders else None
        keys = ("number",) if "number" in given else ("customer", "purchase_order", "due")
        if not any(name in given for name in keys) and last is not None:
            order = last
        elif "number" in given:
            same = [one for one in found.orders if one.head.get("number") == given["number"]]
            order = same[0] if same else None
        else:
            same = [
                one
                for one in found.orders
                if "number" not in one.head and all(_alike(one.head, given, name) for name in keys)
            ]
            order = same[-1] if same else None
        if order is None:
            order = FoundOrder()
            found.orders.append(order)
        for name, text in given.items():
            had = order.head.get(name)
            column = column_of[name]
            if had is None:
                order.head[name] = text
                order.cells[name] = (sheet, number, column)
            elif had != text:
                title = columns()[name].title
                row = order.cells[name][1]
                reason = f"{title} is “{text[:40]}”, but the same order has “{had[:40]}” in row {row}."
                found.wrong.append(CellWrong(sheet, number, column, text, f"“{had[:40]}”", reason, title))
        return order

    # -- orders

    def _check_numbers(self, found: Found) -> None:
        typed = self.asked.head.get("number", "")
        without = [order for order in found.orders if "number" not in order.head]
        if typed and len(found.orders) > 1:
            reason = f"The file has {len(found.orders)} orders; one number cannot be for all of them."
            found.wrong.append(CellWrong(0, None, None, typed, "left out", reason, name="number"))
        elif typed and without:
            without[0].head["number"] = typed
        numbers = [order.head["number"] for order in found.orders if order.head.get("number")]
        taken = self.taken(numbers)
        for order in found.orders:
            number = order.head.get("number", "")
            if number in taken:
                reason = (
                    f"There is an order {number[:30]} already. Leave the number out to get the next free one."
                )
                found.wrong.append(self._of_head(order, "number", number, "a number not used yet", reason))

    def _of_head(self, order: FoundOrder, name: str, value: Any, limit: str, reason: str) -> CellWrong:
        """What is wrong with a field of an order's head: in its cell, else beside the file."""
        sheet, row, column = order.cells.get(name, (0, None, None))
        return CellWrong(sheet, row, column, str(value or ""), limit, reason, TITLES.get(name, name), name)

    def _head(self, order: FoundOrder, found: Found) -> dict[str, Any]:
        texts = {**{name: text for name, text in self.asked.head.items() if name != "number"}, **order.head}
        texts = {
            name: self.reader._text(columns()["notes"], text, "") for name, text in texts.items() if text
        }
        head: dict[str, Any] = {name: texts[name] for name in HEAD_FIELDS if name in texts}
        head["notes"] = texts.get("notes", "") + texts.get("notes_more", "")
        if "due" in head:
            try:
                head["due"] = read_date(head["due"], today=self.today).isoformat()
            except DateNotUnderstood as wrong:
                told = self._of_head(
                    order, "due", texts["due"], "a date, as 2026-03-04", f"Due: {wrong.sentence}"
                )
                found.wrong.append(told)
                del head["due"]
        if "priority" in head:
            text = str(head["priority"])
            if text in tuple("123456789"):
                head["priority"] = int(text)
            else:
                reason = f"Priority is “{text[:20]}”; it can be 1 to 9."
                found.wrong.append(self._of_head(order, "priority", text, "1 to 9", reason))
                del head["priority"]
        if not head.get("customer"):
            reason = "The customer is missing. Write it in a column, or beside the file."
            head["customer"] = "?"
            found.wrong.append(self._of_head(order, "customer", "", "a customer", reason))
        return head

    def _check_order(self, order: FoundOrder, found: Found) -> None:
        head = self._head(order, found)
        wrong_before = len(found.wrong)
        for first in range(0, len(order.lines), LINES_A_CHECK):
            self.deadline.check()
            part = order.lines[first : first + LINES_A_CHECK]
            data = {"unit": self.asked.unit, "lines": [_asked(line) for line in part]}
            try:
                read_order(data, tables=self.tables, is_new=False, developed=self.developed)
            except WrongInput as wrong:
                for error in wrong.errors:
                    self._line_error(order, first, error, found)
            for at, line in enumerate(part, start=first):
                self._own_errors(order, at, line, found)
        if len(order.lines) > MOST_LINES:
            sheet, row = order.at[MOST_LINES]
            limit = f"at most {MOST_LINES} lines an order"
            reason = f"The order has {len(order.lines)} lines; it can have {limit}."
            found.wrong.append(CellWrong(sheet, row, None, str(len(order.lines)), limit, reason))
            return
        is_good = wrong_before == len(found.wrong) and not any(line.wrong for line in order.lines)
        lines = [_asked(line) for line in order.lines] if is_good else None
        try:
            data = {**head, "unit": self.asked.unit} | ({"lines": lines} if is_good else {})
            whole = read_order(data, tables=self.tables, is_new=is_good, developed=self.developed)
            order.order = whole if is_good else None
        except WrongInput as wrong:
            for error in wrong.errors:
                name = error.field if error.field in HEAD_FIELDS else ""
                found.wrong.append(self._of_head(order, name, error.value, error.limit, error.message))

    def _own_errors(self, order: FoundOrder, at: int, line: Line, found: Found) -> None:
        sheet, row = order.at[at]
        for name, (value, limit, reason) in line.wrong.items():
            if reason:
                column = line.column_of.get(name)
                found.wrong.append(CellWrong(sheet, row, column, value, limit, reason, _title(name), name))

    def _line_error(self, order: FoundOrder, first: int, error: FieldError, found: Found) -> None:
        """What the order's check said of a line, at its cell; what its cell said before is said once."""
        path, _, name = error.field.partition("].")
        at = first + int(path.rpartition("[")[2])
        line, (sheet, row) = order.lines[at], order.at[at]
        if name in line.wrong or (name.partition(".")[0] == "kind" and "kind" in line.wrong):
            return
        if "kind" in line.wrong and name.startswith(("params", "end_", "joins_")):
            return
        column = line.column_of.get(name)
        value = "" if error.value is None else str(error.value)
        if column is None and name in NEEDED:
            if not any(one.sheet == sheet and one.column is None and one.name == name for one in found.wrong):
                found.wrong.append(CellWrong(sheet, row, None, value, error.limit, error.message, name=name))
            return
        reason = _of_kind(error.message, line)
        found.wrong.append(CellWrong(sheet, row, column, value, error.limit, reason, _title(name), name))


def _asked(line: Line) -> dict[str, Any]:
    """A line as the order's check takes it; a wrong quantity is told already and stands as one."""
    data = {name: value for name, value in line.data.items() if value is not None}
    if "quantity" in line.wrong:
        data["quantity"] = 1
    return data


def _of_kind(message: str, line: Line) -> str:
    kind = KINDS.get(line.data.get("kind") or "")
    is_lacking = " is missing; " in message and kind is not None
    return (
        message.replace(" is missing; ", f" is missing for a {kind.title.lower()}; ")
        if is_lacking
        else message
    )


def _alike(one: Mapping[str, str], other: Mapping[str, str], name: str) -> bool:
    return name not in other or one.get(name) == other[name]


def _title(name: str) -> str:
    column = columns().get(name)
    return column.title if column else name
