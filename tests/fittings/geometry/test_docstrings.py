"""Every public function says its units and source and shows an example that runs; the package stays pure."""

import ast
import doctest
import importlib
import inspect
import pkgutil
import re
import sys
from pathlib import Path

import pytest

import fittings.geometry

MODULES = ["fittings.geometry"] + [
    f"fittings.geometry.{module.name}" for module in pkgutil.iter_modules(fittings.geometry.__path__)
]
PUBLIC = [
    (name, function)
    for name in MODULES
    for label, function in inspect.getmembers(importlib.import_module(name), inspect.isfunction)
    if function.__module__ == name and not label.startswith("_")
]
UNIT = re.compile(r"\[[^\]]*\b(in|mm|rad|deg|lb|1)\b[^\]]*\]|\[in²")


def test_there_are_functions_to_check():
    assert len(PUBLIC) > 20


@pytest.mark.parametrize(("module", "function"), PUBLIC, ids=lambda value: getattr(value, "__name__", ""))
def test_docstring_has_units_source_and_example(module, function):
    text = inspect.getdoc(function) or ""
    assert UNIT.search(text), f"{module}.{function.__name__} names no unit in brackets"
    assert re.search(r"^source\s+\S", text, re.M), f"{module}.{function.__name__} names no source"
    assert ">>> " in text, f"{module}.{function.__name__} has no example"


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_package_docstring_says_its_units_once():
    assert "inches" in fittings.geometry.__doc__ and "radians" in fittings.geometry.__doc__


@pytest.mark.parametrize(
    "path", sorted(Path(fittings.geometry.__file__).parent.glob("*.py")), ids=lambda p: p.name
)
def test_only_the_standard_library_numpy_and_shapely_are_imported(path):
    allowed = sys.stdlib_module_names - {
        "pathlib",
        "os",
        "io",
        "time",
        "datetime",
        "sqlite3",
        "socket",
        "random",
    }
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or ""] if not node.level else []
        else:
            continue
        for name in names:
            assert name.split(".")[0] in allowed | {"numpy", "shapely"}, (
                f"{path.name}:{node.lineno} imports {name}"
            )
