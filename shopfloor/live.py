"""The board as it changes: built once a process and version, and handed to everybody who watches.

One watcher thread a process follows the pulse while somebody watches: on PostgreSQL it listens for notifications
(LISTEN before the first read, a slow poll behind), on SQLite it reads the one row of the pulse every few hundredths of
a second. Streams wait for the watcher; none of them asks the database for versions itself. Under gunicorn one thread
sends all streams of a process (`open_streams.py`); another server lends each a thread of its own.
"""

from __future__ import annotations

import logging
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from django.conf import settings
from django.db import Error, close_old_connections, connection
from django.utils import timezone

from shopfloor.board import Board, board, pulse
from shopfloor.open_streams import TICK_SECONDS, Line, Sender, Stream, StreamEnded
from shopfloor.piling import Piling
from travelers.pulse import CHANNEL

log = logging.getLogger(__name__)

POLL_SECONDS = 0.04
SLOW_POLL_SECONDS = 2.0
KEPT_SECONDS = 5.0
LEAST_GAP_SECONDS = 0.05
MOST_GAP_SECONDS = 0.3
ANSWER_FIRST_SECONDS = 0.02
MOST_OF_THE_TIME = 0.25
READ_PULSE = "SELECT epoch, version FROM travelers_pulse WHERE id = 1"


@dataclass(frozen=True, eq=False)
class Edition:
    """The board of one version, ready to send."""

    board: Board
    body: bytes
    made_at: float
    minute: int

    @property
    def version(self) -> int:
        return self.board.version

    @property
    def epoch(self) -> str:
        return self.board.epoch

    def event(self) -> bytes:
        """The edition as a server-sent event. JSON has no line breaks, so it is one data line."""
        return b"id: %d\nevent: version\ndata: %s\n\n" % (self.version, self.body)


