"""A locked database: writing waits five seconds at most and says so, reading goes on, and all is well afterwards."""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import psycopg

from tests.faults import statements
from tests.faults.server import Server, Shop
from tests.faults.tablet import Tablet
from tests.threads import together

PATIENCE = 5.0
SLACK = 2.0
CLIENTS = 10


@contextmanager
def locked(shop: Shop) -> Iterator[None]:
    """Another program keeps the database to itself for writing."""
    if shop.database:
        with psycopg.connect(shop.database) as connection:
            connection.execute("LOCK TABLE travelers_pulse, travelers_scan, fittings_order IN EXCLUSIVE MODE")
            yield
            connection.rollback()
    else:
        connection = sqlite3.connect(shop.data / "shop.sqlite3", isolation_level=None)
        try:
            connection.execute("BEGIN IMMEDIATE")
            yield
            connection.execute("ROLLBACK")
        finally:
            connection.close()


READS = (
    ("health/", "supervisor"),
    ("board/", "display"),
    ("scans/?since=0", "office"),
    ("fittings/?page_size=20", "office"),
    ("where/?q=F-shared", "office"),
    ("station/queue/", "ROLL-1"),
    ("orders/F-shared/", "office"),
)


def read_all(server: Server) -> list[float]:
    """How long each read took."""
    took = []
    for path, who in READS:
        began = time.monotonic()
        answer = server.get(path, who)
        took.append(time.monotonic() - began)
        assert answer.status == 200, (path, answer.status, answer.body[:300])
    return took


def tablets_of(server: Server, rng) -> list[Tablet]:
    """Ten tablets, each with a batch of five pieces that others have too."""
    pieces = [code for one in server.shop.fittings("shared") for code in one["segments"]]
    made = []
    for place in range(CLIENTS):
        station = f"{('CUT', 'ROLL', 'SEAM')[place % 3]}-{place % 4 + 1}"
        made.append(Tablet(server, station, server.shop.known["badges"][place], rng))
        for code in rng.sample(pieces[:40], 5):
            made[-1].scan(code)
    return made


def timed(tablet: Tablet, pause: float) -> float:
    time.sleep(pause)
    began = time.monotonic()
    assert not tablet.deliver(5), "nothing can be recorded while the database is locked"
    return time.monotonic() - began


def test_a_locked_database(server, rng):
    tablets = tablets_of(server, rng)
    read_all(server)
    before = statements.fittings_of(server, "shared")
    order = {"customer": "Example Mechanical", "number": "F-late", "lines": []}
    with locked(server.shop):
        reads: list[float] = []
        is_over = threading.Event()

        def keep_reading() -> bool:
            while not is_over.is_set():
                reads.extend(read_all(server))
            return True

        def write() -> list[float]:
            try:
                return together(
                    *[lambda tablet=tablet, n=n: timed(tablet, 0.4 * n) for n, tablet in enumerate(tablets)]
                )
            finally:
                is_over.set()

        waits, _ = together(write, keep_reading)
        release = server.post("orders/F-own/release/", {}, "office")
        tries = statements.intrusions(server, next(iter(before)), tablets[0].badge, rng)
        assert statements.record_of(server) == []
    assert max(waits) < PATIENCE + SLACK, waits
    assert max(reads) < SLACK, "reads go on"
    assert len(reads) > len(READS)
    assert all(len(tablet.troubles) == 1 and not tablet.unanswered for tablet in tablets)
    statements.assert_problem(release, 503, 409)
    assert server.get(f"orders/{order['number']}/", "office").status == 404
    assert statements.fittings_of(server, "shared") == before
    together(*[tablet.drain for tablet in tablets])
    record = statements.hold(server, tablets, busy=True)
    statements.none_got_in(record, tries)
    statements.assert_work(statements.fittings_of(server, "shared").values(), tablets, record)
    statements.repeated_alike(server, tablets, "shared")


def test_a_lock_in_the_middle_of_batches(server, rng):
    """Locked again and again while batches run: what a batch got recorded before it was stopped is not doubled."""
    tablets = tablets_of(server, rng)
    pieces = [code for one in server.shop.fittings("shared") for code in one["segments"]]
    is_over, is_again = threading.Event(), threading.Event()

    def lock_now_and_then() -> int:
        count = 0
        while not is_over.is_set():
            with locked(server.shop):
                if count:
                    is_again.set()
                is_over.wait(PATIENCE + 0.5 if count == 0 else rng.uniform(0.1, 0.6))
            count += 1
            is_over.wait(rng.uniform(0.02, 0.2))
        return count

    def send() -> None:
        """Until a second lock has fallen into it: a quick machine is through before."""
        try:
            while True:
                was_again = is_again.is_set()
                for tablet in tablets:
                    for code in rng.sample(pieces, 30):
                        tablet.scan(code)
                together(*[tablet.drain for tablet in tablets])
                if was_again:
                    return
        finally:
            is_over.set()

    count, _ = together(lock_now_and_then, send)
    assert count > 1
    record = statements.hold(server, tablets, busy=True)
    statements.assert_work(statements.fittings_of(server, "shared").values(), tablets, record)
    statements.repeated_alike(server, tablets, "shared")
