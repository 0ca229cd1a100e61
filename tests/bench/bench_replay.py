"""Forty tablets that come back at once, each with 500 kept scans, while travelers print: what a scan waits for.

    python -m tests.bench.bench_replay [tablets] [scans each] [most in a batch]

Tablets send as `outbox.js` does: batches one after the other, each sized by how long the last one took. Beside them
eight stations scan, a scan every half second each, and two printers print travelers. Prints how long a replayed scan
waited for its answer and how long a fresh one did (p95 of both at most 1 s), with nobody replaying for comparison; and
the same bodies against a bare view that does one insert and one update a scan, on the same server.
"""

from __future__ import annotations

import http.client
import json
import random
import socket
import statistics
import sys
import threading
import time
import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from tests.bench import harness

OPERATIONS = ("cut", "roll", "seam")
PRINTERS = 2
STATIONS = 8
GAP_SECONDS = 0.5
FIRST_BATCH, LEAST_BATCH = 8, 2
TARGET_MS = 400


@dataclass
class Line:
    """A connection that is kept, and how long each answer took [ms]."""

    port: int
    key: str
    times: list[float] = field(default_factory=list)
    busy: int = 0

    def __post_init__(self):
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        self.connection.connect()
        self.connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def send(self, method: str, path: str, body=None, scans: int = 1) -> bytes:
        """The answer. Where the server is busy the same is sent again when it says, as tablets do; the time runs on."""
        headers = {"Authorization": f"Token {self.key}", "Content-Type": "application/json"}
        data = None if body is None else json.dumps(body).encode()
        began = time.perf_counter()
        while True:
            self.connection.request(method, path, data, headers)
            answer = self.connection.getresponse()
            found = answer.read()
            if answer.status != 503:
                break
            self.busy += 1
            time.sleep(int(answer.headers["Retry-After"]))
        self.times += [(time.perf_counter() - began) * 1000] * scans
        assert answer.status == 200, (answer.status, found[:300])
        return found


def scans_of(shop: dict, tablets: int, each: int) -> list[tuple[str, list[dict]]]:
    """What each tablet kept: starts and finishes of its own pieces, a few seconds apart, since some hours."""
    codes = list(shop["codes"])
    random.Random(1).shuffle(codes)
    kept, taken = [], dict.fromkeys(OPERATIONS, 0)
    for tablet in range(tablets):
        operation = OPERATIONS[tablet % len(OPERATIONS)]
        at = datetime.now(UTC) - timedelta(hours=4)
        mine = []
        for number in range(each):
            if number % 2 == 0:
                code = codes[taken[operation] % len(codes)]
                taken[operation] += 1
            at += timedelta(seconds=12)
            mine.append(scan(code, "finish" if number % 2 else "start", shop["badge"], at))
        kept.append((operation, mine))
    return kept


def scan(code: str, action: str, badge: str, at: datetime) -> dict:
    return {
        "id": str(uuid.uuid4()),
        "code": code,
        "action": action,
        "count": None,
        "badge": badge,
        "reason": "",
        "scanned_at": at.isoformat(),
    }


def replay(
    port: int, path: str, key: str, scans: list[dict], most: int, gate: threading.Barrier, out: list
) -> None:
    line, size, done = Line(port, key), min(most, FIRST_BATCH), 0
    gate.wait(120)
    while done < len(scans):
        batch = scans[done : done + size]
        line.send("POST", path, {"scans": batch}, len(batch))
        done += len(batch)
        size = max(LEAST_BATCH, min(most, 2 * size, round(len(batch) * TARGET_MS / line.times[-1])))
    out.append(line)


def beside(
    port: int, shop: dict, is_over: threading.Event
) -> tuple[list[threading.Thread], list[Line], list[Line]]:
    """The stations that go on scanning, and the printers."""
    fresh, printers = [], []

    def station(place: int) -> None:
        line, rng = Line(port, shop["keys"][OPERATIONS[place % 3]]), random.Random(place)
        fresh.append(line)
        while not is_over.wait(GAP_SECONDS * rng.uniform(0.5, 1.5)):
            code = rng.choice(shop["codes"])
            one = scan(code, "start", shop["badge"], datetime.now(UTC))
            line.send("POST", "/api/v1/scans/", {"scans": [one]})

    def printer() -> None:
        line = Line(port, shop["keys"]["supervisor"])
        printers.append(line)
        while not is_over.is_set():
            found = line.send("GET", f"/api/v1/orders/{shop['paper']}/travelers.pdf")
            assert found.startswith(b"%PDF")

    works = [(station, (place,)) for place in range(STATIONS)] + [(printer, ())] * PRINTERS
    threads = [threading.Thread(target=work, args=args) for work, args in works]
    for thread in threads:
        thread.start()
    return threads, fresh, printers


