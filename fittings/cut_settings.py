"""The shop's settings for cutting, from its table `shop`; a shop that has no such row goes by the usual value."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields

from fittings.cutting import EFFORTS, NORMAL, TURNS
from fittings.tables import rows
from shared.problems import NotFound

ORDERED, FREE = "ordered", "free"
SEAMS = (ORDERED, FREE)


@dataclass(frozen=True)
class CutSettings:
    """Lengths in inches. `seams` free: the plan may put a gore's seam at throat or heel where it packs better."""

    table_length_in: float = 240.0
    part_gap_in: float = 0.125
    sheet_margin_in: float = 0.25
    turns: str = "any"
    seams: str = ORDERED
    remnant_least_in: float = 12.0
    cut_effort: str = NORMAL


CHOICES = {"turns": TURNS, "seams": SEAMS, "cut_effort": EFFORTS}
HIGHEST = {"table_length_in": 2400.0, "part_gap_in": 2.0, "sheet_margin_in": 12.0, "remnant_least_in": 240.0}


def cut_settings() -> CutSettings:
    """What is in force now. A value that makes no sense is passed over for the usual one."""
    try:
        typed = {row["key"]: str(row["value"]).strip() for row in rows("shop")}
    except NotFound:
        typed = {}
    found = {
        field.name: value
        for field in fields(CutSettings)
        if field.name in typed and (value := _read(field.name, typed)) is not None
    }
    return CutSettings(**found)


def _read(name: str, typed: Mapping[str, str]) -> float | str | None:
    if name in CHOICES:
        return typed[name] if typed[name] in CHOICES[name] else None
    try:
        value = float(typed[name])
    except ValueError:
        return None
    return value if math.isfinite(value) and 0 <= value <= HIGHEST[name] else None
