"""A change of a released order as it came: which line shall become what, and what is done with started work."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from fittings.developing import UNITS, WORDS, words_of
from fittings.geometry import KINDS
from fittings.models import Order, OrderLine
from fittings.reading import LINE_ANSWERED_FIELDS, LINE_FIELDS, MOST_LINES, LineInput, Reading, read_line
from fittings.tables import all_rows
from shared.problems import FieldError, WrongInput
from shared.texts import said_value
from shared.units import MM_PER_IN
from travelers.release import operation_rows, work_of
from travelers.release_kept import kept_ids_read
from travelers.release_rows import Work

SCRAP, KEEP, GO_ON = "scrap", "keep", "go_on"
STARTED = (SCRAP, KEEP, GO_ON)
ADD, CANCEL, REPLACE, COUNT, WORDING, SAME = "add", "cancel", "replace", "count", "wording", "same"
CHANGE_FIELDS = ("version", "unit", "note", "lines", "dry_run", "seen", "use_kept")
OWN_FIELDS = ("line", "cancel", "started")
LONGEST_NOTE = 200


@dataclass(frozen=True)
class LineWish:
    """One line of a change.

    at       its index in the request
    line     the line as it stands; None where it is added
    given    what it shall be; None where it is cancelled
    started  what is done with work that is started: scrap, keep, go_on; blank is as usual
    made     the new line, not stored yet, and how its fittings are made; where it is added or another fitting
    """

    at: int
    line: OrderLine | None
    given: LineInput | None
    started: str = ""
    made: OrderLine | None = None
    work: Work | None = None

    @cached_property
    def kind(self) -> str:
        if self.line is None:
            return ADD
        if self.given is None:
            return CANCEL
        if any(getattr(self.given, name) != getattr(self.line, name) for name in WORDS):
            return REPLACE
        if self.given.quantity != self.line.quantity:
            return COUNT
        return WORDING if self.given.values() != own_values(self.line) else SAME


@dataclass(frozen=True)
class Change:
    """A change as it was read. `seen` is the mark of what was shown; blank where nothing was.

    use_kept  ids of kept pieces that become fittings or segments of what is made
    """

    version: int
    note: str
    wishes: tuple[LineWish, ...]
    seen: str = ""
    dry_run: bool = False
    use_kept: tuple[int, ...] = ()


def change_read(order: Order, data: Any) -> Change:
    """A change of an order, checked by the tables in force; it needs no transaction.

    raises  WrongInput naming every wrong field (`lines[2].params.angle`)
    """
    reading = Reading(data if isinstance(data, Mapping) else {})
    reading.only(CHANGE_FIELDS)
    version = reading.whole("version", 1, 10**9)
    unit = reading.choice("unit", UNITS, usual="in")
    note = reading.text("note", LONGEST_NOTE)
    seen = reading.text("seen", 64)
    dry_run = reading.data.get("dry_run", False)
    if not isinstance(dry_run, bool):
        reading.wrong("dry_run", dry_run, "true or false")
    use_kept: list[int] = []
    try:
        use_kept = kept_ids_read(reading.data.get("use_kept"))
    except WrongInput as wrong:
        reading.errors += wrong.errors
    given = reading.data.get("lines")
    if not isinstance(given, Sequence) or isinstance(given, str) or not 1 <= len(given) <= MOST_LINES:
        has = f"has {len(given)} lines" if isinstance(given, list) else f"is {said_value(given)}"
        limit = f"a list of 1 to {MOST_LINES} lines"
        reading.wrong("lines", None, limit, f"Lines {has}; it can be {limit}.")
        given = []
    wishes = _wishes(order, given, unit, reading)
    wishes = _worked_out(order, wishes, reading)
    if reading.errors:
        raise WrongInput(reading.errors)
    return Change(version, note, tuple(wishes), seen, dry_run is True, tuple(use_kept))


def own_values(line: OrderLine) -> dict[str, Any]:
    return {name: getattr(line, name) for name in LINE_FIELDS}


def _wishes(order: Order, given: Sequence[Any], unit: str, reading: Reading) -> list[LineWish]:
    standing = {line.position: line for line in order.lines.select_related("order").order_by("position")}
    tables = all_rows()
    wishes: list[LineWish] = []
    named: set[int] = set()
    for at, one in enumerate(given):
        if not isinstance(one, Mapping):
            message = f"Line {at + 1} is {said_value(one)}; it can be an object."
            reading.errors.append(FieldError(f"lines[{at}]", None, "an object", message))
            continue
        own = Reading(one, f"lines[{at}].")
        wish = _wish(own, at, standing, unit, tables)
        if wish is not None and wish.line is not None and wish.line.position in named:
            own.wrong("line", wish.line.position, "each line once", "This line is named twice.")
        if wish is not None and wish.line is not None:
            named.add(wish.line.position)
        reading.errors += own.errors
        if wish is not None and not own.errors:
            wishes.append(wish)
    return wishes


def _worked_out(order: Order, wishes: Sequence[LineWish], reading: Reading) -> list[LineWish]:
    """With how new lines, and those that become another fitting, are made by the tables in force; equal ones once."""
    tables, operations = all_rows(), operation_rows()
    last = max(order.all_lines.values_list("position", flat=True), default=0)
    known: dict[str, Work | list[FieldError]] = {}
    found = []
    for wish in wishes:
        if wish.kind not in (ADD, REPLACE):
            found.append(wish)
            continue
        last += wish.line is None
        position = wish.line.position if wish.line else last
        made = OrderLine(order=order, position=position, **wish.given.values())
        key = json.dumps(words_of(made), sort_keys=True)
        if key not in known:
            known[key] = work_of(made, operations, tables)
        work = known[key]
        if isinstance(work, Work):
            told = replace(wish, made=made, work=work)
            found.append(_as_it_was(told) if _is_as_it_was(told) else told)
            continue
        for error in work:
            field = f"lines[{wish.at}]" + (f".{error.field}" if error.field else "")
            message = error.message if error.field else f"Line {position} {error.message}"
            reading.errors.append(replace(error, field=field, message=message))
    return found


def _is_as_it_was(wish: LineWish) -> bool:
    """Other words for the very fitting that is frozen: a default that was left out before, say."""
    if wish.line is None:
        return False
    same = (name for name in WORDS if name not in ("params", "allowances"))
    return all(getattr(wish.given, name) == getattr(wish.line, name) for name in same) and json.dumps(
        wish.work.development, sort_keys=True
    ) == json.dumps(wish.line.development, sort_keys=True)


def _as_it_was(wish: LineWish) -> LineWish:
    given = replace(wish.given, params=wish.line.params, allowances=wish.line.allowances)
    return LineWish(wish.at, wish.line, given, wish.started)


def _wish(own: Reading, at: int, standing: Mapping[int, OrderLine], unit: str, tables) -> LineWish | None:
    own.only((*OWN_FIELDS, *LINE_FIELDS, *LINE_ANSWERED_FIELDS))
    started = own.choice("started", STARTED, usual="")
    is_cancelled = own.data.get("cancel", False)
    if not isinstance(is_cancelled, bool):
        own.wrong("cancel", is_cancelled, "true or false")
        return None
    line = None
    if own.data.get("line") is not None:
        limit = ", ".join(map(str, standing))
        line = standing.get(own.data["line"]) if isinstance(own.data["line"], int) else None
        if line is None:
            said = said_value(own.data["line"])
            own.wrong("line", None, limit, f"There is no line {said}; there are {limit}.")
            return None
    if is_cancelled:
        if line is None:
            own.wrong("line", None, "a line of the order", "Say which line is cancelled.")
            return None
        return LineWish(at, line, None, started)
    asked = {name: value for name, value in own.data.items() if name in LINE_FIELDS}
    if line is not None:
        asked = {**_stored(line, unit), **asked}
    try:
        given = read_line(asked, at=at, unit=unit, tables=tables)
    except WrongInput as wrong:
        own.errors += wrong.errors
        return None
    return LineWish(at, line, _settled(given, line) if line else given, started)


def _stored(line: OrderLine, unit: str) -> dict[str, Any]:
    """A line as a request would give it."""
    values = own_values(line)
    if unit == "mm":
        lengths = {param.name for param in KINDS[line.kind].params if param.unit == "in"}
        values["params"] = {
            name: value * MM_PER_IN if name in lengths else value for name, value in line.params.items()
        }
        if line.allowances:
            values["allowances"] = {name: value * MM_PER_IN for name, value in line.allowances.items()}
    return values


def _settled(given: LineInput, line: OrderLine) -> LineInput:
    """Numbers that are typed anew, or went to millimetres and back, are the stored ones where they are equal."""
    if given.kind != line.kind:
        return given
    params = {name: _same(value, line.params.get(name)) for name, value in given.params.items()}
    edges = given.allowances and {
        name: _same(value, (line.allowances or {}).get(name)) for name, value in given.allowances.items()
    }
    return replace(given, params=params, allowances=edges)


def _same(value: Any, stored: Any) -> Any:
    are_numbers = all(isinstance(one, int | float) and not isinstance(one, bool) for one in (value, stored))
    return stored if are_numbers and math.isclose(value, stored, rel_tol=0, abs_tol=5e-6) else value
