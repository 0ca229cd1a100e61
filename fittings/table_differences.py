"""What two versions of a shop table differ by, row by row. Pure: rows in, differences out.

Rows are the same row where they agree in the columns that a table has only once (its key); a table without such columns
has rows that are there or not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

ADDED, GONE, CHANGED = "added", "gone", "changed"


@dataclass(frozen=True)
class Cell:
    label: str
    before: Any
    after: Any


@dataclass(frozen=True)
class Difference:
    """One row: what of it differs. `row` is its number in the later version, or in the earlier one where it is gone."""

    what: str
    row: int
    name: str
    cells: tuple[Cell, ...]


def differences(
    columns: Sequence[tuple[str, str]],
    once: Sequence[str],
    before: Sequence[Mapping[str, Any]],
    after: Sequence[Mapping[str, Any]],
) -> list[Difference]:
    """Changed and added rows in the order of the later version, then those that are gone.

    columns  (name, label) of each column, in order
    once     the columns that together name a row
    """
    names = [name for name, _ in columns]
    key = tuple(once) or tuple(names)
    old = _by_key(key, before)
    new = _by_key(key, after)
    found = []
    for at, (number, row) in new.items():
        shown = _shown(key, row)
        if at not in old:
            cells = tuple(Cell(label, None, row.get(name)) for name, label in columns if name not in once)
            found.append(Difference(ADDED, number, shown, cells))
            continue
        was = old[at][1]
        cells = tuple(
            Cell(label, was.get(name), row.get(name))
            for name, label in columns
            if was.get(name) != row.get(name)
        )
        if cells:
            found.append(Difference(CHANGED, number, shown, cells))
    for at, (number, row) in old.items():
        if at not in new:
            cells = tuple(Cell(label, row.get(name), None) for name, label in columns if name not in once)
            found.append(Difference(GONE, number, _shown(key, row), cells))
    return found


def _by_key(
    key: Sequence[str], rows: Sequence[Mapping[str, Any]]
) -> dict[tuple, tuple[int, Mapping[str, Any]]]:
    """By key and by how often it came before: rows without a key of their own may be equal."""
    found: dict[tuple, tuple[int, Mapping[str, Any]]] = {}
    seen: dict[tuple, int] = {}
    for number, row in enumerate(rows, start=1):
        own = tuple(row.get(name) for name in key)
        seen[own] = seen.get(own, 0) + 1
        found[(*own, seen[own])] = (number, row)
    return found


def _shown(key: Sequence[str], row: Mapping[str, Any]) -> str:
    parts = [_text(row.get(name)) for name in key]
    return ", ".join(part for part in parts if part)


def _text(value: Any) -> str:
    return "" if value is None else f"{value:.10g}" if isinstance(value, float) else str(value)
