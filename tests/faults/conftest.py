"""A shop made once, and servers of copies of it. The random seeds are printed, so that a failure can be repeated."""

from __future__ import annotations

import os
import random

import pytest

from tests.faults.server import copied, serving, shop_drop, shop_make


@pytest.fixture(scope="session")
def first_shop(tmp_path_factory):
    shop = shop_make(tmp_path_factory.mktemp("faults") / "shop")
    yield shop
    shop_drop(shop)


@pytest.fixture
def shop(first_shop, tmp_path):
    with copied(first_shop, tmp_path / "data") as shop:
        yield shop


@pytest.fixture
def server(shop):
    with serving(shop) as server:
        yield server


@pytest.fixture
def seed(request) -> int:
    """SHOPFLOOR_FAULT_SEED repeats a failure; pytest shows what is printed where a test fails."""
    chosen = int(os.environ.get("SHOPFLOOR_FAULT_SEED") or random.SystemRandom().getrandbits(32))
    print(f"{request.node.name}: SHOPFLOOR_FAULT_SEED={chosen}")
    return chosen


@pytest.fixture
def rng(seed) -> random.Random:
    return random.Random(seed)
