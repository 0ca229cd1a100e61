"""What is to be placed, on what, and by which rules. Lengths in one unit throughout, mostly inches."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

ANY, HALF, NONE = "any", "half", "none"
TURNS = (ANY, HALF, NONE)
MOST_PARTS = 20000
MOST_POINTS = 5000
LARGEST = 12000.0
LARGEST_GAP = 12.0
LARGEST_MARGIN = 24.0


@dataclass(frozen=True)
class Trouble:
    """One wrong value: its field, the value, what is allowed, a sentence."""

    field: str
    value: object
    limit: str
    message: str


class WorkError(ValueError):
    """The work cannot be taken up as it is given. `troubles` lists every wrong value."""

    def __init__(self, troubles: Sequence[Trouble]):
        self.troubles = tuple(troubles)
        super().__init__(" ".join(trouble.message for trouble in troubles))


@dataclass(frozen=True, eq=False)
class Part:
    """Equal parts: outline of shape (n, 2), counter-clockwise, first point not repeated.

    alternatives  other outlines that do as well, such as the same gore with its seam elsewhere
    urgency       0 first; where the stock does not do for all, the less urgent parts stay out
    """

    id: str
    count: int
    outline: np.ndarray
    alternatives: tuple[np.ndarray, ...] = ()
    urgency: int = 0

    @property
    def outlines(self) -> tuple[np.ndarray, ...]:
        return (self.outline, *self.alternatives)

    @property
    def area(self) -> float:
        return area_of(self.outline)


@dataclass(frozen=True)
class Stock:
    """Sheets, a coil or remnants: width across the table, length along it; `count` None is without limit.

    A coil is cut off at the length used; its `length` is the longest piece that the table takes.
    """

    name: str
    width: float
    length: float
    count: int | None = None
    is_coil: bool = False


@dataclass(frozen=True)
class Rules:
    """The least distance between parts (kerf included), the margin at the stock's edges, the turns that are allowed.

    turns  'any'; 'half' (0 and 180°, by the grain); 'none'
    """

    gap: float = 0.125
    margin: float = 0.25
    turns: str = ANY


@dataclass(frozen=True)
class Work:
    """Parts, stock and rules; checks itself.

    raises  WorkError that names each wrong value
    """

    parts: tuple[Part, ...]
    stock: tuple[Stock, ...]
    rules: Rules = field(default_factory=Rules)

    def __post_init__(self):
        troubles = [*_of_rules(self.rules), *_of_stock(self.stock, self.rules), *_of_parts(self.parts)]
        if troubles:
            raise WorkError(troubles)


def area_of(outline: np.ndarray) -> float:
    """Signed area of a closed outline (n, 2), positive counter-clockwise (shoelace formula)."""
    x, y = outline[:, 0], outline[:, 1]
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2.0


def _number(name: str, value, low: float, high: float, *, low_open: bool = False) -> list[Trouble]:
    limit = f"{'more than ' if low_open else ''}{low:g} to {high:g}"
    good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if good and (low < value if low_open else low <= value) and value <= high:
        return []
    return [Trouble(name, value, limit, f"{name} is {value}; it must be {limit}.")]


def _of_rules(rules: Rules) -> list[Trouble]:
    troubles = _number("gap", rules.gap, 0, LARGEST_GAP) + _number("margin", rules.margin, 0, LARGEST_MARGIN)
    if rules.turns not in TURNS:
        words = ", ".join(TURNS)
        troubles.append(
            Trouble(
                "rotations", rules.turns, words, f"rotations is {rules.turns!r}; it must be one of {words}."
            )
        )
    return troubles


def _of_stock(stock: Sequence[Stock], rules: Rules) -> list[Trouble]:
    if not stock:
        return [Trouble("stock", 0, "1 or more", "No stock is given. Give at least one size.")]
    troubles, names = [], set()
    for at, one in enumerate(stock):
        where = f"stock[{at}]"
        if one.name in names:
            troubles.append(
                Trouble(
                    f"{where}.name", one.name, "each name once", f"{where}.name {one.name!r} stands twice."
                )
            )
        names.add(one.name)
        wrong = _number(f"{where}.width", one.width, 0, LARGEST, low_open=True)
        wrong += _number(f"{where}.length", one.length, 0, LARGEST, low_open=True)
        if one.count is not None:
            wrong += _number(f"{where}.count", one.count, 0, MOST_PARTS)
        if not wrong and isinstance(rules.margin, int | float):
            least = min(one.width, one.length)
            if 2 * rules.margin >= least:
                wrong.append(
                    Trouble(
                        "margin",
                        rules.margin,
                        f"less than {least / 2:g}",
                        f"margin is {rules.margin:g}: nothing is left of stock {one.name} "
                        f"({one.width:g} × {one.length:g}).",
                    )
                )
        troubles += wrong
    return troubles


def _of_parts(parts: Sequence[Part]) -> list[Trouble]:
    if not parts:
        return [Trouble("parts", 0, "1 or more", "No parts are given. Give at least one.")]
    troubles, ids = [], set()
    for at, part in enumerate(parts):
        where = f"parts[{at}]"
        if part.id in ids:
            troubles.append(
                Trouble(f"{where}.id", part.id, "each id once", f"{where}.id {part.id!r} stands twice.")
            )
        ids.add(part.id)
        troubles += _number(f"{where}.count", part.count, 1, MOST_PARTS)
        for number, outline in enumerate(part.outlines):
            name = f"{where}.outline" if number == 0 else f"{where}.alternatives[{number - 1}]"
            troubles += _of_outline(name, part.id, outline)
    total = sum(part.count for part in parts if isinstance(part.count, int))
    if not troubles and total > MOST_PARTS:
        troubles.append(
            Trouble(
                "parts",
                total,
                f"at most {MOST_PARTS}",
                f"{total} parts are asked for; at most {MOST_PARTS} go.",
            )
        )
    return troubles


def _of_outline(name: str, id_: str, outline) -> list[Trouble]:
    from shapely import Polygon, is_valid_reason

    array = np.asarray(outline, dtype=float)
    if array.ndim != 2 or array.shape[1:] != (2,) or not 3 <= len(array) <= MOST_POINTS:
        limit = f"3 to {MOST_POINTS} points of x and y"
        return [Trouble(name, f"{array.shape}", limit, f"{name} of part {id_} must be {limit}.")]
    if not np.isfinite(array).all() or np.abs(array).max() > LARGEST:
        limit = f"numbers from {-LARGEST:g} to {LARGEST:g}"
        return [Trouble(name, "a point out of range", limit, f"{name} of part {id_} must be {limit}.")]
    polygon = Polygon(array)
    if not polygon.is_valid or polygon.area <= 1e-9:
        why = is_valid_reason(polygon) if not polygon.is_valid else "it has no area"
        return [
            Trouble(
                name,
                why,
                "a simple closed outline",
                f"{name} of part {id_} is no simple closed outline: {why}.",
            )
        ]
    if area_of(array) < 0:
        return [
            Trouble(
                name, "clockwise", "counter-clockwise", f"{name} of part {id_} must run counter-clockwise."
            )
        ]
    return []
