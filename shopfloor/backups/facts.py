"""What is known of a database at the moment of its backup."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from shared.problems import Conflict, Problem

NOTHING_CHANGED = "Nothing was changed."


class NoBackup(Problem):
    """The backup cannot be made, or the file cannot be put back."""

    kind, title = "no-backup", "No backup"


class InUse(Conflict):
    title = "The app is running"


@dataclass(frozen=True)
class Facts:
    """Rows by table, the migrations applied as `app.name`, the epoch of the record."""

    counts: Mapping[str, int]
    migrations: tuple[str, ...]
    epoch: str

    @property
    def scans(self) -> int:
        return self.counts.get("travelers_scan", 0)


def compare(counted: Mapping[str, int], told: Mapping[str, int]) -> str:
    """Where a backup holds other numbers of rows than were there; empty where it holds the same."""
    for table in sorted(told.keys() | counted.keys()):
        if counted.get(table) != told.get(table):
            return f"{table} has {counted.get(table, 'no')} rows instead of {told.get(table, 'none')}"
    return ""
