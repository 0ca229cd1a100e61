"""What a tablet keeps to open the station's page without the network: its pieces, and a name for their release."""

from __future__ import annotations

import hashlib
import json
import posixpath
import re
from functools import cache
from pathlib import Path

from django.contrib.staticfiles import finders
from django.templatetags.static import static
from django.urls import reverse

# What the page names itself; what these import or draw in is found in them.
NAMED = (
    "shared/mark.svg",
    "shared/tokens.css",
    "shared/base.css",
    "shared/parts.css",
    "shared/board.css",
    "shared/print.css",
    "shopfloor/station.css",
    "shopfloor/station.js",
    "shared/decoder.js",
    "shared/vendor/zxing-wasm-3.1.3.reader.wasm",
)
WORKER = "shopfloor/sw.js"
_REFERENCE = re.compile(
    r"""(?:\bfrom|\bimport)\s*\(?\s*["'](\.[^"']+)["']|url\(\s*["']?([^"')#]+)["']?\s*\)"""
)


def worker_text() -> str:
    """The service worker, told the release, the page and its pieces."""
    files = _files()
    known = {
        "release": release(),
        "page": reverse("station"),
        "pieces": [static(name) for name in sorted(files)],
    }
    return f"self.station = {json.dumps(known)};\n{files_text(WORKER)}"


def files_text(name: str) -> str:
    return Path(finders.find(name)).read_text(encoding="utf-8")


@cache
def release() -> str:
    """The name of what this server gives out as the page: the same files, the same name."""
    digest = hashlib.sha256()
    for name in sorted(_files() | {WORKER}):
        digest.update(name.encode() + b"\0" + Path(finders.find(name)).read_bytes() + b"\0")
    return digest.hexdigest()[:12]


@cache
def _files() -> frozenset[str]:
    """The static files of the page, those that it names and all that they draw in."""
    found: set[str] = set()
    waiting = list(NAMED)
    while waiting:
        name = waiting.pop()
        if name in found:
            continue
        found.add(name)
        if name.endswith((".js", ".css")):
            for module, drawn in _REFERENCE.findall(files_text(name)):
                inside = posixpath.normpath(posixpath.join(posixpath.dirname(name), module or drawn))
                if not (module or drawn).startswith(("data:", "/", "http")) and finders.find(inside):
                    waiting.append(inside)
    return frozenset(found)
