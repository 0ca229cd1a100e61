"""Cells pasted from a spreadsheet into order entry: which line and field each one fills. Nothing is stored.

Where the first row is heads, each column goes by its head; else the cells go to the fields of the line from the one
that has the focus on. A cell that has no place is told with its line and column, so that nothing is lost unseen.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass, field

from fittings.developing import materials
from fittings.forms import FIRST_KIND, Choices, LineForm
from fittings.geometry import KINDS
from fittings.intake.matching import (
    PIECES_OR_QUANTITY,
    finish_named,
    head_words,
    kind_named,
    material_named,
    named_by_sense,
)
from fittings.reading import MOST_LINES
from shared.problems import FieldError, WrongInput
from shared.units import plain_number

LONGEST_CELL = 1000
MOST_COLUMNS = 60


@dataclass
class Pasted:
    """`lines` are fields by name as typed texts; `left` says what has no place, one sentence a cell."""

    lines: list[dict[str, str]] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    has_heads: bool = False


def pasted(text: str, *, kind: str, column: str, choices: Choices) -> Pasted:
    """The lines that pasted cells fill.

    kind    of the line that is pasted into; rows that name no kind are of this one
    column  the field that has the focus
    raises  WrongInput where there are too many rows or columns, or a cell is too long
    """
    rows = [[cell.strip() for cell in row] for row in csv.reader(io.StringIO(text), delimiter="\t")]
    rows = [row for row in rows if any(row)]
    _check_size(rows)
    kind = kind if kind in KINDS else FIRST_KIND
    found = Pasted()
    heads = _heads(rows[0]) if rows else []
    if rows and _are_heads(rows[0], heads):
        found.has_heads = True
        for number, row in enumerate(rows[1:], start=1):
            titled = [(*named, head, cell) for named, head, cell in zip(heads, rows[0], row, strict=False)]
            titled += [("", "", f"column {at + 1}", row[at]) for at in range(len(heads), len(row))]
            found.lines.append(_by_heads(titled, kind, choices, found.left, number))
        return found
    for number, row in enumerate(rows, start=1):
        found.lines.append(_by_place(row, kind, column, choices, found.left, number))
    return found


def _check_size(rows: list[list[str]]) -> None:
    wrong: FieldError | None = None
    widest = max(map(len, rows), default=0)
    longest = max((len(cell) for row in rows for cell in row), default=0)
    if len(rows) > MOST_LINES + 1:
        limit = f"at most {MOST_LINES} rows beside the heads"
        wrong = FieldError("text", len(rows), limit, f"{len(rows)} rows were pasted; it can be {limit}.")
    elif widest > MOST_COLUMNS:
        limit = f"at most {MOST_COLUMNS} columns"
        wrong = FieldError("text", widest, limit, f"{widest} columns were pasted; it can be {limit}.")
    elif longest > LONGEST_CELL:
        limit = f"at most {LONGEST_CELL} characters a cell"
        wrong = FieldError("text", longest, limit, f"A cell has {longest} characters; it can be {limit}.")
    if wrong:
        raise WrongInput([wrong])


# -- heads -------------------------------------------------------------------


def _heads(row: Iterable[str]) -> list[tuple[str, str]]:
    """The field that each head names, "" where none is known, and the unit that it names."""
    found = [named_by_sense(cell) if cell else (None, "") for cell in row]
    names = [_field(name) for name, _ in found]
    for at, cell in enumerate(row):
        if not names[at] and head_words(cell)[0] in PIECES_OR_QUANTITY:
            names[at] = "pieces" if "quantity" in names else "quantity"
    return [(name, unit) for name, (_, unit) in zip(names, found, strict=True)]


def _field(column: str | None) -> str:
    """The field of the form for a column of a take-off."""
    head, _, rest = (column or "").rpartition(".")
    return {"params": rest, "allowances": f"allow_{rest}"}.get(head, rest)


def _are_heads(row: list[str], heads: list[tuple[str, str]]) -> bool:
    """The first row is heads where two of it are known, or all that it has, and none is a number."""
    filled = [cell for cell in row if cell]
    known = sum(bool(name) for name, _ in heads)
    return not any(cell[0].isdecimal() for cell in filled) and (known >= 2 or known == len(filled) > 0)


# -- rows --------------------------------------------------------------------


def _by_heads(
    titled: list[tuple[str, str, str, str]], kind: str, choices: Choices, left: list[str], number: int
) -> dict[str, str]:
    values: dict[str, str] = {}
    angle = None
    for name, _, head, cell in titled:
        if name == "kind" and cell:
            meant, angle = kind_named(cell)
            kind = meant or kind
            if not meant:
                left.append(f"Row {number}, {head}: {cell}")
    values["kind"] = kind
    form = LineForm(prefix="line", choices=choices, initial={"kind": kind})
    for name, unit, head, cell in titled:
        if cell and name != "kind":
            told = f"Row {number}, {head}: {cell}"
            _place(name, _with_unit(cell, unit, choices), form, values, left, told)
    if angle is not None:
        values.setdefault("angle", plain_number(angle))
    return values


def _with_unit(cell: str, unit: str, choices: Choices) -> str:
    """A bare number under a head that names another unit than the shop's: “355.6” under “Dia (mm)” is “355.6 mm”."""
    is_bare = cell[-1:].isdecimal() and unit in ("in", "mm") and unit != choices.unit
    return f"{cell} {unit}" if is_bare else cell


def _by_place(
    row: list[str], kind: str, column: str, choices: Choices, left: list[str], number: int
) -> dict[str, str]:
    values: dict[str, str] = {}
    form = LineForm(prefix="line", choices=choices, initial={"kind": kind})
    names = _in_order(form)
    at = names.index(column) if column in names else 0
    for place, cell in enumerate(row):
        told = f"Row {number}, column {place + 1}: {cell}"
        name = names[at + place] if at + place < len(names) else ""
        if name == "kind" and cell:
            meant, angle = kind_named(cell)
            if meant:
                values["kind"] = meant
                values |= {} if angle is None else {"angle": plain_number(angle)}
                form = LineForm(prefix="line", choices=choices, initial={"kind": values["kind"]})
                names = _in_order(form)
            else:
                left.append(told)
        elif cell:
            _place(name, cell, form, values, left, told)
    values.setdefault("kind", kind)
    return values


def _in_order(form: LineForm) -> list[str]:
    """The fields of a line as they stand on the page, those that are folded away left out."""
    return [bound.name for bound in (*form.first_fields, *form.size_fields, *form.end_fields)]


def _place(name: str, cell: str, form: LineForm, values: dict[str, str], left: list[str], told: str) -> None:
    one = form.fields.get(name)
    if one is None or name in values:
        left.append(told)
    elif one.sort == "pick":
        chosen = _chosen(name, cell, form)
        if chosen:
            values[name] = chosen
        else:
            left.append(told)
    elif len(cell) > int(one.widget.attrs.get("maxlength", 60)):
        left.append(told)
    else:
        values[name] = cell.removesuffix(".0") if one.sort == "count" else cell


def _chosen(name: str, cell: str, form: LineForm) -> str:
    """The choice that a cell means: “galv” is galvanized, “flanged” a flange."""
    if name == "material":
        return material_named(cell, materials(form.choices.tables)) or ""
    if name.startswith(("end_", "joins_")):
        return finish_named(cell, form.choices.tables["ends"]) or ""
    wanted = cell.strip().lower()
    known = dict(form.fields[name].widget.choices)
    same = (key for key, label in known.items() if wanted in (str(key).lower(), str(label).lower()))
    return next((key for key in same if key), "")
