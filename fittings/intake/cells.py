"""One row of a take-off to one line of an order: each cell read by what its column means.

Only the texts are read here; whether a fitting can be made is for its development.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fittings.developing import materials
from fittings.geometry import KINDS, Kind
from fittings.intake.columns import ALLOWANCES, PARAMS, Column, columns
from fittings.intake.matching import finish_named, kind_named, material_named
from fittings.reading import QUANTITY
from shared.units import MM_PER_IN, LengthNotUnderstood, read_length

INSTEAD = {
    "diameter": ("diameter_a",),
    "diameter_b": ("branch_diameter",),
    "diameter_a": ("diameter",),
    "branch_diameter": ("diameter_b",),
    "length": ("main_length", "depth"),
    "depth": ("length",),
    "radius_ratio": (),
}
"""Where a kind lacks a size, the one that a file means by it."""

PLACES = 6  # of an inch, where a length is turned into inches: as everywhere
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}( |$)")
_THOUSANDS = re.compile(r"\d{1,3}(,\d{3})+(\.0*)?$")
_COUNT_WORDS = re.compile(r"\s*(pcs?|pieces?|ea|each|x|no|nos|gores?|ga|gauge|gage|stk)\.?$", re.I)
_COUNT_MARKS = re.compile(r"^(#|no\.?\s*|ga\.?\s*|x\s*)(?=\d)", re.I)
_QUOTED = re.compile(r"'+[=+\-@\t\r\0]")


class CellNotRead(ValueError):
    """The text is none that its column takes: what it can be, and the sentence."""

    def __init__(self, limit: str, reason: str):
        self.limit, self.reason = limit, reason
        super().__init__(reason)


@dataclass
class Line:
    """A row as a line of the HTTP contract; `wrong` by field; `column_of` the column that each field came from."""

    data: dict[str, Any]
    wrong: dict[str, tuple[str, str, str]] = field(default_factory=dict)
    column_of: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class CellReader:
    """How the cells of a file are read.

    unit       of the lines that are made, "in" or "mm"
    tables     the shop's tables
    has_comma  a comma stands for the decimal point
    """

    unit: str
    tables: Mapping[str, Sequence[Mapping[str, Any]]]
    has_comma: bool = False

    def line(
        self,
        texts: Mapping[str, str],
        column_of: Mapping[str, int],
        units: Mapping[str, str],
        usual: Mapping[str, str],
    ) -> Line:
        """A row's cells, by the names of their columns, as a line.

        usual  what holds for all lines where a cell says nothing: kind, material, gauge, end_a, end_b
        """
        line = Line({"quantity": None, "kind": None, "material": None, "gauge": None, "params": {}})
        line.column_of = dict(column_of)
        said = {name: text for name, text in usual.items() if text} | {
            name: text for name, text in texts.items() if text
        }
        kind = self._kind(line, said)
        for name, text in said.items():
            column = columns().get(name)
            if column is None or name == "kind":
                continue
            target = self._target(line, kind, name, text, said)
            if target is None:
                continue
            try:
                value = self.value(column, text, units.get(name, ""))
            except CellNotRead as wrong:
                line.wrong[target] = (text, wrong.limit, wrong.reason)
                continue
            _put(line.data, target, value)
        return line

    def _kind(self, line: Line, said: Mapping[str, str]) -> Kind | None:
        text = said.get("kind", "")
        if not text:
            return None
        name, angle = kind_named(text)
        if name is None:
            limit = ", ".join(kind.title.lower() for kind in KINDS.values())
            line.wrong["kind"] = (text, limit, f"Kind is “{text[:40]}”; it can be {limit}.")
            return None
        line.data["kind"] = name
        if angle is not None and not said.get(PARAMS + "angle"):
            line.data["params"]["angle"] = _whole_if(angle)
            line.column_of.setdefault(PARAMS + "angle", line.column_of.get("kind", 0))
        return KINDS[name]

    def _target(
        self, line: Line, kind: Kind | None, name: str, text: str, said: Mapping[str, str]
    ) -> str | None:
        """The field that a column means for this kind; None where the kind has none such, which is then wrong."""
        if kind is None or not name.startswith((PARAMS, "end_", "joins_", ALLOWANCES)):
            return name
        own = name.rpartition(".")[2]
        if name.startswith(PARAMS):
            has = {param.name for param in kind.params}
            for other in (own, *INSTEAD.get(own, ())):
                if other in has and (other == own or not said.get(PARAMS + other)):
                    line.column_of[PARAMS + other] = line.column_of.get(name, 0)
                    return PARAMS + other
        else:
            letter = own[-1] if own.startswith(("end_", "joins_")) else ""
            meets = [one for one, _ in (kind.meeting_ends if own.startswith("joins_") else kind.ends)]
            if not letter or letter in meets or (own == "end_b" and text.lower() in ("raw", "plain", "none")):
                return name
        title = columns()[name].title
        if name in ("end_a", "end_b") and name not in line.column_of:
            return None  # what holds for all lines is nothing to a kind without that end
        reason = f"{title} is “{text[:40]}”, but a {kind.title.lower()} has none. Leave the cell empty."
        line.wrong[name] = (text, "left empty", reason)
        return None

    def value(self, column: Column, text: str, unit: str = "") -> Any:
        """A cell's value. raises CellNotRead"""
        return _READERS.get(column.sort, CellReader._text)(self, column, text.strip(), unit)

    # one function a sort of column

    def _text(self, column: Column, text: str, unit: str) -> str:
        return text[1:] if _QUOTED.match(text) else text

    def _material(self, column: Column, text: str, unit: str) -> str:
        known = materials(self.tables)
        found = material_named(text, known)
        return found or _refuse(column, text, ", ".join(known))

    def _finish(self, column: Column, text: str, unit: str) -> str:
        ends = list(self.tables["ends"])
        found = finish_named(text, ends)
        return found or _refuse(column, text, ", ".join(str(row["name"]) for row in ends))

    def _choice(self, column: Column, text: str, unit: str) -> str:
        if not column.choices:
            known = {str(row["gore_class"]).lower(): str(row["gore_class"]) for row in self.tables["gores"]}
            return known.get(text.lower()) or _refuse(column, text, ", ".join(known.values()))
        plain = text.lower().replace(" ", "_")
        found = next((one for one in column.choices if one == plain), None)
        return found or _refuse(column, text, ", ".join(column.choices))

    def _yes(self, column: Column, text: str, unit: str) -> bool:
        known = dict.fromkeys(("yes", "y", "true", "x", "1"), True)
        known |= dict.fromkeys(("no", "n", "false", "0", "-"), False)
        if text.lower() not in known:
            return _refuse(column, text, "yes or no")
        return known[text.lower()]

    def _number(self, column: Column, text: str, unit: str) -> float | int:
        return self._float(column, text.rstrip("°").strip(), text, "a number")

    def _angle(self, column: Column, text: str, unit: str) -> float | int:
        plain = re.sub(r"\s*(°|deg\.?|degrees?)$", "", text, flags=re.I)
        return self._float(column, plain, text, "a number of degrees")

    def _whole(self, column: Column, text: str, unit: str) -> int:
        low, high = QUANTITY if column.name == "quantity" else (1, 10_000)
        limit = f"a whole number from {low} to {high}" if column.name == "quantity" else "a whole number"
        plain = _COUNT_MARKS.sub("", _COUNT_WORDS.sub("", text))
        if not self.has_comma and _THOUSANDS.match(plain):
            plain = plain.replace(",", "")
        value = self._float(column, plain, text, limit)
        if value != int(value) or (column.name == "quantity" and not low <= value <= high):
            _refuse(column, text, limit)
        return int(value)

    def _gauge(self, column: Column, text: str, unit: str) -> int:
        return self._whole(column, text, unit)

    def _float(self, column: Column, plain: str, text: str, limit: str) -> float | int:
        if self.has_comma:
            plain = plain.replace(",", ".")
        plain = plain.replace("\N{MINUS SIGN}", "-")
        if not re.fullmatch(r"[+-]?(\d{1,15}(\.\d*)?|\.\d+)([eE][+-]?\d{1,2})?", plain):
            if _DAY.match(text):
                _refuse_day(column, text, limit)
            _refuse(column, text, limit)
        return _whole_if(float(plain))

    def _length(self, column: Column, text: str, unit: str) -> float | int:
        """In the unit of the lines; a bare number is in the unit that the head names, else in that of the lines."""
        unit = unit or self.unit
        plain = re.sub(r"^[Øø⌀]\s*|\s*([Øø⌀]|dia\.?)$", "", text, flags=re.I)
        plain = plain.replace(",", ".") if self.has_comma else plain
        is_bare = plain[-1:].isdigit() or plain.endswith(".")
        if is_bare and unit == self.unit == "mm" and re.fullmatch(r"-?\d{1,9}(\.\d*)?", plain):
            return _whole_if(float(plain))  # kept as it is: no way to inches and back
        try:
            if is_bare and unit in ("cm", "ft") and "'" not in plain:
                value = read_length(f"{plain} {unit}")
            else:
                value = read_length(plain, unit=unit if unit in ("in", "mm") else "in")
        except LengthNotUnderstood:
            limit = "a length, 14 1/2 or 368.3 mm"
            if _DAY.match(text):
                _refuse_day(column, text, limit)
            return _refuse(column, text, limit)
        if not (is_bare and unit == "in"):
            value = round(value, PLACES)
        return _whole_if(value * MM_PER_IN if self.unit == "mm" else value)


_READERS: dict[str, Callable[[CellReader, Column, str, str], Any]] = {
    "material": CellReader._material,
    "finish": CellReader._finish,
    "choice": CellReader._choice,
    "yes": CellReader._yes,
    "number": CellReader._number,
    "angle": CellReader._angle,
    "whole": CellReader._whole,
    "gauge": CellReader._gauge,
    "length": CellReader._length,
}


def _refuse(column: Column, text: str, limit: str) -> Any:
    raise CellNotRead(limit, f"{column.title} is “{text[:40]}”; it can be {limit}.")


def _refuse_day(column: Column, text: str, limit: str) -> None:
    reason = f"{column.title} is the date {text[:10]}: a spreadsheet makes a date of what is typed as 7/8. "
    raise CellNotRead(limit, f"{reason}Format the cell as text; it can be {limit}.")


def _whole_if(value: float) -> float | int:
    return int(value) if value == int(value) and abs(value) < 1e15 else value


def _put(data: dict[str, Any], name: str, value: Any) -> None:
    head, _, rest = name.partition(".")
    if not rest:
        data[head] = value
    else:
        data[head] = {**(data.get(head) or {}), rest: value}
