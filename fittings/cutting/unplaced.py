"""Which stock a part goes on at all, and why one was left out, in a sentence."""

from __future__ import annotations

import math

import numpy as np
import shapely

from .work import ANY, Part, Rules, Stock, Work

MOST_PLATES = 12  # as the plates rule of the geometry
MM_PER_IN = 25.4
_SLACK = 1e-6
_TURNS = 720  # of half a turn, before the best are looked at closer


def fits(outline: np.ndarray, stock: Stock, rules: Rules) -> bool:
    """Whether an outline goes on an empty sheet of a stock within its margin, in one of the turns allowed.

    >>> bar = np.array([[0, 0], [70, 0], [70, 5], [0, 5]], float)
    >>> square = Stock('square', 60, 60)
    >>> fits(bar, square, Rules(margin=0)), fits(bar, square, Rules(margin=0, turns='half'))
    (True, False)
    """
    room = np.array([stock.length, stock.width]) - 2 * rules.margin + _SLACK
    if rules.turns != ANY:
        return bool(np.all(np.ptp(outline, axis=0) <= room))
    hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(outline)))
    sides = np.diff(hull, axis=0)
    along = np.arctan2(sides[:, 1], sides[:, 0])
    turns = np.concatenate([-along, math.pi / 2 - along, np.arange(_TURNS) * math.pi / _TURNS])
    over = _over(hull, turns, room)
    if over.min() <= 0:
        return True
    reach = np.hypot(*np.ptp(hull, axis=0)) * math.pi / _TURNS
    step = math.pi / _TURNS
    near = np.linspace(-step, step, 401)
    return any(_over(hull, turn + near, room).min() <= 0 for turn in turns[over <= reach])


def _over(hull: np.ndarray, turns: np.ndarray, room: np.ndarray) -> np.ndarray:
    """By how much the box of a turned hull exceeds the room, the worse of both sides."""
    cos, sin = np.cos(turns)[:, None], np.sin(turns)[:, None]
    x = np.ptp(hull[:, 0] * cos - hull[:, 1] * sin, axis=1)
    y = np.ptp(hull[:, 0] * sin + hull[:, 1] * cos, axis=1)
    return np.maximum(x - room[0], y - room[1])


def why_unplaced(part: Part, work: Work, *, unit: str = "in") -> str:
    """Why parts of a work, given in inches, were left out: larger than every stock, or the stock has run out.

    unit  of the lengths in the sentence, 'in' or 'mm'

    >>> from fittings.cutting import Rules
    >>> bar = np.array([[0, 0], [130, 0], [130, 20], [0, 20]], float)
    >>> work = Work((Part('A', 1, bar),), (Stock('60x120', 60, 120),), Rules(margin=0.25, turns='half'))
    >>> why_unplaced(work.parts[0], work)
    'A is 130 × 20 in; the largest stock takes 119.5 × 59.5 in. In plates it would be 2 of 65 × 20 in.'
    """
    rules = work.rules
    on = [stock for stock in work.stock if any(fits(one, stock, rules) for one in part.outlines)]
    if not on:
        return _too_large(part, work, unit)
    names = ", ".join(stock.name for stock in on)
    if all(stock.count is not None for stock in on):
        return f"The stock that it goes on has run out: {names}."
    return f"No place was found for it in the time given, though it goes on {names}."


def _too_large(part: Part, work: Work, unit: str) -> str:
    rules = work.rules
    boxes = [smallest_box(outline, rules) for outline in part.outlines]
    long, wide = min(boxes, key=lambda box: (box[0] * box[1], box))
    largest = max(work.stock, key=lambda stock: (stock.length * stock.width, stock.name))
    room = _size(largest.length - 2 * rules.margin, largest.width - 2 * rules.margin, unit)
    said = f"{part.id} is {_size(long, wide, unit)}; the largest stock takes {room}."
    for plates in range(2, MOST_PLATES + 1):
        plate = long / plates
        outline = np.array([[0, 0], [plate, 0], [plate, wide], [0, wide]])
        if rules.turns != ANY and np.ptp(part.outline[:, 1]) > np.ptp(part.outline[:, 0]):
            outline = outline[::-1, ::-1]  # it stands: its length lies across the sheet
        if any(fits(outline, stock, rules) for stock in work.stock):
            return f"{said} In plates it would be {plates} of {_size(plate, wide, unit)}."
    return f"{said} No number of plates up to {MOST_PLATES} along its length makes it fit."


def smallest_box(outline: np.ndarray, rules: Rules) -> tuple[float, float]:
    """The longer and the shorter side of the smallest box that holds it, in the turns allowed."""
    if rules.turns != ANY:
        sides = np.ptp(outline, axis=0)
    else:
        corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.multipoints(outline)))
        sides = np.hypot(*np.diff(corners[:3], axis=0).T)
    return float(max(sides)), float(min(sides))


def _size(first: float, second: float, unit: str) -> str:
    scale, digits = (MM_PER_IN, 0) if unit == "mm" else (1.0, 1)
    words = [f"{one * scale:.{digits}f}".removesuffix(".0") for one in (first, second)]
    return f"{words[0]} × {words[1]} {unit}"
