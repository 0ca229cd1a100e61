"""The file to begin with: one sheet a kind with the columns that it has, one wide sheet, and what the columns mean."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fittings.developing import materials
from fittings.forms import shop_unit
from fittings.geometry import KINDS, Kind
from fittings.geometry.parameters import range_text
from fittings.intake.checking import EXAMPLE, HELP
from fittings.intake.columns import PARAMS, PART_OF_ORDER, Column, columns, columns_of
from fittings.pattern_desk import sample_params
from fittings.tables import all_rows
from shared.sheets import CSV, Sheet, csv_bytes, xlsx_bytes
from shared.units import MM_PER_IN

WIDE = "All kinds"
EXAMPLE_HEAD = {"customer": "Example Mechanical", "purchase_order": "PO-0000", "due": "2027-03-04"}


def template_file(form: str) -> bytes:
    """The template in the shop's unit, with an invented example row for each kind, which is not taken in."""
    tables = all_rows()
    unit = shop_unit(tables)
    wide = _wide(unit, tables)
    if form == CSV:
        return csv_bytes(wide)
    kinds = [_of_kind(kind, unit, tables) for kind in KINDS.values()]
    return xlsx_bytes([wide, *kinds, _help(unit, tables)], title="Orders to bring in")


def _wide(unit: str, tables: Mapping[str, Any]) -> Sheet:
    shown = list(columns().values())
    rows = [_example(kind, unit, tables) for kind in KINDS.values()]
    return Sheet(
        WIDE,
        [one.head(unit) for one in shown],
        [[row.get(one.name) for one in shown] for row in rows],
    )


def _of_kind(kind: Kind, unit: str, tables: Mapping[str, Any]) -> Sheet:
    head = [columns()[name] for name in PART_OF_ORDER]
    shown = [*head, *(one for one in columns_of(kind) if one.name != "kind")]
    row = _example(kind, unit, tables)
    return Sheet(kind.title, [one.head(unit) for one in shown], [[row.get(one.name) for one in shown]])


def _example(kind: Kind, unit: str, tables: Mapping[str, Any]) -> dict[str, Any]:
    material, gauges = next(iter(materials(tables).items()))
    row: dict[str, Any] = {
        **EXAMPLE_HEAD,
        "quantity": 4,
        "kind": kind.title,
        "material": material,
        "tag": EXAMPLE,
    }
    row["gauge"] = 24 if 24 in gauges else gauges[0]
    lengths = {param.name for param in kind.params if param.unit == "in"}
    for name, value in sample_params(kind).items():
        is_length = unit == "mm" and name in lengths
        row[PARAMS + name] = round(value * MM_PER_IN, 1) if is_length else value
    own = {one.name for one in columns_of(kind)}
    return row | {name: "raw" for name in ("end_a", "end_b") if name in own}


def _help(unit: str, tables: Mapping[str, Any]) -> Sheet:
    rows = []
    for column in columns().values():
        kinds = [kind.title for kind in KINDS.values() if column in columns_of(kind)]
        for_all = len(kinds) in (0, len(KINDS))
        rows.append(
            [
                column.head(unit),
                _allowed(column, unit, tables),
                column.help,
                "all" if for_all else ", ".join(kinds),
                ", ".join(column.names[:4]),
            ]
        )
    heads = [
        "Column",
        "What it can be",
        "What it means",
        "For which kinds",
        "Other heads that are understood",
    ]
    return Sheet(HELP, heads, rows, frozenset({1, 2, 3, 4}))


def _allowed(column: Column, unit: str, tables: Mapping[str, Any]) -> str:
    """What a cell of the column can be, in words."""
    ends = ", ".join(f"{row['name']} ({row['title']})" for row in tables["ends"])
    known: dict[str, str] = {
        "kind": ", ".join(kind.title for kind in KINDS.values()),
        "material": ", ".join(materials(tables)),
        "finish": ends,
        "yes": "yes or no",
        "day": "a date",
        "priority": "1 to 9",
        "gauge": "a gauge of the material in the shop’s table",
        "choice": ", ".join(column.choices),
    }
    if column.name == "quantity":
        return "a whole number from 1 to 10000"
    if column.name.startswith(PARAMS) and column.sort not in known:
        return _range(column.name.removeprefix(PARAMS), unit)
    if column.name == PARAMS + "gore_class":
        return ", ".join(dict.fromkeys(str(row["gore_class"]) for row in tables["gores"]))
    return known.get(column.sort) or {"length": "a length"}.get(
        column.sort, "a text" if column.sort == "text" else ""
    )


def _range(name: str, unit: str) -> str:
    params = [param for kind in KINDS.values() for param in kind.params if param.name == name]
    texts: Sequence[str] = dict.fromkeys(
        range_text(param.low, param.high, param.unit, unit, low_open=param.low_open)
        for param in params
        if param.low is not None or param.high is not None
    )
    return " or ".join(texts)
