"""What is asked of a cut plan, checked: which metal, which work, which stock, by which rules. All wrong fields at once.

Fields are named as the API names them: material, gauge, orders, due_to, stock, effort, gap, margin, turns, seams, seed.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, F

from fittings.cut_settings import HIGHEST, SEAMS, CutSettings, cut_settings
from fittings.cutting import EFFORTS, TURNS
from fittings.developing import sheet_for
from fittings.models import CutPlan, Order, StockItem
from fittings.reading import DUE, Reading
from fittings.stock import stock_for
from fittings.tables import all_rows
from shared.problems import Conflict, FieldError, WrongInput
from shared.texts import printable, search_text
from shared.units import MM_PER_IN
from travelers.cut_work import CUT, left_out, open_rows
from travelers.models import IS_OPEN_HERE, Task, TaskState

FIELDS = (
    "material",
    "gauge",
    "orders",
    "due_to",
    "stock",
    "effort",
    "gap",
    "margin",
    "turns",
    "seams",
    "seed",
)
AGAIN_FIELDS = ("stock", "effort", "gap", "margin", "turns", "seams", "seed")
SEED = (1, 2**31 - 1)
MOST_ORDERS = 500
MOST_STOCK = 500
MOST_NAMED = 5


@dataclass(frozen=True)
class CutChoices:
    """Checked choices, lengths in inches. Empty `orders` and `stock_ids` are all; `due_to` None is any date."""

    material: str
    gauge: int
    effort: str
    gap_in: float
    margin_in: float
    turns: str
    seams: str
    seed: int = 1
    orders: tuple[str, ...] = ()
    due_to: date | None = None
    stock_ids: tuple[int, ...] = ()

    @property
    def metal(self) -> str:
        return metal_text(self.material, self.gauge)

    def work_text(self) -> str:
        """Which of the metal's work is meant: “ of order 1001 due by 2026-03-05”, or nothing."""
        words = ""
        if self.orders:
            shown = ", ".join(self.orders[:5]) + (" and others" if len(self.orders) > 5 else "")
            words += f" of order{'s' if len(self.orders) > 1 else ''} {shown}"
        return words + (f" due by {self.due_to}" if self.due_to else "")


def metal_text(material: str, gauge: int) -> str:
    return f"{gauge} ga {material}"


def choices_read(
    data: Mapping[str, Any],
    *,
    unit: str = "in",
    settings: CutSettings | None = None,
    known: Sequence[str] = FIELDS,
) -> CutChoices:
    """The choices of a request; what it leaves out is as the shop's settings say.

    data     gap and margin in `unit`; `stock` and `orders` lists of ids and of numbers
    known    the fields that may be given
    raises   WrongInput with an entry per wrong field; Conflict where there is no stock of the metal
    """
    usual = settings or cut_settings()
    reading = Reading(data)
    reading.only((*known, "unit"))
    material, gauge = "", 0
    try:
        sheet = sheet_for(data.get("material"), data.get("gauge"), all_rows())
        material, gauge = sheet.material, sheet.gauge
    except WrongInput as wrong:
        reading.errors += wrong.errors
    given = {name: value for name, value in data.items() if value != ""}
    reading.data = given
    choices = CutChoices(
        material=material,
        gauge=gauge,
        effort=reading.choice("effort", EFFORTS, usual=usual.cut_effort),
        gap_in=_length(reading, "gap", "Gap", HIGHEST["part_gap_in"], usual.part_gap_in, unit),
        margin_in=_length(
            reading, "margin", "Margin", HIGHEST["sheet_margin_in"], usual.sheet_margin_in, unit
        ),
        turns=reading.choice("turns", TURNS, usual=usual.turns),
        seams=reading.choice("seams", SEAMS, usual=usual.seams),
        seed=reading.whole("seed", *SEED, usual=1),
        orders=_orders(reading),
        due_to=reading.day("due_to", *DUE),
        stock_ids=_stock_ids(reading, material, gauge),
    )
    if reading.errors:
        raise WrongInput(reading.errors)
    stock_chosen(choices)
    return choices


def stock_chosen(choices: CutChoices | CutPlan) -> list[StockItem]:
    """The stock on hand that a plan may cut from: what the margin leaves something of.

    raises  WrongInput where the margin leaves nothing of any; Conflict where there is none of the metal
    """
    metal = metal_text(choices.material, choices.gauge)
    found = stock_for(choices.material, choices.gauge, ids=choices.stock_ids or None)
    if not found:
        raise Conflict(
            f"There is no stock of {metal} on hand. Add a sheet size or a coil on the page Stock. Nothing was changed."
        )
    wide = [item for item in found if 2 * choices.margin_in < min(item.width_in, item.length_in)]
    if not wide:
        most = max(min(item.width_in, item.length_in) for item in found)
        message = f"Margin is {choices.margin_in:g} in: nothing is left of any stock of {metal}."
        raise WrongInput([FieldError("margin", choices.margin_in, f"less than {most / 2:g} in", message)])
    return wide


