"""Every file from another project is the one that VENDORED.md names, and none is missing or unlisted."""

import hashlib
import re
from pathlib import Path

STATIC = Path(__file__).resolve().parents[2] / "shared" / "static" / "shared"
VENDOR = STATIC / "vendor"
ROW = re.compile(r"^\| `(?P<file>[^`]+)` \| (?P<rest>.+) \| `(?P<digest>[0-9a-f]{64})` \|$", re.MULTILINE)


def listed() -> dict[str, re.Match]:
    return {row["file"]: row for row in ROW.finditer((STATIC / "VENDORED.md").read_text())}


def kept() -> dict[str, Path]:
    return {str(path.relative_to(VENDOR)): path for path in VENDOR.rglob("*") if path.is_file()}


def test_every_file_is_listed_and_every_row_has_its_file():
    assert set(listed()) == set(kept())


def test_every_file_is_the_one_that_was_published():
    digests = {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in kept().items()}
    assert digests == {name: row["digest"] for name, row in listed().items()}


def test_every_row_names_package_version_and_licence_and_the_path_has_the_version():
    for name, row in listed().items():
        package, version, licence, origin = (part.strip() for part in row["rest"].split(" | "))
        assert package and licence and origin, name
        assert re.fullmatch(r"\d+\.\d+\.\d+", version), name
        assert version in name


def test_every_package_has_its_licence_beside_it():
    packages = {row["rest"].split(" | ")[0] for row in listed().values()}
    with_licence = {row["rest"].split(" | ")[0] for name, row in listed().items() if "LICENSE" in name}
    assert packages == with_licence


def test_our_scripts_and_styles_load_only_what_is_here():
    for path in (*STATIC.glob("*.css"), *STATIC.glob("*.js")):
        text = path.read_text()
        for found in re.findall(r"""url\(["']?([^"')]+)|(?:from|import)\s+["']([^"']+)["']""", text):
            address = found[0] or found[1]
            assert not re.match(r"[a-z]+:|//|/", address), f"{path.name} loads {address}"
            assert (path.parent / address).is_file(), f"{path.name} loads {address}, which is not there"
