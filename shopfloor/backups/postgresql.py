"""Backup and restore of PostgreSQL by its own programs: pg_dump, pg_restore, psql.

The dump is of one exported snapshot, so its rows can be counted beforehand. It is put back in one transaction, which
commits only after pg_restore has told all of it.
"""

from __future__ import annotations

import re
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import psycopg
from django.db import connection
from psycopg import sql

from shopfloor.backups.facts import NOTHING_CHANGED, Facts, InUse, NoBackup
from shopfloor.backups.tools import environment, failed, reach, run, tool

OWN_TABLES = r"^(shared|fittings|travelers|shopfloor|auth|django)_"
PATIENCE_SECONDS = 3.0
POLL_SECONDS = 0.05
BLOCK = 1 << 16
COPY = re.compile(rb"COPY (?:[^ .]+\.)?(\w+) (?:\(.*\) )?FROM stdin;\n")
OTHERS = """
    SELECT COUNT(*) FROM pg_stat_activity
    WHERE datname = current_database() AND usename = current_user
      AND pid <> pg_backend_pid() AND backend_type = 'client backend'
"""
TABLES = """
    SELECT schemaname, tablename FROM pg_tables
    WHERE schemaname = current_schema() AND tablename ~ %s ORDER BY tablename
"""


class Postgresql:
    vendor = "postgresql"
    payload = "shop.dump"

    def __init__(self):
        self._settings = connection.settings_dict
        self._environment = environment(self._settings)

    def _connected(self) -> psycopg.Connection[Any]:
        return psycopg.connect(**reach(self._settings), autocommit=True)

    @contextmanager
    def reading(self) -> Iterator[psycopg.Connection[Any]]:
        with self._connected() as found:
            yield found

    @contextmanager
    def alone(self) -> Iterator[psycopg.Connection[Any]]:
        """The database, while no other process of the app has it open.

        raises  InUse if one has
        """
        with self._connected() as found:
            deadline = time.monotonic() + PATIENCE_SECONDS
            while others := found.execute(OTHERS).fetchone()[0]:
                if time.monotonic() > deadline:
                    raise InUse(
                        f"The app is running: {others} other connections to the database {found.info.dbname} are open. "
                        f"Stop it and its workers, then restore. {NOTHING_CHANGED}"
                    )
                time.sleep(POLL_SECONDS)
            yield found

    def is_empty(self, held: psycopg.Connection[Any]) -> bool:
        return ("travelers_pulse",) not in [(name,) for _, name in _tables(held)]

    def snapshot(self, source: psycopg.Connection[Any], to: Path) -> Facts:
        """Dump the database as it is at this moment."""
        program = tool("pg_dump", source.info.server_version // 10000)
        with source.transaction():
            source.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            (name,) = source.execute("SELECT pg_export_snapshot()").fetchone()
            tables = _tables(source)
            facts = _facts(source, tables)
            run(
                program,
                "--format=custom",
                "--no-owner",
                "--no-privileges",
                f"--snapshot={name}",
                f"--file={to}",
                *(f'--table="{schema}"."{table}"' for schema, table in tables),
                env=self._environment,
            )
        return facts

    def count(self, path: Path) -> dict[str, int]:
        """Rows by table of a dump, which is read to its end.

        raises  NoBackup if pg_restore cannot read it
        """
        with self._connected() as server:
            program = tool("pg_restore", server.info.server_version // 10000)
        run(program, "--list", str(path))
        counts: dict[str, int] = {}
        with tempfile.TemporaryFile() as said:
            words = [program, "--data-only", "--file=-", str(path)]
            with subprocess.Popen(
                words, stdout=subprocess.PIPE, stderr=said, env=self._environment
            ) as reader:
                table = ""
                for line in reader.stdout:
                    if table:
                        if line == b"\\.\n":
                            table = ""
                        else:
                            counts[table] += 1
                    elif found := COPY.fullmatch(line):
                        table = found[1].decode()
                        counts[table] = 0
            _refuse_failed(program, reader.returncode, said)
        return counts

    def replace(self, held: psycopg.Connection[Any], payload: Path, *, epoch: str, work: Path) -> None:
        """Put a dump in the place of the app's own tables, in one transaction, as a record of a new epoch."""
        major = held.info.server_version // 10000
        reader_program, writer_program = tool("pg_restore", major), tool("psql", major)
        drop = [
            sql.SQL("DROP TABLE {} CASCADE;\n").format(sql.Identifier(*names)).as_string(held)
            for names in _tables(held)
        ]
        fresh = sql.SQL(
            "RESET search_path;\n"
            "UPDATE travelers_pulse SET epoch = {}, version = version + 1;\n"
            "DELETE FROM django_session;\nCOMMIT;\n"
        ).format(sql.Literal(epoch))
        with (work / "reader").open("w+b") as reader_said, (work / "writer").open("w+b") as writer_said:
            writer = subprocess.Popen(
                [writer_program, "--no-psqlrc", "--quiet", "--set=ON_ERROR_STOP=1", "--file=-"],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=writer_said,
                env=self._environment,
            )
            reader = subprocess.Popen(
                [
                    reader_program,
                    "--no-owner",
                    "--no-privileges",
                    "--exit-on-error",
                    "--file=-",
                    str(payload),
                ],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=reader_said,
                env=self._environment,
            )
            with reader, writer:
                try:
                    writer.stdin.write("".join(["BEGIN;\n", *drop]).encode())
                    while block := reader.stdout.read(BLOCK):
                        writer.stdin.write(block)
                    if reader.wait() == 0:
                        writer.stdin.write(fresh.as_string(held).encode())
                    writer.stdin.flush()
                except BrokenPipeError:
                    pass  # the writer has ended, and says why
                except BaseException:
                    writer.kill()
                    raise
                finally:
                    reader.stdout.close()
                    with suppress(BrokenPipeError):
                        writer.stdin.close()
            _refuse_failed(writer_program, writer.returncode, writer_said)
            _refuse_failed(reader_program, reader.returncode, reader_said)
        with suppress(
            psycopg.Error
        ):  # what the planner knows of the tables, which the server finds out by itself too
            held.execute("ANALYZE")

    def set_aside(self) -> list[Path]:
        """A server's database has no file to set aside."""
        return []


def _refuse_failed(program: str, code: int, said: Any) -> None:
    if code:
        said.seek(0)
        raise failed(program, code, said.read())


def _tables(source: psycopg.Connection[Any]) -> list[tuple[str, str]]:
    return source.execute(TABLES, [OWN_TABLES]).fetchall()


def _facts(source: psycopg.Connection[Any], tables: list[tuple[str, str]]) -> Facts:
    if "travelers_pulse" not in {name for _, name in tables}:
        raise NoBackup("The database is empty, so there is nothing to back up.")
    counts = {
        names[1]: source.execute(
            sql.SQL("SELECT COUNT(*) FROM {}").format(sql.Identifier(*names))
        ).fetchone()[0]
        for names in tables
    }
    migrations = source.execute("SELECT app || '.' || name FROM django_migrations").fetchall()
    (epoch,) = source.execute("SELECT epoch FROM travelers_pulse WHERE id = 1").fetchone() or ("",)
    return Facts(counts=counts, migrations=tuple(sorted(name for (name,) in migrations)), epoch=epoch)
