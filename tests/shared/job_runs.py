"""Jobs asked for and worked at by hand, with the tests' own clock; their results are counts in the series of codes.

What handlers "write" here are numbers in that series: any row would do.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.db import transaction

from fittings.models import CodeSeries
from shared.jobs import Run, job_enqueue, work_once
from shared.models import Job
from shared.turn import write_turn

NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)


class Clock:
    def __init__(self):
        self.moment = NOON

    def __call__(self) -> datetime:
        return self.moment

    def passes(self, seconds: float) -> None:
        self.moment += timedelta(seconds=seconds)


def write_result() -> None:
    row = CodeSeries.objects.select_for_update().get()
    row.next_number += 1
    row.save()


def ask(subject: str = "17", *, kind: str = "count", seconds: float = 0) -> Job:
    return job_enqueue(kind=kind, subject=subject, asked_by="office", now=NOON + timedelta(seconds=seconds))


def work(handler, clock, *, worker: str = "one") -> bool:
    return work_once({"count": handler}, worker=worker, now=clock)


def finish_with_result(run: Run) -> None:
    with write_turn(), transaction.atomic():
        write_result()
        run.finish("Counted.")


class Killed(BaseException):
    """As sudden as a process that is gone: nothing of ours catches it."""


def leave_behind(clock, worker: str = "one") -> None:
    def dies(run):
        raise Killed

    with pytest.raises(Killed):
        work(dies, clock, worker=worker)
