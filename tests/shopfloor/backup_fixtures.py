"""A filled shop, made once a module, and a copy of it for each test."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.shopfloor.backup_shop import Shop, new_shop


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Iterator[Shop]:
    made = new_shop(tmp_path_factory.mktemp("filled") / "data")
    made.drive("fill")
    yield made
    made.gone()


@pytest.fixture
def one(filled, tmp_path) -> Iterator[Shop]:
    """The filled shop, to do with as one likes."""
    made = filled.copy(tmp_path / "data")
    yield made
    made.gone()


@pytest.fixture(scope="module")
def filled_file(filled, tmp_path_factory) -> Iterator[Shop]:
    """A filled shop on SQLite, whatever the other tests run on."""
    if not filled.url:
        yield filled
        return
    made = new_shop(tmp_path_factory.mktemp("filled_file") / "data", is_on_server=False)
    made.drive("fill")
    yield made


@pytest.fixture
def one_file(filled_file, tmp_path) -> Shop:
    return filled_file.copy(tmp_path / "data")


@pytest.fixture
def empty(tmp_path) -> Iterator[Shop]:
    """Another machine on which nothing was set up yet."""
    made = new_shop(tmp_path / "another" / "data")
    yield made
    made.gone()
