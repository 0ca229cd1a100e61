"""A stock item as it comes in, a JSON object or what a form made of one, checked: all wrong fields at once.

Nothing here writes. Lengths may be numbers or what people type ("47 1/2", "1200 mm").
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from fittings.cut_settings import cut_settings
from fittings.developing import UNITS, sheet_for
from fittings.models import StockItem
from fittings.reading import Reading
from fittings.tables import all_rows
from shared.problems import WrongInput
from shared.texts import printable, said_value
from shared.units import MM_PER_IN, LengthNotUnderstood, plain_number, read_length

LEAST_SIDE_IN = 1.0
MOST_WIDTH_IN = 240.0
MOST_COUNT = 999_999
MOST_COST = Decimal("999999.99")
NAME_LENGTH, NOTE_LENGTH = 40, 200
FIELDS = ("name", "form", "material", "gauge", "width", "length", "count", "cost_each", "note", "unit")
FIXED = ("form", "material", "gauge")
# what an answer carries besides, so that an answer can be sent back as it came
ANSWERED_FIELDS = ("id", "code", "made_from", "plan", "changed_at", "changed_by", "version", "is_active")

_MONEY = re.compile(r"\d{1,6}(\.\d{1,2})?|\.\d{1,2}")
_WHOLE = re.compile(r"\d{1,9}")


def read_new(data: Any) -> dict[str, Any]:
    """A new item: the values of its row. `name` is blank where it is to be made from the size.

    raises  WrongInput with an entry per wrong field
    """
    reading = _begun(data, (*FIELDS, *ANSWERED_FIELDS))
    unit = reading.choice("unit", UNITS, usual="in")
    form = _form(reading)
    values = {"form": form, **_metal(reading)}
    values["name"] = reading.text("name", NAME_LENGTH)
    values |= _sides(reading, unit, ("width", "length"), form)
    is_said = data.get("count") not in (None, "")
    values["count"] = _count(reading, form) if is_said or form != StockItem.Form.REMNANT else 1
    values["cost_each"] = _cost(reading)
    values["note"] = reading.text("note", NOTE_LENGTH)
    return _checked(reading, values)


def read_change(data: Any, item: StockItem) -> dict[str, Any]:
    """What a change would make of an item: the values of its row that differ.

    raises  WrongInput with an entry per wrong field, also where it would become another metal or form
    """
    reading = _begun(data, (*FIELDS, *ANSWERED_FIELDS))
    unit = reading.choice("unit", UNITS, usual="in")
    _check_fixed(reading, item)
    values: dict[str, Any] = {}
    if "name" in data:
        values["name"] = reading.text("name", NAME_LENGTH)
    values |= _sides(reading, unit, [name for name in ("width", "length") if name in data], item.form, item)
    if "count" in data:
        values["count"] = _count(reading, item.form)
    if "cost_each" in data:
        values["cost_each"] = _cost(reading)
    if "note" in data:
        values["note"] = reading.text("note", NOTE_LENGTH)
    if "is_active" in data:
        values["is_active"] = _is_active(reading)
    return {name: value for name, value in _checked(reading, values).items() if value != getattr(item, name)}


def read_metal(data: Any) -> dict[str, Any]:
    """Material and gauge, as the shop's gauges table has them.

    raises  WrongInput naming `material` or `gauge`
    """
    reading = _begun(data, ("material", "gauge"))
    return _checked(reading, _metal(reading))


def read_version(data: Any) -> int:
    """The version that a change began with.

    raises  WrongInput
    """
    reading = Reading(data if isinstance(data, Mapping) else {})
    version = reading.whole("version", 1, 10**9)
    return _checked(reading, {"version": version})["version"]


def size_name(form: str, width_in: float, length_in: float) -> str:
    """What a size is called where nobody gives it a name.

    >>> size_name("sheet", 48, 120), size_name("coil", 47.5, 240)
    ('48x120', '47.5 coil')
    """
    if form == StockItem.Form.COIL:
        return f"{plain_number(width_in)} coil"
    return f"{plain_number(width_in)}x{plain_number(length_in)}"


# -- fields ------------------------------------------------------------------


def _begun(data: Any, names: tuple[str, ...]) -> Reading:
    if not isinstance(data, Mapping):
        reading = Reading({})
        reading.wrong("body", None, "a JSON object", "The body is not a JSON object.")
        raise WrongInput(reading.errors)
    reading = Reading(data)
    reading.only(names)
    return reading


def _checked(reading: Reading, values: dict[str, Any]) -> dict[str, Any]:
    if reading.errors:
        raise WrongInput(reading.errors)
    return values


def _form(reading: Reading) -> str:
    value = reading.data.get("form")
    if value not in StockItem.Form.values:
        reading.wrong("form", printable(value), ", ".join(StockItem.Form.values))
        return StockItem.Form.SHEET
    return str(value)


def _metal(reading: Reading) -> dict[str, Any]:
    """Material and gauge as the shop's gauges table has them."""
    gauge = reading.data.get("gauge")
    if isinstance(gauge, str) and _WHOLE.fullmatch(gauge.strip()):
        gauge = int(gauge)
    try:
        sheet = sheet_for(reading.data.get("material"), gauge, all_rows())
    except WrongInput as wrong:
        reading.errors += wrong.errors
        return {}
    return {"material": sheet.material, "gauge": sheet.gauge}


