"""What is asked of open work and of today goes by the small indexes that exist for it, not through years of record.

SQLite says how it would go, and without statistics it does so whatever is in the tables. PostgreSQL chooses by what it
knows of them, so it is only asked whether it can go by any index where whole tables are dear;
`tests/bench/bench_history.py` measures both with five million scans.
"""

from __future__ import annotations

import pytest
from django.db import connection
from django.utils import timezone

from shopfloor.exceptions import refused_today
from shopfloor.needs_eyes import Kind, open_rows, settled_rows
from travelers.models import Task

NOW = timezone.now()


@pytest.mark.parametrize(
    ("rows", "index"),
    [
        (lambda: Task.objects.open(), "task_open_by_operation"),
        (lambda: Task.objects.open().at("roll").exclude(state="waiting"), "task_open_by_operation"),
        (lambda: open_rows(Kind.HOLD, now=NOW), "task_open_by_operation"),
        (lambda: open_rows(Kind.IMPLIED, now=NOW), "task_implied"),
        (lambda: open_rows(Kind.CLOCK, now=NOW), "scan_clock_doubtful"),
        (lambda: refused_today(now=NOW), "scan_refused"),
        (lambda: settled_rows(now=NOW), "scan_resumed"),
    ],
)
def test_it_goes_by_its_index(db, rows, index):
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL enable_seqscan = off")
        plan = rows().explain()
        assert "Seq Scan on travelers_" not in plan, plan
        return
    first = next(line for line in rows().explain().splitlines() if " travelers_" in line)
    assert f" INDEX {index}" in first, first
