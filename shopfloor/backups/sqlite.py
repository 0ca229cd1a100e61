"""Backup and restore of the embedded database, by SQLite's online backup.

In WAL mode a reader holds nobody up: the backup is what one reading transaction sees, whatever is written meanwhile.
Put back, the pages are one write transaction: a crash leaves the old database or the new one.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from django.conf import settings
from django.db import connection

from shopfloor.backups.facts import NOTHING_CHANGED, Facts, InUse, NoBackup

PAGES_A_STEP = 2000
PAUSE_SECONDS = 0.005
PATIENCE_SECONDS = 3.0
POLL_SECONDS = 0.05
NO_ROOM = (sqlite3.SQLITE_IOERR_WRITE, sqlite3.SQLITE_IOERR_SHMSIZE)


class Sqlite:
    vendor = "sqlite"
    payload = "shop.sqlite3"

    def __init__(self):
        self.path = Path(connection.settings_dict["NAME"])

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """The database, while others write to it.

        raises  NoBackup if there is none
        """
        if not self.path.exists():
            raise NoBackup(f"There is no database {self.path} yet, so there is nothing to back up.")
        with closing(_opened(self.path)) as found:
            yield found

    @contextmanager
    def alone(self) -> Iterator[sqlite3.Connection]:
        """The database, shut to everybody else until the end.

        raises  InUse if another process has it open
        """
        found = _opened(self.path)
        try:
            _shut(found)
            yield found
        finally:
            found.close()

    def is_empty(self, held: sqlite3.Connection) -> bool:
        return not held.execute("SELECT 1 FROM sqlite_master WHERE name = 'travelers_pulse'").fetchone()

    def snapshot(self, source: sqlite3.Connection, to: Path) -> Facts:
        """Copy the database as it is at this moment, a piece at a time."""
        with closing(_opened(to)) as target:
            target.execute("PRAGMA synchronous=OFF")
            source.execute("BEGIN")
            try:
                facts = _facts(source)
                source.backup(target, pages=PAGES_A_STEP, sleep=PAUSE_SECONDS)
            finally:
                source.execute("ROLLBACK")
            target.execute("PRAGMA journal_mode=DELETE")
        return facts

    def count(self, path: Path) -> dict[str, int]:
        """Rows by table of a copy.

        raises  NoBackup if SQLite finds anything wrong in it
        """
        try:
            with closing(_opened(path)) as copy:
                wrong = copy.execute("PRAGMA integrity_check(1)").fetchone()[0]
                if wrong == "ok" and copy.execute("PRAGMA foreign_key_check").fetchone():
                    wrong = "a row refers to one that is missing"
                if wrong == "ok":
                    return _counts(copy)
        except sqlite3.DatabaseError as error:
            wrong = str(error)
        raise NoBackup(f"The copy of the database is not sound: {wrong}. {NOTHING_CHANGED}")

    def replace(self, held: sqlite3.Connection, payload: Path, *, epoch: str, work: Path) -> None:
        """Put a copy in the place of the database, in one transaction, as a record of a new epoch."""
        with closing(_opened(payload)) as copy:
            copy.execute("BEGIN IMMEDIATE")
            copy.execute("UPDATE travelers_pulse SET epoch = ?, version = version + 1", [epoch])
            copy.execute("DELETE FROM django_session")
            copy.execute("COMMIT")
            copy.backup(held, pages=PAGES_A_STEP, sleep=0)

    def set_aside(self) -> list[Path]:
        """Rename a database that cannot be opened, with what belongs to it, so that there is none."""
        if self._can_be_opened():
            return []
        moved = []
        ending = f".damaged-{time.strftime('%Y%m%d-%H%M%S', time.gmtime())}Z"
        for suffix in ("-shm", "-wal", ""):
            one = self.path.with_name(self.path.name + suffix)
            if one.exists():
                to = self.path.with_name(self.path.name + ending + suffix)
                os.rename(one, to)
                moved.append(to)
        return moved

    def _can_be_opened(self) -> bool:
        try:
            with closing(_opened(self.path)) as found:
                found.execute("SELECT 1 FROM sqlite_master").fetchone()
        except sqlite3.OperationalError:
            return True  # in use, or the like, which is told when it is wanted for oneself
        except sqlite3.DatabaseError:
            return False
        return True


def is_full(error: sqlite3.Error) -> bool:
    code = getattr(error, "sqlite_errorcode", 0)
    return code in NO_ROOM or code & 0xFF == sqlite3.SQLITE_FULL


def _opened(path: Path) -> sqlite3.Connection:
    made = sqlite3.connect(path, isolation_level=None, timeout=5)
    made.execute("PRAGMA synchronous=FULL")
    return made


def _shut(found: sqlite3.Connection) -> None:
    """In WAL mode an open connection holds the file's shared lock, at work or not, so this is had by nobody else."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    found.execute("PRAGMA busy_timeout=0")
    found.execute("PRAGMA locking_mode=EXCLUSIVE")
    while True:
        try:
            found.execute("PRAGMA journal_mode=WAL")
            found.execute("BEGIN EXCLUSIVE")
            found.execute("COMMIT")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                raise
            if time.monotonic() > deadline:
                raise InUse(
                    f"The app is running on {settings.DATA_DIR}. Stop it and its workers, then restore. "
                    f"{NOTHING_CHANGED}"
                ) from error
            time.sleep(POLL_SECONDS)


def _facts(source: sqlite3.Connection) -> Facts:
    counts = _counts(source)
    if "travelers_pulse" not in counts:
        raise NoBackup("The database is empty, so there is nothing to back up.")
    migrations = source.execute("SELECT app || '.' || name FROM django_migrations ORDER BY 1").fetchall()
    (epoch,) = source.execute("SELECT epoch FROM travelers_pulse WHERE id = 1").fetchone() or ("",)
    return Facts(counts=counts, migrations=tuple(name for (name,) in migrations), epoch=epoch)


def _counts(source: sqlite3.Connection) -> dict[str, int]:
    tables = source.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    )
    return {name: source.execute(f'SELECT COUNT(*) FROM "{name}"').fetchone()[0] for (name,) in tables}
