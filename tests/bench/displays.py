"""Boards that are read as a browser does it: many streams in one process, each noting which version came when.

    python -m tests.bench.displays <port> <key> <address> <count>

Says what came, as JSON, when all are open, and answers a version so once every one has seen it. A stream that ends is
asked for again after two seconds.
"""

from __future__ import annotations

import json
import re
import selectors
import socket
import sys
import time

RETRY_SECONDS = 2.0
ID = re.compile(rb'\s*id: (?:"\w*-)?(\d+)\D')


class Display:
    def __init__(self, port: int, request: bytes):
        self.port, self.request = port, request
        self.came: list[tuple[int, float]] = []
        self.again_at = 0.0
        self.socket: socket.socket | None = None
        self.kept = b""

    def call(self, selector: selectors.BaseSelector) -> None:
        self.socket = socket.create_connection(("127.0.0.1", self.port))
        self.socket.sendall(self.request)
        selector.register(self.socket, selectors.EVENT_READ, self)

    def read(self, selector: selectors.BaseSelector) -> bool:
        """Note the last version in what came. Whether the stream goes on."""
        piece = self.socket.recv(1 << 20)
        now = time.monotonic()
        text = self.kept + piece
        found = ID.match(text, max(0, text.rfind(b"\nid: ")))
        if found:
            self.came.append((int(found[1]), now))
        self.kept = b"" if found else piece[-40:]
        if piece and not piece.endswith(b"0\r\n\r\n"):
            return True
        selector.unregister(self.socket)
        self.socket.close()
        self.again_at = now + RETRY_SECONDS
        return False


def main(port: int, key: str, address: str, count: int) -> None:
    request = (
        f"GET {address} HTTP/1.1\r\nHost: localhost\r\nAccept: text/event-stream\r\nAuthorization: Token {key}\r\n\r\n"
    ).encode()
    displays = closed = [Display(port, request) for _ in range(count)]
    wanted: int | None = 0
    with selectors.DefaultSelector() as selector:
        selector.register(sys.stdin, selectors.EVENT_READ)
        while True:
            for display in [one for one in closed if time.monotonic() >= one.again_at]:
                display.call(selector)
            closed = [one for one in closed if time.monotonic() < one.again_at]
            for found, _ in selector.select(0.05):
                if found.data is not None:
                    if not found.data.read(selector):
                        closed.append(found.data)
                elif line := sys.stdin.readline():
                    wanted = int(line)
                else:
                    return
            if wanted is not None and all(one.came and one.came[-1][0] >= wanted for one in displays):
                print(json.dumps([one.came for one in displays]), flush=True)
                wanted = None


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], sys.argv[3], int(sys.argv[4]))
