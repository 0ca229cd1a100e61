"""Plain SQL for the few reads and writes that every scan or tablet makes: building queries anew costs more.

The statements are the same on both databases; times go in and out as aware datetimes. Everything else uses the ORM.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from datetime import UTC, date, datetime
from typing import Any

from django.db import connection


def select(sql: str, params: Sequence[Any] = ()) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(sql, params)
        return cursor.fetchall()


def select_together(queries: Iterable[tuple[str, Sequence[Any]]]) -> list[list[tuple]]:
    """Several reads, asked before the first is awaited: inside `pipelined` one round trip."""
    with ExitStack() as stack:
        cursors = []
        for sql, params in queries:
            cursor = stack.enter_context(connection.cursor())
            cursor.execute(sql, params)
            cursors.append(cursor)
        return [cursor.fetchall() for cursor in cursors]


def is_outermost() -> bool:
    """This transaction is nobody else's: it may be committed here."""
    return len(connection.atomic_blocks) == 1


@contextmanager
def one_moment() -> Iterator[None]:
    """Reads that all see one moment, while others go on writing: what only reads asks for no turn to write.

    Nothing in it may begin a transaction. Inside a transaction it is that one's moment.
    """
    if connection.in_atomic_block:
        yield
        return
    is_postgresql = connection.vendor == "postgresql"
    execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY" if is_postgresql else "BEGIN", ())
    try:
        yield
    finally:
        execute("ROLLBACK", ())


@contextmanager
def pipelined() -> Iterator[None]:
    """On PostgreSQL statements are sent without waiting for each answer; one is awaited where its rows are fetched.

    Only for the outermost transaction, and only around the functions of this module: the ORM counts on the number of
    rows that a statement changed, which is not known yet. Errors come as Django's own.
    """
    if connection.vendor != "postgresql" or not is_outermost():
        yield
        return
    with connection.wrap_database_errors, connection.connection.pipeline():
        yield


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


def day(value: Any) -> date | None:
    """A date as the database gives it (text on SQLite)."""
    return date.fromisoformat(value) if isinstance(value, str) else value


def stored(value: datetime | None) -> Any:
    """A time as the database takes it."""
    return None if value is None else connection.ops.adapt_datetimefield_value(value)
