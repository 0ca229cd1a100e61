"""What the tests of jobs begin with."""

import pytest

from fittings.models import CodeSeries
from tests.shared.job_runs import Clock


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def written():
    """How often results were written and kept."""
    CodeSeries.objects.all().delete()
    CodeSeries.objects.create(pk=1, next_number=0)
    return lambda: CodeSeries.objects.get().next_number
