"""Jobs that end otherwise than by themselves: stopped, cancelled, failed."""

from __future__ import annotations

import logging

import pytest
from django.db import OperationalError, transaction

from shared.jobs import (
    JobLost,
    Work,
    job_cancel,
    job_of,
    job_stop,
)
from shared.problems import Busy, WrongInput
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


# -- stopping and cancelling -----------------------------------------------------------


def test_stop_and_keep_is_heard_at_the_next_tell_and_the_result_is_kept(clock, written):
    ask()
    heard = []

    def handler(run):
        heard.append(run.tell(0.1))
        job_stop(kind="count", subject="17", now=clock())
        clock.passes(1)
        heard.append(run.tell(0.2))
        heard.append(run.tell(0.2))
        finish_with_result(run)

    work(handler, clock)
    assert heard == [True, False, False]
    assert (written(), job_of("count", "17").state) == (1, "done")


def test_a_job_stopped_in_the_queue_hears_it_at_once(clock):
    ask()
    job_stop(kind="count", subject="17", now=NOON)
    heard = []
    work(lambda run: heard.append(run.tell(0.1)), clock)
    assert heard == [False]
    assert job_of("count", "17").state == "done"


def test_a_job_cancelled_in_the_queue_never_runs(clock):
    ask()
    job_cancel(kind="count", subject="17", now=NOON)
    assert not work(lambda run: pytest.fail("called"), clock)
    assert (job_of("count", "17").state, job_of("count", "17").ended_at) == ("cancelled", NOON)


def test_a_running_job_that_is_cancelled_is_lost_at_its_next_tell_and_at_all_after(clock, written):
    ask()
    lost = []

    def handler(run):
        run.tell(0.1)
        job_cancel(kind="count", subject="17", now=clock())
        clock.passes(1)
        for _ in range(2):
            with pytest.raises(JobLost):
                run.tell(0.2, "still counting")
            lost.append(True)
        finish_with_result(run)

    assert work(handler, clock)
    job = job_of("count", "17")
    assert lost == [True, True]
    assert (job.state, job.share, job.words, written()) == ("cancelled", 0.1, "", 0)


def test_a_job_cancelled_just_before_its_end_writes_nothing(clock, written):
    ask()

    def handler(run):
        job_cancel(kind="count", subject="17", now=clock())
        finish_with_result(run)

    assert work(handler, clock)
    assert (written(), job_of("count", "17").state) == (0, "cancelled")


def test_a_cancelled_job_stays_cancelled_when_its_handler_returns_or_fails(clock):
    def returns(run):
        job_cancel(kind="count", subject=run.subject, now=clock())

    def fails(run):
        returns(run)
        raise WrongInput([], "No.")

    for subject, handler in (("1", returns), ("2", fails)):
        ask(subject)
        assert work(Work(handler, lambda run, sentence: write_result()), clock)
        assert job_of("count", subject).state == "cancelled"


def test_stopping_and_cancelling_what_has_ended_changes_nothing(clock):
    ask()
    work(lambda run: None, clock)
    job_stop(kind="count", subject="17", now=clock())
    job_cancel(kind="count", subject="17", now=clock())
    job = job_of("count", "17")
    assert (job.state, job.wants_stop) == ("done", False)


# -- failing -----------------------------------------------------------------------------


def test_a_problem_fails_the_job_with_its_sentence_and_the_worker_goes_on(clock, written):
    ask("1")
    ask("2")

    def handler(run):
        if run.subject == "1":
            raise WrongInput([], "The sheet is 12 in wide; the part needs 14 in.")
        finish_with_result(run)

    assert work(handler, clock) and work(handler, clock)
    failed = job_of("count", "1")
    assert (failed.state, failed.words) == ("failed", "The sheet is 12 in wide; the part needs 14 in.")
    assert failed.ended_at == clock()
    assert (job_of("count", "2").state, written()) == ("done", 1)


def test_a_mistake_in_the_program_fails_the_job_in_plain_words_and_the_log_has_the_place(clock, caplog):
    ask()

    def handler(run):
        raise KeyError("gauge of nothing")

    with caplog.at_level(logging.ERROR):
        assert work(handler, clock)
    job = job_of("count", "17")
    assert job.state == "failed"
    assert job.words.startswith("Something went wrong in the program. Nothing was changed;")
    assert "gauge of nothing" in caplog.text and "Traceback" in caplog.text
    assert "gauge" not in job.words


def test_what_failing_undoes_is_undone_with_the_failure(clock, written):
    ask()

    def handler(run):
        raise WrongInput([], "No sheet is large enough.")

    told = []

    def undo(run, sentence):
        write_result()
        told.append((run.subject, sentence, job_of("count", "17").state))

    assert work(Work(handler, undo), clock)
    assert told == [("17", "No sheet is large enough.", "running")]
    assert (written(), job_of("count", "17").state) == (1, "failed")


def test_killed_while_failing_nothing_is_undone_and_it_fails_again(clock, written):
    ask()

    def handler(run):
        raise WrongInput([], "No sheet is large enough.")

    def dies(run, sentence):
        write_result()
        raise Killed

    with pytest.raises(Killed):
        work(Work(handler, dies), clock)
    assert (written(), job_of("count", "17").state) == (0, "running")
    clock.passes(31)
    work(Work(handler, lambda run, sentence: write_result()), clock, worker="two")
    assert (written(), job_of("count", "17").state) == (1, "failed")


def test_an_undoing_that_fails_itself_does_not_keep_the_job_open(clock, written, caplog):
    ask()

    def handler(run):
        raise WrongInput([], "No sheet is large enough.")

    def breaks(run, sentence):
        write_result()
        raise KeyError("pieces of nothing")

    with caplog.at_level(logging.ERROR):
        assert work(Work(handler, breaks), clock)
    job = job_of("count", "17")
    assert (job.state, job.words, written()) == ("failed", "No sheet is large enough.", 0)
    assert "pieces of nothing" in caplog.text


def test_a_result_that_fails_after_finish_leaves_neither_result_nor_end(clock, written):
    ask()

    def handler(run):
        with write_turn(), transaction.atomic():
            write_result()
            run.finish("Counted.")
            raise WrongInput([], "Out of sheets meanwhile.")

    assert work(handler, clock)
    job = job_of("count", "17")
    assert (job.state, job.words, job.share, written()) == ("failed", "Out of sheets meanwhile.", 0, 0)


@pytest.mark.parametrize("trouble", [Busy(), OperationalError("the server went away")])
def test_trouble_of_the_database_is_not_the_works_fault_and_it_is_tried_again(clock, written, trouble):
    ask()

    def handler(run):
        raise trouble

    with pytest.raises(type(trouble)):
        work(handler, clock)
    assert job_of("count", "17").state == "running"
    clock.passes(31)
    assert work(finish_with_result, clock)
    assert (written(), job_of("count", "17").state) == (1, "done")
