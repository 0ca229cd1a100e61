"""What the page of measured times shows: each method beside its standard, cells by size and gauge. Only reads."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from itertools import groupby

from fittings import tables
from shared.units import plain_number
from shopfloor.flow.learned import LEAST, LEAST_IN_CELL, Cell, Learned, cells
from shopfloor.measured_times import NO_MEASURE, PLACES, TIMES, MeasuredTimes, TimesRow, Way, measured_times
from shopfloor.working_time import shop_calendar
from travelers.models import Operation

DASH = "—"


@dataclass(frozen=True)
class MethodRow:
    """One method of an operation. `value` names it in the form; `is_proposed` where it can be adopted."""

    way: Way
    learned: Learned
    standard: TimesRow | None
    proposal: TimesRow | None

    @property
    def method(self) -> str:
        return self.way[1]

    @property
    def value(self) -> str:
        return " ".join(self.way)

    @property
    def is_proposed(self) -> bool:
        return self.proposal is not None

    @property
    def planned(self) -> str:
        return _minutes(self.standard.each, self.standard.per_foot) if self.standard else DASH

    @property
    def measured(self) -> str:
        one = self.learned
        return _minutes(one.each, one.per_foot) if one.is_enough else DASH

    @property
    def measure(self) -> str:
        """What the feet are of: "stretch-out"."""
        found = self.standard.measure if self.standard else NO_MEASURE
        return DASH if found == NO_MEASURE else found.replace("_length", " length").replace("_", "-")

    @property
    def difference(self) -> str:
        one = self.learned
        if one.ratio is None:
            return DASH
        return f"{_signed(one.ratio)} ± {100 * one.half:.1f}"

    @property
    def word(self) -> str:
        one = self.learned
        if not one.is_enough:
            return f"Too few: {one.timings} of {LEAST}"
        if one.ratio is None:
            return "No standard time"
        if not self.is_proposed:
            return "No sure difference"
        return "Longer" if one.ratio > 1 else "Shorter"


@dataclass(frozen=True)
class CellRow:
    """One cell by size and gauge, in words."""

    cell: Cell

    @property
    def size(self) -> str:
        above, to = self.cell.above, self.cell.to
        if above is None:
            return f"up to {to} in"
        return f"over {above} in" if to is None else f"over {above} to {to} in"

    @property
    def difference(self) -> str:
        return _signed(self.cell.ratio)

    @property
    def word(self) -> str:
        if self.cell.timings < LEAST_IN_CELL:
            return "Too few"
        if not self.cell.differs:
            return "No sure difference"
        return "Longer" if self.cell.ratio > 1 else "Shorter"


@dataclass(frozen=True)
class MeasuredPage:
    """All of the page. `operation` is the one whose cells are shown; None where nothing was measured."""

    found: MeasuredTimes
    names: dict[str, str]
    version: int
    until: datetime
    operation: str | None
    least: int = LEAST

    @property
    def groups(self) -> list[tuple[str, list[MethodRow]]]:
        """(operation's name, its methods), in flow order."""
        order = list(self.names)
        ways = sorted(self.found.timings, key=lambda way: (order.index(way[0]), way[1]))
        rows = [
            MethodRow(way, self.found.learned[way], self.found.standard.get(way), self.found.proposal(way))
            for way in ways
        ]
        return [(self.names[code], list(own)) for code, own in groupby(rows, key=lambda row: row.way[0])]

    @cached_property
    def has_proposals(self) -> bool:
        return any(self.found.proposal(way) for way in self.found.timings)

    @property
    def choices(self) -> list[tuple[str, str]]:
        measured = {operation for operation, _ in self.found.timings}
        return [(code, name) for code, name in self.names.items() if code in measured]

    @property
    def cells(self) -> list[CellRow]:
        own = [
            one for (code, _), some in self.found.timings.items() if code == self.operation for one in some
        ]
        return [CellRow(one) for one in cells(own)]

    @property
    def read(self) -> list[tuple[str, int, int, list[tuple[str, int]]]]:
        """(operation, pieces looked at, pieces timed, (why left out, pieces) the most first)."""
        timed = {
            code: sum(
                one.pieces for (own, _), some in self.found.timings.items() if own == code for one in some
            )
            for code in self.names
        }
        return [
            (name, self.found.read[code], timed[code], self.found.left_out[code].most_common())
            for code, name in self.names.items()
        ]


def measured_page(*, operation: str, now: datetime) -> MeasuredPage:
    """operation  whose cells are asked for; the first that was measured, where it was not"""
    found = measured_times(shop_calendar(), until=now)
    names = dict(Operation.objects.order_by("position").values_list("code", "name"))
    measured = [code for code in names if any(code == own for own, _ in found.timings)]
    shown = operation if operation in measured else next(iter(measured), None)
    return MeasuredPage(found, names, tables.versions_in_force()[TIMES], now, shown)


def _minutes(each: float, per_foot: float) -> str:
    """ "0.8 + 0.15 a foot"."""
    first, slope = (plain_number(one, PLACES) for one in (each, per_foot))
    return f"{first} + {slope} a foot" if per_foot else first


def _signed(ratio: float) -> str:
    return f"{100 * (ratio - 1):+.1f} %".replace("-", "−")
