"""The guide against the code: modules and the map, words in use and the glossary, states and the glossary."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps

from shared.templatetags.parts import RESULT_WORDS, STATE_WORDS

TOP = Path(__file__).resolve().parent.parent
PACKAGES = ("shared", "fittings", "travelers", "shopfloor")
TOPS = (*PACKAGES, "tests", "fixtures", "manage.py", "*")


def section(name: str, title: str) -> str:
    """A section of a document, from its heading to the next of that rank."""
    text = (TOP / name).read_text(encoding="utf-8")
    return re.split(r"^## ", text.partition(f"## {title}\n")[2], maxsplit=1, flags=re.MULTILINE)[0]


def cells(text: str) -> Iterator[list[str]]:
    """The rows of the tables in a text, without their heads."""
    for line in text.splitlines():
        if line.startswith("| ") and not line.startswith("| ---"):
            yield [cell.strip() for cell in line.strip("|").split(" | ")]


# -- the map ----------------------------------------------------------------------


def mapped(text: str) -> list[str]:
    """The paths that the first column of a map names; what is no whole path goes on from the folder before it."""
    found = []
    for row in cells(text):
        folder = ""
        for name in re.findall(r"`([^`]+)`", row[0]):
            if name.partition("/")[0] in TOPS:
                folder = "" if name in TOPS else name.rstrip("/").rpartition("/")[0] + "/"
                found.append(name)
            else:
                found.append(folder + name)
    return found


def is_on(path: str, paths: list[str]) -> bool:
    """By its own name, or by that of a folder below a package."""
    return any(
        path == one or (one.count("/") > 1 and one.endswith("/") and path.startswith(one)) for one in paths
    )


def expanded(paths: list[str]) -> list[str]:
    """Patterns to what they stand for."""
    found = []
    for path in paths:
        there = sorted(TOP.glob(path.rstrip("/"))) if "*" in path else [TOP / path]
        found += [one.relative_to(TOP).as_posix() + ("/" if path.endswith("/") else "") for one in there]
    return found


def modules() -> list[str]:
    return [
        path.relative_to(TOP).as_posix()
        for package in PACKAGES
        for path in sorted((TOP / package).rglob("*.py"))
        if path.name != "__init__.py"
    ]


def test_every_module_is_on_the_map():
    paths = expanded(mapped(section("DEVELOPERS.md", "Map")))
    missing = [path for path in modules() if not is_on(path, paths)]
    assert not missing, "\nnot on the map of DEVELOPERS.md:\n" + "\n".join(missing)


def test_everything_on_the_map_is_there():
    gone = [
        path
        for path in mapped(section("DEVELOPERS.md", "Map"))
        if not (any(TOP.glob(path.rstrip("/"))) if "*" in path else (TOP / path).exists())
    ]
    assert not gone, "\non the map of DEVELOPERS.md, and gone:\n" + "\n".join(gone)


def test_a_package_does_not_cover_its_modules_but_a_folder_does():
    paths = mapped(
        "| where | what |\n| --- | --- |\n| `shared/` | x |\n| `tests/flow/` | x |\n| `tests/b.py`, `c.py` | `d.py` |"
    )
    assert paths == ["shared/", "tests/flow/", "tests/b.py", "tests/c.py"]
    assert is_on("tests/flow/deep/one.py", paths) and is_on("tests/c.py", paths)
    assert not is_on("shared/new.py", paths) and not is_on("tests/d.py", paths)


def test_every_command_is_in_the_guide():
    told = section("DEVELOPERS.md", "Commands")
    folder = TOP / "shopfloor" / "management" / "commands"
    names = [path.stem for path in folder.glob("*.py") if path.name != "__init__.py"]
    assert not [name for name in names if f"manage.py {name}" not in told]


def test_every_setting_of_the_environment_is_in_the_guide():
    told = set(re.findall(r"\bSHOPFLOOR_[A-Z_]+\b", (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")))
    read = {
        name
        for path in [TOP / "manage.py", *TOP.glob("[fst]*/**/*.py")]
        for name in re.findall(r"\bSHOPFLOOR_[A-Z_]+\b", path.read_text(encoding="utf-8"))
    }
    assert read - told == set(), "read, and not told of"
    assert told - read == set(), "told of, and read nowhere"


# -- the glossary -------------------------------------------------------------------


def words(text: str) -> dict[str, str]:
    return {
        word.strip().lower(): row[1]
        for row in cells(text.partition("### Spanish")[0])
        for word in (row[0], *row[0].split(","))
        if row[0] not in ("word", "mark")
    }


@pytest.fixture(scope="module")
def glossary() -> dict[str, str]:
    return words(section("README.md", "Glossary"))


def test_every_word_of_the_glossary_is_used(glossary):
    kinds = ("*.py", "*.html", "*.js")
    paths = [path for package in PACKAGES for kind in kinds for path in (TOP / package).rglob(kind)]
    text = "\n".join(path.read_text(encoding="utf-8") for path in paths if "vendor" not in path.parts).lower()
    text = re.sub(r"[\s_]+", " ", text)
    parts = {part.strip() for word in glossary for part in word.split(",")}
    unused = sorted(part for part in parts if not re.search(rf"\b{re.escape(part)}", text))
    assert not unused, f"in the glossary, and used nowhere: {', '.join(unused)}"


def test_the_glossary_is_in_order():
    for table in section("README.md", "Glossary").split("### ")[:2]:
        found = [row[0].lower() for row in cells(table)][1:]
        assert found == sorted(found)


def states() -> list[str]:
    """What the screens' marks say, and the states of the rows behind them."""
    found = [*STATE_WORDS.values(), *RESULT_WORDS.values()]
    for model in apps.get_models():
        if model.__module__.split(".")[0] in PACKAGES and any(f.name == "state" for f in model._meta.fields):
            found += [str(label) for _, label in model._meta.get_field("state").choices or ()]
    return sorted(set(found))


def test_every_state_of_a_screen_is_in_the_glossary(glossary):
    missing = [state for state in states() if state.lower() not in glossary]
    assert not missing, f"states that the glossary does not tell of: {', '.join(missing)}"