def p(times: list[float], part: float) -> float:
    return statistics.quantiles(times, n=1000, method="inclusive")[round(part * 1000) - 1]


@dataclass(frozen=True)
class Load:
    """Scans a second, how long replayed and fresh scans waited [ms], travelers printed, answers of a busy server."""

    rate: float
    replayed: list[float]
    fresh: list[float]
    papers: int
    busy: int


def run(port: int, shop: dict, kept: list, path: str, most: int) -> Load:
    """The kept scans of all tablets replayed at once, stations and printers beside them."""
    is_over, out = threading.Event(), []
    others, fresh, printers = beside(port, shop, is_over)
    gate = threading.Barrier(len(kept) + 1)
    threads = [
        threading.Thread(target=replay, args=(port, path, shop["keys"][operation], scans, most, gate, out))
        for operation, scans in kept
    ]
    for thread in threads:
        thread.start()
    gate.wait(120)
    began = time.perf_counter()
    for thread in threads:
        thread.join()
    took = time.perf_counter() - began
    is_over.set()
    for thread in others:
        thread.join()
    assert len(out) == len(kept), "a tablet failed"
    return Load(
        sum(len(line.times) for line in out) / took,
        [one for line in out for one in line.times],
        [one for line in fresh for one in line.times],
        sum(len(line.times) for line in printers),
        sum(line.busy for line in out + fresh + printers),
    )


def alone(port: int, shop: dict, seconds: float) -> list[float]:
    """Fresh scans while nobody replays, the printers at work."""
    is_over = threading.Event()
    threads, fresh, _ = beside(port, shop, is_over)
    time.sleep(seconds)
    is_over.set()
    for thread in threads:
        thread.join()
    return [one for line in fresh for one in line.times]


def main(tablets: int = 40, each: int = 500, most: int = 100) -> None:
    harness.django_set_up()
    paper = harness.shop_with_order(8)["order"].number
    shop = harness.shop_with_order(tablets * each // 2 // len(OPERATIONS) // 5 + 20) | {"paper": paper}
    kept = scans_of(shop, tablets, each)
    quarter = [(operation, scans[: max(20, each // 4)]) for operation, scans in kept]
    with harness.server() as port:
        alone(port, shop, 4)  # every process has loaded all
        quiet = alone(port, shop, 8)
        sides = {
            "bare": run(port, shop, quarter, "/bare/batch/", most),
            "scans": run(port, shop, kept, "/api/v1/scans/", most),
        }
    print(f"nobody replays: fresh scan p50 {p(quiet, 0.5):.0f} ms, p95 {p(quiet, 0.95):.0f} ms")
    for name, load in sides.items():
        print(
            f"{name}: {load.rate:.0f} scans/s, replayed p50 {p(load.replayed, 0.5):.0f} ms,"
            f" p95 {p(load.replayed, 0.95):.0f} ms; fresh p50 {p(load.fresh, 0.5):.0f} ms,"
            f" p95 {p(load.fresh, 0.95):.0f} ms; {load.papers} times travelers, {load.busy} times busy"
        )
    bare, ours = sides["bare"], sides["scans"]
    harness.report("replayed scan answered, p95 [ms]", p(ours.replayed, 0.95), "at most 1000")
    harness.report("fresh scan answered meanwhile, p95 [ms]", p(ours.fresh, 0.95), "at most 1000")
    harness.report("replay against bare, scans/s", ours.rate / bare.rate, "")
    harness.report("replay against bare, p95 of a scan", p(ours.replayed, 0.95) / p(bare.replayed, 0.95), "")
    harness.report("fresh scan, p95 against nobody replaying", p(ours.fresh, 0.95) / p(quiet, 0.95), "")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
