"""The general true-shape packer (spyrrow) behind our own words: a strip of fixed width, as short as it finds.

What was found out about it, version 0.9:
- It turns an outline counter-clockwise about its own origin, in degrees, then moves it: as our placements. The strip's
  fixed side is its y, so y is across our sheet and x along it.
- Its search stops by the clock, so the same seed gives the same answer only with `seconds=0` (what it builds first,
  and shortens once), one worker always. Whole seconds only; it needs about one second more than it is given.
- It reckons in single precision and keeps its separation from the strip's border too. So it is given outlines that are
  grown by half the gap and a hair, and a strip that is wider by the gap; the answer is checked before it is returned.
- It looks for places by chance, and panics where there is hardly one: a part nearly as wide as the strip is refused.
- It lets go of Python's lock while it searches.
- Outlines with many points make it slow: grown outlines are simplified, to the outside.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
import spyrrow

from .layout import Layout, PlacedSheet, Placement, Unplaced, placed_outline, sheet_of
from .shelf import shelf_sheets
from .unplaced import fits, why_unplaced
from .work import ANY, HALF, Part, Rules, Stock, Work

HAIR = 2e-4  # of the gap more; single precision at 240 in is 1.5e-5
_SIMPLER = 0.01  # outlines may grow by this for fewer points
_ROOM = 0.99  # of the strip's width at most
_SHARES = (0.9, 0.82, 0.96)  # of a sheet's area that a subset of parts is tried with


class PackerError(RuntimeError):
    """The packer gave no answer that can be cut."""


def pack_strip(
    parts: Sequence[tuple[np.ndarray, int]],
    width: float,
    *,
    turns: str | Sequence[float] = ANY,
    gap: float = 0.125,
    seconds: int = 0,
    seed: int = 1,
) -> tuple[list[tuple[int, float, float, float]], float]:
    """All parts on a strip, gap between them, none at its borders.

    parts    outline, shape (n, 2), and how many of it
    width    of the strip: the parts lie from y = 0 to y = width
    turns    'any', 'half', 'none', or the angles [deg] that are allowed
    seconds  of search; 0 is the same for a seed, whatever the machine
    returns  ((number of the part from 0, x, y, rotation [deg]) of each, length from 0 to the last part)
    raises   PackerError where a part is nearly as wide as the strip or wider, or the answer keeps no gap
    """
    angles = {ANY: None, HALF: [0.0, 180.0]}.get(turns, [0.0]) if isinstance(turns, str) else list(turns)
    endless = Stock("strip", width * _ROOM, 1e5)
    for number, (outline, _) in enumerate(parts):
        if isinstance(turns, str) and not fits(outline, endless, Rules(gap=gap, margin=0.0, turns=turns)):
            raise PackerError(f"Part {number} leaves no room on a strip of {width:g}.")
    for hair in (HAIR, 10 * HAIR):
        placed, length = _packed(parts, width, angles, gap, hair, seconds, seed)
        if _is_apart(parts, placed, width, gap):
            return placed, length
    raise PackerError("The packer's answer keeps no gap.")


def _packed(parts, width, angles, gap, hair, seconds, seed):
    half = gap / 2 + hair
    grown = [_grown(outline, half) for outline, _ in parts]
    height = width + 2 * half
    items = [
        spyrrow.Item(str(number), outline, int(count), angles)
        for number, (outline, (_, count)) in enumerate(zip(grown, parts, strict=True))
    ]
    instance = spyrrow.StripPackingInstance("strip", height, items)
    exploring = int(max(0, round(seconds * 0.8)))
    config = spyrrow.StripPackingConfig(
        early_termination=True,
        total_computation_time=None,
        exploration_time=exploring,
        compression_time=int(max(0, round(seconds))) - exploring,
        num_workers=1,
        seed=seed,
    )
    solution = _solved(instance, config)
    placed = [
        (int(one.id), float(one.translation[0]), float(one.translation[1]), float(one.rotation))
        for one in solution.placed_items
    ]
    corners = [_corners(parts, one) for one in placed]
    low = np.min([corner[0] for corner in corners], axis=0)
    high = np.max([corner[1] for corner in corners], axis=0)
    placed = [(number, x - float(low[0]), y - float(low[1]), rotation) for number, x, y, rotation in placed]
    return placed, float(high[0] - low[0])


def _solved(instance, config):
    try:
        return instance.solve(config)
    except BaseException as error:  # its panics are no Exceptions
        if type(error).__name__ != "PanicException":
            raise
        raise PackerError(f"The packer gave up: {error}") from None


def _corners(parts, one):
    outline = placed_outline(parts[one[0]][0], Placement("", one[1], one[2], one[3]))
    return outline.min(axis=0), outline.max(axis=0)


def _grown(outline: np.ndarray, half: float) -> list[tuple[float, float]]:
    """The outline grown by half the gap at least, with few points."""
    polygon = shapely.Polygon(outline).buffer(
        half + _SIMPLER, quad_segs=3, join_style="mitre", mitre_limit=2.0
    )
    simple = shapely.Polygon(polygon.exterior).simplify(_SIMPLER)
    return [(float(x), float(y)) for x, y in shapely.get_coordinates(simple.exterior)[:-1]]


def _is_apart(parts, placed, width, gap) -> bool:
    shapes = np.array(
        [
            shapely.Polygon(placed_outline(parts[number][0], Placement("", x, y, rotation)))
            for number, x, y, rotation in placed
        ],
        dtype=object,
    )
    bounds = shapely.bounds(shapes)
    if len(placed) != sum(count for _, count in parts) or bounds[:, 3].max() > width + 1e-9:
        return False
    first, second = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=gap)
    pairs = first < second
    return bool(np.all(shapely.distance(shapes[first[pairs]], shapes[second[pairs]]) >= gap - 1e-9))


def packer_sheets(work: Work, seconds: float = 10.0, seed: int = 1) -> Layout:
    """The packer alone on real sheets: sheet after sheet, subsets of the parts by area, what lies within it stays.

    What it cannot take goes on shelves. It goes by the clock; seconds=0 takes one try a sheet, the same for a seed.
    """
    started, rules = time.monotonic(), work.rules
    left = {part.id: part.count for part in work.parts}
    parts = {part.id: part for part in work.parts}
    stock_left = {stock.name: stock.count for stock in work.stock}
    stocks = sorted(work.stock, key=lambda stock: (-stock.width * stock.length, stock.name))
    sheets: list[PlacedSheet] = []
    out: list[Unplaced] = []
    order = sorted(parts, key=lambda name: (parts[name].urgency, -abs(parts[name].area), name))
    for name in order:
        if not any(stock.count != 0 and fits(parts[name].outline, stock, rules) for stock in stocks):
            out.append(Unplaced(name, left.pop(name), why_unplaced(parts[name], work)))
    while any(left.values()):
        stock = next(
            (
                one
                for one in stocks
                if stock_left[one.name] != 0
                and any(count and can_take(one, parts[name], rules) for name, count in left.items())
            ),
            None,
        )
        if stock is None:
            break
        to_go = sum(count * abs(parts[name].area) for name, count in left.items())
        room = (stock.width - 2 * rules.margin) * (stock.length - 2 * rules.margin)
        time_left = seconds - (time.monotonic() - started)
        share = time_left / max(1.0, to_go / (0.75 * room))
        best = _best_sheet(
            work, stock, [(parts[name], left[name]) for name in order if left.get(name)], share, seed
        )
        if best is None:
            break
        sheets.append(best)
        for one in best.placements:
            left[one.part] -= 1
        if stock_left[stock.name] is not None:
            stock_left[stock.name] -= 1
    rest = tuple(replace(parts[name], count=count) for name, count in left.items() if count)
    if rest:
        stock = tuple(replace(one, count=stock_left[one.name]) for one in work.stock)
        shelves, unplaced = shelf_sheets(Work(rest, stock, rules))
        by_name = {one.name: one for one in work.stock}
        sheets += [replace(sheet, stock=by_name[sheet.stock.name]) for sheet in shelves]
        out += [Unplaced(name, count, why_unplaced(parts[name], work)) for name, count in unplaced.items()]
    return Layout(tuple(sheets), tuple(out), method="packer alone")


def can_take(stock: Stock, part: Part, rules: Rules) -> bool:
    """Whether the packer can lay a part on a stock: it goes on, with room beside it."""
    width = 2 * rules.margin + _ROOM * (stock.width - 2 * rules.margin)
    return fits(part.outline, replace(stock, width=width), rules)


def _best_sheet(work: Work, stock: Stock, left: list[tuple[Part, int]], seconds: float, seed: int):
    """The fullest sheet of some subsets. A subset takes from each part as many as its share of the work."""
    rules = work.rules
    width, length = stock.width - 2 * rules.margin, stock.length - 2 * rules.margin
    left = [(part, count) for part, count in left if can_take(stock, part, rules)]
    total = sum(abs(part.area) * count for part, count in left)
    tries = 1 if seconds < 2 else 2 if seconds < 6 else 3
    best = None
    for number, share in enumerate(_SHARES[:tries]):
        aim = share * width * length
        chosen = left if total <= aim else _subset(left, aim, total)
        try:
            placed, _ = pack_strip(
                [(part.outline, count) for part, count in chosen],
                width,
                turns=rules.turns,
                gap=rules.gap,
                seconds=math.floor(max(0.0, seconds / tries - 1)),
                seed=seed + number,
            )
        except PackerError:
            continue
        found = []
        for which, x, y, rotation in placed:
            part = chosen[which][0]
            one = Placement(part.id, x + rules.margin, y + rules.margin, rotation)
            if placed_outline(part.outline, one)[:, 0].max() <= stock.length - rules.margin + 1e-9:
                found.append(one)
        if found:
            sheet = sheet_of(work, stock, found)
            if best is None or sheet.area > best.area + 1e-9:
                best = sheet
        if chosen is left:
            break
    return best


def _subset(left: list[tuple[Part, int]], aim: float, total: float) -> list[tuple[Part, int]]:
    """Of each part its share of the area aimed at, the largest remainders rounded up while there is room."""
    shares = [(part, count, count * aim / total) for part, count in left]
    chosen = {part.id: int(share) for part, _, share in shares}
    area = sum(chosen[part.id] * abs(part.area) for part, _, _ in shares)
    for part, count, _ in sorted(shares, key=lambda one: (-(one[2] % 1.0), -abs(one[0].area), one[0].id)):
        if chosen[part.id] < count and area + abs(part.area) <= aim:
            chosen[part.id] += 1
            area += abs(part.area)
    rows = [(part, chosen[part.id]) for part, _ in left if chosen[part.id]]
    return rows or [(left[0][0], 1)]
