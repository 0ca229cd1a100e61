"""PostgreSQL's own programs: where they are, and how they are run."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from shopfloor.backups.facts import NOTHING_CHANGED, NoBackup

INSTALLED = "/usr/lib/postgresql"
PACKAGE = "Debian package: postgresql-client"


def tool(name: str, major: int, installed: Path = Path(INSTALLED)) -> str:
    """The program of the server's own version, or else of the next newer one, or else the one on the PATH.

    raises  NoBackup if there is none
    """
    versions = {
        int(one.name): one / "bin" / name
        for one in installed.glob("*")
        if one.name.isdigit() and os.access(one / "bin" / name, os.X_OK)
    }
    fit = sorted(version for version in versions if version >= major)
    found = str(versions[fit[0]]) if fit else shutil.which(name)
    if not found:
        raise NoBackup(
            f"The program {name} of PostgreSQL {major} or newer is not installed on this machine ({PACKAGE}). "
            f"{NOTHING_CHANGED}"
        )
    return found


LIBPQ = {"HOST": "host", "PORT": "port", "USER": "user", "PASSWORD": "password", "NAME": "dbname"}
OF_TLS = ("sslmode", "sslrootcert", "sslcert", "sslkey")


def reach(settings: Mapping[str, Any]) -> dict[str, str]:
    """How the database is reached, in libpq's words, from Django's."""
    given = {theirs: str(settings[ours]) for ours, theirs in LIBPQ.items() if settings.get(ours)}
    options = settings.get("OPTIONS") or {}
    return given | {name: str(options[name]) for name in OF_TLS if options.get(name)}


def environment(settings: Mapping[str, Any]) -> dict[str, str]:
    """The same for PostgreSQL's programs. A password does not stand in the list of processes."""
    given = {
        "PG" + ("DATABASE" if name == "dbname" else name.upper()): value
        for name, value in reach(settings).items()
    }
    return os.environ | given | {"PGCLIENTENCODING": "UTF8", "LC_ALL": "C"}


def run(*words: str, env: Mapping[str, str] | None = None) -> None:
    """Run to the end.

    raises  NoBackup with what the program says, if it fails
    """
    done = subprocess.run(
        words, env=env, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    if done.returncode:
        raise failed(words[0], done.returncode, done.stderr)


def failed(program: str, code: int, said: bytes) -> NoBackup:
    """What a program says of its failure, in a sentence."""
    lines = [line for line in said.decode(errors="replace").splitlines() if line.strip()]
    loud = (
        [line for line in lines if re.search(r"error|fatal", line, re.IGNORECASE)]
        or lines
        or [f"it ended with {code}"]
    )
    name = Path(program).name
    reason = re.sub(rf"^{re.escape(name)}:\s*(error:\s*)?", "", loud[0].strip()).rstrip(".")
    return NoBackup(f"{name} failed: {reason}. {NOTHING_CHANGED}")
