"""What open boards cost the scans, and how soon a scan is on them: without any, with one, and with 200 of them.

    python -m tests.bench.bench_live [boards] [rounds] [address]

Prints the 95th percentile of a scan with so many boards open against none (ratio at most 1.2), from a scan sent to its
board arrived (at most 500 ms), and the memory of the server's processes. In turns within one run; one tablet scans, a
scan every tenth of a second. The boards are read by a process of their own, which takes its part of the same machine.
"""

from __future__ import annotations

import http.client
import json
import statistics
import subprocess
import sys
import time
from pathlib import Path

from tests.bench import harness

SCANS = 60
GAP_SECONDS = 0.1


def main(boards: int = 200, rounds: int = 6, address: str = "/board/stream/") -> None:
    harness.django_set_up()
    counts = (0, 1, boards)
    shop = harness.shop_with_order((rounds + 1) * len(counts) * SCANS // 5 + 1)
    codes = iter(shop["codes"])
    scans: dict[int, list[float]] = {count: [] for count in counts}
    waits: dict[int, list[float]] = {count: [] for count in counts}
    memory: dict[int, float] = {}
    with harness.server() as port:
        for number in range(rounds + 1):  # the first one warms up
            for count in counts:
                displays = Displays(port, shop["keys"]["supervisor"], address, count)
                took, arrived = one_round(port, shop, codes, displays)
                memory[count] = megabytes(port)
                displays.end()
                if number:
                    scans[count] += took
                    waits[count] += arrived
    for count in counts:
        line = f"{count:>4} boards: scan p50 {at(scans[count], 0.5):.1f}, p95 {at(scans[count], 0.95):.1f} ms"
        if count:
            line += f"; scan to board p50 {at(waits[count], 0.5):.0f}, p95 {at(waits[count], 0.95):.0f} ms"
        print(f"{line}; server {memory[count]:.0f} MB")
    for count in counts[1:]:
        harness.report(f"scan to board with {count} boards, p95 [ms]", at(waits[count], 0.95), "at most 500")
    ratio = at(scans[boards], 0.95) / at(scans[0], 0.95)
    harness.report(f"scan with {boards} boards against none, p95, ratio", ratio, "at most 1.2")


def one_round(port: int, shop: dict, codes, displays: Displays) -> tuple[list[float], list[float]]:
    """Times of the scans, and from each scan to each board [ms]."""
    reader = http.client.HTTPConnection("127.0.0.1", port)
    reader.request("GET", "/api/v1/board/", headers={"Authorization": f"Token {shop['keys']['supervisor']}"})
    version = json.loads(reader.getresponse().read())["version"]
    poster = http.client.HTTPConnection("127.0.0.1", port)
    headers = {"Authorization": f"Token {shop['keys']['cut']}", "Content-Type": "application/json"}
    took, sent = [], []
    for _ in range(SCANS):
        body = harness.scan_body(next(codes), shop["badge"])
        began = time.monotonic()
        poster.request("POST", "/api/v1/scans/", body=body, headers=headers)
        assert b'"recorded"' in poster.getresponse().read()
        took.append((time.monotonic() - began) * 1000)
        sent.append(began)
        time.sleep(GAP_SECONDS)
    waits = []
    for arrivals in displays.arrivals(version + SCANS):
        for n, began in enumerate(sent, start=1):
            first = min(when for seen, when in arrivals if seen >= version + n)
            waits.append((first - began) * 1000)
    return took, waits


class Displays:
    """So many boards in a process of their own, all open."""

    def __init__(self, port: int, key: str, address: str, count: int):
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.displays", str(port), key, address, str(count)],
            cwd=harness.TOP,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self._process.stdout.readline(), "the boards did not open"

    def arrivals(self, version: int) -> list[list[tuple[int, float]]]:
        """Of each board (version, time), when every one has seen this version."""
        self._process.stdin.write(f"{version}\n")
        self._process.stdin.flush()
        return json.loads(self._process.stdout.readline())

    def end(self) -> None:
        self._process.stdin.close()
        self._process.wait(30)


def at(values: list[float], share: float) -> float:
    return statistics.quantiles(values, n=100, method="inclusive")[round(share * 100) - 1]


def megabytes(port: int) -> float:
    """What the server's processes hold of memory, what they share counted once (proportional set size)."""
    total = 0
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            if f"127.0.0.1:{port}".encode() in (folder / "cmdline").read_bytes():
                rollup = (folder / "smaps_rollup").read_text()
                total += int(rollup.split("Pss:")[1].split()[0])
        except OSError:
            continue
    return total / 1024


if __name__ == "__main__":
    chosen = sys.argv[1:]
    main(*(int(text) for text in chosen[:2]), *chosen[2:])
