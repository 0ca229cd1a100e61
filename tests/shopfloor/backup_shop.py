"""A shop of its own for the tests of backups: a data folder, and on PostgreSQL a database beside the tests' own.

Its rows are read with sqlite3 and psycopg, not with the app.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import uuid
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

ROOT = Path(__file__).resolve().parents[2]
URL = os.environ.get("DATABASE_URL", "")
OWN = ("shared_", "fittings_", "travelers_", "shopfloor_", "auth_", "django_")
CHANGED_BY_RESTORE = ("django_session", "travelers_pulse")


class Shop:
    """On SQLite where no database of a server is named."""

    def __init__(self, data: Path, database: str = ""):
        self.data = data
        self.name = database
        self.url = url_of(database) if database else ""

    @property
    def environment(self) -> dict[str, str]:
        kept = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
        given = {"DATABASE_URL": self.url} if self.url else {}
        return kept | given | {"SHOPFLOOR_DATA": str(self.data), "PYTHONUNBUFFERED": "1"}

    def command(self, *words: str, limit: Callable[[], None] | None = None) -> subprocess.CompletedProcess:
        """`manage.py` in a process of its own."""
        return self._run([sys.executable, "manage.py", *words], limit)

    def drive(self, *words: str, timeout: int = 240) -> str:
        """`backup_driver` in a process of its own, which must end well."""
        done = self._run([sys.executable, "-m", "tests.shopfloor.backup_driver", *words], None, timeout)
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def begin(self, *words: str) -> subprocess.Popen:
        return subprocess.Popen(
            [sys.executable, "-m", "tests.shopfloor.backup_driver", *words],
            cwd=ROOT,
            env=self.environment,
            stdout=subprocess.DEVNULL,
        )

    def _run(self, words: list[str], limit, timeout: int = 240) -> subprocess.CompletedProcess:
        return subprocess.run(
            words,
            cwd=ROOT,
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=timeout,
            preexec_fn=limit,
        )

    def rows(self) -> dict[str, list]:
        """Every table with all its rows, in a fixed order."""
        return read_rows(self.data, self.url)

    def ids(self) -> list[str]:
        """The ids of the scans in the record, in the order of their sequence."""
        sql = "SELECT scan_id FROM travelers_scan ORDER BY sequence"
        return [str(uuid.UUID(str(one))) for (one,) in self.ask(sql)]

    def epoch(self) -> str:
        return self.ask("SELECT epoch FROM travelers_pulse")[0][0]

    def ask(self, sql: str) -> list[tuple]:
        with closing(connect(self.data, self.url)) as found:
            return list(found.execute(sql).fetchall())

    def copy(self, data: Path) -> Shop:
        """The same shop once more, somewhere else."""
        if not self.url:
            shutil.copytree(self.data, data)
            return Shop(data)
        data.mkdir()
        shutil.copy(self.data / "secret_key", data)
        made = Shop(data, f"backup_{uuid.uuid4().hex[:12]}")
        server_do(f'CREATE DATABASE "{made.name}" TEMPLATE "{self.name}"')
        return made

    def gone(self) -> None:
        if self.url:
            server_do(f'DROP DATABASE IF EXISTS "{self.name}" WITH (FORCE)')


def new_shop(data: Path, *, is_on_server: bool = bool(URL)) -> Shop:
    """An empty one."""
    data.mkdir(parents=True)
    if not is_on_server:
        return Shop(data)
    made = Shop(data, f"backup_{uuid.uuid4().hex[:12]}")
    server_do(f'CREATE DATABASE "{made.name}"')
    return made


def url_of(database: str) -> str:
    return urlunsplit(urlsplit(URL)._replace(path=f"/{database}"))


def server_do(sql: str) -> None:
    import psycopg

    with psycopg.connect(url_of("postgres"), autocommit=True) as server:
        server.execute(sql)


def connect(data: Path, url: str):
    if not url:
        return sqlite3.connect(data / "shop.sqlite3", isolation_level=None)
    import psycopg

    return psycopg.connect(url, autocommit=True)


def read_rows(data: Path, url: str) -> dict[str, list]:
    tables = (
        "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
        if url
        else "SELECT name FROM sqlite_master WHERE type = 'table'"
    )
    with closing(connect(data, url)) as found:
        names = sorted(name for (name,) in found.execute(tables).fetchall() if name.startswith(OWN))
        return {name: sorted(map(str, found.execute(f'SELECT * FROM "{name}"').fetchall())) for name in names}


def record(rows: dict[str, list]) -> dict[str, list]:
    """The rows without those that a restore must change."""
    return {table: held for table, held in rows.items() if table not in CHANGED_BY_RESTORE}


def listing(folder: Path) -> list[str]:
    return sorted(str(one.relative_to(folder)) for one in folder.rglob("*"))
