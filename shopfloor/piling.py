"""What piled up a moment ago, for the dead band of the board: one small file that all processes of a machine share.

Kept per process, two workers could answer differently within the band, and a display would see it flicker. The file is
written only when the set changes; one that is missing or broken means that nothing piled up.
"""

from __future__ import annotations

import json
import os
import threading
from pathlib import Path


class Piling:
    """The remembered set of operation codes. Without a path it is kept in memory, for tests and the like."""

    def __init__(self, path: Path | None = None):
        self._path = path
        self._kept: frozenset[str] = frozenset()

    def read(self) -> frozenset[str]:
        if self._path is None:
            return self._kept
        try:
            codes = json.loads(self._path.read_bytes())
            return frozenset(code for code in codes if isinstance(code, str))
        except (OSError, ValueError, TypeError):
            return frozenset()

    def write(self, codes: set[str], before: frozenset[str]) -> None:
        """Remember these. A disk that is full or read-only costs the dead band, not the board."""
        if codes == before:
            return
        self._kept = frozenset(codes)
        if self._path is None:
            return
        fresh = self._path.with_suffix(f".{os.getpid()}-{threading.get_ident()}")
        try:
            fresh.write_text(json.dumps(sorted(codes)))
            fresh.replace(self._path)
        except OSError:
            fresh.unlink(missing_ok=True)
