"""Keeps one background worker running beside the server. Used in gunicorn's master, so it knows nothing of Django."""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path

MANAGE = Path(__file__).resolve().parent.parent / "manage.py"
PAUSE_SECONDS = 1.0
LONGEST_PAUSE_SECONDS = 60.0
STEADY_SECONDS = 60.0
PATIENCE_SECONDS = 3.0


class Keeper:
    """Starts the worker, starts it again when it ends (after a pause that grows while it ends soon), stops it.

    The worker watches this process in turn, and ends when it is gone however that came about. It has a session of its
    own: Ctrl-C in a terminal is for the server, which then stops the worker.
    """

    def __init__(self, log: logging.Logger, command: Sequence[str] = ()):
        self._log = log
        self._command = command or (sys.executable, str(MANAGE), "worker", "--parent", str(os.getpid()))
        self._is_stopping = threading.Event()
        self._pid: int | None = None
        self._thread = threading.Thread(target=self._keep, name="worker-keeper", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def renew(self) -> None:
        """End the worker; the one that is started in its place has the code as it is now."""
        self._send(signal.SIGTERM)

    def leave(self) -> None:
        """Tell the worker to end, for good; `stop` waits for it."""
        self._is_stopping.set()
        self._send(signal.SIGTERM)

    def stop(self) -> None:
        self.leave()
        self._thread.join(PATIENCE_SECONDS)
        if self._thread.is_alive():
            self._send(signal.SIGKILL)
            self._thread.join(PATIENCE_SECONDS)

    def _send(self, number: signal.Signals) -> None:
        pid = self._pid
        if pid is not None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, number)

    def _keep(self) -> None:
        pause = PAUSE_SECONDS
        while not self._is_stopping.is_set():
            began = time.monotonic()
            try:
                self._run()
                told = "ended"
            except OSError as error:
                told = f"could not be started ({error})"
            if time.monotonic() - began > STEADY_SECONDS:
                pause = PAUSE_SECONDS
            if not self._is_stopping.is_set():
                self._log.warning("The background worker %s; it is started again in %.0f s.", told, pause)
                self._is_stopping.wait(pause)
                pause = min(2 * pause, LONGEST_PAUSE_SECONDS)

    def _run(self) -> None:
        """Start the worker and wait for its end.

        Not with `subprocess`, which waits for the end of a pipe to the new process: gunicorn forks in the other thread,
        and what it forks in that moment would hold the pipe open for as long as it lives.
        """
        self._pid = os.posix_spawn(
            self._command[0],
            self._command,
            os.environ,
            file_actions=[(os.POSIX_SPAWN_OPEN, 0, os.devnull, os.O_RDONLY, 0)],
            setsid=True,
        )
        if self._is_stopping.is_set():
            self._send(signal.SIGTERM)
        try:
            with contextlib.suppress(ChildProcessError):  # gunicorn waits for every child, and was first
                os.waitpid(self._pid, 0)
        finally:
            self._pid = None
