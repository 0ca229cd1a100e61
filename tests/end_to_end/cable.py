"""The network between a tablet and the server, which a test can cut, mend, or let answer with something else."""

from __future__ import annotations

import contextlib
import socket
import threading

BLOCK = 65_536
BUSY_PAGE = (
    b"HTTP/1.1 503 Service Unavailable\r\nContent-Type: text/html\r\nContent-Length: 13\r\n"
    b"Connection: close\r\n\r\n<h1>Busy</h1>"
)


class Cable:
    """Carries bytes from a port of its own to the server's."""

    def __init__(self, server: tuple[str, int]):
        self.server = server
        self.port = 0
        self.answer = b""
        self.open: set[socket.socket] = set()
        self.listener: socket.socket | None = None
        self.mend()

    @property
    def url(self) -> str:
        return f"http://localhost:{self.port}"

    def mend(self) -> None:
        """The network is there (again)."""
        self.listener = socket.create_server(("127.0.0.1", self.port), backlog=64)
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=self._accept, args=(self.listener,), daemon=True).start()

    def cut(self) -> None:
        """Open connections break, new ones are refused."""
        listener, self.listener = self.listener, None
        if listener:
            with contextlib.suppress(OSError):
                listener.shutdown(socket.SHUT_RDWR)
            listener.close()
        for one in list(self.open):
            _end(one)

    def _accept(self, listener: socket.socket) -> None:
        while True:
            try:
                near, _ = listener.accept()
            except OSError:
                return
            if self.answer:
                threading.Thread(target=self._say, args=(near,), daemon=True).start()
                continue
            try:
                far = socket.create_connection(self.server)
            except OSError:
                near.close()
                continue
            self.open |= {near, far}
            for pair in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=pair, daemon=True).start()

    def _say(self, near: socket.socket) -> None:
        with contextlib.suppress(OSError):
            near.recv(BLOCK)
            near.sendall(self.answer)
        near.close()

    def _carry(self, here: socket.socket, there: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while block := here.recv(BLOCK):
                there.sendall(block)
        for one in (here, there):
            _end(one)
            self.open.discard(one)


def _end(one: socket.socket) -> None:
    with contextlib.suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()
