"""Streams that stay open: what a client was sent last, and one thread a process that sends to all of them.

A stream would take one of the server's threads for hours, and a few hundred threads that wake at the same change would
hold up the scans. So when the answer has begun, its socket is taken from the server, and the sender goes on with it. It
never waits for a client: what a socket does not take is kept until it does, and meanwhile nothing newer is added.
"""

from __future__ import annotations

import logging
import os
import queue
import selectors
import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING

from django.db import Error, close_old_connections, connection

if TYPE_CHECKING:
    from shopfloor.live import Edition

log = logging.getLogger(__name__)

TICK_SECONDS = 0.5
HEARTBEAT_SECONDS = 15.0
CHECK_SECONDS = 30.0
STALLED_SECONDS = 30.0


class Stream:
    """What one client was sent last and when, and whether it may still be sent anything."""

    def __init__(self, *, event: Callable[[Edition], bytes], is_allowed: Callable[[], bool]):
        self._event = event
        self._is_allowed = is_allowed
        self._shown: Edition | None = None
        self._sent_at = self._checked_at = time.monotonic()

    def is_news(self, edition: Edition | None) -> bool:
        shown = self._shown
        return edition is not None and (
            shown is None or (edition.epoch, edition.version) != (shown.epoch, shown.version)
        )

    def next(self, newest: Edition | None) -> bytes | None:
        """What to send now; None where there is nothing.

        raises  StreamEnded where the key was revoked or the session is over; Error where the database cannot say
        """
        now = time.monotonic()
        if now - self._checked_at >= CHECK_SECONDS:
            self._checked_at = now
            if not self._is_allowed():
                raise StreamEnded
        if self.is_news(newest):
            self._shown, self._sent_at = newest, now
            return self._event(newest)
        if now - self._sent_at >= HEARTBEAT_SECONDS:
            self._sent_at = now
            return b": still here\n\n"
        return None


class StreamEnded(Exception):
    """Nothing more for this client."""


class Line:
    """A client's socket, taken from the server: that is left with one whose other end is closed, and lets go of it.

    is_chunked  the answer was begun in chunks (HTTP/1.1), so that all that follows is one too
    """

    def __init__(self, servers: socket.socket, *, is_chunked: bool):
        self.socket = servers.dup()
        self.socket.setblocking(False)
        left, closed = socket.socketpair()
        with left, closed:
            os.dup2(left.fileno(), servers.fileno(), inheritable=False)
        self._is_chunked = is_chunked
        self._unsent = memoryview(b"")
        self._moved_at = time.monotonic()

    @property
    def is_full(self) -> bool:
        """Something is still to be taken by the socket."""
        return bool(self._unsent)

    @property
    def is_stalled(self) -> bool:
        return self.is_full and time.monotonic() - self._moved_at > STALLED_SECONDS

    def send(self, piece: bytes) -> None:
        """Send what the socket takes at once and keep the rest. Only where nothing is kept."""
        self._unsent = memoryview(b"%X\r\n%b\r\n" % (len(piece), piece) if self._is_chunked else piece)
        self._moved_at = time.monotonic()
        self.send_rest()

    def send_rest(self) -> None:
        """raises  OSError where the client is gone"""
        try:
            sent = self.socket.send(self._unsent)
        except BlockingIOError:
            return
        self._unsent = self._unsent[sent:]
        self._moved_at = time.monotonic()

    def hear(self) -> None:
        """Read what the client says, which is nothing but its end.

        raises  OSError where the client is gone
        """
        with suppress(BlockingIOError):
            if self.socket.recv(4096) == b"":
                raise ConnectionResetError

    def close(self) -> None:
        """With the end that HTTP has for it, where the socket takes it."""
        with suppress(OSError):
            if self._is_chunked and not self.is_full:
                self.socket.send(b"0\r\n\r\n")
        self.socket.close()


class Sender:
    """The thread that sends to all lines of a process. It is there only while there are lines.

    newest   the newest edition
    is_over  whether the server ends, and with it every stream
    on_end   called for each stream that ended
    """

    def __init__(
        self,
        *,
        newest: Callable[[], Edition | None],
        is_over: Callable[[], bool],
        on_end: Callable[[], None],
    ):
        self._newest = newest
        self._is_over = is_over
        self._on_end = on_end
        self._changing = threading.Lock()
        self._arrived: queue.SimpleQueue[tuple[Stream, Line]] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._bell: socket.socket | None = None

    def take(self, stream: Stream, line: Line) -> None:
        """Go on with this one."""
        with self._changing:
            self._arrived.put((stream, line))
            if self._thread is None:
                self._bell, ear = socket.socketpair()  # here, not before the processes fork
                self._bell.setblocking(False)
                self._thread = threading.Thread(target=self._run, args=(self._bell, ear), name="board-sender")
                self._thread.start()
        self.ring()

    def ring(self) -> None:
        """There is something new."""
        if bell := self._bell:
            with suppress(OSError):  # it rings already, or the thread has just ended
                bell.send(b"!")

    def _run(self, bell: socket.socket, ear: socket.socket) -> None:
        lines: dict[Line, Stream] = {}
        with bell, ear, selectors.DefaultSelector() as selector:
            selector.register(ear, selectors.EVENT_READ)
            try:
                while self._is_wanted(lines):
                    gone = self._hear(selector)
                    while not self._arrived.empty():
                        stream, line = self._arrived.get()
                        lines[line] = stream
                        selector.register(line.socket, selectors.EVENT_READ, line)
                    for line in gone | self._send(lines, selector):
                        self._end(line, lines, selector)
            finally:
                for line in list(lines):
                    self._end(line, lines, selector)
                connection.close()
                with self._changing:
                    if self._thread is threading.current_thread():
                        self._thread = self._bell = None

    def _is_wanted(self, lines: dict[Line, Stream]) -> bool:
        """Said under the lock, so that a line that arrives is this thread's or the next one's."""
        with self._changing:
            if (lines or not self._arrived.empty()) and not self._is_over():
                return True
            while not self._arrived.empty():
                self._arrived.get()[1].close()
                self._on_end()
            self._thread = self._bell = None
            return False

    def _hear(self, selector: selectors.BaseSelector) -> set[Line]:
        """Wait until something happens, or for a tick. The lines whose client is gone."""
        gone = set()
        for key, events in selector.select(TICK_SECONDS):
            if key.data is None:
                key.fileobj.recv(4096)
                continue
            try:
                if events & selectors.EVENT_READ:
                    key.data.hear()
                if events & selectors.EVENT_WRITE:
                    key.data.send_rest()
            except OSError:
                gone.add(key.data)
        return gone

    def _send(self, lines: dict[Line, Stream], selector: selectors.BaseSelector) -> set[Line]:
        """Send what is new to every line that has taken all before it. The lines that are over."""
        over = set()
        newest = self._newest()
        for line, stream in lines.items():
            try:
                if not line.is_full and (piece := stream.next(newest)) is not None:
                    line.send(piece)
                if line.is_stalled:
                    over.add(line)
            except (OSError, StreamEnded):
                over.add(line)
                continue
            except Error as error:
                log.warning("The streams end, as the database cannot say who may see them: %s", error)
                connection.close()
                return set(lines)
            wanted = selectors.EVENT_READ | (selectors.EVENT_WRITE if line.is_full else 0)
            if selector.get_key(line.socket).events != wanted:
                selector.modify(line.socket, wanted, line)
        close_old_connections()
        return over

    def _end(self, line: Line, lines: dict[Line, Stream], selector: selectors.BaseSelector) -> None:
        del lines[line]
        selector.unregister(line.socket)
        line.close()
        self._on_end()
