"""Where backups lie: their names, the folder in which one is being made, and which of them are kept."""

from __future__ import annotations

import errno
import fcntl
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from shopfloor.backups.archive import read_manifest
from shopfloor.backups.facts import NOTHING_CHANGED, NoBackup

NAME = re.compile(r"shop-\d{8}-\d{6}Z\.zip")
BEFORE_RESTORE = "before-restore"
BEFORE_UPGRADE = "before-upgrade"
WORK = ".shop-backup-"
WORK_END = ".part"
LEFT_BEHIND_SECONDS = 3600
NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def backup_name(now: datetime, prefix: str = "shop") -> str:
    """Sorts by its moment, in UTC."""
    return f"{prefix}-{now.astimezone(UTC):%Y%m%d-%H%M%S}Z.zip"


@contextmanager
def work_folder(beside: Path) -> Iterator[Path]:
    """A folder of its own on the same disk, gone afterwards. What a killed run left behind is cleared first."""
    _clear_left_behind(beside)
    made = Path(tempfile.mkdtemp(prefix=WORK, suffix=WORK_END, dir=beside))
    handle = os.open(made, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield made
    finally:
        os.close(handle)
        shutil.rmtree(made, ignore_errors=True)


def _clear_left_behind(folder: Path) -> None:
    for one in folder.glob(f"{WORK}*{WORK_END}"):
        with suppress(OSError):
            handle = os.open(one, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC)
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                if time.time() - os.fstat(handle).st_mtime > LEFT_BEHIND_SECONDS:
                    shutil.rmtree(one, ignore_errors=True)
            finally:
                os.close(handle)


def settle(path: Path) -> None:
    """What was written to a file or folder is on the disk when this returns."""
    handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def put(made: Path, to: Path) -> None:
    """Give a finished file its name, for good, and never another's.

    raises  NoBackup if the name is taken
    """
    settle(made)
    try:
        os.link(made, to)
    except FileExistsError as error:
        raise NoBackup(taken(to)) from error
    except OSError:  # a disk without links, as USB sticks are
        if to.exists():
            raise NoBackup(taken(to)) from None
        os.rename(made, to)
    settle(to.parent)


def taken(path: Path) -> str:
    return f"{path} exists already, and a backup never replaces a file. {NOTHING_CHANGED}"


def prune(folder: Path, *, keep: int, shop: str, newest: Path) -> list[Path]:
    """Delete this shop's own backups beyond the newest ones; every other file stays, whatever its name.

    newest  the one just made, which counts and stays
    returns  what was deleted
    """
    own = [
        one for one in folder.iterdir() if NAME.fullmatch(one.name) and one != newest and _is_of(one, shop)
    ]
    old = sorted(own, key=lambda one: one.name, reverse=True)[keep - 1 :]
    for one in old:
        try:
            one.unlink(missing_ok=True)
        except OSError as error:
            raise NoBackup(
                f"{newest} is made and good, but the old {one.name} cannot be deleted: {error.strerror}."
            ) from error
    return sorted(old)


def _is_of(path: Path, shop: str) -> bool:
    if path.is_symlink() or not path.is_file():
        return False
    try:
        return read_manifest(path).shop == shop
    except NoBackup:
        return False


def no_room(folder: Path, error: OSError) -> NoBackup:
    """What the system says of a folder, in a sentence."""
    if error.errno in NO_ROOM:
        return NoBackup(f"There is not enough room in {folder}. {NOTHING_CHANGED}")
    return NoBackup(f"{folder} cannot be written to: {error.strerror or error}. {NOTHING_CHANGED}")
