"""The shop's tables: their columns, their versions, and the one way to change them.

A table is a list of rows in the database with a version number; a change makes a new version, and an order keeps
the numbers that it was released with. The first version comes from `fixtures/tables/<name>.csv`, whose rows name
their source.
Higher packages register their own tables here (`register`), so this module does not know what they are for.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Max

from fittings.geometry.fit import GOES
from fittings.models import TableVersion
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor

FOLDER = Path(settings.BASE_DIR) / "fixtures" / "tables"
MOST_ROWS = 2000
SET_UP = "set-up"  # who made the versions that come from the data files
LONGEST_TEXT = 400
PLACES = 4


@dataclass(frozen=True)
class Column:
    """One column: `kind` is text, number, whole or decimal; `low` and `high` are the allowed range; `choices` close a
    text. A decimal (money, per cent) is kept as its digits, never as a float; at most `PLACES` after the point.

    reads  of a text of some form: gives it as it is kept, or raises ValueError with what it can be
    """

    name: str
    label: str
    kind: str = "text"
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    may_be_empty: bool = False
    help: str = ""
    reads: Callable[[str], str] | None = None


SOURCE = Column("source", "Source", help="Who says so: a standard, a page, or “common practice, no source”.")


@dataclass(frozen=True)
class TableSchema:
    name: str
    title: str
    help: str
    columns: tuple[Column, ...]
    once: tuple[str, ...] = ()
    wrong_row: Callable[[Mapping[str, Any]], tuple[str, str] | None] | None = None
    """Of a row whose cells are each right: (column, what it can be) where they do not go together."""


SCHEMAS: dict[str, TableSchema] = {}


def register(schema: TableSchema) -> None:
    SCHEMAS[schema.name] = schema


def schema_of(name: str) -> TableSchema:
    if name not in SCHEMAS:
        raise NotFound(f"There is no shop table “{name[:40]}”. The tables are {', '.join(SCHEMAS)}.")
    return SCHEMAS[name]


# -- reading ----------------------------------------------------------------


def versions_in_force() -> dict[str, int]:
    """The newest version number of every table. One query."""
    return dict(TableVersion.objects.values_list("table").annotate(newest=Max("number")))


@lru_cache(maxsize=256)
def _rows_of(version_id: int) -> tuple[Mapping[str, Any], ...]:
    return tuple(TableVersion.objects.get(pk=version_id).rows)


def rows(name: str, number: int | None = None) -> tuple[Mapping[str, Any], ...]:
    """The rows of a table, of one version or of the newest. Versions never change, so they are kept in memory."""
    found = TableVersion.objects.filter(table=name)
    if number is not None:
        found = found.filter(number=number)
    newest = found.order_by("-number").values_list("pk", flat=True).first()
    if newest is None:
        raise NotFound(f"The shop table “{name}” has no version {number or ''}".rstrip() + ".")
    return _rows_of(newest)


def all_rows(numbers: Mapping[str, int] | None = None) -> dict[str, tuple[Mapping[str, Any], ...]]:
    """All tables at once, of the given versions or of the newest. One query and what is not in memory."""
    wanted = dict(numbers) if numbers else versions_in_force()
    ids = {
        table: pk
        for pk, table, number in TableVersion.objects.filter(table__in=wanted).values_list(
            "pk", "table", "number"
        )
        if wanted[table] == number
    }
    return {table: _rows_of(pk) for table, pk in ids.items()}


def newest_made_by(name: str) -> str:
    """Who made the version in force; empty where there is none."""
    found = TableVersion.objects.filter(table=name).order_by("-number").values_list("made_by", flat=True)
    return found.first() or ""


# -- changing ---------------------------------------------------------------


def save(
    *,
    name: str,
    new_rows: Sequence[Mapping[str, Any]],
    seen: int | None,
    note: str,
    actor: Actor,
    now: datetime,
) -> TableVersion:
    """A new version of a table, whole.

    seen    the version that the editor started from; another one in force raises Conflict
    raises  WrongInput with an entry per wrong cell (`rows[3].gauge`)
    """
    schema = schema_of(name)
    checked = check_rows(schema, new_rows)
    with transaction.atomic():
        newest = TableVersion.objects.filter(table=name).aggregate(n=Max("number"))["n"] or 0
        if seen is not None and seen != newest:
            raise Conflict(
                f"{schema.title} is at version {newest} now; you began with {seen}. Load it again."
            )
        return TableVersion.objects.create(
            table=name, number=newest + 1, rows=checked, note=note[:300], made_by=actor.name, made_at=now
        )


def check_rows(schema: TableSchema, new_rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    if len(new_rows) > MOST_ROWS:
        raise WrongInput(
            [FieldError("rows", len(new_rows), f"1 to {MOST_ROWS}", f"At most {MOST_ROWS} rows.")]
        )
    errors: list[FieldError] = []
    checked: list[dict[str, Any]] = []
    for at, row in enumerate(new_rows):
        clean: dict[str, Any] = {}
        for column in schema.columns:
            try:
                clean[column.name] = _cell(column, row.get(column.name))
            except ValueError as wrong:
                limit = str(wrong)
                field = f"rows[{at}].{column.name}"
                given = row.get(column.name)
                errors.append(
                    FieldError(
                        field,
                        given,
                        limit,
                        f"{column.label} in row {at + 1} is “{given}”; it can be {limit}.",
                    )
                )
        checked.append(clean)
        if schema.wrong_row and len(clean) == len(schema.columns) and (found := schema.wrong_row(clean)):
            name, limit = found
            label = next(column.label for column in schema.columns if column.name == name)
            given = clean[name]
            message = f"{label} in row {at + 1} is “{given}”; it can be {limit}."
            errors.append(FieldError(f"rows[{at}].{name}", given, limit, message))
    if not errors and schema.once:
        seen: dict[tuple, int] = {}
        for at, row in enumerate(checked):
            key = tuple(row[name] for name in schema.once)
            if key in seen:
                text = f"Row {at + 1} repeats row {seen[key] + 1}: {', '.join(str(part) for part in key)}."
                errors.append(FieldError(f"rows[{at}]", str(key), "once", text))
            seen.setdefault(key, at)
    if errors:
        raise WrongInput(errors)
    return checked


def _cell(column: Column, value: Any) -> Any:
    """The cell's clean value; ValueError carries what is allowed."""
    if value is None or (isinstance(value, str) and not value.strip()):
        if column.may_be_empty:
            return None if column.kind != "text" else ""
        raise ValueError(_allowed(column))
    if column.kind == "text":
        text = str(value).strip()
        if len(text) > LONGEST_TEXT or (column.choices and text not in column.choices):
            raise ValueError(_allowed(column))
        return column.reads(text) if column.reads else text
    if column.kind == "decimal":
        return _decimal(column, value)
    try:
        number = int(str(value).strip()) if column.kind == "whole" else float(value)
    except (TypeError, ValueError):
        raise ValueError(_allowed(column)) from None
    too_low = column.low is not None and number < column.low
    too_high = column.high is not None and number > column.high
    if isinstance(value, bool) or not math.isfinite(number) or too_low or too_high:
        raise ValueError(_allowed(column))
    return number


