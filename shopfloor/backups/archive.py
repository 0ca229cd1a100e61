"""The file of a backup: a ZIP of a manifest, which comes first, and of the database as it was."""

from __future__ import annotations

import hashlib
import json
import zipfile
import zlib
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from shopfloor.backups.facts import NOTHING_CHANGED, Facts, NoBackup

FORMAT = 1
MANIFEST = "shopfloor-backup.json"
FAST = 1
BLOCK = 1 << 20
_NAME_AT = 30  # in a ZIP's first header: APPNOTE.TXT 4.3.7


@dataclass(frozen=True)
class Manifest:
    """What the backup says of itself. `database` is Django's word for the vendor, `shop` tells shops apart."""

    format: int
    made_at: datetime
    shop: str
    database: str
    payload: str
    size: int
    sha256: str
    facts: Facts

    def as_json(self) -> str:
        return json.dumps(asdict(self) | {"made_at": self.made_at.isoformat()}, indent=1)


def write_archive(path: Path, manifest: Manifest, payload: Path) -> None:
    """Write a backup and read it back whole."""
    how = zipfile.ZIP_DEFLATED if manifest.database == "sqlite" else zipfile.ZIP_STORED
    with zipfile.ZipFile(path, "x", compression=how, compresslevel=FAST) as file:
        file.writestr(MANIFEST, manifest.as_json())
        file.write(payload, manifest.payload)
    if read_manifest(path) != manifest:
        raise NoBackup(f"{path.name} does not read back as it was written. {NOTHING_CHANGED}")
    read_payload(path, manifest)


def read_manifest(path: Path) -> Manifest:
    """What a backup says of itself.

    raises  NoBackup if it is none, is torn, or of a format that only a newer version knows
    """
    _refuse_others(path)
    try:
        with zipfile.ZipFile(path) as file:
            return _manifest(json.loads(file.read(MANIFEST)))
    except (zipfile.BadZipFile, zlib.error, EOFError, KeyError, TypeError, ValueError, OSError) as error:
        raise NoBackup(
            f"{path} is torn or damaged: it does not read as a whole backup. {NOTHING_CHANGED}"
        ) from error


def read_payload(path: Path, manifest: Manifest, to: Path | None = None) -> None:
    """Read the database of a backup to its end, compare it with its checksum, and write it to a file if one is given.

    raises  NoBackup if a byte of it is wrong
    """
    seen = hashlib.sha256()
    try:
        with zipfile.ZipFile(path) as file, file.open(manifest.payload) as source:
            if to is None:
                while block := source.read(BLOCK):
                    seen.update(block)
            else:
                with to.open("xb") as target:
                    while block := source.read(BLOCK):
                        seen.update(block)
                        target.write(block)
        is_whole = seen.hexdigest() == manifest.sha256
    except (zipfile.BadZipFile, zlib.error, EOFError, KeyError):
        is_whole = False
    if not is_whole:
        raise NoBackup(f"{path} is torn or damaged: its checksum is wrong. {NOTHING_CHANGED}")


def checksum(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _refuse_others(path: Path) -> None:
    try:
        with path.open("rb") as file:
            head = file.read(_NAME_AT + len(MANIFEST))
    except FileNotFoundError as error:
        raise NoBackup(f"There is no file {path}. {NOTHING_CHANGED}") from error
    except OSError as error:
        raise NoBackup(f"{path} cannot be read: {error.strerror}. {NOTHING_CHANGED}") from error
    if not head.startswith(b"PK\x03\x04") or not head.endswith(MANIFEST.encode()):
        raise NoBackup(f"{path} is no backup of this app. {NOTHING_CHANGED}")


def _manifest(found: dict[str, Any]) -> Manifest:
    if int(found["format"]) > FORMAT:
        raise NoBackup(f"The backup was made by a newer version of the app. {NOTHING_CHANGED}")
    facts = found["facts"]
    return Manifest(
        format=int(found["format"]),
        made_at=datetime.fromisoformat(found["made_at"]),
        shop=str(found["shop"]),
        database=str(found["database"]),
        payload=str(found["payload"]),
        size=int(found["size"]),
        sha256=str(found["sha256"]),
        facts=Facts(
            counts={str(name): int(count) for name, count in facts["counts"].items()},
            migrations=tuple(map(str, facts["migrations"])),
            epoch=str(facts["epoch"]),
        ),
    )
