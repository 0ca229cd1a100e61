"""Plain SQL for the few reads and writes that every scan makes: building the same queries anew costs more than they do.

The statements are the same on both databases; times go in and out as aware datetimes. Everything else uses the ORM.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Any

from django.db import connection


def select(sql: str, params: Sequence[Any] = ()) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(sql, params)
        return cursor.fetchall()


def execute(sql: str, params: Sequence[Any]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, params)


def execute_many(sql: str, rows: Iterable[Sequence[Any]]) -> None:
    with connection.cursor() as cursor:
        cursor.executemany(sql, list(rows))


def places(count: int) -> str:
    """Placeholders for a list of `count` values: (%s, %s)."""
    return f"({', '.join(['%s'] * count)})"


def moment(value: Any) -> datetime | None:
    """A time as the database gives it (text on SQLite), aware, in UTC."""
    if value is None:
        return None
    if isinstance(value, str):
        value = datetime.fromisoformat(value)
    return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def stored(value: datetime | None) -> Any:
    """A time as the database takes it."""
    return None if value is None else connection.ops.adapt_datetimefield_value(value)
