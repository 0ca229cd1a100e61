"""The history that the measurements are made on is one that the app could have written."""

from __future__ import annotations

from itertools import islice

import pytest
from django.db import connection

from fittings.models import Fitting, Order, Segment
from fittings.search_index import index_differences
from shared.codes import read_code
from tests.bench.ten_years import filled
from tests.factories import NOW
from travelers.models import Pulse, Scan, Traveler
from travelers.replay import replay

ORDERS, RECORDED = 102, 3
"""A two-hundredth of the ten years."""
FITTINGS = ORDERS * 50


@pytest.mark.django_db
def test_copied_work_is_what_its_record_says():
    parts = list(
        islice(filled(ORDERS, recorded=RECORDED, now=NOW), 4)
    )  # without the demo, which has its own test
    assert [name for name, _ in parts][2] == f"{ORDERS - RECORDED} orders copied"
    connection.check_constraints()
    assert Order.objects.filter(state="done").count() == ORDERS == Order.objects.count()
    assert Fitting.objects.filter(state="done").count() == FITTINGS
    assert Scan.objects.count() > 5 * FITTINGS
    assert Pulse.objects.get().sequence == Scan.objects.count()
    assert replay(write=False).differences == []
    assert index_differences()[0] == []
    for model in (Fitting, Segment, Traveler):
        codes = list(model.objects.values_list("code", flat=True))
        assert len(set(codes)) == len(codes) == len([code for code in codes if read_code(code) == code])
