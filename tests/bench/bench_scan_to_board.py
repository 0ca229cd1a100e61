"""From a scan sent to the board on a stream.

    python -m tests.bench.bench_scan_to_board [scans] [streams]

Prints the percentiles of the time from sending a scan to the arrival of a board of its version at the slowest stream
(p99 at most 100 ms on PostgreSQL, 300 ms on SQLite).
"""

from __future__ import annotations

import http.client
import json
import socket
import statistics
import sys
import threading
import time

from tests.bench import harness

GAP_SECONDS = 0.15


def main(scans: int = 150, streams: int = 8) -> None:
    harness.django_set_up()
    from django.db import connection

    bound = 100 if connection.vendor == "postgresql" else 300
    shop = harness.shop_with_order(scans // 5 + 10)
    with harness.server() as port:
        watchers = [Watcher(port, shop["keys"]["supervisor"]) for _ in range(streams)]
        for watcher in watchers:
            watcher.first.wait(timeout=20)
        version = max(watcher.versions[-1][0] for watcher in watchers)
        poster = http.client.HTTPConnection("127.0.0.1", port)
        headers = {"Authorization": f"Token {shop['keys']['cut']}", "Content-Type": "application/json"}
        sent = []
        for code in shop["codes"][:scans]:
            body = harness.scan_body(code, shop["badge"])
            sent.append(time.perf_counter())
            poster.request("POST", "/api/v1/scans/", body=body, headers=headers)
            assert poster.getresponse().read().find(b'"recorded"') > 0
            time.sleep(GAP_SECONDS)
        time.sleep(2)
        waits = []
        for n, began in enumerate(sent, start=1):
            arrivals = [watcher.arrival(version + n) for watcher in watchers]
            assert None not in arrivals, f"version {version + n} never came"
            waits.append((max(arrivals) - began) * 1000)
    cuts = statistics.quantiles(waits, n=100, method="inclusive")
    print(
        f"{streams} streams, {scans} scans: p50 {cuts[49]:.0f} ms, p90 {cuts[89]:.0f} ms, p99 {cuts[98]:.0f} ms"
    )
    harness.report("scan to board, p99 [ms]", cuts[98], f"at most {bound}")


class Watcher:
    """One stream client: every version with the time at which it came."""

    def __init__(self, port: int, key: str):
        self.versions: list[tuple[int, float]] = []
        self.first = threading.Event()
        self.socket = socket.create_connection(("127.0.0.1", port))
        self.socket.sendall(
            f"GET /api/v1/board/stream/ HTTP/1.1\r\nHost: x\r\nAccept: text/event-stream\r\n"
            f"Authorization: Token {key}\r\n\r\n".encode()
        )
        threading.Thread(target=self.run, daemon=True).start()

    def run(self) -> None:
        with self.socket.makefile("rb") as lines:
            for line in lines:
                if line.startswith(b"data: "):
                    self.versions.append((json.loads(line[6:])["version"], time.perf_counter()))
                    self.first.set()

    def arrival(self, version: int) -> float | None:
        return next((at for seen, at in self.versions if seen >= version), None)


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
