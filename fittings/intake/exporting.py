"""Orders to a file that comes in again as an equal order: the columns that `columns` has, those that say something."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from fittings.developing import RAW
from fittings.forms import shop_unit
from fittings.geometry import KINDS
from fittings.intake.columns import ALLOWANCES, PARAMS, columns, columns_of
from fittings.intake.limits import LONGEST_CELL
from fittings.models import Order, OrderLine
from fittings.selectors import order_by_number
from shared.sheets import CSV, Sheet, csv_bytes, xlsx_bytes
from shared.units import MM_PER_IN

MM_PLACES = 6
ALWAYS = ("customer", "purchase_order", "due", "quantity", "kind", "material", "gauge")
_LOOKS_GUARDED = re.compile(r"'+[=+\-@\t\r\0]")


def order_file(number: str, form: str) -> bytes:
    """An order as CSV or XLSX, as the import takes it. Its number is left out, so that it comes in as a new one.

    raises  NotFound
    """
    order = order_by_number(number)
    lines = list(order.lines.defer("development").order_by("position"))
    sheet = order_sheet(order, lines, shop_unit())
    return csv_bytes(sheet) if form == CSV else xlsx_bytes([sheet], title=f"Order {order.number}")


def order_sheet(order: Order, lines: Sequence[OrderLine], unit: str) -> Sheet:
    head = _head_values(order)
    rows = [head | _line_values(line, unit) for line in lines]
    used = {name for row in rows for name, value in row.items() if value not in (None, "")}
    shown = [column for name, column in columns().items() if name in used or name in ALWAYS]
    return Sheet(
        f"Order {order.number}",
        [column.head(unit) for column in shown],
        [[_cell(row.get(column.name)) for column in shown] for row in rows],
    )


def _head_values(order: Order) -> dict[str, Any]:
    notes, more = _parted(order.notes)
    return {
        "customer": order.customer.name,
        "purchase_order": order.purchase_order,
        "due": order.due_on,
        "priority": order.priority,
        "notes": notes,
        "notes_more": more,
    }


def _line_values(line: OrderLine, unit: str) -> dict[str, Any]:
    kind = KINDS[line.kind]
    lengths = {param.name for param in kind.params if param.unit == "in"}
    own = {column.name for column in columns_of(kind)}
    values: dict[str, Any] = {
        "quantity": line.quantity,
        "kind": kind.title,
        "material": line.material,
        "gauge": line.gauge,
        "tag": line.tag,
        "system": line.system,
        "pressure_class": line.pressure_class,
        "traveler_per": "" if line.traveler_per == OrderLine.TravelerPer.LOT else line.traveler_per,
    }
    for name in ("end_a", "end_b", "end_c", "joins_a", "joins_b", "joins_c"):
        value = getattr(line, name)
        if name in own or value not in ("", RAW):
            values[name] = value
    for name, value in line.params.items():
        values[PARAMS + name] = _length(value, unit) if name in lengths else value
    for name, value in (line.allowances or {}).items():
        values[ALLOWANCES + name] = _length(value, unit)
    return values


def _length(value_in: float, unit: str) -> float:
    return round(value_in * MM_PER_IN, MM_PLACES) if unit == "mm" else value_in


def _cell(value: Any) -> Any:
    """A text that looks as if an apostrophe had been put before it gets one more, so that reading takes one off."""
    return f"'{value}" if isinstance(value, str) and _LOOKS_GUARDED.match(value) else value


def _parted(notes: str) -> tuple[str, str]:
    """Notes in two cells where they are too long for one, parted within a word, so that no space is lost."""
    if len(notes) <= LONGEST_CELL:
        return notes, ""
    at = next(
        (at for at in range(LONGEST_CELL, 0, -1) if not notes[at - 1].isspace() and not notes[at].isspace()),
        LONGEST_CELL,
    )
    return notes[:at], notes[at:]
