"""Which way imports point: shared ← fittings ← travelers ← shopfloor, and what the pure modules may not know.

Reads the syntax tree of every file, late imports inside functions included, migrations, string foreign keys, and the
references of templates. A failure names file, line and rule.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parent.parent
PACKAGES = ("shared", "fittings", "travelers", "shopfloor")
PURE = (
    "fittings/geometry/",
    "fittings/cutting/",
    "fittings/drawing/",
    "fittings/costing.py",
    "travelers/state.py",
    "travelers/routing.py",
    "travelers/forms.py",
    "travelers/measures.py",
    "travelers/sentences.py",
    "travelers/next_piece.py",
    "travelers/leaving.py",
    "travelers/readiness.py",
    "travelers/documents/",
    "shopfloor/flow/",
    "shared/sheets.py",
    "shared/portions.py",
    "shared/texts.py",
    "shared/units.py",
    "shared/codes.py",
    "shared/words.py",
    "shared/tagging.py",
)
PURE_PARTS = (
    "portions",
    "texts",
    "units",
    "codes",
    "words",
    "tagging",
    "geometry",
    "cutting",
    "drawing",
    "costing",
    "state",
    "routing",
    "forms",
    "measures",
    "sentences",
    "next_piece",
    "leaving",
    "readiness",
    "documents",
    "flow",
)
CLOCKS = {"now", "today", "utcnow"}
URL_NAMES = re.compile(r"""{%\s*url\s+["']([\w-]+)["'](?![^%]*\sas\s)""")
"""Links that must resolve. `{% url "name" as link %}` gives nothing where no package has the address: not a need."""
TEMPLATES = re.compile(r"""{%\s*(?:include|extends)\s+["']([^"']+)["']""")
STATIC = re.compile(r"""{%\s*static\s+["']([^"']+)["']""")


def python_files() -> list[Path]:
    return sorted(path for package in PACKAGES for path in (TOP / package).rglob("*.py"))


def template_files() -> list[Path]:
    return sorted(path for package in PACKAGES for path in (TOP / package).glob("templates/**/*.html"))


def rank(name: str) -> int | None:
    """The layer of a dotted or slashed name; None for what is not ours."""
    first = re.split(r"[./]", name)[0]
    return PACKAGES.index(first) if first in PACKAGES else None


def imports(tree: ast.AST, package: str) -> Iterator[tuple[int, str]]:
    """Line and dotted name of every import, wherever it stands; relative ones made absolute."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*above, base] if base else above)
            yield from ((node.lineno, f"{base}.{alias.name}") for alias in node.names)
        elif isinstance(node, ast.Call) and _called(node) in ("import_module", "__import__"):
            yield from ((node.lineno, text) for text in _texts(node)[:1])


def labels(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """App labels named in strings: relations, `get_model`, migration dependencies, `resolve`d and loaded names."""
    relations = {"ForeignKey", "OneToOneField", "ManyToManyField"}
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            if _called(node) in relations:
                named = [word.value for word in node.keywords if word.arg in ("to", "through")]
                for part in [*node.args[:1], *named]:
                    if isinstance(part, ast.Constant) and isinstance(part.value, str) and "." in part.value:
                        yield node.lineno, part.value
            elif _called(node) == "get_model":
                yield from ((node.lineno, text) for text in _texts(node)[:1])
        elif isinstance(node, ast.Assign) and any(
            isinstance(target, ast.Name) and target.id in ("dependencies", "run_before")
            for target in node.targets
        ):
            for pair in ast.walk(node.value):
                if isinstance(pair, ast.Tuple) and pair.elts and isinstance(pair.elts[0], ast.Constant):
                    yield pair.lineno, str(pair.elts[0].value)


def tables_in_sql(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Tables that SQL in a string names: `travelers_task` is of travelers."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            for package in PACKAGES:
                if re.search(rf"\b(?:FROM|JOIN|INTO|UPDATE)\s+{package}_\w+", node.value):
                    yield node.lineno, package


def _called(node: ast.Call) -> str:
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def _texts(node: ast.Call) -> list[str]:
    return [
        part.value for part in node.args if isinstance(part, ast.Constant) and isinstance(part.value, str)
    ]


def backwards(path: Path, source: str) -> list[str]:
    """What points to a package further out than the file's own."""
    name = path.as_posix()
    own = rank(name)
    tree = ast.parse(source)
    package = ".".join(Path(name).parent.parts)
    found = []
    for rule, pairs in (
        ("imports", imports(tree, package)),
        ("names", labels(tree)),
        ("queries a table of", tables_in_sql(tree)),
    ):
        for line, other in pairs:
            there = rank(other)
            if there is not None and there > own:
                found.append(
                    f"{name}:{line}: {PACKAGES[own]} {rule} {other}, but {PACKAGES[own]} comes before it"
                )
    return found


def impure(path: Path, source: str) -> list[str]:
    """What a pure module uses that it must not: Django, the database, the network, the clock, modules not pure."""
    name = path.as_posix()
    tree = ast.parse(source)
    package = ".".join(Path(name).parent.parts)
    found = []
    for line, other in imports(tree, package):
        parts = other.split(".")
        if parts[0] in ("django", "rest_framework", "psycopg", "sqlite3", "socket", "urllib", "requests"):
            found.append(f"{name}:{line}: a pure module imports {other}")
        elif parts[0] in PACKAGES and not any(part in PURE_PARTS for part in parts[1:]):
            found.append(f"{name}:{line}: a pure module imports {other}, which is not pure")
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in CLOCKS:
            found.append(f"{name}:{node.lineno}: a pure module asks the clock ({node.func.attr})")
    return found


def is_pure(name: str) -> bool:
    return any(name == part or name.startswith(part) for part in PURE)


def template_errors(path: Path, source: str, urls: dict[str, str]) -> list[str]:
    """Templates, addresses and static files of a package further out. `urls`: an address's name to its package."""
    name = path.as_posix()
    own = rank(name)
    found = []
    for pattern, word, package_of in (
        (TEMPLATES, "uses the template", lambda other: other.split("/")[0]),
        (STATIC, "uses the file", lambda other: other.split("/")[0]),
        (URL_NAMES, "links to", lambda other: urls.get(other, "")),
    ):
        for number, line in enumerate(source.splitlines(), start=1):
            for other in pattern.findall(line):
                there = rank(package_of(other))
                if there is not None and there > own:
                    found.append(f"{name}:{number}: {PACKAGES[own]} {word} {other} of {PACKAGES[there]}")
    return found


def url_packages() -> dict[str, str]:
    """Each address's name to the package whose file names it."""
    found = {}
    for path in python_files():
        if path.name not in ("urls.py", "api_urls.py", "pages.py"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and _called(node) in ("path", "re_path"):
                for word in node.keywords:
                    if word.arg == "name" and isinstance(word.value, ast.Constant):
                        found[word.value.value] = path.relative_to(TOP).parts[0]
    return found


# -- the rules -------------------------------------------------------------------


def test_nothing_points_backwards():
    found = [
        error
        for path in python_files()
        for error in backwards(path.relative_to(TOP), path.read_text(encoding="utf-8"))
    ]
    assert not found, "\n" + "\n".join(found)


def test_pure_modules_are_pure():
    found = [
        error
        for path in python_files()
        if is_pure(path.relative_to(TOP).as_posix())
        for error in impure(path.relative_to(TOP), path.read_text(encoding="utf-8"))
    ]
    assert not found, "\n" + "\n".join(found)


def test_templates_use_and_link_to_nothing_further_out():
    urls = url_packages()
    found = [
        error
        for path in template_files()
        for error in template_errors(path.relative_to(TOP), path.read_text(encoding="utf-8"), urls)
    ]
    assert not found, "\n" + "\n".join(found)


def test_models_import_neither_views_nor_forms_nor_template_tags():
    outer = {"views", "forms", "templatetags", "api", "urls", "pages"}
    found = []
    for path in python_files():
        if path.name == "models.py" or path.parent.name == "models":
            name = path.relative_to(TOP).as_posix()
            for line, other in imports(ast.parse(path.read_text(encoding="utf-8")), name.split("/")[0]):
                if rank(other) is not None and outer & set(other.split(".")):
                    found.append(f"{name}:{line}: models import {other}")
    assert not found, "\n" + "\n".join(found)


def test_no_signals_between_our_own_packages():
    found = [
        f"{path.relative_to(TOP)}: uses signals"
        for path in python_files()
        if re.search(r"\b(?:receiver\(|(?:pre|post)_(?:save|delete)\b)", path.read_text(encoding="utf-8"))
    ]
    assert not found, "\n" + "\n".join(found)


def test_migrations_do_not_import_live_models():
    found = []
    for path in python_files():
        if path.parent.name == "migrations":
            name = path.relative_to(TOP).as_posix()
            for line, other in imports(
                ast.parse(path.read_text(encoding="utf-8")), ".".join(Path(name).parent.parts)
            ):
                if rank(other) is not None:
                    found.append(f"{name}:{line}: a migration imports {other}")
    assert not found, "\n" + "\n".join(found)


def test_files_stay_below_five_hundred_lines_or_so():
    """Split by subject near 500: a file above 600 was not."""
    found = [
        f"{path.relative_to(TOP)} has {lines} lines"
        for path in python_files()
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > 600
    ]
    assert not found, "\n" + "\n".join(found)


# -- the rules catch what they are for -----------------------------------------------


@pytest.mark.parametrize(
    ("name", "source"),
    [
        ("shared/a.py", "import fittings.models"),
        ("fittings/a.py", "from travelers.models import Task"),
        ("fittings/a.py", "def late():\n    from shopfloor import keys"),
        ("fittings/a.py", "import importlib\nimportlib.import_module('travelers.state')"),
        ("fittings/models.py", "line = models.ForeignKey('travelers.Traveler', on_delete=1)"),
        ("fittings/models.py", "line = models.ForeignKey(to='travelers.Traveler', on_delete=1)"),
        ("travelers/a.py", "apps.get_model('shopfloor', 'Station')"),
        ("travelers/a.py", "apps.get_model('shopfloor.Station')"),
        (
            "travelers/migrations/0001_a.py",
            "class M:\n    dependencies = [('fittings', '1'), ('shopfloor', '1')]",
        ),
        ("travelers/a.py", "cursor.execute('SELECT 1 FROM shopfloor_station')"),
    ],
)
def test_a_step_backwards_is_found_with_its_file_and_line(name, source):
    found = backwards(Path(name), source)
    assert len(found) == 1
    assert found[0].startswith(f"{name}:{max(1, len(source.splitlines()))}:")


@pytest.mark.parametrize(
    ("name", "source"),
    [
        ("travelers/a.py", "from fittings.models import Order\nfrom shared import codes"),
        ("fittings/a.py", "from . import models\nfrom .geometry import develop"),
        ("travelers/models.py", "line = models.ForeignKey('fittings.OrderLine', on_delete=1)"),
        ("shopfloor/a.py", "from travelers.models import Task"),
    ],
)
def test_a_step_forwards_is_not(name, source):
    assert backwards(Path(name), source) == []


@pytest.mark.parametrize(
    "source",
    [
        "from django.db import models",
        "def late():\n    import django",
        "from travelers.models import Task",
        "from datetime import datetime\ndatetime.now()",
        "import urllib.request",
    ],
)
def test_an_impure_module_is_found(source):
    assert impure(Path("travelers/state.py"), source)


def test_a_template_that_reaches_out_is_found():
    urls = {"board": "shopfloor", "orders": "fittings"}
    source = "{% extends 'shared/base.html' %}\n{% include \"travelers/_row.html\" %}\n"
    source += "{% url 'board' %}{% url 'orders' %}"
    source += "{% url 'board' as link %}"
    found = template_errors(Path("fittings/templates/fittings/a.html"), source, urls)
    assert [error.split(":")[1] for error in found] == ["2", "3"]
