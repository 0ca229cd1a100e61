"""The shop's reasons to hold, to scrap, and of a station that is down: what is chosen from, and how it is said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils import translation

from fittings import tables
from shared.problems import NotFound
from travelers.state import HOLD, SCRAP

SPANISH = "es"
DOWN = "down"
"""Beside the acts of scans: why a station does not work."""


@dataclass(frozen=True)
class Reasons:
    """The rows of the table in force."""

    rows: Sequence[Mapping[str, Any]] = ()

    def to_choose(self) -> dict[str, list[dict[str, str]]]:
        """By act: each reason as the record keeps it, and as it is said in the language in use."""
        return {
            act: [{"reason": row["reason"], "words": _said(row)} for row in self.rows if row["act"] == act]
            for act in (HOLD, SCRAP, DOWN)
        }

    def said(self, reason: str) -> str:
        """A recorded reason in the language in use; as it stands where the shop has no words for it."""
        row = next((row for row in self.rows if row["reason"] == reason), None)
        return _said(row) if row else reason


def _said(row: Mapping[str, Any]) -> str:
    is_spanish = (translation.get_language() or "").startswith(SPANISH)
    return row["spanish"] if is_spanish and row["spanish"] else row["reason"]


def reasons_now() -> Reasons:
    """Those of the table in force; none in a shop that has no such table yet. One query."""
    try:
        return Reasons(tables.rows("reasons"))
    except NotFound:
        return Reasons()
