"""Ways to run out of room. Each gives a shop, and can fill its disk and make room again while the server runs.

* `file size`: the operating system lets no file of the server grow (RLIMIT_FSIZE). Needs no rights; SQLite.
* `small disk`: the data lie on a tmpfs that a ballast file fills. Needs the right to mount; both databases.
* `refused room`: the database is told to refuse each scan as it does where it finds no room (53100). PostgreSQL.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.faults.server import CLUSTER, Server, Shop, administer, copied

SMALL = "160m"
NO_ROOM = 'could not extend file "base/1/1": No space left on device'


@contextmanager
def mounted(folder: Path) -> Iterator[bool]:
    """A tmpfs at this folder; False where this account may not mount one."""
    folder.mkdir()
    if os.geteuid() != 0:
        yield False
        return
    made = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SMALL}", "tmpfs", str(folder)])
    try:
        yield made.returncode == 0
    finally:
        if made.returncode == 0:
            subprocess.run(["umount", "-l", str(folder)], check=True)


@dataclass
class Ballast:
    """What fills a small disk to the last byte."""

    path: Path

    def fill(self, server: Server) -> None:
        with self.path.open("ab", buffering=0) as file, contextlib.suppress(OSError):
            for size in (1 << 20, 1 << 12, 1):
                with contextlib.suppress(OSError):
                    while file.write(b"\0" * size) == size:
                        pass

    def make_room(self, server: Server) -> None:
        self.path.unlink()


class FileSize:
    """No file may grow beyond a few pages."""

    def fill(self, server: Server) -> None:
        server.limit_file_size(64 * 1024)

    def make_room(self, server: Server) -> None:
        server.limit_file_size(-1)


class RefusedRoom:
    """The database says of each new row of the record what it says where its disk is full."""

    def fill(self, server: Server) -> None:
        administer(
            "CREATE FUNCTION no_room() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
            f" RAISE EXCEPTION '{NO_ROOM}' USING ERRCODE = 'disk_full'; END $$;"
            " CREATE TRIGGER no_room BEFORE INSERT ON travelers_scan EXECUTE FUNCTION no_room()",
            server.shop.database,
        )

    def make_room(self, server: Server) -> None:
        administer("DROP FUNCTION no_room CASCADE", server.shop.database)


@contextmanager
def file_size(first: Shop, folder: Path):
    with copied(first, folder / "data") as shop:
        yield shop, FileSize()


@contextmanager
def refused_room(first: Shop, folder: Path):
    with copied(first, folder / "data") as shop:
        yield shop, RefusedRoom()


@contextmanager
def small_disk(first: Shop, folder: Path):
    """Of PostgreSQL the tables lie on it; its log of writes stays where it was."""
    with mounted(folder / "disk") as is_mounted:
        if not is_mounted:
            other = refused_room if CLUSTER else file_size
            print(f"No right to mount a small disk: instead {other.__name__}.")
            with other(first, folder) as found:
                yield found
            return
        disk = folder / "disk"
        if not CLUSTER:
            with copied(first, disk / "data") as shop:
                yield shop, Ballast(disk / "ballast")
            return
        name, tables = f"faults_{uuid.uuid4().hex[:12]}", disk / "tables"
        tables.mkdir()
        shutil.chown(tables, "postgres")
        for one in (disk, *disk.parents):
            if one == Path("/tmp"):
                break
            one.chmod(0o755)
        administer(f"CREATE TABLESPACE {name} LOCATION '{tables}'")
        try:
            with copied(first, folder / "data", tablespace=name) as shop:
                yield shop, Ballast(disk / "ballast")
        finally:
            administer(f"DROP TABLESPACE {name}")


WAYS = (small_disk, refused_room) if CLUSTER else (small_disk, file_size)
