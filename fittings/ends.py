"""What the shop's tables say of a developed fitting's free ends and of its gauge: sizes, fit, pressure class."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from fittings.geometry import KINDS, Allowances, Development, Warned
from fittings.geometry.fit import (
    FACE,
    GOES,
    INSIDE,
    PLAIN,
    EndRow,
    FittedEnd,
    PairRow,
    fitted_end,
    misfit_sentence,
)
from fittings.geometry.pressure import PressureRow, pressure_warnings
from fittings.geometry.trade_rules import SMALL_END

Row = Mapping[str, Any]
Tables = Mapping[str, Sequence[Row]]

LETTERS = ("a", "b", "c")
BEFORE_FIT = {"swage": INSIDE, "crimp": INSIDE, "flange": FACE}
"""How the finishes go that a version of the ends table from before the column `goes` can hold."""


@dataclass(frozen=True, eq=False)
class FinishedDevelopment(Development):
    """A developed fitting with its free ends as they are finished."""

    ends: tuple[FittedEnd, ...] = ()


def ends_of(kind: str) -> tuple[tuple[str, str], ...]:
    """Letter and title of each free end of a kind, in order."""
    return KINDS[kind].ends


def finished(
    dev: Development,
    *,
    finishes: Mapping[str, str],
    joins: Mapping[str, str],
    allowances: Allowances,
    pressure_class: float | None,
    tables: Tables,
) -> FinishedDevelopment:
    """The development with its finished ends, and the warnings about fit and pressure class after its own.

    finishes, joins  letter of an end to the name of its finish, and of its neighbour's ("" where not told)
    """
    known = {row["name"]: row for row in tables["ends"]}
    pairs = _pairs(tables)
    ends, warnings = [], list(dev.warnings)
    for free in dev.free_ends:
        added = getattr(allowances, f"free_end_{free.end}")
        row = _end_row(known[finishes[free.end]], added)
        name = joins.get(free.end, "")
        other = _end_row(known[name], added) if name else None
        end = fitted_end(free, row, thickness=dev.thickness, gauge=dev.gauge, joins=other, pairs=pairs)
        ends.append(end)
        if free.diameter is None and row.goes == INSIDE:
            message = (
                f"{free.title} is rectangular and its finish is “{row.title.lower()}”, which is for round ends; "
                "rectangular ends are usually flanged or left raw (common practice, no source)."
            )
            warnings.append(Warned("finish_for_round_ends", message))
        if end.fits is False:
            warnings.append(Warned("ends_do_not_fit", misfit_sentence(end, row, other)))
    warnings += pressure_warnings(
        _shop_value(tables, "pressure_rule"),
        _pressures(tables),
        material=dev.material,
        gauge=dev.gauge,
        thickness=dev.thickness,
        diameter=max((free.diameter for free in dev.free_ends if free.diameter), default=None),
        pressure=pressure_class,
        unit=dev.unit,
    )
    own = {field.name: getattr(dev, field.name) for field in fields(Development)}
    return FinishedDevelopment(**own | {"warnings": tuple(warnings)}, ends=tuple(ends))


# -- from the tables ---------------------------------------------------------


def _end_row(row: Row, added: float) -> EndRow:
    """A finish as the geometry reads it. A version of the table from before these columns lacks them.

    added   the allowance of the end [in]: the length of a finish whose row names none
    """
    goes = row.get("goes") or ""
    if goes not in GOES:
        goes = BEFORE_FIT.get(row["name"], PLAIN)
    deducted, length = row.get("deduct_t"), row.get("length_in")
    if deducted is None:
        deducted = SMALL_END if goes == INSIDE else 0.0
    if length is None:
        length = 0.0 if goes == PLAIN else added
    return EndRow(row["name"], row["title"], goes, deducted, row.get("clear_in") or 0.0, length)


def _pairs(tables: Tables) -> tuple[PairRow, ...]:
    return tuple(
        PairRow(
            row["this"],
            row["other"],
            row["gauge_from"],
            row["gauge_to"],
            row["fits"] == "yes",
            row["how"],
            row["source"],
        )
        for row in tables.get("pairs", ())
    )


def _pressures(tables: Tables) -> tuple[PressureRow, ...]:
    return tuple(
        PressureRow(
            row["rule"],
            row["material"],
            row["diameter_over_in"],
            row["diameter_to_in"],
            row["pressure_over"],
            row["pressure_to"],
            row["gauge"],
            row["thickness_in"],
            row["note"],
            row["source"],
        )
        for row in tables.get("pressure_gauges", ())
    )


def _shop_value(tables: Tables, key: str) -> str:
    return next((row["value"] for row in tables.get("shop", ()) if row["key"] == key), "")
