"""An order as it comes in, a JSON object or what a form made of one, checked: all wrong fields at once.

Nothing here writes. A line is checked by developing it, so that an order never holds a fitting that cannot be
made.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from fittings.developing import (
    RAW,
    UNITS,
    WORDS,
    Tables,
    develop_for,
    lengths_in_inches,
    warnings_answer,
)
from fittings.geometry import Development
from fittings.models import OrderLine
from shared.problems import FieldError, WrongInput
from shared.texts import printable, said_value, tidy

MOST_LINES = 500
QUANTITY = (1, 10_000)
PRIORITY = (1, 9)
DUE = (date(2000, 1, 1), date(2100, 12, 31))
USUAL_PRIORITY = 5
NUMBER_RULE = "letters, digits, - _ . and at most 30 of them, the first a letter or digit"
_NUMBER = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,29}")
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_TAKEN_WORDS = ("import", "new")

ORDER_FIELDS = (
    "number",
    "customer",
    "purchase_order",
    "due",
    "priority",
    "notes",
    "lines",
    "unit",
    "version",
)
LINE_FIELDS = ("quantity", *WORDS, "tag", "system", "traveler_per")
# what an answer carries besides, so that an answer can be sent back as it came
ANSWERED_FIELDS = (
    "state",
    "created_at",
    "created_by",
    "released_at",
    "released_by",
    "ended_at",
    "fittings_total",
    "fittings_done",
    "tables",
)
LINE_ANSWERED_FIELDS = ("line", "warnings", "unit")


@dataclass(frozen=True)
class LineInput:
    """A checked line, lengths in inches. `warnings` say what is unusual about it."""

    quantity: int
    kind: str
    material: str
    gauge: int
    params: dict[str, Any]
    end_a: str = RAW
    end_b: str = RAW
    end_c: str = ""
    joins_a: str = ""
    joins_b: str = ""
    joins_c: str = ""
    pressure_class: float | None = None
    allowances: dict[str, Any] | None = None
    tag: str = ""
    system: str = ""
    traveler_per: str = OrderLine.TravelerPer.LOT
    warnings: list[dict] = field(default_factory=list, compare=False)

    def values(self) -> dict[str, Any]:
        """The fields of the line's row."""
        return {name: getattr(self, name) for name in LINE_FIELDS}


Developed = dict[str, LineInput | WrongInput]
"""Lines that were developed, or refused, by what they say of the fitting."""


@dataclass(frozen=True)
class OrderInput:
    """A checked order: `head` holds the fields that were given, by the names of the request."""

    head: dict[str, Any]
    lines: tuple[LineInput, ...] | None = None


class Reading:
    """Reads the fields of one object and gathers what is wrong with them."""

    def __init__(self, data: Mapping[str, Any], prefix: str = ""):
        self.data = data
        self.prefix = prefix
        self.errors: list[FieldError] = []

    def wrong(self, name: str, value: Any, limit: str, message: str = "") -> None:
        title = name.replace("_", " ").capitalize()
        said = "missing" if value is None else said_value(value)
        message = message or f"{title} is {said}; it can be {limit}."
        self.errors.append(FieldError(self.prefix + name, value, limit, message))

    def only(self, names: Iterable[str]) -> None:
        """Refuse names that mean nothing here: a mistyped one must not be passed over."""
        names = tuple(names)
        for name in self.data:
            if name not in names:
                known = ", ".join(names)
                self.wrong(str(name)[:60], self.data[name], known, f"“{str(name)[:60]}” is not a field here.")

    def text(self, name: str, longest: int, *, shortest: int = 0, multiline: bool = False) -> str:
        value = self.data.get(name)
        limit = f"a text of {shortest} to {longest} characters"
        if value is None and not shortest:
            return ""
        if not isinstance(value, str):
            self.wrong(name, value, limit)
            return ""
        text = tidy(value, multiline=multiline)
        if text is None:
            self.wrong(name, printable(value), limit + " without control characters")
        elif not shortest <= len(text) <= longest:
            shown = printable(text)
            title = name.replace("_", " ").capitalize()
            message = f"{title} has {len(text)} characters; it can be {limit}."
            self.wrong(name, shown, limit, message)
        else:
            return text
        return ""

    def whole(self, name: str, low: int, high: int, *, usual: int | None = None) -> int:
        value = self.data.get(name)
        if value is None and usual is not None:
            return usual
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if not is_number or not math.isfinite(value) or value != int(value) or not low <= value <= high:
            self.wrong(name, value, f"a whole number from {low} to {high}")
            return low
        return int(value)

    def choice(self, name: str, known: Iterable[str], *, usual: str) -> str:
        value = self.data.get(name)
        if value is None:
            return usual
        if value not in tuple(known):
            self.wrong(name, value, ", ".join(known))
            return usual
        return str(value)

    def day(self, name: str, first: date, last: date) -> date | None:
        value = self.data.get(name)
        if value is None or value == "" or isinstance(value, date):
            return value or None
        limit = f"a date from {first} to {last}, as 2026-03-04"
        try:
            found = date.fromisoformat(value) if isinstance(value, str) and _DATE.fullmatch(value) else None
        except ValueError:
            found = None
        if found is None or not first <= found <= last:
            self.wrong(name, value, limit)
            return None
        return found


# -- one fitting -------------------------------------------------------------


