"""What the shop says of itself: the values of its table The shop that have a form of their own, checked and changed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from fittings import tables
from fittings.cut_settings import CHOICES, HIGHEST
from fittings.money import LONGEST_SIGN
from fittings.services import table_change
from shared.problems import FieldError, WrongInput
from shared.roles import Actor
from shared.texts import is_unprintable
from shared.words import LANGUAGES

SHOP = "shop"
UNITS = ("in", "mm")
LONGEST_SHOP_NAME = 60
LONGEST_ADDRESS = 200
MOST_ADDRESS_LINES = 4
CLOSED = {"unit": UNITS, "language": tuple(code for code, _ in LANGUAGES), **CHOICES}
"""Settings that are one of a few words."""
RANGES = {**{name: (0.0, highest) for name, highest in HIGHEST.items()}, "quote_days": (1.0, 366.0)}
LONGEST = {"name": LONGEST_SHOP_NAME, "address": LONGEST_ADDRESS, "currency": LONGEST_SIGN}
FIELDS = ("name", "address", "phone", "unit", "currency", "language")
"""What the page of the shop's name sets; the rest is set in the table."""


def wrong_value(row: Mapping[str, Any]) -> tuple[str, str] | None:
    """(column, what it can be) where a row of the table The shop has a value that its setting cannot have."""
    key, value = str(row.get("key")), str(row.get("value") or "").strip()
    if key in CLOSED and value not in CLOSED[key]:
        return "value", ", ".join(CLOSED[key])
    if key in RANGES and not _is_within(value, *RANGES[key]):
        low, high = RANGES[key]
        return "value", f"a number from {low:g} to {high:g}"
    if key in LONGEST and not len(value) <= LONGEST[key]:
        return "value", f"at most {LONGEST[key]} characters"
    if key in ("name", "currency") and not value:
        return "value", f"1 to {LONGEST[key]} characters"
    return None


def _is_within(text: str, low: float, high: float) -> bool:
    try:
        number = float(text)
    except ValueError:
        return False
    return math.isfinite(number) and low <= number <= high


def shop_facts() -> tuple[dict[str, str], int]:
    """What the page shows, and the version of the table that it comes from."""
    values = {row["key"]: str(row["value"] or "").strip() for row in tables.rows(SHOP)}
    found = {name: values.get(name, "") for name in FIELDS}
    lines = [line.strip() for line in found["address"].split(";") if line.strip()]
    return found | {"address": "\n".join(lines)}, tables.versions_in_force()[SHOP]


def shop_facts_change(*, data: Mapping[str, str], seen: int, actor: Actor, now: datetime) -> bool:
    """A new version of the table with these values in it; False where nothing is different.

    raises  WrongInput by the names of the fields; Conflict where the table has another version now
    """
    lines = [" ".join(line.split()) for line in data["address"].splitlines() if line.strip()]
    values = {name: " ".join(data[name].split()) for name in FIELDS if name != "address"}
    values["address"] = "; ".join(lines)
    errors = _wrong(values, lines)
    if errors:
        raise WrongInput(errors)
    rows = [dict(row) for row in tables.rows(SHOP)]
    there = {row["key"]: row for row in rows}
    before = {name: str(there[name]["value"] or "") if name in there else "" for name in FIELDS}
    for name, value in values.items():
        if name in there:
            there[name]["value"] = value
        elif value:
            rows.append({"key": name, "value": value, "note": ""})
    if values == before:
        # said by the shop now, whoever said it before: what came with the app is its own from here on
        newest = tables.newest_made_by(SHOP)
        if newest != tables.SET_UP:
            return False
    changed = ", ".join(name for name in FIELDS if values[name] != before[name]) or "nothing different"
    note = f"Set on the page of the shop: {changed}"
    table_change(name=SHOP, data={"rows": rows, "version": seen, "note": note}, actor=actor, now=now)
    return True


def _wrong(values: Mapping[str, str], lines: list[str]) -> list[FieldError]:
    errors = []
    for name, value in values.items():
        if any(is_unprintable(character) for character in value):
            message = f"The {name} holds characters that cannot be printed."
            errors.append(FieldError(name, value, "text without control characters", message))
        elif found := wrong_value({"key": name, "value": value}):
            message = f"The {name} is “{value[:60]}”; it can be {found[1]}."
            errors.append(FieldError(name, value, found[1], message))
    if len(lines) > MOST_ADDRESS_LINES or ";" in "".join(lines):
        limit = f"at most {MOST_ADDRESS_LINES} lines, without semicolons"
        message = f"The address has {len(lines)} lines; it can have {limit}."
        errors.append(FieldError("address", values["address"], limit, message))
    if len(values["phone"]) > 60:
        limit = "at most 60 characters"
        errors.append(FieldError("phone", values["phone"], limit, f"The telephone can have {limit}."))
    return errors
