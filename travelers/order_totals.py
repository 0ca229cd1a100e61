"""What an order asks for while it is typed: fittings, weight, metal and standard hours, whole and by system.

Lines are worked out as release works them out. What was worked out is kept in memory by the typed words and the
versions of the shop's tables, so that a key pressed in one line of a hundred costs that line.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from django.shortcuts import render
from django.views.decorators.http import require_POST

from fittings.developing import lengths_in_inches
from fittings.forms import LineForm, choices_of
from fittings.geometry import KINDS
from fittings.models import OrderLine
from fittings.order_entry import lines_typed
from fittings.preview import weight_text
from fittings.reading import QUANTITY
from fittings.tables import all_rows, versions_in_force
from shared.roles import role_required
from shared.units import MM_PER_IN
from travelers.models import Operation
from travelers.release import work_of
from travelers.release_rows import Work
from travelers.routing import OperationRow

OF_THE_ORDER = ("quantity", "tag", "system", "traveler_per")
"""What a line says that its fitting does not depend on."""
IN2_PER_FT2 = 144.0
MM2_PER_M2 = 1e6


@dataclass(frozen=True)
class Each:
    """One fitting of a line: net weight [lb], net area of metal [in²], standard time [min]; or what is wrong."""

    weight: float = 0.0
    area: float = 0.0
    minutes: float = 0.0
    wrong: str = ""
    is_bare: bool = False
    """No size is typed."""
    echoes: tuple[tuple[str, str], ...] = ()
    """What was understood of each length, by field."""


@dataclass
class Sum:
    """What some lines ask for."""

    name: str = ""
    unit: str = "in"
    lines: int = 0
    fittings: int = 0
    weight: float = 0.0
    area: float = 0.0
    minutes: float = 0.0

    def add(self, each: Each, quantity: int) -> None:
        self.lines += 1
        self.fittings += quantity
        self.weight += each.weight * quantity
        self.area += each.area * quantity
        self.minutes += each.minutes * quantity

    @property
    def weight_text(self) -> str:
        return weight_text(self.weight, self.unit)

    @property
    def area_text(self) -> str:
        if self.unit == "mm":
            return f"{self.area * MM_PER_IN**2 / MM2_PER_M2:,.1f} m²"
        return f"{self.area / IN2_PER_FT2:,.1f} ft²"

    @property
    def hours_text(self) -> str:
        return f"{self.minutes / 60:,.1f} h"


@dataclass
class Totals:
    whole: Sum
    systems: list[Sum] = field(default_factory=list)
    """Empty where no line names a system."""
    wrong: list[tuple[str, int, str]] = field(default_factory=list)
    """What is not counted: the line's name on the page, its number, why."""
    echoes: list[tuple[str, str, str]] = field(default_factory=list)
    """What was understood: the line's name on the page, the field, the text."""


def order_totals_of(data: Mapping[str, Any]) -> Totals:
    """The totals of a form of order entry as it is typed. Two queries, whatever its size."""
    versions = tuple(sorted(versions_in_force().items()))
    operations = tuple(Operation.objects.values_list("code", "level", "position", "needs_own_scan"))
    unit = choices_of(all_rows(dict(versions))).unit
    totals = Totals(Sum(unit=unit))
    systems: dict[str, Sum] = {}
    for number, (prefix, texts) in enumerate(lines_typed(data), start=1):
        words = {name: text for name, text in texts.items() if text and name not in OF_THE_ORDER}
        each = _each(json.dumps(words, sort_keys=True), versions, operations)
        quantity = texts.get("quantity", "")
        if each.is_bare and not quantity and not texts.get("tag"):
            continue
        totals.echoes += [(prefix, name, text) for name, text in each.echoes]
        if each.wrong:
            totals.wrong.append((prefix, number, each.wrong))
        elif not (count := _count(quantity)):
            totals.wrong.append(
                (prefix, number, "No quantity yet." if not quantity else _not_a_count(quantity))
            )
        else:
            totals.whole.add(each, count)
            name = " ".join(texts.get("system", "").split())
            systems.setdefault(name, Sum(name, unit)).add(each, count)
    if any(systems):
        totals.systems = sorted(systems.values(), key=lambda one: not one.name)
    return totals


def _count(text: str) -> int:
    low, high = QUANTITY
    return int(text) if text.isdecimal() and len(text) <= 9 and low <= int(text) <= high else 0


def _not_a_count(text: str) -> str:
    low, high = QUANTITY
    return f"Quantity is “{text[:20]}”; it can be a whole number from {low} to {high}."


@lru_cache(maxsize=8192)
def _each(words: str, versions: tuple[tuple[str, int], ...], operations: tuple[tuple, ...]) -> Each:
    """One fitting as typed, by the shop's tables of these versions. Versions never change, so it is made once."""
    tables = all_rows(dict(versions))
    choices = choices_of(tables)
    texts = json.loads(words)
    form = LineForm({f"line-{name}": text for name, text in texts.items()}, prefix="line", choices=choices)
    is_bare = form.is_blank
    form.is_valid()
    echoes = tuple(form.echoes.items())
    for name, errors in form.errors.items():
        if name != "quantity":
            return Each(wrong=errors[0], is_bare=is_bare, echoes=echoes)
    asked = form.asked()
    if asked["kind"] in KINDS:
        inches = lengths_in_inches(asked["kind"], asked["params"], asked["allowances"], choices.unit)
        asked["params"], asked["allowances"] = inches
    work = work_of(OrderLine(**asked), [OperationRow(*row) for row in operations], tables)
    if not isinstance(work, Work):
        return Each(wrong=_first(work), is_bare=is_bare, echoes=echoes)
    steps = [*work.fitting_steps, *(step for steps in work.segment_steps for step in steps)]
    minutes = sum(minutes for _, minutes in steps)
    return Each(work.development["weight"], work.development["net_area"], minutes, echoes=echoes)


def _first(errors: Iterable[Any]) -> str:
    error = next(iter(errors))
    return error.message if error.field else f"It {error.message}"


@require_POST
@role_required("office", "supervisor")
def order_totals(request):
    """What the lines on the page ask for, as a fragment."""
    return render(request, "travelers/_order_totals.html", {"totals": order_totals_of(request.POST)})