def nothing_waits(
    choices: CutChoices, again: CutPlan | None = None, only: Collection[tuple[int, int]] | None = None
) -> Conflict:
    """Why there is nothing to plan: another plan holds it, naming who made that, or nothing is ready.

    again, only  the plan that is to be made again, and its pieces (segment id, plate)
    """
    wanted: dict[str, Any] = {
        "state": TaskState.READY,
        "segment__cut_pieces__is_live": True,
        "segment__cut_pieces__plan__material": choices.material,
        "segment__cut_pieces__plan__gauge": choices.gauge,
    }
    if choices.orders:
        wanted["fitting__order__number__in"] = choices.orders
    if choices.due_to:
        wanted["fitting__order__due_on__lte"] = choices.due_to
    if only is not None:
        wanted["segment__in"] = {segment for segment, _ in only}
    held = Task.objects.at(CUT).filter(
        IS_OPEN_HERE, **wanted
    )  # one filter(): each would join the pieces anew
    plan = "segment__cut_pieces__plan"
    plans = list(
        held.order_by()
        .values(number=F(f"{plan}__number"), made_by=F(f"{plan}__made_by"))
        .annotate(held=Count("segment__cut_pieces"))
        .order_by("number")
    )
    work = f"of cut plan {again.number}" if again else f"of {choices.metal}{choices.work_text()}"
    if not plans:
        reasons = left_out(
            open_rows(fitting__line__material=choices.material, fitting__line__gauge=choices.gauge)
        )
        return Conflict(" ".join([f"No piece {work} waits to be cut.", *reasons, "Nothing was changed."]))
    number = sum(one["held"] for one in plans)
    named = " and ".join(f"cut plan {one['number']} (made by {one['made_by']})" for one in plans[:MOST_NAMED])
    pieces, waits, are = (
        ("The one piece", "waits", "is") if number == 1 else (f"All {number} pieces", "wait", "are")
    )
    detail = f"{pieces} {work} that {waits} to be cut {are} on {named}. Nothing was changed."
    return Conflict(detail, plans=[one["number"] for one in plans])


def _length(reading: Reading, name: str, title: str, most: float, usual: float, unit: str) -> float:
    value = reading.data.get(name)
    if value is None:
        return usual
    factor = MM_PER_IN if unit == "mm" else 1.0
    is_number = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if is_number and 0 <= value <= most * factor + 1e-9:
        return min(most, value / factor)
    limit = f"0 to {most * factor:g} {unit}"
    shown = f"{value:g} {unit}" if is_number else f"“{printable(str(value))[:40]}”"
    reading.wrong(name, value, limit, f"{title} is {shown}; it can be {limit}.")
    return usual


def _orders(reading: Reading) -> tuple[str, ...]:
    given = reading.data.get("orders")
    if given is None:
        return ()
    limit = f"a list of at most {MOST_ORDERS} order numbers"
    if not isinstance(given, list | tuple) or len(given) > MOST_ORDERS:
        reading.wrong("orders", None, limit, f"Orders can be {limit}.")
        return ()
    numbers = tuple(dict.fromkeys(str(one).strip()[:30] for one in given))
    there = set(Order.objects.filter(number__in=map(search_text, numbers)).values_list("number", flat=True))
    for at, number in enumerate(numbers):
        if number not in there:
            shown = printable(number)
            reading.wrong(f"orders[{at}]", shown, "an order's number", f"There is no order {shown}.")
    return numbers


def _stock_ids(reading: Reading, material: str, gauge: int) -> tuple[int, ...]:
    given = reading.data.get("stock")
    if given is None:
        return ()
    limit = f"a list of at most {MOST_STOCK} ids of stock"
    is_list = isinstance(given, list | tuple) and len(given) <= MOST_STOCK
    if not is_list or not all(type(one) is int and 0 < one < 2**31 for one in given):
        reading.wrong("stock", None, limit, f"Stock can be {limit}.")
        return ()
    ids = tuple(dict.fromkeys(given))
    if ids and material:
        metal = metal_text(material, gauge)
        there = {item.pk for item in stock_for(material, gauge, ids=ids)}
        for at, one in enumerate(ids):
            if one not in there:
                message = f"Stock {one} is not on hand of {metal}. Choose among what is there."
                reading.wrong(f"stock[{at}]", one, f"stock of {metal} on hand", message)
    return ids
