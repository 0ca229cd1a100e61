"""Workers as processes: killed, told to leave, orphaned, and what becomes of the job that they were at."""

from __future__ import annotations

import logging
import os
import signal
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.utils import timezone

from fittings.models import CodeSeries
from shared.jobs import job_cancel, job_enqueue, job_of, job_stop
from shared.models import Job
from shopfloor import worker as worker_module
from shopfloor.worker import HANDLERS, Worker, worker_name
from tests.shopfloor.processes import is_alive
from tests.threads import until

pytestmark = pytest.mark.django_db(transaction=True)

ROOT = Path(__file__).resolve().parents[2]
SOON = 30.0


def wait_until(condition, what: str) -> None:
    assert until(condition, SOON, pause=0.02), f"{what} did not come about"


@pytest.fixture
def workers(tmp_path):
    """Starts worker processes on the tests' database; none outlives the test."""
    started: list[subprocess.Popen] = []

    def start(*words: str) -> subprocess.Popen:
        command = [sys.executable, "-m", "tests.shopfloor.worker_process"]
        command += [str(connection.settings_dict["NAME"]), str(tmp_path), *words]
        started.append(
            subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE, text=True, start_new_session=True)
        )
        return started[-1]

    yield start
    for one in started:
        if one.poll() is None:
            one.kill()
        one.communicate()


@pytest.fixture
def written():
    CodeSeries.objects.all().delete()
    CodeSeries.objects.create(pk=1, next_number=0)
    return lambda: CodeSeries.objects.get().next_number


def ask(kind: str) -> None:
    job_enqueue(kind=kind, subject="17", asked_by="office", now=timezone.now())


def is_at_it(kind: str, pid: int) -> bool:
    job = job_of(kind, "17")
    return job.state == "running" and f":{pid}:" in job.worker and job.share == 0.5


def test_a_worker_killed_in_the_middle_leaves_nothing_half_done_and_another_one_finishes(
    workers, written, tmp_path
):
    ask("telling")
    first = workers()
    wait_until(lambda: is_at_it("telling", first.pid), "the first worker's start")
    first.kill()
    first.wait(SOON)
    job = job_of("telling", "17")
    assert (job.state, written()) == ("running", 0), "nobody could tell"
    second = workers()
    # Half a minute goes by.
    Job.objects.update(heartbeat_at=job.heartbeat_at - timedelta(seconds=30))
    wait_until(lambda: is_at_it("telling", second.pid), "the second worker's start")
    (tmp_path / "go").touch()
    wait_until(lambda: job_of("telling", "17").state == "done", "the end")
    job = job_of("telling", "17")
    assert (written(), job.attempts, job.words) == (1, 2, "Counted.")


@pytest.mark.parametrize("kind", ["telling", "silent"])
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_worker_told_to_leave_puts_its_job_back_at_once(workers, written, tmp_path, kind, number):
    ask(kind)
    first = workers()
    wait_until(lambda: is_at_it(kind, first.pid), "the worker's start")
    began = time.monotonic()
    first.send_signal(number)
    assert first.wait(SOON) == 0
    assert time.monotonic() - began < 4, "though it was far from its end"
    job = job_of(kind, "17")
    assert (job.state, job.attempts, job.worker, written()) == ("queued", 0, "", 0)
    printed = first.stderr.read()
    assert "puts its job back" in printed and "Traceback" not in printed


def test_the_next_worker_takes_a_job_that_was_put_back_without_waiting(workers, written, tmp_path):
    ask("telling")
    first = workers()
    wait_until(lambda: is_at_it("telling", first.pid), "the first worker's start")
    second = workers()
    first.terminate()
    wait_until(lambda: is_at_it("telling", second.pid), "the second worker's start")
    (tmp_path / "go").touch()
    wait_until(lambda: job_of("telling", "17").state == "done", "the end")
    assert (written(), job_of("telling", "17").attempts) == (1, 1)


def test_an_idle_worker_leaves_when_told(workers, written, tmp_path):
    (tmp_path / "go").touch()
    ask("telling")
    idle = workers()
    wait_until(lambda: job_of("telling", "17").state == "done", "the end of the job")
    idle.terminate()
    assert idle.wait(SOON) == 0
    assert "puts its job back" not in idle.stderr.read()


