"""A nesting request as it comes in, checked whole and turned into a Work in inches. Nothing here is stored."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fittings.cutting import ANY, TURNS, Part, Rules, Stock, Work, WorkError
from fittings.cutting.work import LARGEST, LARGEST_GAP, LARGEST_MARGIN, MOST_PARTS, MOST_POINTS
from fittings.developing import UNITS
from fittings.reading import Reading
from shared.problems import FieldError, WrongInput
from shared.texts import said_value
from shared.units import MM_PER_IN

FIELDS = ("unit", "gap", "margin", "rotations", "seconds", "seed", "stock", "parts")
STOCK_FIELDS = ("name", "width", "length", "count", "coil")
PART_FIELDS = ("id", "count", "outline", "alternatives")
SECONDS = (0.1, 300.0)
USUAL_SECONDS = 10.0
SEEDS = (0, 2**31 - 1)
MOST_STOCK = 100
MOST_ALTERNATIVES = 8
LONGEST_NAME = 80
MOST_ERRORS = 100


@dataclass(frozen=True)
class NestAsked:
    """A checked request: the work in inches, and how the answer is wanted."""

    work: Work
    unit: str
    seconds: float
    seed: int


def read_nest(data: Mapping[str, Any]) -> NestAsked:
    """The request, every length in inches.

    raises  WrongInput naming every wrong field, up to MOST_ERRORS of them
    """
    top = _Row(data)
    top.only(FIELDS)
    unit = top.choice("unit", UNITS, usual="in")
    scale = MM_PER_IN if unit == "mm" else 1.0
    gap = top.number("gap", 0.0, LARGEST_GAP, scale=scale, unit=unit, usual=Rules.gap)
    margin = top.number("margin", 0.0, LARGEST_MARGIN, scale=scale, unit=unit, usual=Rules.margin)
    turns = top.choice("rotations", TURNS, usual=ANY)
    seconds = top.number("seconds", *SECONDS, unit="s", usual=USUAL_SECONDS)
    seed = top.whole("seed", *SEEDS, usual=1)
    known_margin = margin if not any(one.field == "margin" for one in top.errors) else 0.0
    stock = top.rows(
        "stock",
        f"a list of 1 to {MOST_STOCK} sizes",
        MOST_STOCK,
        lambda one: _stock(one, known_margin, scale, unit),
    )
    parts = top.rows("parts", f"a list of 1 to {MOST_PARTS} parts", MOST_PARTS, lambda one: _part(one, scale))
    _once(top, "stock", "name", [one.name for one in stock])
    _once(top, "parts", "id", [one.id for one in parts])
    total = sum(one.count for one in parts)
    if total > MOST_PARTS:
        message = f"Parts are {total} in all; it can be at most {MOST_PARTS}."
        top.wrong("parts", total, f"at most {MOST_PARTS}", message)
    if top.errors:
        raise WrongInput(top.errors[:MOST_ERRORS])
    try:
        work = Work(tuple(parts), tuple(stock), Rules(gap, margin, turns))
    except WorkError as error:
        raise WrongInput(
            [FieldError(one.field, one.value, one.limit, one.message) for one in error.troubles[:MOST_ERRORS]]
        ) from None
    return NestAsked(work, unit, seconds, seed)


class _Row(Reading):
    """Reads the fields of one object of the request."""

    def number(
        self,
        name: str,
        low: float,
        high: float,
        *,
        scale: float = 1.0,
        unit: str = "",
        usual: float | None = None,
        low_open: bool = False,
    ) -> float:
        """A number from low to high [in], given as `scale` times as much."""
        value = self.data.get(name)
        if value is None and usual is not None:
            return usual
        good = isinstance(value, int | float) and not isinstance(value, bool)
        if good and abs(value) < 1e15:
            own = float(value) / scale
            if math.isfinite(own) and (low < own if low_open else low <= own) and own <= high:
                return own
        least = f"more than {low * scale:g}" if low_open else f"{low * scale:g}"
        self.wrong(name, value, f"{least} to {high * scale:g} {unit}".strip())
        return high

    def rows(self, name: str, limit: str, most: int, read: Callable[[_Row], Any]) -> list:
        """What is read from a list of objects; their errors are gathered here, until there are enough of them."""
        value = self.data.get(name)
        if not isinstance(value, list) or not 1 <= len(value) <= most:
            said = f"has {len(value)} entries" if isinstance(value, list) else f"is {said_value(value)}"
            shown = len(value) if isinstance(value, list) else value
            self.wrong(name, shown, limit, f"{name.capitalize()} {said}; it can be {limit}.")
            return []
        found = []
        for at, row in enumerate(value):
            if len(self.errors) >= MOST_ERRORS:
                break
            if not isinstance(row, Mapping):
                self.wrong(f"{name}[{at}]", row, "an object", f"{name}[{at}] is not an object.")
                continue
            one = _Row(row, f"{name}[{at}].")
            one.errors = self.errors
            found.append(read(one))
        return [one for one in found if one is not None]


def _once(top: _Row, rows: str, name: str, given: list[str]) -> None:
    seen: set[str] = set()
    for one in given:
        if one in seen:
            message = f"{name.capitalize()} “{one}” stands twice in {rows}; it can be there once."
            top.wrong(f"{rows}.{name}", one, "each once", message)
        seen.add(one)


def _stock(row: _Row, margin: float, scale: float, unit: str) -> Stock | None:
    had = len(row.errors)
    row.only(STOCK_FIELDS)
    name = row.text("name", LONGEST_NAME, shortest=1)
    lengths = {"scale": scale, "unit": unit, "low_open": True}
    width = row.number("width", 0.0, LARGEST, **lengths)
    length = row.number("length", 0.0, LARGEST, **lengths)
    count = None if row.data.get("count") is None else row.whole("count", 0, MOST_PARTS)
    coil = row.data.get("coil", False)
    if not isinstance(coil, bool):
        row.wrong("coil", coil, "true or false")
    if len(row.errors) > had:
        return None
    least = min(width, length)
    if 2 * margin >= least:
        limit = f"less than {least * scale / 2:g} {unit}"
        message = f"Margin is {margin * scale:g} {unit}; it must be {limit}, or nothing is left of the stock {name}."
        row.errors.append(FieldError("margin", margin * scale, limit, message))
        return None
    return Stock(name, width, length, count, coil)


def _part(row: _Row, scale: float) -> Part | None:
    had = len(row.errors)
    row.only(PART_FIELDS)
    name = row.text("id", LONGEST_NAME, shortest=1)
    count = row.whole("count", 1, MOST_PARTS, usual=1)
    outline = _outline(row, "outline", row.data.get("outline"), scale)
    others = row.data.get("alternatives")
    if others is not None and (not isinstance(others, list) or len(others) > MOST_ALTERNATIVES):
        row.wrong("alternatives", None, f"a list of at most {MOST_ALTERNATIVES} outlines")
        others = None
    found = [_outline(row, f"alternatives[{at}]", one, scale) for at, one in enumerate(others or ())]
    if len(row.errors) > had:
        return None
    return Part(name, count, outline, tuple(found))


def _outline(row: _Row, name: str, given: Any, scale: float) -> np.ndarray | None:
    """Points in inches, counter-clockwise, without repeats; either way round is taken."""
    limit = f"a list of 3 to {MOST_POINTS} points [x, y]"
    title = f"{row.prefix}{name}"
    if not isinstance(given, list) or not 3 <= len(given) <= MOST_POINTS:
        said = f"has {len(given)} points" if isinstance(given, list) else f"is {said_value(given)}"
        shown = len(given) if isinstance(given, list) else given
        row.wrong(name, shown, limit, f"{title} {said}; it can be {limit}.")
        return None
    most = LARGEST * scale
    at = next((at for at, point in enumerate(given) if not _is_point(point, most)), None)
    if at is not None:
        wanted = f"[x, y], each from {-most:g} to {most:g}"
        row.wrong(f"{name}[{at}]", str(given[at])[:60], wanted, f"{title}[{at}] must be {wanted}.")
        return None
    points = np.array(given, dtype=float) / scale
    points = points[np.any(points != np.roll(points, 1, axis=0), axis=1)]
    if len(points) < 3:
        row.wrong(name, len(points), "3 points or more", f"{title} has fewer than 3 different points.")
        return None
    x, y = points.T
    is_clockwise = np.dot(x, np.roll(y, -1)) < np.dot(y, np.roll(x, -1))
    return points[::-1].copy() if is_clockwise else points


def _is_point(point: Any, most: float) -> bool:
    if type(point) is not list or len(point) != 2:
        return False
    x, y = point
    are_numbers = type(x) in (int, float) and type(y) in (int, float)
    return are_numbers and -most <= x <= most and -most <= y <= most