def this_minute() -> int:
    return int(time.time() // 60)


def etag(epoch: str, version: int, minute: int | None = None) -> str:
    """Changes with the version, and once a minute because ages and the hours left are of their minute."""
    return f'"{epoch[:8]}-{version}-{this_minute() if minute is None else minute}"'


def let_go() -> None:
    """Give this thread's connection back to the pool; a stream that waits for hours must not keep one."""
    if not connection.in_atomic_block:
        close_old_connections()


class Live:
    """The editions of one process, its watcher, and the seats for streams."""

    def __init__(self, piling: Piling, most_streams: int = settings.MOST_STREAMS):
        self._piling = piling
        self._building = threading.Lock()
        self._changed = threading.Condition()
        self._edition: Edition | None = None
        self._watcher: threading.Thread | None = None
        self._seats = 0
        self._cost = 0.0
        self._built_at = 0.0
        self._is_ending: Callable[[], bool] = lambda: False
        self._sender = Sender(
            newest=lambda: self._edition, is_over=lambda: self._is_ending(), on_end=self._leave_seat
        )
        self.most_streams = most_streams
        self.builds = 0

    # -- editions ------------------------------------------------------------

    def edition(self) -> Edition:
        """The newest edition. One cheap query when it is at hand; built at most once for all who ask meanwhile."""
        found = self._at_hand(*pulse())
        if found:
            return found
        with self._building:
            found = self._at_hand(*pulse())
            return found or self._build()

    def _at_hand(self, epoch: str, version: int) -> Edition | None:
        kept = self._edition
        if kept is None or kept.epoch != epoch or kept.version < version:
            return None
        if time.monotonic() - kept.made_at > KEPT_SECONDS or kept.minute != this_minute():
            return None
        return kept

    def _build(self) -> Edition:
        """Build and publish. Called with `_building` held."""
        began = time.monotonic()
        minute = this_minute()
        found = board(now=timezone.now(), piling=self._piling)
        fresh = Edition(found, found.as_json(), began, minute)
        self._built_at = time.monotonic()
        self._cost = self._built_at - began
        self.builds += 1
        with self._changed:
            kept = self._edition
            if kept is not None and kept.epoch == fresh.epoch and kept.version > fresh.version:
                return kept
            self._edition = fresh
            if kept is None or (kept.epoch, kept.version) != (fresh.epoch, fresh.version):
                self._changed.notify_all()
                self._sender.ring()
        return fresh

    # -- streams -------------------------------------------------------------

    def stream(
        self,
        *,
        is_allowed: Callable[[], bool],
        event: Callable[[Edition], bytes] = Edition.event,
        take_line: Callable[[], Line | None] = lambda: None,
    ) -> Iterator[bytes]:
        """Events for one client, until it leaves, its key is revoked, or the process ends.

        event      how an edition is written
        take_line  takes the client's socket from the server where it can: the sender goes on with it

        Where all seats are taken it is one event and the end: the client asks again after `retry`, which is polling.
        """
        let_go()
        yield b"retry: 2000\n\n"
        if not self._take_seat():
            yield event(self.edition())
            return
        is_handed_over = False
        try:
            self._watch()
            stream = Stream(event=event, is_allowed=is_allowed)
            newest = self.edition()
            let_go()
            if line := take_line():
                is_handed_over = True
                self._sender.take(stream, line)
                return
            yield stream.next(newest)
            yield from self._more(stream)
        finally:
            if not is_handed_over:
                self._leave_seat()

    def _more(self, stream: Stream) -> Iterator[bytes]:
        """What follows the first event, in a thread that waits for it."""
        while True:
            with self._changed:
                self._changed.wait_for(
                    lambda: stream.is_news(self._edition) or self._is_ending(), TICK_SECONDS
                )
            if self._is_ending():
                return
            try:
                piece = stream.next(self._edition)
            except StreamEnded:
                return
            let_go()
            if piece is not None:
                yield piece

    def _take_seat(self) -> bool:
        with self._changed:
            has_seat = self._seats < self.most_streams and not self._is_ending()
            self._seats += has_seat
            return has_seat

    def _leave_seat(self) -> None:
        with self._changed:
            self._seats -= 1

    @property
    def seats_taken(self) -> int:
        return self._seats

    def ends_when(self, is_ending: Callable[[], bool]) -> None:
        """Streams end soon after this says so: a server that stops has no other way to tell them."""
        self._is_ending = is_ending

    # -- the watcher -----------------------------------------------------------

    def _watch(self) -> None:
        with self._changed:
            if self._watcher is not None and self._watcher.is_alive():
                return
            self._watcher = threading.Thread(target=self._run, name="board-watcher", daemon=True)
            self._watcher.start()

    def _is_wanted(self) -> bool:
        """Somebody watches. Said under the lock, so that a watcher that stops is seen to have stopped."""
        with self._changed:
            if self._seats and not self._is_ending():
                return True
            self._changed.notify_all()
            if self._watcher is threading.current_thread():
                self._watcher = None
            return False

    def _run(self) -> None:
        follow = self._follow_postgresql if connection.vendor == "postgresql" else self._follow_sqlite
        wait = 0.2
        while self._is_wanted():
            try:
                follow()
                wait = 0.2
            except (Error, sqlite3.Error, OSError) as error:
                log.warning("The board's watcher lost the database and tries again: %s", error)
                connection.close()
                time.sleep(wait)
                wait = min(wait * 2, 2.0)
        connection.close()

    def _follow_sqlite(self) -> None:
        path = quote(str(connection.settings_dict["NAME"]))
        reader = sqlite3.connect(f"file:{path}?mode=ro", uri=True, isolation_level=None, timeout=1)
        try:
            while self._is_wanted():
                self._heard(reader.execute(READ_PULSE).fetchone())
                time.sleep(POLL_SECONDS)
        finally:
            reader.close()

    def _follow_postgresql(self) -> None:
        import psycopg

        parameters = connection.get_connection_params()
        with psycopg.connect(**parameters, autocommit=True) as listener:
            listener.execute(f"LISTEN {CHANNEL}")
            looked = 0.0
            heard = True
            while self._is_wanted():
                if heard or time.monotonic() - looked > SLOW_POLL_SECONDS:
                    looked = time.monotonic()
                    self._heard(listener.execute(READ_PULSE).fetchone())
                heard = any(True for _ in listener.notifies(timeout=TICK_SECONDS, stop_after=1))

    def _heard(self, row: tuple[str, int] | None) -> None:
        """Build the edition of a version that nobody has yet.

        A burst of changes is built at intervals, so that no more than a quarter of the time goes into building, unless
        a board would wait long. The version is read again at the build: the last change is always in the last edition.
        The scan that made the change is answered first: a build at the same moment would hold it up.
        """
        epoch, version = row or ("", 0)
        kept = self._edition
        if kept is not None and kept.epoch == epoch and kept.version >= version:
            return
        gap = min(max(LEAST_GAP_SECONDS, self._cost / MOST_OF_THE_TIME - self._cost), MOST_GAP_SECONDS)
        time.sleep(max(ANSWER_FIRST_SECONDS, self._built_at + gap - time.monotonic()))
        with self._building:
            kept = self._edition
            if kept is None or kept.epoch != epoch or kept.version < version:
                self._build()
        let_go()


live = Live(Piling(Path(settings.DATA_DIR) / "piling.json"))