def test_a_worker_whose_job_is_cancelled_goes_on_with_the_next(workers, written):
    ask("telling")
    only = workers()
    wait_until(lambda: is_at_it("telling", only.pid), "the worker's start")
    ask("silent")
    job_cancel(kind="telling", subject="17", now=timezone.now())
    wait_until(lambda: is_at_it("silent", only.pid), "the next job's start")
    assert (job_of("telling", "17").state, written()) == ("cancelled", 0)


def test_once_is_one_job_at_most(workers, written, tmp_path):
    (tmp_path / "go").touch()
    assert workers("once").wait(SOON) == 0
    ask("telling")
    ask("silent")
    assert workers("once").wait(SOON) == 0
    assert (job_of("telling", "17").state, job_of("silent", "17").state) == ("done", "queued")


def test_a_worker_ends_with_the_process_that_started_it(workers, written, tmp_path):
    """The one between is killed, so nobody tells the worker."""
    ask("silent")
    between = "import subprocess, sys; subprocess.run([sys.executable, *sys.argv[1:]])"
    command = [sys.executable, "-c", between, "-m", "tests.shopfloor.worker_process"]
    command += [str(connection.settings_dict["NAME"]), str(tmp_path), "parent"]
    parent = subprocess.Popen(command, cwd=ROOT, stderr=subprocess.DEVNULL)
    wait_until(lambda: job_of("silent", "17").state == "running", "the worker's start")
    pid = int(job_of("silent", "17").worker.split(":")[1])
    parent.kill()
    parent.wait(SOON)
    wait_until(lambda: not is_alive(pid), "the worker's end")
    job = job_of("silent", "17")
    assert (job.state, job.attempts, written()) == ("queued", 0, 0)


def test_a_worker_outlives_trouble_with_the_database(monkeypatch, caplog):
    """The table of jobs is away for a while, as a server may be."""
    monkeypatch.setattr(worker_module, "IDLE_SECONDS", 0.01)
    monkeypatch.setattr(worker_module, "LONGEST_PAUSE_SECONDS", 0.05)
    ask("count")
    rename("shared_job", "shared_job_away")
    caplog.set_level(logging.WARNING)
    done = []

    def is_told() -> bool:
        assert time.monotonic() < end
        if table_exists("shared_job_away") and caplog.text.count("cannot use the database") >= 2:
            rename("shared_job_away", "shared_job")
        return bool(done)

    end = time.monotonic() + SOON
    try:
        assert Worker({"count": lambda run: done.append(run.subject)}).run(is_told)
    finally:
        if table_exists("shared_job_away"):
            rename("shared_job_away", "shared_job")
    assert (done, job_of("count", "17").state) == (["17"], "done")


def rename(before: str, after: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"ALTER TABLE {before} RENAME TO {after}")


def table_exists(name: str) -> bool:
    return name in connection.introspection.table_names()


def test_every_worker_has_a_name_of_its_own_that_says_which_process_it_is():
    assert len({worker_name() for _ in range(100)}) == 100
    assert f":{os.getpid()}:" in worker_name()
    assert len(worker_name()) <= Job._meta.get_field("worker").max_length


def test_a_job_that_was_stopped_before_its_worker_was_killed_is_stopped_for_the_next(workers, written):
    ask("telling")
    first = workers()
    wait_until(lambda: is_at_it("telling", first.pid), "the worker's start")
    job_stop(kind="telling", subject="17", now=timezone.now())
    first.terminate()
    first.wait(SOON)
    assert (job_of("telling", "17").state, job_of("telling", "17").wants_stop) == ("queued", True)


def test_a_cut_plan_is_work_whose_failing_frees_its_pieces():
    assert HANDLERS["cut_plan"].run.__module__ == "travelers.cut_job"
    assert HANDLERS["cut_plan"].on_fail is not None


def test_a_worker_is_kept_running_while_its_master_forks():
    """What is forked in the moment in which a worker starts holds on to all that was open then."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.shopfloor.keeper_process", "20"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.stdout.split() == ["renewed"] * 20 + ["stopped"], done.stderr
