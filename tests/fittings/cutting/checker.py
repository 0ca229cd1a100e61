"""The proof of a layout, by shapely alone: nothing of the nesting core but its dataclasses is used.

`faults(work, layout)` lists in sentences what is wrong; `proven(work, layout)` demands that nothing is.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict

import numpy as np
from shapely import STRtree, distance
from shapely.affinity import affine_transform
from shapely.geometry import Polygon

from fittings.cutting import ANY, HALF, Layout, Work

SLACK = 1e-6
SMALL = 1e-9  # overlap of areas that rounding makes


def proven(work: Work, layout: Layout) -> Layout:
    """The layout, after its proof."""
    wrong = faults(work, layout)
    assert not wrong, "\n".join(wrong)
    return layout


def faults(work: Work, layout: Layout) -> list[str]:
    """Every fault of a layout in a sentence; none for one that can be cut."""
    wrong = _counts(work, layout) + _stock(work, layout)
    parts = {part.id: part for part in work.parts}
    area = 0.0
    for number, sheet in enumerate(layout.sheets, 1):
        placed = []
        for one in sheet.placements:
            part = parts.get(one.part)
            if part is None:
                continue  # told by the counts
            if not 0 <= one.alternative <= len(part.alternatives):
                wrong.append(f"Sheet {number}: {one.part} has no alternative {one.alternative}.")
                continue
            if not all(map(math.isfinite, (one.x, one.y, one.rotation))):
                wrong.append(
                    f"Sheet {number}: {one.part} lies at {one.x}, {one.y}, turned by {one.rotation}°."
                )
                continue
            if not _may_turn(one.rotation, work.rules.turns):
                wrong.append(f"Sheet {number}: {one.part} is turned by {one.rotation}°.")
            placed.append((one.part, _shape(part.outlines[one.alternative], one)))
        wrong += _on_the_sheet(number, sheet, placed, work.rules)
        own = sum(Polygon(parts[one.part].outline).area for one in sheet.placements if one.part in parts)
        area += own
        if abs(own - sheet.area) > 1e-6 * max(1.0, own):
            wrong.append(f"Sheet {number}: its parts have {own:.6f}, not {sheet.area:.6f}.")
    return wrong + _figures(layout, area)


def _shape(outline, one) -> Polygon:
    """Turned counter-clockwise about the outline's own origin, then moved."""
    turn = math.radians(one.rotation)
    cos, sin = math.cos(turn), math.sin(turn)
    return affine_transform(Polygon(np.asarray(outline, float)), [cos, -sin, sin, cos, one.x, one.y])


def _may_turn(rotation: float, turns: str) -> bool:
    step = {ANY: None, HALF: 180.0}.get(turns, 360.0)
    if step is None:
        return True
    rest = math.fmod(rotation, step)
    return min(abs(rest), step - abs(rest)) < 1e-9


def _counts(work: Work, layout: Layout) -> list[str]:
    wrong = []
    done = Counter(one.part for sheet in layout.sheets for one in sheet.placements)
    for one in layout.unplaced:
        if one.count < 1:
            wrong.append(f"{one.part} is left out {one.count} times.")
        if not one.why.strip():
            wrong.append(f"{one.part} is left out and nothing says why.")
        done[one.part] += one.count
    asked = {part.id: part.count for part in work.parts}
    for name in sorted(set(asked) | set(done)):
        if asked.get(name, 0) != done[name]:
            wrong.append(f"{name}: {asked.get(name, 0)} asked for, {done[name]} placed or left out.")
    return wrong


def _stock(work: Work, layout: Layout) -> list[str]:
    wrong = []
    known = {stock.name: stock for stock in work.stock}
    used = Counter(sheet.stock.name for sheet in layout.sheets)
    for sheet in layout.sheets:
        if known.get(sheet.stock.name) != sheet.stock:
            wrong.append(f"{sheet.stock.name} is no stock of the work.")
    for name, count in used.items():
        if name in known and known[name].count is not None and count > known[name].count:
            wrong.append(f"{count} of {name} are used; there are {known[name].count}.")
    return wrong


def _on_the_sheet(number: int, sheet, placed, rules) -> list[str]:
    if not placed:
        return [f"Sheet {number} is empty."]
    wrong = []
    stock, margin = sheet.stock, rules.margin
    end = 0.0
    for name, shape in placed:
        low_x, low_y, high_x, high_y = shape.bounds
        end = max(end, high_x)
        inside = min(low_x, low_y, stock.length - high_x, stock.width - high_y) - margin
        if not inside >= -SLACK:
            wrong.append(f"Sheet {number}: {name} lies {-inside:.6f} in the margin.")
    used = min(stock.length, end + margin)
    if not abs(used - sheet.used_length) <= SLACK:
        wrong.append(f"Sheet {number}: {used:.6f} of its length are used, not {sheet.used_length:.6f}.")
    shapes = np.array([shape for _, shape in placed], dtype=object)
    first, second = STRtree(shapes).query(shapes, predicate="dwithin", distance=rules.gap + SLACK)
    pairs = first < second
    first, second = first[pairs], second[pairs]
    for a, b, apart in zip(first, second, distance(shapes[first], shapes[second]), strict=True):
        names = f"{placed[a][0]} and {placed[b][0]}"
        if apart == 0.0 and shapes[a].intersection(shapes[b]).area > SMALL:
            # a cut of the depth of the slack along a whole side is no overlap that can be cut
            deep = shapes[a].buffer(-SLACK).intersects(shapes[b].buffer(-SLACK))
            if deep or rules.gap > SLACK:
                wrong.append(f"Sheet {number}: {names} overlap.")
        elif apart < rules.gap - SLACK:
            wrong.append(f"Sheet {number}: {names} are {apart:.6f} apart.")
    return wrong


def _figures(layout: Layout, area: float) -> list[str]:
    """Utilisation again from its definition: the shortest-used sheet of each stock, and every coil, by length."""
    wrong = []
    lengths = defaultdict(list)
    for sheet in layout.sheets:
        lengths[sheet.stock].append(sheet.used_length)
    stock_area = 0.0
    for stock, used in lengths.items():
        whole = sum(used) if stock.is_coil else min(used) + stock.length * (len(used) - 1)
        stock_area += stock.width * whole
    utilisation = area / stock_area if stock_area else 0.0
    if not abs(utilisation - layout.utilisation) <= 1e-6:
        wrong.append(f"Utilisation is {utilisation:.6f}, not {layout.utilisation:.6f}.")
    if not utilisation <= layout.bound + 1e-9:
        wrong.append(f"Utilisation is {utilisation:.6f}, above the bound of {layout.bound:.6f}.")
    return wrong
