"""Jobs left behind or put back by their worker, taken up again by another, given up in the end."""

from __future__ import annotations

import pytest

from shared.jobs import (
    JobLost,
    Work,
    job_of,
    job_stop,
    jobs_put_back,
)
from tests.shared.job_runs import (
    Killed,
    ask,
    finish_with_result,
    leave_behind,
    work,
)

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_job_is_taken_up_again_when_its_heartbeat_has_stood_still_for_half_a_minute(clock):
    ask()
    leave_behind(clock)
    clock.passes(30)
    assert not work(lambda run: pytest.fail("too early"), clock, worker="two")
    clock.passes(0.1)
    seen = []
    assert work(lambda run: seen.append((run.job.attempts, run.job.worker)), clock, worker="two")
    assert seen == [(2, "two")]


def test_a_job_taken_up_again_begins_anew_but_remembers_that_it_was_stopped(clock):
    ask()

    def dies(run):
        run.tell(0.9, "nearly there", {"sheets": 3})
        job_stop(kind="count", subject="17", now=clock())
        raise Killed

    with pytest.raises(Killed):
        work(dies, clock)
    clock.passes(31)
    seen = []

    def handler(run):
        job = job_of("count", "17")
        seen.append((job.share, job.words, job.figures, job.started_at, run.tell(0)))

    work(handler, clock, worker="two")
    assert seen == [(0, "", {}, clock(), False)]


def test_a_worker_whose_job_was_taken_over_writes_nothing(clock, written):
    """It was only slow: it wakes up when another one is at its job, or has done it already."""
    ask()

    def slow(run):
        clock.passes(31)
        assert work(finish_with_result, clock, worker="two")
        with pytest.raises(JobLost):
            run.tell(0.5, "half")
        finish_with_result(run)

    assert work(slow, clock, worker="one")
    job = job_of("count", "17")
    assert (written(), job.worker, job.words) == (1, "two", "Counted.")


def test_a_slow_worker_does_not_end_the_attempt_of_the_one_that_took_over(clock, written):
    ask()

    def slow(run):
        clock.passes(31)
        leave_behind(clock, worker="two")
        finish_with_result(run)

    assert work(slow, clock, worker="one")
    job = job_of("count", "17")
    assert (written(), job.state, job.worker) == (0, "running", "two")


def test_after_three_attempts_that_broke_off_it_fails_with_a_sentence(clock):
    ask()
    undone = []
    for _ in range(3):
        leave_behind(clock)
        clock.passes(31)
    failing = Work(lambda run: pytest.fail("a fourth time"), lambda run, words: undone.append(words))
    assert work(failing, clock)
    job = job_of("count", "17")
    sentence = "It broke off 3 times and was given up. Try again with less work at once."
    assert (job.state, job.words, job.attempts, job.ended_at) == ("failed", sentence, 3, clock())
    assert undone == [sentence]
    assert not work(failing, clock)


def test_a_job_put_back_waits_at_its_old_place_and_no_attempt_is_counted(clock):
    ask("1")
    ask("2", seconds=1)
    leave_behind(clock)
    assert jobs_put_back(worker="another") == 0
    assert jobs_put_back(worker="one") == 1
    job = job_of("count", "1")
    assert (job.state, job.attempts, job.worker, job.share) == ("queued", 0, "", 0)
    seen = []
    work(lambda run: seen.append(run.subject), clock, worker="two")
    assert seen == ["1"]


def test_a_job_put_back_is_lost_to_who_was_at_it(clock, written):
    ask()

    def handler(run):
        jobs_put_back(worker="one")
        finish_with_result(run)

    assert work(handler, clock)
    assert (written(), job_of("count", "17").state) == (0, "queued")