def _decimal(column: Column, value: Any) -> str:
    """The digits of an exact number, without zeros at the end beyond a whole one."""
    try:
        number = Decimal(str(value).strip())
    except InvalidOperation:
        raise ValueError(_allowed(column)) from None
    if isinstance(value, bool) or not number.is_finite() or number.as_tuple().exponent < -PLACES:
        raise ValueError(_allowed(column))
    if not (column.low or 0) <= number <= (1e9 if column.high is None else column.high):
        raise ValueError(_allowed(column))
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _allowed(column: Column) -> str:
    if column.choices:
        return ", ".join(column.choices)
    if column.kind == "text":
        return f"a text of 1 to {LONGEST_TEXT} characters"
    word = "a whole number" if column.kind == "whole" else "a number"
    if column.kind == "decimal":
        most = 1e9 if column.high is None else column.high
        return (
            f"a number from {column.low or 0:g} to {most:.10g} with at most {PLACES} digits after the point"
        )
    if column.low is None and column.high is None:
        return word
    return f"{word} from {column.low:g} to {column.high:g}"


# -- first filling ----------------------------------------------------------


def load_first_versions(*, now: datetime) -> list[str]:
    """The rows of the data files, for every registered table that nobody in the shop has changed.

    A table without a version gets its first; one whose newest version is from an older data file gets a new one. What
    the shop has edited stays as it is. Returns the names of the tables that got a version.
    """
    newest = {row.table: row for row in TableVersion.objects.order_by("number").defer("rows")}
    made = []
    for schema in SCHEMAS.values():
        have = newest.get(schema.name)
        if have is not None and have.made_by != SET_UP:
            continue
        path = FOLDER / f"{schema.name}.csv"
        with path.open(newline="", encoding="utf-8") as file:
            data = check_rows(schema, list(csv.DictReader(file)))
        if have is not None and list(_rows_of(have.pk)) == data:
            continue
        TableVersion.objects.create(
            table=schema.name,
            number=have.number + 1 if have else 1,
            rows=data,
            note=f"From {path.name}",
            made_by=SET_UP,
            made_at=now,
        )
        made.append(schema.name)
    return made


# -- the tables of this package --------------------------------------------

GAUGE = {"kind": "whole", "low": 1, "high": 40}
INCHES = {"kind": "number", "low": 0, "high": 400}

