"""QR codes as one vector path: version 1, alphanumeric, recovery level Q, quiet zone of four modules."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from travelers.documents.symbol import SIDE, symbol_rows

MM = 72 / 25.4
MODULES = SIDE
QUIET = 4
SMALLEST_MM = 0.7
_CODE = re.compile(r"[0-9A-Z]{1,16}")


@lru_cache(maxsize=20000)
def runs(code: str) -> tuple[tuple[int, int, int], ...]:
    """Dark runs of the symbol as (row from the top, first column, length) [modules].

    code    1 to 16 capitals and digits: what version 1 holds at level Q
    raises  ValueError for anything else
    """
    if not _CODE.fullmatch(code):
        raise ValueError(f"{code[:20]!r} does not fit the smallest QR code")
    found = []
    for row, line in enumerate(symbol_rows(code)):
        column = 0
        while line >> column:
            if line >> column & 1:
                length = (~(line >> column) & -~(line >> column)).bit_length() - 1
                found.append((row, column, length))
                column += length
            else:
                column += 1
    return tuple(found)


@lru_cache(maxsize=20000)
def _rectangles(code: str) -> str:
    """The runs as PDF path operators, in modules from the symbol's lower left corner."""
    return " ".join(f"{column} {MODULES - 1 - row} {length} 1 re" for row, column, length in runs(code))


def size_of(module_mm: float) -> float:
    """Side of the symbol with its quiet zone [pt]."""
    return (MODULES + 2 * QUIET) * module_mm * MM


def draw_qr(canvas: Any, code: str, x: float, y: float, *, module_mm: float) -> float:
    """Draws the symbol; (x, y) [pt] is the lower left corner of its quiet zone. Returns the side of the whole [pt].

    module_mm   side of a module; below 0.7 mm raises ValueError: oily hands and cameras need that much
    """
    if module_mm < SMALLEST_MM:
        raise ValueError(f"modules of {module_mm} mm are too small to scan on the floor")
    module = module_mm * MM
    canvas.saveState()
    canvas.transform(module, 0, 0, module, x + QUIET * module, y + QUIET * module)
    canvas.setFillGray(0)
    path = canvas.beginPath()
    path._code.append(_rectangles(code))  # as one string: the library formats numbers one by one, slowly
    canvas.drawPath(path, stroke=0, fill=1)
    canvas.restoreState()
    return size_of(module_mm)
