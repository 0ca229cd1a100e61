"""Bounding boxes on shelves: the simple way, and what no answer may fall behind."""

from __future__ import annotations

import math

import numpy as np

from .layout import PlacedSheet, Placement, placed_outline, sheet_of
from .work import ANY, Work

SHALLOW, LYING, STANDING = "shallow", "lying", "standing"
WAYS = (SHALLOW, LYING, STANDING)


def shelf_sheets(work: Work, way: str = SHALLOW) -> tuple[tuple[PlacedSheet, ...], dict[str, int]]:
    """Boxes of falling height on shelves across the sheet, first sheet that takes them.

    way      'shallow': boxes as the parts are drawn, or a quarter turn off; 'lying', 'standing': the smallest box of
             each part, its long side along the sheet or across it, where any turn is allowed
    returns  the sheets, and by part id how many did not go on
    """
    gap, margin = work.rules.gap, work.rules.margin
    boxes = []
    for part in work.parts:
        turns = _turns(part.outline, way) if work.rules.turns == ANY else (0.0,)
        shapes = []
        for turn in turns:
            outline = placed_outline(part.outline, Placement(part.id, 0, 0, turn))
            low, high = outline.min(axis=0), outline.max(axis=0)
            shapes.append((high[0] - low[0], high[1] - low[1], low[0], low[1], turn))
        shapes.sort(key=lambda shape: shape[0])  # the shelf's depth along the length as small as can be
        boxes += [(part, shapes)] * part.count
    boxes.sort(key=lambda box: (box[0].urgency, -box[1][0][0], box[0].id))
    left = {stock.name: stock.count for stock in work.stock}
    open_: list[dict] = []
    unplaced: dict[str, int] = {}
    first: dict[str, int] = {}  # by part, the first open sheet that may take another of it
    for part, shapes in boxes:
        for at in range(first.get(part.id, 0), len(open_)):
            first[part.id] = at
            if _on_sheet(open_[at], part, shapes, gap, margin):
                break
        else:
            for stock in sorted(work.stock, key=lambda stock: stock.width * stock.length):
                if left[stock.name] == 0:
                    continue
                fresh = {"stock": stock, "shelves": [], "x": margin, "placed": []}
                if _on_sheet(fresh, part, shapes, gap, margin):
                    open_.append(fresh)
                    if left[stock.name] is not None:
                        left[stock.name] -= 1
                    break
            else:
                unplaced[part.id] = unplaced.get(part.id, 0) + 1
    return tuple(sheet_of(work, sheet["stock"], sheet["placed"]) for sheet in open_), unplaced


def _turns(outline: np.ndarray, way: str) -> tuple[float, ...]:
    """The turns [deg] in which the box of an outline may lie."""
    if way == SHALLOW:
        return (0.0, 90.0)
    from shapely import get_coordinates, minimum_rotated_rectangle, multipoints

    corners = get_coordinates(minimum_rotated_rectangle(multipoints(outline)))
    sides = np.diff(corners[:3], axis=0)
    long = sides[int(np.argmax(np.hypot(sides[:, 0], sides[:, 1])))]
    lying = -math.degrees(math.atan2(long[1], long[0]))
    return (lying if way == LYING else lying + 90.0,)


def _on_sheet(sheet, part, shapes, gap, margin) -> bool:
    stock = sheet["stock"]
    for depth, height, low_x, low_y, turn in shapes:
        for shelf in sheet["shelves"]:
            if depth <= shelf["depth"] + 1e-9 and shelf["y"] + height <= stock.width - margin + 1e-9:
                sheet["placed"].append(Placement(part.id, shelf["x"] - low_x, shelf["y"] - low_y, turn))
                shelf["y"] += height + gap
                return True
    for depth, height, low_x, low_y, turn in shapes:
        if sheet["x"] + depth <= stock.length - margin + 1e-9 and height <= stock.width - 2 * margin + 1e-9:
            shelf = {"x": sheet["x"], "y": margin + height + gap, "depth": depth}
            sheet["placed"].append(Placement(part.id, sheet["x"] - low_x, margin - low_y, turn))
            sheet["shelves"].append(shelf)
            sheet["x"] += depth + gap
            return True
    return False
