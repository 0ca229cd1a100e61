"""Jobs: asked for once, done, told of, ended together with their result; what looking for them costs."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from shared.jobs import (
    job_of,
)
from shared.models import Job
from shared.problems import Conflict
from shared.turn import write_turn
from tests.shared.job_runs import (
    NOON,
    Killed,
    ask,
    finish_with_result,
    work,
    write_result,
)

pytestmark = pytest.mark.django_db(transaction=True)


# -- asking ------------------------------------------------------------------------


def test_a_job_waits_with_who_asked_and_when():
    ask()
    job = job_of("count", "17")
    assert (job.state, job.asked_by, job.queued_at, job.attempts) == ("queued", "office", NOON, 0)
    assert job_of("count", "18") is None


def test_a_second_job_for_the_same_subject_is_told_of_the_first(clock):
    ask()
    with pytest.raises(Conflict) as refused:
        ask()
    assert refused.value.detail == "Work on count 17 is under way. Wait for its end, or stop it."

    def while_it_runs(run):
        with pytest.raises(Conflict):
            ask()

    assert work(while_it_runs, clock)
    assert Job.objects.count() == 1
    assert ask().pk == job_of("count", "17").pk, "once it has ended it can be asked for again"


def test_a_job_asked_for_in_a_transaction_that_fails_was_never_asked_for():
    with pytest.raises(ZeroDivisionError), transaction.atomic():
        ask()
        raise ZeroDivisionError
    assert job_of("count", "17") is None


def test_a_refused_second_job_leaves_the_transaction_around_it_usable():
    ask()
    with transaction.atomic():
        with pytest.raises(Conflict):
            ask()
        ask("18")
    assert job_of("count", "18").state == "queued"


# -- doing -------------------------------------------------------------------------


def test_without_a_job_there_is_nothing_to_do(clock):
    assert not work(lambda run: pytest.fail("called"), clock)


def test_the_oldest_job_comes_first_and_each_once(clock):
    ask("late", seconds=2)
    ask("early", seconds=1)
    seen = []
    while work(lambda run: seen.append(run.subject), clock):
        pass
    assert seen == ["early", "late"]


def test_jobs_of_a_kind_that_a_worker_does_not_know_are_left_alone(clock):
    ask(kind="dance")
    assert not work(lambda run: pytest.fail("called"), clock)
    assert job_of("dance", "17").state == "queued"


def test_a_running_job_shows_how_far_it_is(clock):
    ask()
    shown = []

    def handler(run):
        clock.passes(5)
        assert run.tell(0.25, "a quarter", {"sheets": 3})
        shown.append(job_of("count", "17"))

    work(handler, clock)
    (job,) = shown
    assert (job.state, job.share, job.words, job.figures) == ("running", 0.25, "a quarter", {"sheets": 3})
    assert (job.started_at, job.heartbeat_at, job.worker) == (NOON, NOON + timedelta(seconds=5), "one")


def test_words_and_figures_stay_until_there_are_others_and_the_share_stays_between_none_and_all(clock):
    ask()

    def handler(run):
        run.tell(-3, "begun", {"sheets": 3})
        assert job_of("count", "17").share == 0
        clock.passes(1)
        run.tell(7)
        clock.passes(1)
        run.tell(float("nan"), "w" * 500)

    work(handler, clock)
    job = job_of("count", "17")
    assert (job.share, job.figures, job.words) == (1, {"sheets": 3}, "w" * 200)


def test_telling_often_writes_once_a_second(clock):
    ask()
    counted = []

    def handler(run):
        with CaptureQueriesContext(connection) as queries:
            for _ in range(1000):
                clock.passes(0.01)
                run.tell(0.5)
        counted.append(sum(query["sql"].startswith("UPDATE") for query in queries))

    work(handler, clock)
    assert 9 <= counted[0] <= 11, "ten seconds went by"


def test_finish_ends_the_job_together_with_the_result(clock, written):
    ask()
    clock.passes(9)
    work(finish_with_result, clock)
    job = job_of("count", "17")
    assert (job.state, job.share, job.words, job.ended_at) == ("done", 1, "Counted.", clock())
    assert written() == 1


def test_a_handler_that_just_returns_is_done(clock):
    ask()
    work(lambda run: run.tell(0.4, "nearly half"), clock)
    job = job_of("count", "17")
    assert (job.state, job.share, job.words, job.ended_at) == ("done", 1, "nearly half", NOON)


def test_finish_outside_a_transaction_is_a_mistake_of_the_handler(clock):
    ask()

    def handler(run):
        with pytest.raises(RuntimeError):
            run.finish("Counted.")

    work(handler, clock)


def test_killed_between_the_result_and_the_commit_nothing_was_done_and_it_runs_again(clock, written):
    ask()

    def dies(run):
        with write_turn(), transaction.atomic():
            write_result()
            run.finish("Counted.")
            raise Killed

    with pytest.raises(Killed):
        work(dies, clock)
    assert written() == 0
    assert job_of("count", "17").state == "running"
    clock.passes(31)
    assert work(finish_with_result, clock, worker="two")
    assert (written(), job_of("count", "17").state, job_of("count", "17").attempts) == (1, "done", 2)


def test_killed_after_the_commit_it_is_done_and_does_not_run_again(clock, written):
    ask()

    def dies(run):
        finish_with_result(run)
        raise Killed

    with pytest.raises(Killed):
        work(dies, clock)
    clock.passes(3600)
    assert not work(finish_with_result, clock, worker="two")
    assert (written(), job_of("count", "17").state) == (1, "done")


# -- what it costs -------------------------------------------------------------------------


@pytest.fixture
def history():
    """Years of jobs that have ended."""
    Job.objects.bulk_create(
        Job(kind="count", subject=str(n), state="done", queued_at=NOON + timedelta(seconds=n))
        for n in range(3000)
    )
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def plan_of(sql: str) -> str:
    with connection.cursor() as cursor:
        cursor.execute(("EXPLAIN QUERY PLAN " if connection.vendor == "sqlite" else "EXPLAIN ") + sql)
        return str(cursor.fetchall())


def test_an_idle_look_is_one_query_over_what_is_open(history, clock, django_assert_num_queries):
    with django_assert_num_queries(1) as found:
        assert not work(lambda run: None, clock)
    assert "job_open_" in plan_of(found[0]["sql"])


def test_the_newest_job_of_a_subject_is_found_by_its_index(history, django_assert_num_queries):
    with django_assert_num_queries(1) as found:
        assert job_of("count", "17").subject == "17"
    assert "job_by_subject" in plan_of(found[0]["sql"])