def development_asked(data: Mapping[str, Any]) -> Development:
    """The fitting that a request describes, developed. What else a line has (a tag, a quantity) is passed over.

    raises  WrongInput naming every wrong field
    """
    reading = Reading(data)
    reading.only(("unit", *LINE_FIELDS))
    unit = reading.choice("unit", UNITS, usual="in")
    try:
        dev = develop_for(**fitting_words(data), unit=unit)
    except WrongInput as wrong:
        reading.errors += wrong.errors
    if reading.errors:
        raise WrongInput(reading.errors)
    return dev


def fitting_words(data: Mapping[str, Any]) -> dict[str, Any]:
    """The words of the fitting; what is left out of the ends is raw, or blank where blank means something."""
    usual = {"end_a": RAW, "end_b": RAW, "end_c": "", "joins_a": "", "joins_b": "", "joins_c": ""}
    return {name: usual.get(name) if data.get(name) is None else data[name] for name in WORDS}


# -- an order ----------------------------------------------------------------


def read_order(
    data: Any, *, tables: Tables, is_new: bool = True, developed: Developed | None = None
) -> OrderInput:
    """An order as it came, checked whole. A change (not `is_new`) may leave out any field.

    developed  what was developed before by the same tables and unit, and is not developed again; filled here

    raises  WrongInput with an entry per wrong field (`due`, `lines[2].params.angle`)
    """
    if not isinstance(data, Mapping):
        raise WrongInput([FieldError("body", None, "a JSON object", "The body is not a JSON object.")])
    reading = Reading(data)
    reading.only(ORDER_FIELDS + ANSWERED_FIELDS)
    unit = reading.choice("unit", UNITS, usual="in")
    head: dict[str, Any] = {}
    readers = {
        "number": lambda: _number(reading),
        "customer": lambda: reading.text("customer", 120, shortest=1),
        "purchase_order": lambda: reading.text("purchase_order", 60),
        "due": lambda: reading.day("due", *DUE),
        "priority": lambda: reading.whole("priority", *PRIORITY, usual=USUAL_PRIORITY),
        "notes": lambda: reading.text("notes", 2000, multiline=True),
    }
    for name, read in readers.items():
        if is_new or name in data:
            head[name] = read()
    lines = None
    if is_new or "lines" in data:
        lines, errors = _read_lines(data.get("lines"), unit, tables, {} if developed is None else developed)
        reading.errors += errors
    if reading.errors:
        raise WrongInput(reading.errors)
    return OrderInput(head, lines)


def _number(reading: Reading) -> str:
    value = reading.data.get("number")
    if value is None or value == "":
        return ""
    if not isinstance(value, str) or not _NUMBER.fullmatch(value) or value.lower() in _TAKEN_WORDS:
        reading.wrong("number", printable(value), NUMBER_RULE)
        return ""
    return value


def _read_lines(
    given: Any, unit: str, tables: Tables, developed: Developed
) -> tuple[tuple[LineInput, ...], list[FieldError]]:
    limit = f"a list of 1 to {MOST_LINES} lines"
    if not isinstance(given, list | tuple) or not 1 <= len(given) <= MOST_LINES:
        has = f"has {len(given)} lines" if isinstance(given, list | tuple) else f"is {said_value(given)}"
        value = len(given) if isinstance(given, list | tuple) else given
        return (), [FieldError("lines", value, limit, f"Lines {has}; it can be {limit}.")]
    lines, errors = [], []
    for at, line in enumerate(given):
        prefix = f"lines[{at}]."
        if not isinstance(line, Mapping):
            message = f"Line {at + 1} is {said_value(line)}; it can be an object."
            errors.append(FieldError(f"lines[{at}]", None, "an object", message))
            continue
        reading = Reading(line, prefix)
        reading.only(LINE_FIELDS + LINE_ANSWERED_FIELDS)
        own = {
            "quantity": reading.whole("quantity", *QUANTITY),
            "tag": reading.text("tag", 60),
            "system": reading.text("system", 40),
            "traveler_per": reading.choice(
                "traveler_per", OrderLine.TravelerPer.values, usual=OrderLine.TravelerPer.LOT
            ),
        }
        found = _developed_once(line, unit, tables, developed)
        if isinstance(found, WrongInput):
            reading.errors += [replace(error, field=prefix + error.field) for error in found.errors]
        errors += reading.errors
        if not reading.errors:
            lines.append(replace(found, **own))
    return tuple(lines), errors


def _developed_once(
    line: Mapping[str, Any], unit: str, tables: Tables, developed: Developed
) -> LineInput | WrongInput:
    """The line as it can be made. Lines that describe the same fitting are developed once."""
    words = fitting_words(line)
    key = json.dumps(words, sort_keys=True, default=str)
    if key not in developed:
        try:
            dev = develop_for(**words, unit=unit, tables=tables)
        except WrongInput as wrong:
            developed[key] = wrong
        else:
            params, edges = lengths_in_inches(words["kind"], words["params"], words["allowances"], unit)
            pressure = words["pressure_class"]
            words |= {"gauge": dev.gauge, "params": params, "allowances": edges}
            words["pressure_class"] = None if pressure is None else float(pressure)
            developed[key] = LineInput(quantity=1, **words, warnings=warnings_answer(dev))
    return developed[key]


def read_line(line: Any, *, at: int, unit: str, tables: Tables) -> LineInput:
    """One line, checked, as the `at`-th of a request. raises WrongInput with an entry per wrong field"""
    found, errors = _read_lines([line], unit, tables, {})
    if errors:
        raise WrongInput(
            replace(error, field=error.field.replace("lines[0]", f"lines[{at}]", 1)) for error in errors
        )
    return found[0]
