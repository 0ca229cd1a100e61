"""Before the app opens: whether its database can be used, and a backup of it before another version changes it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import psycopg
from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, OperationalError, connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.recorder import MigrationRecorder

from shared.problems import Problem
from shopfloor.backups.services import backup_before_upgrade, migrations_unknown
from shopfloor.backups.tools import reach

OLDEST_POSTGRESQL = 14
SECONDS_TO_CONNECT = 5


class CannotOpen(Problem):
    kind, title = "cannot-open", "The app cannot be opened"


def database_check() -> None:
    """Refuse a database that cannot be reached, or that is not for this version of the app.

    raises  CannotOpen with what can be done about it
    """
    if connection.vendor == "postgresql":
        _reach_postgresql()
    with _told(DatabaseError):
        applied = MigrationRecorder(connection).applied_migrations()
    if unknown := migrations_unknown(f"{app}.{name}" for app, name in applied):
        raise CannotOpen(
            f"The database was used by a newer version of the app: {unknown[0]} is unknown here. Nothing was changed. "
            "Start that version, or restore a backup that was made before it."
        )


def database_upgrade(*, is_kept: bool, now: datetime) -> Path | None:
    """Bring the database to this version. The backup of before is given back, where there was something to keep.

    raises  CannotOpen where the database refuses; NoBackup where it could not be backed up, and nothing was changed
    """
    with _told(OperationalError):
        executor = MigrationExecutor(connection)
        if not executor.migration_plan(executor.loader.graph.leaf_nodes()):
            return None
        before = backup_before_upgrade(now=now) if is_kept else None
        call_command("migrate", interactive=False, verbosity=0)
    return before


def _reach_postgresql() -> None:
    """The pool tells only that it waited; a connection of its own tells why."""
    try:
        with psycopg.connect(**reach(connection.settings_dict), connect_timeout=SECONDS_TO_CONNECT) as found:
            version = found.info.server_version // 10000
    except psycopg.Error as error:
        raise CannotOpen(f"DATABASE_URL: the database cannot be reached: {_sentence(error)}") from error
    if version < OLDEST_POSTGRESQL:
        raise CannotOpen(
            f"DATABASE_URL names PostgreSQL {version}; it must be {OLDEST_POSTGRESQL} or newer. Nothing was changed."
        )


@contextmanager
def _told(refusals: type[DatabaseError]) -> Iterator[None]:
    """What the database refuses, in a sentence that names it."""
    try:
        yield
    except refusals as error:
        where = settings.DATA_DIR if settings.IS_SQLITE else "PostgreSQL"
        raise CannotOpen(f"The database in {where} cannot be used: {_sentence(error)}") from error


def _sentence(error: Exception) -> str:
    """What the database says first; what follows are guesses of its own."""
    return (str(error).strip().splitlines() or ["it does not say why"])[0].rstrip(".") + "."
