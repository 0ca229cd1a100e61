"""Processes by what the kernel knows of them."""

from __future__ import annotations

from pathlib import Path


def is_alive(pid: int) -> bool:
    """Whether a process runs; one that has ended and waits to be looked after does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def workers_of(master: int) -> list[int]:
    """The background workers that this process has started."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            parent = int((folder / "stat").read_text().rpartition(")")[2].split()[1])
            words = (folder / "cmdline").read_bytes().split(b"\0")
        except (OSError, ValueError):
            continue
        if parent == master and b"worker" in words:
            found.append(int(folder.name))
    return found
