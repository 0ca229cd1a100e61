"""Long work behind the screens: asked for in one transaction, done by a worker, ended in another.

A page calls `job_enqueue`; a worker calls `work_once` again and again. What is done for a kind is a handler: a function
that gets a Run, tells how far it is, and writes its result together with the end of the job:

    def count_everything(run):
        for done, part in enumerate(parts):
            ...
            if not run.tell(done / len(parts), f"{done} of {len(parts)} counted"):
                break  # stop, and keep what there is
        with write_turn(), transaction.atomic():
            ...  # lock the row that the job is about first, then write the result
            run.finish("Counted.")

Killed before that commit nothing was done, and the job is taken up again; killed after it everything was. A job belongs
to one worker and one attempt. Where it was cancelled or taken over, the next `tell` or `finish` raises JobLost, which
rolls the handler's transaction back; let it rise. A handler that raises a Problem fails the job with its sentence.
Where failing must undo something (pieces that were held), the kind is a `Work(run, on_fail)` instead of a function:
`on_fail(run, sentence)` runs in the transaction in which the job fails, whoever finds that it failed.

Order of locks: first the row that a job is about, then the job. Everybody who holds both keeps it.
A job's times come from the workers' clocks; on several machines those may differ by some seconds, not by half a minute.
"""

from __future__ import annotations

import logging
import math
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, InterfaceError, OperationalError, connection, transaction
from django.db.models import BooleanField, F, Q, QuerySet
from django.db.models.expressions import RawSQL
from django.utils import timezone

from shared.models import Job
from shared.problems import Busy, Conflict, Problem
from shared.turn import write_turn

log = logging.getLogger(__name__)

ABANDONED_AFTER = timedelta(seconds=30)
TELL_EVERY = timedelta(seconds=1)
BEAT_SECONDS = 5.0
MOST_ATTEMPTS = 3
LONGEST_WORDS = 200

BROKE_OFF = f"It broke off {MOST_ATTEMPTS} times and was given up. Try again with less work at once."
WENT_WRONG = (
    "Something went wrong in the program. Nothing was changed; the log of the server has the details."
)
PASSING = (Busy, OperationalError, InterfaceError)
"""Troubles of the database that pass: not the work's fault, so it is tried again."""

OPEN = (Job.State.QUEUED, Job.State.RUNNING)
IS_OPEN = RawSQL("state IN ('queued', 'running')", (), BooleanField())
"""Word for word as in the partial index: with parameters SQLite would read the whole history at every look."""


class JobLost(Exception):
    """The job is no longer this attempt's: cancelled, put back, or taken up by another worker."""


# -- asking ------------------------------------------------------------------------


def job_enqueue(
    *, kind: str, subject: str, asked_by: str, now: datetime, asked: dict[str, Any] | None = None
) -> Job:
    """Put a job in the queue. Inside a caller's transaction it is asked for only if that commits.

    asked   what else the handler must know; it reads `run.job.asked`
    raises  Conflict if one for the same kind and subject is in the queue or running
    """
    try:
        with write_turn(), transaction.atomic():
            return Job.objects.create(
                kind=kind, subject=subject, asked=asked or {}, asked_by=asked_by, queued_at=now
            )
    except IntegrityError:
        name = f"{kind.replace('_', ' ')} {subject}"
        raise Conflict(f"Work on {name} is under way. Wait for its end, or stop it.") from None


def job_stop(*, kind: str, subject: str, now: datetime) -> None:
    """Stop and keep: the handler's next `tell` says so; one still in the queue runs its shortest way.

    Where none is open, nothing happens: it ended meanwhile.
    """
    with write_turn(), transaction.atomic():
        _open_for(kind, subject).update(wants_stop=True)


def job_cancel(*, kind: str, subject: str, now: datetime) -> None:
    """End it without a result; a worker that is at it notices at its next `tell`. Where none is open, nothing."""
    with write_turn(), transaction.atomic():
        _open_for(kind, subject).update(state=Job.State.CANCELLED, ended_at=now)


