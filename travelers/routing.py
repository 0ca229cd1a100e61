"""Rows of the route table to the steps of a fitting. Pure: no Django, no database."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

ANY = "*"
WORKED = "worked"
LEFT_OUT = "none"  # as the method of a rule: the operation is left out
CYLINDER, CONE, BRAKE, FLAT = "cylinder", "cone", "brake", "flat"
FORMS = (CYLINDER, CONE, BRAKE, FLAT)
ONE, MORE = "one", "more"
SEGMENT = "segment"
FITTING = "fitting"
INCHES_PER_FOOT = 12.0


@dataclass(frozen=True)
class OperationRow:
    code: str
    level: str
    position: int
    needs_own_scan: bool = False


@dataclass(frozen=True)
class Step:
    """One operation that a fitting goes through, and how it is done."""

    operation: str
    level: str
    position: int
    method: str
    needs_own_scan: bool = False


def route_for(
    operations: Iterable[OperationRow],
    rules: Sequence[Mapping[str, Any]],
    *,
    kind: str,
    material: str,
    gauge: int,
    ends_worked: bool,
    ends: Sequence[str] = (),
    forms: Sequence[str] = (CYLINDER,),
    pieces: int = 1,
) -> tuple[Step, ...]:
    """The steps of one segment, or of a fitting as a whole, in flow order.

    Of the rules of an operation the first that fits is taken; an operation without one is left out, and so is one
    whose rule has the method “none”. Rules without `form` and `pieces`, as older table versions have them, fit any.

    operations  those of the level that is asked about
    ends        finishes of the free ends
    forms       how the segment is formed; for the fitting as a whole, how its segments are
    pieces      segments of the fitting
    source      16 gauge and lighter closed mechanically, 14 and heavier welded: common practice, no source (rows, not
                code)

    >>> cut = OperationRow("cut", SEGMENT, 10)
    >>> rule = dict(operation="cut", kind="*", material="*", gauge_from=1, gauge_to=40, end="*", method="Cut")
    >>> route_for([cut], [rule], kind="gored_elbow", material="galvanized", gauge=24, ends_worked=False)[0].method
    'Cut'
    """
    steps = []
    for operation in sorted(operations, key=lambda row: row.position):
        rule = next(
            (
                rule
                for rule in rules
                if rule["operation"] == operation.code
                and _is_of(rule, kind, material, gauge)
                and _is_for_ends(rule["end"], ends_worked, ends)
                and _is_for_shape(rule, forms, pieces)
            ),
            None,
        )
        if rule is not None and rule["method"] != LEFT_OUT:
            steps.append(
                Step(
                    operation.code,
                    operation.level,
                    operation.position,
                    rule["method"],
                    operation.needs_own_scan,
                )
            )
    return tuple(steps)


def _is_of(rule: Mapping[str, Any], kind: str, material: str, gauge: int) -> bool:
    named = rule["kind"] in (ANY, kind) and rule["material"] in (ANY, material)
    return named and rule["gauge_from"] <= gauge <= rule["gauge_to"]


def _is_for_ends(end: str, ends_worked: bool, ends: Sequence[str]) -> bool:
    return end == ANY or (end == WORKED and ends_worked) or end in ends


def _is_for_shape(rule: Mapping[str, Any], forms: Sequence[str], pieces: int) -> bool:
    form = rule.get("form") or ANY
    count = rule.get("pieces") or ANY
    return (form == ANY or form in forms) and count in (ANY, ONE if pieces == 1 else MORE)


def times_row(times: Sequence[Mapping[str, Any]], *, operation: str, method: str) -> Mapping[str, Any] | None:
    """The row of standard times in force for a method: its own before that of any method; None where there is none."""
    rows = [row for row in times if row["operation"] == operation and row["method"] in (method, ANY)]
    return min(rows, key=lambda row: row["method"] == ANY, default=None)


def standard_minutes(
    times: Sequence[Mapping[str, Any]], *, operation: str, method: str, measures: Mapping[str, float]
) -> float:
    """Standard time of an operation [min]: so many each, and so many a foot of its measure [in].

    An operation without a row takes no time.
    """
    row = times_row(times, operation=operation, method=method)
    if row is None:
        return 0.0
    feet = measures.get(row["measure"], 0.0) / INCHES_PER_FOOT
    return round(row["minutes_each"] + row["minutes_per_foot"] * feet, 3)
