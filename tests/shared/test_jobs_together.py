"""Jobs with several workers at once, as threads with connections of their own."""

from __future__ import annotations

import threading
from collections import Counter
from datetime import timedelta

import pytest
from django.utils import timezone

from shared import jobs
from shared.jobs import JobLost, job_cancel, job_enqueue, job_of, work_once
from shared.models import Job
from shared.problems import Conflict
from tests.shared.job_runs import NOON
from tests.threads import outcomes, together, until

pytestmark = pytest.mark.django_db(transaction=True)

SOON = 20.0


def test_many_workers_do_each_job_once():
    for number in range(40):
        job_enqueue(kind="count", subject=str(number), asked_by="office", now=NOON)
    done: list[str] = []

    def worker(name):
        taken = 0
        while work_once({"count": lambda run: done.append(run.subject)}, worker=name):
            taken += 1
        return taken

    taken = together(*[lambda name=name: worker(name) for name in "abcdefgh"])
    assert sum(taken) == 40
    assert Counter(done) == {str(number): 1 for number in range(40)}
    assert not Job.objects.exclude(state="done", attempts=1).exists()


def test_a_job_left_behind_is_taken_up_by_one_worker():
    job_enqueue(kind="count", subject="17", asked_by="office", now=NOON)
    Job.objects.update(state="running", worker="gone", attempts=1, heartbeat_at=NOON, started_at=NOON)
    late = NOON + timedelta(minutes=1)
    seen = []
    took = together(
        *[
            lambda name=name: work_once(
                {"count": lambda run: seen.append(run.job.attempts)}, worker=name, now=lambda: late
            )
            for name in "abcdef"
        ]
    )
    assert sorted(took) == [False] * 5 + [True]
    assert seen == [2]


def test_of_many_who_ask_for_the_same_work_one_gets_it():
    asked = outcomes(
        *[lambda: job_enqueue(kind="count", subject="17", asked_by="office", now=NOON) for _ in range(8)]
    )
    assert Counter(type(one) for one in asked) == {Job: 1, Conflict: 7}
    assert Job.objects.count() == 1


def test_another_worker_takes_the_next_job_while_one_is_at_the_first():
    for subject in "12":
        job_enqueue(kind="count", subject=subject, asked_by="office", now=NOON)
    both = threading.Barrier(2, timeout=SOON)
    took = together(
        *[lambda name=name: work_once({"count": lambda run: both.wait()}, worker=name) for name in "ab"]
    )
    assert took == [True, True], "each waited for the other, so both were at work at once"


def test_a_cancellation_from_elsewhere_reaches_a_handler_that_tells():
    job_enqueue(kind="count", subject="17", asked_by="office", now=NOON)
    begun, ended = threading.Event(), []

    def handler(run):
        begun.set()
        try:
            until(lambda: run.tell(0.5) is False, SOON)
        except JobLost:
            ended.append("lost")
            raise

    def cancel():
        assert begun.wait(SOON)
        job_cancel(kind="count", subject="17", now=NOON)

    assert together(lambda: work_once({"count": handler}, worker="a"), cancel) == [True, None]
    assert ended == ["lost"]
    assert job_of("count", "17").state == "cancelled"


def test_the_heart_beats_while_the_handler_is_silent(monkeypatch):
    """From a thread with a connection of its own, which leaves none behind."""
    monkeypatch.setattr(jobs, "BEAT_SECONDS", 0.02)
    job_enqueue(kind="count", subject="17", asked_by="office", now=NOON)
    beats = []

    def handler(run):
        first = job_of("count", "17").heartbeat_at
        beats.append(until(lambda: job_of("count", "17").heartbeat_at > first, SOON))
        second = job_of("count", "17").heartbeat_at
        beats.append(until(lambda: job_of("count", "17").heartbeat_at > second, SOON))

    assert work_once({"count": handler}, worker="a", now=timezone.now)
    assert beats == [True, True]
    assert not [one for one in threading.enumerate() if one.name == "job-heartbeat"]


def test_the_heart_of_a_lost_job_does_not_beat_for_the_one_who_has_it(monkeypatch):
    monkeypatch.setattr(jobs, "BEAT_SECONDS", 0.01)
    job_enqueue(kind="count", subject="17", asked_by="office", now=NOON)
    ticks = []

    def clock():
        ticks.append(1)
        return timezone.now()

    def handler(run):
        Job.objects.update(worker="another", attempts=2, heartbeat_at=NOON)
        before = len(ticks)
        assert until(lambda: len(ticks) >= before + 3, SOON), "it tried three times"

    work_once({"count": handler}, worker="a", now=clock)
    job = job_of("count", "17")
    assert (job.worker, job.heartbeat_at, job.state) == ("another", NOON, "running")
