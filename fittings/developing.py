"""From an order's words to a developed fitting: the shop's tables meet the pure geometry here.

Material, gauge and end finishes are names in the shop's tables; the geometry takes thickness, weight and
allowances as numbers. What is refused is refused as WrongInput, all wrong fields at once, under the names of
the request: `material`, `params.diameter`, `allowances.lap`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from fittings.ends import LETTERS, FinishedDevelopment, ends_of, finished
from fittings.geometry import (
    KINDS,
    Allowances,
    Development,
    GeometryError,
    GoreRow,
    Practice,
    Sheet,
    UsualRange,
    allowances_from,
    cleaned,
    develop,
    development_as_dict,
)
from fittings.geometry.fit import ends_as_list
from fittings.tables import all_rows
from shared.problems import FieldError, WrongInput
from shared.units import MM_PER_IN, LengthNotUnderstood, read_length

Row = Mapping[str, Any]
Tables = Mapping[str, Sequence[Row]]

UNITS = ("in", "mm")
RAW = "raw"
EDGE_OF = {"end_a": "edge_a", "end_b": "edge_b", "end_c": "edge_b"}
PRESSURE = (0.1, 50.0)  # in. w.g., and the same below the room's pressure
WORDS = (
    "kind",
    "material",
    "gauge",
    "params",
    "end_a",
    "end_b",
    "end_c",
    "joins_a",
    "joins_b",
    "joins_c",
    "pressure_class",
    "allowances",
)
"""The fields of an order line that say what its fitting is."""


def words_of(line: Any) -> dict[str, Any]:
    """What a stored line says of its fitting, as `develop_for` takes it."""
    return {name: getattr(line, name) for name in WORDS}


# -- from the tables ---------------------------------------------------------


def materials(tables: Tables) -> dict[str, list[int]]:
    """Every material that the shop has, with its gauges from heavy to light."""
    found: dict[str, list[int]] = {}
    for row in tables["gauges"]:
        found.setdefault(row["material"], []).append(row["gauge"])
    return {material: sorted(gauges) for material, gauges in found.items()}


def sheet_for(material: str, gauge: int, tables: Tables) -> Sheet:
    """The metal by its material and gauge, with the longest and the widest stock that the shop cuts from.

    raises  WrongInput naming `material` or `gauge`
    """
    known = materials(tables)
    if not isinstance(material, str) or material not in known:
        raise WrongInput([_one_of("material", "Material", material, known)])
    whole = _whole(gauge)
    for row in tables["gauges"]:
        if row["material"] == material and row["gauge"] == whole:
            longest = max((stock["length_in"] for stock in tables["stock"]), default=None)
            widest = max((stock["width_in"] for stock in tables["stock"]), default=None)
            return Sheet(material, whole, row["thickness_in"], row["weight_lb_ft2"], longest, widest)
    gauges = _gauges_text(known[material])
    message = f"Gauge is {_said(gauge)}; {material} can be {gauges}."
    raise WrongInput([FieldError("gauge", gauge, gauges, message)])


def allowances_for(
    material: str,
    gauge: int,
    end_a: str,
    end_b: str,
    tables: Tables,
    given: Mapping[str, Any] | None = None,
    unit: str = "in",
    end_c: str = "",
) -> Allowances:
    """The shop's allowances for a metal and its end finishes; what the request gives stands in their place.

    given   any of lap, edge_a, edge_b, end_a, end_b, end_c, in `unit`. Where it names `edge_a` and that end is
            left raw, the free end takes `edge_a` too (B likewise, and C by `edge_b`), unless `end_a` is given
            as well.
    end_c   "" is finished as end B
    raises  WrongInput naming `end_a`, `end_b`, `end_c`, `allowances.<name>`, or `gauge` where the table has no
            row
    """
    joints = {"lap": "seam lap", "edge_a": "gore edge a", "edge_b": "gore edge b"}
    finishes = {row["name"]: row["joint"] for row in tables["ends"]}
    ends = {"end_a": end_a, "end_b": end_b} | ({"end_c": end_c} if end_c else {})
    errors = []
    for field, finish in ends.items():
        if isinstance(finish, str) and finish in finishes:
            joints[field] = finishes[finish]
        else:
            errors.append(_one_of(field, end_title(field), finish, finishes))
    try:
        asked = allowances_from({} if given is None else given, unit)
    except GeometryError as error:
        errors += field_errors(error)
    if errors:
        raise WrongInput(errors)
    named = {name for name, value in (given or {}).items() if value is not None}
    amounts: dict[str, float | None] = {}
    for name, joint in joints.items():
        edge = EDGE_OF.get(name)
        if name in named:
            amounts[name] = getattr(asked, name)
        elif edge in named and ends[name] == RAW:
            amounts[name] = getattr(asked, edge)
        else:
            amounts[name] = _amount(joint, material, gauge, tables)
    if "end_c" in named:
        amounts["end_c"] = asked.end_c
    return Allowances(**amounts)


def _amount(joint: str, material: str, gauge: int, tables: Tables) -> float:
    """The allowance of a joint: a row that names the material goes before one for any."""
    for wanted in (material, "*"):
        for row in tables["allowances"]:
            covers = row["gauge_from"] <= gauge <= row["gauge_to"]
            if row["joint"] == joint and row["material"] == wanted and covers:
                return row["amount_in"]
    message = (
        f"The allowances table has no row for {joint}, {material}, {gauge} gauge. Add one, or give it here."
    )
    raise WrongInput([FieldError("gauge", gauge, "a gauge of the allowances table", message)])


def practice_from(tables: Tables) -> Practice:
    """The gore table and the usual ranges, as the geometry reads them."""
    return Practice(
        gore_rows=tuple(
            GoreRow(
                row["angle_deg"],
                row["diameter_over_in"],
                row["diameter_to_in"],
                row["gore_class"],
                row["pieces"],
                row["source"],
            )
            for row in tables["gores"]
        ),
        usual=tuple(
            UsualRange(
                row["kind"],
                row["quantity"],
                row["low"],
                row["high"],
                f"{row['reason']} (Usual ranges: {row['source']}.)",
                row["source"],
            )
            for row in tables["usual"]
        ),
    )


# -- developing --------------------------------------------------------------


def develop_for(
    *,
    kind: str,
    material: str,
    gauge: int,
    params: Mapping[str, Any],
    end_a: str = RAW,
    end_b: str = RAW,
    end_c: str = "",
    joins_a: str = "",
    joins_b: str = "",
    joins_c: str = "",
    pressure_class: float | None = None,
    allowances: Mapping[str, Any] | None = None,
    unit: str = "in",
    tables: Tables | None = None,
) -> FinishedDevelopment:
    """One fitting, developed by the shop's tables. Nothing is stored.

    params, allowances  lengths in `unit`, angles in degrees, numbers only
    end_c               "" is finished as end B
    joins_*             the finish of the neighbour's end that each end meets, "" where not told
    pressure_class      [in. w.g.], negative below the room's pressure
    tables              fittings.tables.all_rows() of the versions wanted; the newest where left out
    raises              WrongInput naming every wrong field at once
    """
    tables = all_rows() if tables is None else tables
    errors = []
    if unit not in UNITS:
        raise WrongInput([_one_of("unit", "Unit", unit, UNITS)])
    sheet = edges = None
    try:
        sheet = sheet_for(material, gauge, tables)
        edges = allowances_for(material, sheet.gauge, end_a, end_b, tables, allowances, unit, end_c)
    except WrongInput as wrong:
        errors += wrong.errors
    if sheet is None:
        errors += _wrong_ends(end_a, end_b, end_c, allowances, tables, unit)
    joins = {"a": joins_a, "b": joins_b, "c": joins_c}
    errors += _wrong_joins(kind, end_c, joins, tables) + _wrong_pressure(pressure_class)
    params = _with_house_class(kind, params, tables)
    try:
        if sheet is None or edges is None:
            _check_params(kind, params, unit)
        else:
            dev = develop(
                kind, params, sheet=sheet, allowances=edges, practice=practice_from(tables), unit=unit
            )
    except GeometryError as error:
        errors += field_errors(error)
    if errors:
        raise WrongInput(errors)
    return finished(
        dev,
        finishes={"a": end_a, "b": end_b, "c": end_c or end_b},
        joins=joins,
        allowances=edges,
        pressure_class=pressure_class,
        tables=tables,
    )


def development_answer(dev: FinishedDevelopment, unit: str) -> dict[str, Any]:
    """The development as the HTTP contract shows it, lengths in `unit`, with its ends as they are finished."""
    ends = ends_as_list(dev.ends, MM_PER_IN if unit == "mm" else 1.0)
    return {**development_as_dict(dev, unit), "ends": ends}


def warnings_answer(dev: Development) -> list[dict[str, str]]:
    """What is unusual about the fitting, as the HTTP contract shows it."""
    return [{"code": warned.code, "message": warned.message} for warned in dev.warnings]


def field_errors(error: GeometryError) -> list[FieldError]:
    """What the geometry refuses, under the names of the request: a parameter stands below `params`."""
    own = ("kind", "unit", "params", "allowances")
    errors = []
    for wrong in error.problems:
        is_own = wrong.field in own or wrong.field.startswith("allowances.")
        field = wrong.field if is_own else f"params.{wrong.field}"
        errors.append(FieldError(field, wrong.value, wrong.limit, wrong.sentence))
    return errors


def _check_params(kind: Any, params: Any, unit: str) -> None:
    if not isinstance(kind, str) or kind not in KINDS:
        develop(kind, params, sheet=None, allowances=None, practice=None)  # raises, naming the kinds
    cleaned(KINDS[kind], params, unit)


def _wrong_ends(end_a, end_b, end_c, allowances, tables, unit) -> list[FieldError]:
    """The wrong ends and allowances of a line whose metal is unknown: looked up for another metal."""
    row = next(iter(tables["gauges"]), None)
    if row is None:
        return []
    try:
        allowances_for(row["material"], row["gauge"], end_a, end_b, tables, allowances, unit, end_c)
    except WrongInput as wrong:
        return list(wrong.errors)
    return []


def _wrong_joins(kind: Any, end_c: Any, joins: Mapping[str, Any], tables: Tables) -> list[FieldError]:
    """Neighbours of an unknown finish, and what is said of an end that the kind does not have."""
    finishes = [row["name"] for row in tables["ends"]]
    is_known = isinstance(kind, str) and kind in KINDS
    has = {letter for letter, _ in ends_of(kind)} if is_known else set(LETTERS)
    meets = {letter for letter, _ in KINDS[kind].meeting_ends} if is_known else has
    given = {"end_c": end_c} | {f"joins_{letter}": value for letter, value in joins.items()}
    errors = []
    for field, value in given.items():
        if not value and (value is None or isinstance(value, str)):
            continue
        if field[-1] not in has:
            title = KINDS[kind].title.lower()
            message = (
                f"{end_title(field)} is {_said(value)}; the kind {title} has no end {field[-1].upper()}."
            )
            errors.append(FieldError(field, value, "left out", message))
        elif field != "end_c" and field[-1] not in meets:
            edge = dict(ends_of(kind))[field[-1]].lower()
            message = f"{end_title(field)} is {_said(value)}; no duct meets the {edge}, which lies on another piece."
            errors.append(FieldError(field, value, "left out", message))
        elif field != "end_c" and (not isinstance(value, str) or value not in finishes):
            errors.append(_one_of(field, end_title(field), value, finishes))
    return errors


def _wrong_pressure(value: Any) -> list[FieldError]:
    if value is None:
        return []
    least, most = PRESSURE
    is_number = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if is_number and least <= abs(value) <= most:
        return []
    limit = f"{least:g} to {most:g} in. w.g., or -{most:g} to -{least:g} below the room’s pressure"
    message = f"Pressure class is {_said(value)}; it can be {limit}."
    return [FieldError("pressure_class", value, limit, message)]


def end_title(field: str) -> str:
    """`end_c` and `joins_c` as people read them: “End C”, “What end C joins”."""
    head, _, letter = field.partition("_")
    return f"End {letter.upper()}" if head == "end" else f"What end {letter.upper()} joins"


def _with_house_class(kind: Any, params: Any, tables: Tables) -> Any:
    """The gore class that the shop has chosen, where an elbow names none."""
    chosen = next((row["value"] for row in tables.get("shop", ()) if row["key"] == "gore_class"), None)
    takes_it = isinstance(kind, str) and kind in KINDS
    takes_it = takes_it and any(param.name == "gore_class" for param in KINDS[kind].params)
    if not chosen or not takes_it or not isinstance(params, Mapping) or params.get("gore_class") is not None:
        return params
    return {**params, "gore_class": chosen}


# -- lengths of a request ----------------------------------------------------


def lengths_in_inches(
    kind: str, params: Mapping[str, Any], allowances: Mapping[str, Any] | None, unit: str
) -> tuple[dict[str, Any], dict[str, Any] | None]:
    """Checked params and allowances with their lengths in inches and what was left out (None) gone."""
    lengths = {param.name for param in KINDS[kind].params if param.unit == "in"}
    own = {
        name: _inches(value, unit) if name in lengths else value
        for name, value in params.items()
        if value is not None
    }
    edges = {name: _inches(value, unit) for name, value in (allowances or {}).items() if value is not None}
    return own, edges or None


def params_typed(kind: str, texts: Mapping[str, str], unit: str = "in") -> dict[str, Any]:
    """Params from what a person typed in a form or a sheet ("14 1/2", "368.3 mm", "90", "yes"), in inches.

    Only the texts are read here; whether a value is allowed is for the development. Empty texts are left out.
    raises  WrongInput naming `kind` or `params.<name>`
    """
    if kind not in KINDS:
        raise WrongInput([_one_of("kind", "Kind", kind, KINDS)])
    schema = {param.name: param for param in KINDS[kind].params}
    values, errors = {}, []
    for name, text in texts.items():
        text = str(text).strip()
        if not text:
            continue
        param = schema.get(name)
        try:
            values[name] = _typed(param.unit if param else "choice", text, unit)
        except LengthNotUnderstood as wrong:
            errors.append(FieldError(f"params.{name}", text, "a length, 14 1/2 or 368.3 mm", wrong.sentence))
        except ValueError:
            limit = "yes or no" if param.unit == "bool" else "a number"
            message = f"{param.title} is “{text[:40]}”; it can be {limit}."
            errors.append(FieldError(f"params.{name}", text, limit, message))
    if errors:
        raise WrongInput(errors)
    return values


def _typed(sort: str, text: str, unit: str) -> Any:
    if sort == "choice":
        return text
    if sort == "bool":
        known = {"yes": True, "true": True, "on": True, "1": True}
        known |= {"no": False, "false": False, "off": False, "0": False}
        if text.lower() not in known:
            raise ValueError(text)
        return known[text.lower()]
    if sort == "in":
        return round(read_length(text, unit=unit), 6)
    number = float(text.rstrip("°").strip())
    if not math.isfinite(number):
        raise ValueError(text)
    return int(number) if number == int(number) else number


def _inches(value: Any, unit: str) -> Any:
    return round(value / MM_PER_IN, 6) if unit == "mm" else value


def _whole(value: Any) -> int | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return int(value) if value == value and abs(value) < 1e6 and value == int(value) else None


def _gauges_text(gauges: Sequence[int]) -> str:
    if len(gauges) > 2 and gauges[-1] - gauges[0] == len(gauges) - 1:
        return f"{gauges[0]} to {gauges[-1]}"
    return ", ".join(str(gauge) for gauge in gauges)


def _said(value: Any) -> str:
    if value is None:
        return "missing"
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{value:g}" if isinstance(value, float) or abs(value) < 10**12 else "a number too large"
    return f"“{str(value)[:40]}”"


def _one_of(field: str, title: str, value: Any, known: Iterable[str]) -> FieldError:
    limit = ", ".join(known)
    return FieldError(field, value, limit, f"{title} is {_said(value)}; it can be {limit}.")


__all__ = [
    "allowances_for",
    "develop_for",
    "development_answer",
    "end_title",
    "field_errors",
    "lengths_in_inches",
    "materials",
    "params_typed",
    "practice_from",
    "sheet_for",
    "warnings_answer",
    "words_of",
]
