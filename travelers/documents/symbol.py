"""The modules of a version 1 QR symbol, quickly: the same as the encoder's, its eight mask trials done on whole rows.

A row is an integer, bit c for column c. What does not depend on the data (finders, timing, format) is taken from the
encoder once a mask; the codewords come from it too. Penalties are those of ISO/IEC 18004, 7.8.3.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

from qrcode import QRCode
from qrcode.constants import ERROR_CORRECT_Q
from qrcode.util import MODE_ALPHA_NUM, QRData, create_data

SIDE = 21
ALL = (1 << SIDE) - 1
MASKS: tuple[Callable[[int, int], bool], ...] = (
    lambda r, c: (r + c) % 2 == 0,
    lambda r, c: r % 2 == 0,
    lambda r, c: c % 3 == 0,
    lambda r, c: (r + c) % 3 == 0,
    lambda r, c: (r // 2 + c // 3) % 2 == 0,
    lambda r, c: (r * c) % 2 + (r * c) % 3 == 0,
    lambda r, c: ((r * c) % 2 + (r * c) % 3) % 2 == 0,
    lambda r, c: ((r + c) % 2 + (r * c) % 3) % 2 == 0,
)


def symbol_rows(code: str) -> tuple[int, ...]:
    """The 21 rows from the top of the best masked symbol of an alphanumeric code, level Q."""
    order, fixed, masks = _layout()
    codewords = create_data(1, ERROR_CORRECT_Q, [QRData(code, mode=MODE_ALPHA_NUM)])
    rows, columns = [0] * SIDE, [0] * SIDE
    at = 0
    for word in codewords:
        for bit in range(7, -1, -1):
            if word >> bit & 1:
                row, column = order[at]
                rows[row] |= 1 << column
                columns[column] |= 1 << row
            at += 1
    best: tuple[int, list[int]] | None = None
    for (fixed_rows, fixed_columns), (mask_rows, mask_columns) in zip(fixed, masks, strict=True):
        across = [
            (data ^ mask) | drawn for data, mask, drawn in zip(rows, mask_rows, fixed_rows, strict=True)
        ]
        down = [
            (data ^ mask) | drawn
            for data, mask, drawn in zip(columns, mask_columns, fixed_columns, strict=True)
        ]
        found = penalty(across, down)
        if best is None or found < best[0]:
            best = (found, across)
    return tuple(best[1])


def penalty(rows: Sequence[int], columns: Sequence[int]) -> int:
    """Points for runs, blocks, finder look-alikes and imbalance."""
    points = 0
    for line in (*rows, *columns):
        light = ~line & ALL
        for bits in (line, light):
            fives = bits & bits >> 1 & bits >> 2 & bits >> 3 & bits >> 4
            if fives:
                points += fives.bit_count() + 2 * (fives & ~(fives << 1)).bit_count()
        core = line & light >> 1 & line >> 2 & line >> 3 & line >> 4 & light >> 5 & line >> 6
        if core:
            after = light >> 7 & light >> 8 & light >> 9 & light >> 10
            before = light << 1 & light << 2 & light << 3 & light << 4
            points += 40 * ((core & after).bit_count() + (core & before).bit_count())
    for above, below in zip(rows, rows[1:], strict=False):
        same = ~(above ^ below) & ALL
        points += 3 * (same & same >> 1 & ~(above ^ above >> 1) & (ALL >> 1)).bit_count()
    dark = sum(row.bit_count() for row in rows)
    return points + 10 * (abs(20 * dark - 10 * SIDE * SIDE) // (SIDE * SIDE))


def _is_fixed(row: int, column: int) -> bool:
    corner = (row < 9 and column < 9) or (row < 9 and column > 12) or (row > 12 and column < 9)
    return corner or row == 6 or column == 6


@lru_cache(maxsize=1)
def _layout():
    """Where the data bits go, the fixed modules of each mask, and the masks over the data; rows and columns each."""
    order = []
    upwards = True
    right = SIDE - 1
    while right > 0:
        if right == 6:
            right -= 1
        for row in range(SIDE - 1, -1, -1) if upwards else range(SIDE):
            order += [(row, column) for column in (right, right - 1) if not _is_fixed(row, column)]
        upwards = not upwards
        right -= 2
    fixed, masks = [], []
    for number, mask in enumerate(MASKS):
        drawn = QRCode(version=1, error_correction=ERROR_CORRECT_Q, mask_pattern=number, border=0)
        drawn.add_data(QRData("0", mode=MODE_ALPHA_NUM), optimize=0)
        drawn.make(fit=False)
        modules = drawn.modules
        fixed.append(_lines(lambda r, c, m=modules: _is_fixed(r, c) and m[r][c]))
        masks.append(_lines(lambda r, c, mask=mask: not _is_fixed(r, c) and mask(r, c)))
    return order, fixed, masks


def _lines(is_dark: Callable[[int, int], bool]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    places = range(SIDE)
    rows = tuple(sum(1 << c for c in places if is_dark(r, c)) for r in places)
    columns = tuple(sum(1 << r for r in places if is_dark(r, c)) for c in places)
    return rows, columns