def job_of(kind: str, subject: str) -> Job | None:
    """The newest job about this subject, whatever its state."""
    return Job.objects.filter(kind=kind, subject=subject).order_by("-id").first()


def _open_for(kind: str, subject: str) -> QuerySet[Job]:
    return Job.objects.filter(kind=kind, subject=subject, state__in=OPEN)


# -- what a handler gets -----------------------------------------------------------


@dataclass
class Run:
    """One attempt at a job. `job` is the row as it was taken; `now` the clock."""

    job: Job
    now: Callable[[], datetime] = timezone.now
    _told_at: datetime | None = field(default=None, init=False)
    _is_lost: bool = field(default=False, init=False)
    _wants_stop: bool = field(default=False, init=False)

    def __post_init__(self):
        self._wants_stop = self.job.wants_stop

    @property
    def subject(self) -> str:
        return self.job.subject

    def tell(self, share: float, words: str = "", figures: dict | None = None) -> bool:
        """Say how far it is, and hear whether to go on. Cheap to call often: it writes about once a second.

        share    0 to 1
        words    for people; empty: as before
        figures  the best so far; None: as before
        returns  False where somebody wants it to stop and keep what there is
        raises   JobLost where the job is no longer ours
        """
        moment = self.now()
        if self._is_lost:
            raise JobLost(str(self.job))
        if self._told_at is None or abs(moment - self._told_at) >= TELL_EVERY:
            self._told_at = moment
            self._write(share, words, figures, moment)
        return not self._wants_stop

    def finish(self, words: str = "") -> None:
        """The job is done, if the transaction around it commits. The last call in it.

        raises  JobLost where the job is no longer ours: the transaction must not commit
        """
        if not connection.in_atomic_block:
            raise RuntimeError("finish() belongs in the transaction that writes the result")
        self._end(Job.State.DONE, words, share=1.0)

    def _mine(self) -> QuerySet[Job]:
        """The row, as long as it is this attempt's."""
        return Job.objects.filter(
            pk=self.job.pk, state=Job.State.RUNNING, worker=self.job.worker, attempts=self.job.attempts
        )

    def _write(self, share: float, words: str, figures: dict | None, moment: datetime) -> None:
        changes: dict = {"heartbeat_at": moment}
        if math.isfinite(share):
            changes["share"] = min(1.0, max(0.0, share))
        if words:
            changes["words"] = words[:LONGEST_WORDS]
        if figures is not None:
            changes["figures"] = figures
        try:
            with write_turn():
                self._mine().update(**changes)
            wants_stop = self._mine().values_list("wants_stop", flat=True).first()
        except PASSING as error:
            if connection.in_atomic_block:
                raise
            log.warning("%s could not tell how far it is: %s", self.job, error)
            connection.close_if_unusable_or_obsolete()
            return
        if wants_stop is None:
            self._is_lost = True
            raise JobLost(str(self.job))
        self._wants_stop = wants_stop

    def _end(self, state: Job.State, words: str, **changes) -> None:
        if words:
            changes["words"] = words[:LONGEST_WORDS]
        if not self._mine().update(state=state, ended_at=self.now(), **changes):
            self._is_lost = True
            raise JobLost(str(self.job))


Handler = Callable[[Run], None]


@dataclass(frozen=True)
class Work:
    """What is done for a kind, and what its failing undoes."""

    run: Handler
    on_fail: Callable[[Run, str], None] | None = None


# -- the worker's side -------------------------------------------------------------


