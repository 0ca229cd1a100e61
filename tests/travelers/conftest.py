"""What the tests of the record begin with."""

import pytest

from tests.travelers.floor import Floor, floor


@pytest.fixture
def on(shop) -> Floor:
    return floor()
