"""More boards than the server has threads, some of them dead: tablets scan on, and every board hears of it."""

from __future__ import annotations

import re
import socket

from tests.faults import statements
from tests.faults.server import Server
from tests.faults.tablet import Tablet
from tests.threads import together

BOARDS = 200
DEAF = 20
GONE = 20
SCANS = 60
LONGEST_S = 60
VERSION = re.compile(rb'id: "\w+-(\d+)-\d+"\n')


class Board:
    """A browser that shows the board, and reads only when it is asked to."""

    def __init__(self, server: Server):
        self.line = socket.create_connection(("127.0.0.1", server.port), timeout=LONGEST_S)
        key = server.shop.key("display")
        self.line.sendall(
            f"GET /board/stream/ HTTP/1.1\r\nHost: localhost\r\nAuthorization: Token {key}\r\n\r\n".encode()
        )
        self.heard = b""

    def wait_for(self, version: int) -> None:
        while not any(int(seen) >= version for seen in VERSION.findall(self.heard)):
            piece = self.line.recv(1 << 16)
            assert piece, "the stream ended"
            self.heard = self.heard[-100:] + piece


def test_two_hundred_boards_take_nothing_from_the_tablets(server, rng):
    boards = [Board(server) for _ in range(BOARDS)]
    for board in boards:
        board.wait_for(0)
    for board in boards[:GONE]:
        board.line.close()
    pieces = [code for one in server.shop.fittings("shared") for code in one["segments"]]
    tablets = []
    for place, station in enumerate(("CUT-1", "ROLL-1", "SEAM-1")):
        tablets.append(Tablet(server, station, server.shop.known["badges"][place], rng))
        for code in rng.sample(pieces, min(SCANS, len(pieces))):
            tablets[-1].scan(code)
    together(*[tablet.drain for tablet in tablets])
    assert not any(tablet.unanswered or tablet.troubles for tablet in tablets)
    version = server.get("board/", "display").json["version"]
    for board in boards[GONE + DEAF :]:
        board.wait_for(version)
    record = statements.hold(server, tablets)
    statements.assert_work(statements.fittings_of(server, "shared").values(), tablets, record)
    for board in boards:
        board.line.close()