def work_once(
    handlers: Mapping[str, Handler | Work], *, worker: str, now: Callable[[], datetime] = timezone.now
) -> bool:
    """Take the oldest job that waits or was abandoned, do it, settle it. False where there was none.

    handlers  kind to what is done; jobs of other kinds are left alone
    worker    a name that no other worker has, nor had
    raises    PASSING troubles of the database; the job is taken up again when its heartbeat has stood still
    """
    taken = _take(tuple(handlers), worker, now())
    if taken is None:
        return False
    job, has_tries_left = taken
    work = handlers[job.kind]
    if not isinstance(work, Work):
        work = Work(work)
    try:
        if has_tries_left:
            _do(Run(job, now), work)
        else:
            _fail(Run(job, now), work, BROKE_OFF)
    except JobLost:
        log.info("%s was cancelled or taken over", job)
    return True


def jobs_put_back(*, worker: str) -> int:
    """What this worker is at goes back to the queue at once and does not count as an attempt. How many those were."""
    with write_turn(), transaction.atomic():
        return Job.objects.filter(worker=worker, state=Job.State.RUNNING).update(
            state=Job.State.QUEUED,
            attempts=F("attempts") - 1,
            worker="",
            share=0.0,
            words="",
            figures={},
            heartbeat_at=None,
        )


def _take(kinds: tuple[str, ...], worker: str, now: datetime) -> tuple[Job, bool] | None:
    """The job, and whether it may be tried; where it broke off too often it is taken to be given up.

    Each goes to one worker: rows that another one has locked are passed over, on SQLite one writes at a time.
    """
    is_left = Q(state=Job.State.RUNNING, heartbeat_at__lt=now - ABANDONED_AFTER)
    waiting = Job.objects.filter(IS_OPEN, Q(state=Job.State.QUEUED) | is_left, kind__in=kinds)
    waiting = waiting.order_by("queued_at", "id")
    if not waiting.exists():
        return None
    with write_turn(), transaction.atomic():
        job = waiting.select_for_update(skip_locked=True).first()
        if job is None:
            return None
        if job.state == Job.State.RUNNING:
            log.warning("%s was left by %s and is taken up again", job, job.worker)
        has_tries_left = job.attempts < MOST_ATTEMPTS
        job.state, job.worker = Job.State.RUNNING, worker
        job.attempts += has_tries_left
        job.started_at = job.heartbeat_at = now
        job.share, job.words, job.figures = 0.0, "", {}
        job.save()
    return job, has_tries_left


def _do(run: Run, work: Work) -> None:
    try:
        with _beating(run):
            work.run(run)
        with write_turn(), transaction.atomic():
            run._mine().update(state=Job.State.DONE, share=1.0, ended_at=run.now())
    except (JobLost, *PASSING):
        raise
    except Problem as problem:
        _fail(run, work, problem.detail)
    except Exception:
        log.exception("%s failed", run.job)
        _fail(run, work, WENT_WRONG)


def _fail(run: Run, work: Work, sentence: str) -> None:
    """The job's failure and what it undoes, together. An `on_fail` that fails itself must not keep the job open."""
    try:
        with write_turn(), transaction.atomic():
            if work.on_fail is not None:
                work.on_fail(run, sentence)
            run._end(Job.State.FAILED, sentence)
    except (JobLost, *PASSING):
        raise
    except Exception:
        log.exception("%s: what its failing undoes failed too", run.job)
        with write_turn(), transaction.atomic():
            run._end(Job.State.FAILED, sentence)


@contextmanager
def _beating(run: Run) -> Iterator[None]:
    """Heartbeats from a thread of their own: a handler may be in compiled code for longer than it may be silent.

    None within a transaction of the caller: nobody else sees the job before it ends, and its row is locked till then.
    """
    if connection.in_atomic_block:
        yield
        return
    ended = threading.Event()

    def beat() -> None:
        while not ended.wait(BEAT_SECONDS):
            try:
                with write_turn():
                    run._mine().update(heartbeat_at=run.now())
            except PASSING as error:
                log.warning("%s missed a heartbeat: %s", run.job, error)
            finally:
                connection.close()

    thread = threading.Thread(target=beat, name="job-heartbeat", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()
