"""Collects what is marked for operators into the packages' catalogues, and compiles them: `python -m tests.languages`.

New texts come in without a translation, texts that are gone go out. Whatever is translated stays as it is.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

TOP = Path(__file__).resolve().parent.parent
LANGUAGE = "es"
PYTHON = {"say": None, "say_count": (1, 2), "mark": None}
SCRIPT = {"say": None, "sayCount": (1, 2), "marked": None}
MARKUP = re.compile(r"<[^<>]*\bdata-say\b[^<>]*>([^<>{}]+)<")
LABELS = re.compile(r'aria-label="([^"]+)"[^<>]*\bdata-say-label\b')
TABLES = {"cautions": ("word", "hazard", "text"), "ends": ("title",)}
"""Tables whose first rows are read by operators, and the columns that are, as far as the table has them."""

Message = str | tuple[str, str]


@dataclass(frozen=True)
class Source:
    """A catalogue: its package, its domain, and the files that it is collected from."""

    package: str
    domain: str
    files: tuple[str, ...]

    @property
    def path(self) -> Path:
        return TOP / self.package / "locale" / LANGUAGE / "LC_MESSAGES" / f"{self.domain}.po"


SOURCES = (
    Source("shared", "django", ("shared/**/*.py",)),
    Source("fittings", "django", ("fittings/**/*.py",)),
    Source("travelers", "django", ("travelers/**/*.py",)),
    Source(
        "shopfloor",
        "django",
        ("shopfloor/*.py", "shopfloor/views/*.py", *(f"fixtures/tables/{name}.csv" for name in TABLES)),
    ),
    Source(
        "shopfloor",
        "djangojs",
        (
            "shopfloor/static/shopfloor/*.js",
            "shopfloor/templates/shopfloor/station.html",
            "travelers/setup.py",
        ),
    ),
)


def marked(source: Source) -> dict[Message, list[str]]:
    """Every text that is marked for operators in the files of a catalogue, and where."""
    found: dict[Message, list[str]] = {}
    for path in sorted({path for pattern in source.files for path in TOP.glob(pattern)}):
        name = path.relative_to(TOP).as_posix()
        for message in _messages(path):
            places = found.setdefault(message, [])
            if name not in places:
                places.append(name)
    return found


def _messages(path: Path) -> Iterator[Message]:
    if path.suffix == ".csv":
        with path.open(newline="", encoding="utf-8") as file:
            for row in csv.DictReader(file):
                yield from (row[column] for column in TABLES[path.stem] if row.get(column))
    elif path.suffix == ".html":
        text = path.read_text(encoding="utf-8")
        yield from (
            one.strip() for pattern in (MARKUP, LABELS) for one in pattern.findall(text) if one.strip()
        )
    else:
        method, keywords = ("python", PYTHON) if path.suffix == ".py" else ("javascript", SCRIPT)
        options = {} if method == "python" else {"parse_template_string": True}
        with path.open("rb") as file:
            yield from (message for _, message, _, _ in extract(method, file, keywords, options=options))


def read(source: Source) -> Catalog:
    """The catalogue as it is stored; an empty one where there is none yet."""
    if not source.path.exists():
        return Catalog(locale=LANGUAGE, domain=source.domain)
    with source.path.open("rb") as file:
        return read_po(file, locale=LANGUAGE, domain=source.domain)


def collected(source: Source) -> Catalog:
    """The catalogue with exactly what is marked, and the translations that it has."""
    before = read(source)
    after = Catalog(
        locale=LANGUAGE,
        domain=source.domain,
        header_comment=HEADER,
        project=source.package,
        creation_date=before.creation_date,
        revision_date=before.creation_date,
        fuzzy=False,
    )
    for message, places in marked(source).items():
        known = before.get(message)
        empty = "" if isinstance(message, str) else ("", "")
        is_same = known is not None and known.id == message
        after.add(message, known.string if is_same else empty, [(place, None) for place in places])
    return after


HEADER = """\
# Words for operators. Latin American Spanish as it is spoken in metal shops; glossary and its sources in README.md."""


def compiled(catalogue: Catalog) -> bytes:
    file = io.BytesIO()
    write_mo(file, catalogue)
    return file.getvalue()


def main() -> None:
    for source in SOURCES:
        catalogue = collected(source)
        source.path.parent.mkdir(parents=True, exist_ok=True)
        with source.path.open("wb") as file:
            write_po(file, catalogue, width=100, include_lineno=False, omit_header=False)
        source.path.with_suffix(".mo").write_bytes(compiled(catalogue))
        lacking = [message.id for message in catalogue if message.id and not any(_forms(message.string))]
        print(f"{source.package} {source.domain}: {len(catalogue)} texts, {len(lacking)} to translate")


def _forms(string: str | tuple[str, ...] | None) -> tuple[str, ...]:
    return string if isinstance(string, tuple) else (string or "",)


if __name__ == "__main__":
    main()