def _check_fixed(reading: Reading, item: StockItem) -> None:
    """Form and metal stay: what was cut from the item is counted under them."""
    for name in FIXED:
        given = reading.data.get(name, getattr(item, name))
        if str(given) != str(getattr(item, name)):
            stays = getattr(item, name)
            message = f"{name.capitalize()} is {said_value(given)}; it stays {stays}. Retire this item and add another."
            reading.wrong(name, printable(given), str(stays), message)


def _sides(
    reading: Reading, unit: str, names: tuple[str, ...] | list[str], form: str, item: StockItem | None = None
) -> dict[str, float]:
    table = cut_settings().table_length_in
    found = {}
    for name in names:
        title, most, why = "Width", MOST_WIDTH_IN, ""
        if name == "length":
            title = "Longest cut" if form == StockItem.Form.COIL else "Length"
            most, why = table, " The cutting table takes no longer piece."
        value = _length(reading, name, title, unit)
        if value is None:
            continue
        stays = item is not None and abs(value - getattr(item, f"{name}_in")) < 1e-6
        if not stays and not LEAST_SIDE_IN <= value <= most:
            limit = f"{_shown(LEAST_SIDE_IN, unit)} to {_shown(most, unit)} {unit}"
            message = (
                f"{title} is {_shown(value, unit)} {unit}; it can be {limit}.{why if value > most else ''}"
            )
            reading.wrong(name, printable(reading.data.get(name)), limit, message)
        found[f"{name}_in"] = getattr(item, f"{name}_in") if stays else value
    return found


def _length(reading: Reading, name: str, title: str, unit: str) -> float | None:
    value = reading.data.get(name)
    limit = "a length, 47 1/2 or 1200 mm"
    if isinstance(value, str) and not value.strip():
        value = None
    if not isinstance(value, str | int | float) or isinstance(value, bool):
        reading.wrong(name, printable(value), limit, f"{title} is {said_value(value)}; it can be {limit}.")
        return None
    try:
        return round(read_length(value, unit=unit), 6)
    except (LengthNotUnderstood, OverflowError) as wrong:
        sentence = getattr(wrong, "sentence", f"{title} is too large.")
        reading.wrong(name, printable(value), limit, f"{title}: {printable(sentence)}")
        return None


def _shown(value_in: float, unit: str) -> str:
    return plain_number(value_in * (MM_PER_IN if unit == "mm" else 1), 3)


def _count(reading: Reading, form: str) -> int | None:
    value = reading.data.get("count")
    if value is None or (isinstance(value, str) and not value.strip()):
        if form == StockItem.Form.REMNANT:
            reading.wrong("count", None, "0 or 1")
        return None
    if form == StockItem.Form.COIL:
        limit = "empty"
        message = "A coil is not counted. Leave its count empty, and retire it when it is used up."
        reading.wrong("count", printable(value), limit, message)
        return None
    if isinstance(value, str) and _WHOLE.fullmatch(value.strip()):
        value = int(value)
    most = 1 if form == StockItem.Form.REMNANT else MOST_COUNT
    is_whole = isinstance(value, int | float) and not isinstance(value, bool) and value == value // 1
    if not is_whole or not 0 <= value <= most:
        limit = "0 or 1" if most == 1 else f"a whole number from 0 to {most}, or empty for not counted"
        reading.wrong("count", printable(value), limit)
        return None
    return int(value)


def _cost(reading: Reading) -> Decimal | None:
    value = reading.data.get("cost_each")
    if value is None or (isinstance(value, str) and not value.strip()):
        return None
    is_number = isinstance(value, int | float | Decimal) and not isinstance(value, bool)
    text = value.strip() if isinstance(value, str) else str(value) if is_number else ""
    if text.endswith(".0"):  # a JSON number of the kind 40.0
        text = text[:-2]
    if not _MONEY.fullmatch(text):
        limit = f"0 to {MOST_COST}, at most two digits after the point, or empty for not known"
        reading.wrong(
            "cost_each", printable(value), limit, f"Cost is {said_value(value)}; it can be {limit}."
        )
        return None
    return Decimal(text).quantize(Decimal("0.01"))


def _is_active(reading: Reading) -> bool:
    value = reading.data["is_active"]
    if not isinstance(value, bool):
        reading.wrong("is_active", printable(value), "true or false")
    return value is True