register(
    TableSchema(
        "gauges",
        "Sheet metal gauges",
        "Thickness and weight of a sheet by material and gauge. Weights of fittings are net area times this weight.",
        (
            Column("material", "Material"),
            Column("gauge", "Gauge", **GAUGE),
            Column("thickness_in", "Thickness, in", kind="number", low=0.001, high=1),
            Column("weight_lb_ft2", "Weight, lb/ft²", kind="number", low=0.01, high=50),
            SOURCE,
        ),
        once=("material", "gauge"),
    )
)
register(
    TableSchema(
        "gores",
        "Gores of an elbow",
        "Pieces of an elbow where an order leaves them out: the first listed angle at or above the elbow's.",
        (
            Column("gore_class", "Class"),
            Column("angle_deg", "Angle up to, °", kind="number", low=1, high=180),
            Column("diameter_over_in", "Diameter over, in", **INCHES),
            Column("diameter_to_in", "Diameter to, in", **INCHES),
            Column("pieces", "Pieces", kind="whole", low=2, high=60),
            SOURCE,
        ),
        once=("gore_class", "angle_deg", "diameter_over_in"),
    )
)
register(
    TableSchema(
        "allowances",
        "Allowances",
        "Metal added beyond the net pattern: at the seam, at the joint edges, and for the end finishes. "
        "Gauges run from the heavier (smaller number) to the lighter.",
        (
            Column("joint", "Joint"),
            Column("material", "Material", help="* is any"),
            Column("gauge_from", "Gauge from", **GAUGE),
            Column("gauge_to", "Gauge to", **GAUGE),
            Column("amount_in", "Allowance, in", kind="number", low=0, high=6),
            SOURCE,
        ),
        once=("joint", "material", "gauge_from"),
    )
)
register(
    TableSchema(
        "ends",
        "End finishes",
        "What can be done to the free end of a fitting, which allowance it takes, and how it meets the next piece.",
        (
            Column("name", "Name"),
            Column("title", "On papers"),
            Column("joint", "Allowance"),
            Column("worked", "Worked at ends", choices=("yes", "no")),
            Column("goes", "Goes", choices=GOES, may_be_empty=True, help="How it meets the next piece"),
            Column(
                "deduct_t",
                "Girth less, × thickness",
                kind="number",
                low=0,
                high=100,
                may_be_empty=True,
                help="Than a plain end",
            ),
            Column(
                "clear_in",
                "Diameter less besides, in",
                kind="number",
                low=0,
                high=2,
                may_be_empty=True,
            ),
            Column(
                "length_in",
                "Length or upstand, in",
                kind="number",
                low=0,
                high=24,
                may_be_empty=True,
                help="Blank: its allowance",
            ),
            SOURCE,
        ),
        once=("name",),
    )
)
register(
    TableSchema(
        "pairs",
        "Which ends go together",
        "How two ends that meet are joined, or why they do not go together: a fitting is then warned about. "
        "The order of the two does not matter; the first row that applies is taken.",
        (
            Column("this", "This goes", choices=GOES),
            Column("other", "The other goes", choices=GOES),
            Column("gauge_from", "Gauge from", **GAUGE),
            Column("gauge_to", "Gauge to", **GAUGE),
            Column("fits", "Go together", choices=("yes", "no")),
            Column("how", "How they are joined, or why not"),
            SOURCE,
        ),
        once=("this", "other", "gauge_from"),
    )
)
register(
    TableSchema(
        "pressure_gauges",
        "Gauge for diameter and pressure class",
        "The least gauge (the highest number) that a printed rule lists. Lighter metal is warned about, not refused: "
        "local codes and the project's specification decide. “Over” leaves its own value out, “to” takes it in; a "
        "class below the room's pressure is negative. The setting pressure_rule of the table The shop names the rule.",
        (
            Column("rule", "Rule"),
            Column("material", "Material", help="* is any"),
            Column("diameter_over_in", "Diameter over, in", may_be_empty=True, **INCHES),
            Column("diameter_to_in", "Diameter to, in", may_be_empty=True, **INCHES),
            Column(
                "pressure_over",
                "Class over, in. w.g.",
                kind="number",
                low=-100,
                high=100,
                may_be_empty=True,
                help="Both blank: any",
            ),
            Column("pressure_to", "Class to, in. w.g.", kind="number", low=-100, high=100, may_be_empty=True),
            Column("gauge", "Least gauge", may_be_empty=True, **GAUGE),
            Column("thickness_in", "or thickness, in", kind="number", low=0.001, high=1, may_be_empty=True),
            Column("note", "Note", may_be_empty=True),
            SOURCE,
        ),
        once=("rule", "material", "diameter_over_in", "pressure_over"),
    )
)
register(
    TableSchema(
        "usual",
        "Usual ranges",
        "A fitting outside a range is warned about, with the reason. It is not refused.",
        (
            Column("kind", "Kind"),
            Column("quantity", "Quantity"),
            Column("low", "From", kind="number", low=-1e4, high=1e4, may_be_empty=True),
            Column("high", "To", kind="number", low=-1e4, high=1e4, may_be_empty=True),
            Column("reason", "Reason"),
            SOURCE,
        ),
        once=("kind", "quantity"),
    )
)
register(
    TableSchema(
        "stock",
        "Stock sizes",
        "Sheets and coils that the shop cuts from. A segment longer than the longest is made of plates.",
        (
            Column("name", "Name"),
            Column("form", "Form", choices=("sheet", "coil")),
            Column("width_in", "Width, in", kind="number", low=1, high=240),
            Column("length_in", "Longest, in", kind="number", low=1, high=1200),
            SOURCE,
        ),
        once=("name",),
    )
)
