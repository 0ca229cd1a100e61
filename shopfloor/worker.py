"""The process that does the long work: what is done for each kind of job, and how it comes and goes.

The work is done in a thread; the main thread waits for signals and for its parent's end, so that both are noticed while
the work is in compiled code. A worker that is told to leave puts its job back at once, for the next one to take.
"""

from __future__ import annotations

import logging
import os
import secrets
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import NoReturn, Protocol

from django.db import Error, close_old_connections, connection
from django.utils import timezone

from shared.jobs import Handler, Work, jobs_put_back, work_once
from shared.problems import Busy
from shopfloor.flow_days import FLOW_DAYS, FLOW_DAYS_WORK
from shopfloor.order_costs import ORDER_COSTS, ORDER_COSTS_WORK
from shopfloor.order_promises import PROMISE, PROMISE_WORK
from shopfloor.outward.sending import Sender
from shopfloor.promise_round import PROMISES, round_make
from shopfloor.studies import STUDY, STUDY_WORK
from travelers.cut_job import CUT_PLAN_WORK
from travelers.print_runs import PRINT, PRINT_WORK
from travelers.release_job import RELEASE, release_make

log = logging.getLogger(__name__)

IDLE_SECONDS = 1.0
LOOK_SECONDS = 0.2
LEAVING_SECONDS = 1.0
LONGEST_PAUSE_SECONDS = 30.0
ROUND_SECONDS = 60.0


class OnRound(Protocol):
    def __call__(self, *, now: datetime) -> bool: ...


HANDLERS: dict[str, Handler | Work] = {
    "cut_plan": CUT_PLAN_WORK,
    PRINT: PRINT_WORK,
    STUDY: STUDY_WORK,
    PROMISE: PROMISE_WORK,
    PROMISES: round_make,
    FLOW_DAYS: FLOW_DAYS_WORK,
    ORDER_COSTS: ORDER_COSTS_WORK,
    RELEASE: release_make,
}


def worker_name() -> str:
    """Machine and process for people, and what makes it this worker's alone."""
    return f"{socket.gethostname()[:50]}:{os.getpid()}:{secrets.token_hex(4)}"


class Worker:
    """Does one job after the other until it is told to leave.

    on_round  asked once a minute while nothing waits, with the moment: it may put something in the queue
    """

    def __init__(
        self,
        handlers: Mapping[str, Handler | Work],
        *,
        is_once: bool = False,
        on_round: OnRound | None = None,
    ):
        self.name = worker_name()
        self._handlers = handlers
        self._is_once = is_once
        self._on_round = on_round
        self._next_round = 0.0
        self._is_leaving = threading.Event()
        self._has_ended = threading.Event()

    def run(self, is_told_to_leave: Callable[[], bool]) -> bool:
        """Work until told to leave, or once. False where the thread is still at work and only the process can end it.

        is_told_to_leave  asked a few times a second, in the calling thread
        """
        threading.Thread(target=self._work, name="jobs", daemon=True).start()
        while not self._has_ended.is_set() and not is_told_to_leave():
            time.sleep(LOOK_SECONDS)
        self._is_leaving.set()
        if self._has_ended.is_set():
            return True
        self._put_back()
        if self._has_ended.wait(LEAVING_SECONDS):
            return True
        self._put_back()  # what it had just been taking
        return False

    def _put_back(self) -> None:
        try:
            if jobs_put_back(worker=self.name):
                log.warning("The worker leaves, and puts its job back in the queue.")
        except (Busy, Error) as error:
            log.warning("The worker leaves its job without putting it back: %s", error)

    def _work(self) -> None:
        pause = IDLE_SECONDS
        try:
            while not self._is_leaving.is_set():
                try:
                    has_worked = work_once(self._handlers, worker=self.name) or self._make_round()
                    pause = IDLE_SECONDS
                except (Busy, Error) as error:
                    log.warning("The worker cannot use the database, and tries again: %s", error)
                    has_worked = False
                    pause = min(2 * pause, LONGEST_PAUSE_SECONDS)
                close_old_connections()
                if self._is_once:
                    return
                if not has_worked:
                    self._is_leaving.wait(pause)
        finally:
            connection.close()
            self._has_ended.set()

    def _make_round(self) -> bool:
        """True where the round has put something in the queue."""
        if self._on_round is None or self._is_once or time.monotonic() < self._next_round:
            return False
        self._next_round = time.monotonic() + ROUND_SECONDS
        return self._on_round(now=timezone.now())


def work_until_told(
    handlers: Mapping[str, Handler | Work],
    *,
    is_once: bool = False,
    parent: int | None = None,
    on_round: OnRound | None = None,
) -> NoReturn:
    """A whole process's life as a worker: to SIGTERM, to Ctrl-C, or to the end of its parent. Ends the process.

    parent  the process that started it, where it should end with that one
    """
    told: list[int] = []
    if not is_once:
        Sender().start()
    for one in (signal.SIGTERM, signal.SIGINT):
        signal.signal(one, lambda number, frame: told.append(number))
    Worker(handlers, is_once=is_once, on_round=on_round).run(
        lambda: bool(told) or (parent is not None and os.getppid() != parent)
    )
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(
        0
    )  # at once: compiled code in the other thread cannot be asked to end, and may not be taken apart
