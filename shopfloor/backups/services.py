"""Making a backup and putting one back: what the commands call."""

from __future__ import annotations

import hashlib
import sqlite3
import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import psycopg
from django.conf import settings
from django.db import connection, connections
from django.db.migrations.loader import MigrationLoader

from shopfloor.backups.archive import (
    FORMAT,
    Manifest,
    checksum,
    read_manifest,
    read_payload,
    write_archive,
)
from shopfloor.backups.facts import NOTHING_CHANGED, NoBackup, compare
from shopfloor.backups.folders import (
    BEFORE_RESTORE,
    BEFORE_UPGRADE,
    backup_name,
    no_room,
    prune,
    put,
    taken,
    work_folder,
)
from shopfloor.backups.postgresql import Postgresql
from shopfloor.backups.sqlite import Sqlite, is_full

MOST_KEPT = 10_000


@dataclass(frozen=True)
class Made:
    path: Path
    scans: int
    size: int
    deleted: tuple[Path, ...] = ()


@dataclass(frozen=True)
class PutBack:
    """`before` is the backup of what was there, `aside` what could not be opened and was renamed."""

    made_at: datetime
    scans: int
    epoch: str
    before: Path | None
    aside: tuple[Path, ...]


def database_here() -> Sqlite | Postgresql:
    return Postgresql() if connection.vendor == "postgresql" else Sqlite()


def backup_make(*, to: Path | None = None, keep: int | None = None, now: datetime) -> Made:
    """Write a backup while the app runs; it has its name only when it is whole, checked and on the disk.

    to      a folder, or a file that does not exist; left out, the folder `backups` beside the data
    keep    how many of this shop's backups stay in the folder; left out, all

    raises  NoBackup if it cannot be made; nothing was changed
    """
    path = _destination(to, keep, now)
    database = database_here()
    with _told(path.parent), database.reading() as source:
        manifest = _write(database, source, path, now)
        deleted = prune(path.parent, keep=keep, shop=manifest.shop, newest=path) if keep else []
        return Made(path, manifest.facts.scans, path.stat().st_size, tuple(deleted))


def backup_before_upgrade(*, now: datetime) -> Path | None:
    """A backup into `backups` of the data folder; None where the database holds nothing of ours yet.

    raises  NoBackup if it cannot be made; nothing was changed
    """
    database = database_here()
    if connection.vendor == "sqlite" and not database.path.exists():
        return None
    with _told(settings.DATA_DIR), database.reading() as source:
        if database.is_empty(source):
            return None
        path = _backups_folder() / backup_name(now, BEFORE_UPGRADE)
        _write(database, source, path, now)
    return path


def migrations_unknown(names: Iterable[str]) -> list[str]:
    """Those migrations, as `app.name`, that a newer version of the app has made."""
    here = MigrationLoader(None, ignore_no_migrations=True).disk_migrations
    known = {f"{app}.{name}" for key, one in here.items() for app, name in (key, *one.replaces)}
    return sorted(set(names) - known)


def backup_restore(*, file: Path, is_present_kept: bool = True, now: datetime) -> PutBack:
    """Put a backup in the place of the present record, as a record of a new epoch: all of it or nothing.

    is_present_kept  back up what is there before; without, a database that cannot be opened is set aside

    raises  NoBackup if the file is no whole backup of this kind of database and of a version known here
    raises  InUse if another process has the database open
    """
    database = database_here()
    manifest = read_manifest(file)
    _refuse_other_database(manifest, database.vendor)
    _refuse_newer(manifest)
    epoch = str(uuid.uuid4())
    connections.close_all()
    if database.vendor == "postgresql":
        connection.close_pool()
    hint = " To put the backup in its place: restore FILE --without-backup." if is_present_kept else ""
    with _told(settings.DATA_DIR, hint), work_folder(settings.DATA_DIR) as work:
        payload = work / database.payload
        read_payload(file, manifest, payload)
        _refuse_other_counts(database.count(payload), manifest)
        aside = [] if is_present_kept else database.set_aside()
        before = None
        with database.alone() as held:
            if is_present_kept and not database.is_empty(held):
                before = _backups_folder() / backup_name(now, BEFORE_RESTORE)
                _write(database, held, before, now)
            database.replace(held, payload, epoch=epoch, work=work)
    return PutBack(manifest.made_at, manifest.facts.scans, epoch, before, tuple(aside))


def _write(database: Any, source: Any, path: Path, now: datetime) -> Manifest:
    with work_folder(path.parent) as work:
        payload = work / database.payload
        facts = database.snapshot(source, payload)
        manifest = Manifest(
            format=FORMAT,
            made_at=now,
            shop=_this_shop(),
            database=database.vendor,
            payload=database.payload,
            size=payload.stat().st_size,
            sha256=checksum(payload),
            facts=facts,
        )
        _refuse_other_counts(database.count(payload), manifest)
        made = work / "made.zip"
        write_archive(made, manifest, payload)
        put(made, path)
    return manifest


def _this_shop() -> str:
    """The same for every backup of this installation, and no other's. The secret cannot be had from it."""
    return hashlib.sha256(b"backup of " + settings.SECRET_KEY.encode()).hexdigest()[:16]


def _backups_folder() -> Path:
    folder = settings.DATA_DIR / "backups"
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


def _destination(to: Path | None, keep: int | None, now: datetime) -> Path:
    if keep is not None and not 1 <= keep <= MOST_KEPT:
        raise NoBackup(f"--keep is {keep}; it can be 1 to {MOST_KEPT}. {NOTHING_CHANGED}")
    if to is None or to.is_dir():
        return (_backups_folder() if to is None else to) / backup_name(now)
    if keep is not None:
        raise NoBackup(f"--keep needs a folder, and {to} is none. {NOTHING_CHANGED}")
    if to.exists():
        raise NoBackup(taken(to))
    if not to.parent.is_dir():
        raise NoBackup(f"There is no folder {to.parent}. {NOTHING_CHANGED}")
    return to


def _refuse_other_database(manifest: Manifest, vendor: str) -> None:
    names = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}
    if manifest.database != vendor:
        raise NoBackup(
            f"The backup is of {names.get(manifest.database, manifest.database)}, and this shop uses {names[vendor]}. "
            f"{NOTHING_CHANGED}"
        )


def _refuse_newer(manifest: Manifest) -> None:
    if unknown := migrations_unknown(manifest.facts.migrations):
        raise NoBackup(
            f"The backup was made by a newer version of the app: {unknown[0]} is unknown here. "
            f"Install that version, then restore. {NOTHING_CHANGED}"
        )


def _refuse_other_counts(counts: dict[str, int], manifest: Manifest) -> None:
    if difference := compare(counts, manifest.facts.counts):
        raise NoBackup(f"The backup is not whole: {difference}. {NOTHING_CHANGED}")


@contextmanager
def _told(folder: Path, hint: str = "") -> Iterator[None]:
    """What disk and database refuse, as sentences, with what can be done about a database that is broken."""
    try:
        yield
    except sqlite3.Error as error:
        if is_full(error):
            raise NoBackup(f"There is not enough room in {folder}. {NOTHING_CHANGED}") from error
        raise NoBackup(f"The database cannot be read: {error}. {NOTHING_CHANGED}{hint}") from error
    except psycopg.Error as error:
        said = " ".join(str(error).split()).rstrip(".")
        raise NoBackup(f"The database cannot be reached or read: {said}. {NOTHING_CHANGED}") from error
    except OSError as error:
        raise no_room(folder, error) from error
