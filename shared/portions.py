"""Many rows, some at a time: a statement takes only so many values, and memory holds only so many rows. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TypeVar

Row = TypeVar("Row")


def in_portions(rows: Sequence[Row], size: int) -> Iterator[Sequence[Row]]:
    """The rows in their order, at most `size` together.

    >>> list(in_portions([1, 2, 3, 4, 5], 2))
    [[1, 2], [3, 4], [5]]
    """
    for start in range(0, len(rows), size):
        yield rows[start : start + size]
