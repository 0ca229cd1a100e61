"""Scans while many travelers are printed in the background, beside scans alone.

    python -m tests.bench.bench_print [travelers]

The server with its worker as a shop runs them; one scan after the other with a pause, first alone, then from asking for
the print to its end. Prints how long the print took and p50 and p95 of the scans in both (p95 at most 1 s meanwhile).
"""

from __future__ import annotations

import http.client
import json
import statistics
import sys
import time
from collections.abc import Callable, Iterator

from tests.bench import harness

ALONE = 80
GAP_SECONDS = 0.1
LONGEST_SECONDS = 600


def main(travelers: int = 2000) -> None:
    harness.django_set_up()
    from django.db import connection

    shop = harness.shop_with_order(travelers, traveler_per="fitting")
    connection.close()
    codes = iter(shop["codes"])
    with harness.server() as port:
        office = Caller(port, shop["keys"]["supervisor"])
        cut = Caller(port, shop["keys"]["cut"])
        scans(cut, codes, shop["badge"], iter(range(10)).__next__)  # warm
        alone = scans(cut, codes, shop["badge"], iter(range(ALONE)).__next__)
        asked = f"/api/v1/orders/{shop['order'].number}/papers/"
        began = time.perf_counter()
        there = f"{asked}{office.post(asked, {'paper': 'travelers'})['id']}/"

        def until_made() -> None:
            state = office.get(there)
            assert state["state"] in ("queued", "running", "done"), state
            assert time.perf_counter() - began < LONGEST_SECONDS, state
            if state["made_at"]:
                raise StopIteration

        printing = scans(cut, codes, shop["badge"], until_made)
        took = time.perf_counter() - began
        size = office.get(there)["bytes"]
    print(f"{travelers} travelers, {size / 2**20:.1f} MiB, printed in {took:.0f} s, {connection.vendor}")
    for name, times in (("alone", alone), ("while printing", printing)):
        p50, p95 = percentile(times, 0.5), percentile(times, 0.95)
        print(f"{len(times)} scans {name}: p50 {p50:.0f} ms, p95 {p95:.0f} ms, longest {max(times):.0f} ms")
    harness.report("scan while printing, p95 [ms]", percentile(printing, 0.95), "at most 1000")
    ratio = percentile(printing, 0.95) / percentile(alone, 0.95)
    harness.report("against alone", ratio, "no bound: two cores are shared")


class Caller:
    """One connection with a key."""

    def __init__(self, port: int, key: str):
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self._headers = {"Authorization": f"Token {key}", "Content-Type": "application/json"}

    def get(self, path: str) -> dict:
        return self._asked("GET", path, None)

    def post(self, path: str, body: dict | bytes) -> dict:
        return self._asked("POST", path, body if isinstance(body, bytes) else json.dumps(body).encode())

    def _asked(self, method: str, path: str, body: bytes | None) -> dict:
        self._connection.request(method, path, body=body, headers=self._headers)
        response = self._connection.getresponse()
        content = response.read()
        assert response.status < 300, content
        return json.loads(content)


def scans(cut: Caller, codes: Iterator[str], badge: str, go_on: Callable[[], object]) -> list[float]:
    """Times of scans [ms], one after the other, until `go_on` raises StopIteration."""
    times = []
    while True:
        try:
            go_on()
        except StopIteration:
            return times
        body = harness.scan_body(next(codes), badge)
        began = time.perf_counter()
        answer = cut.post("/api/v1/scans/", body)
        times.append((time.perf_counter() - began) * 1000)
        assert answer["results"][0]["outcome"] == "recorded", answer
        time.sleep(GAP_SECONDS)


def percentile(times: list[float], part: float) -> float:
    return statistics.quantiles(times, n=100, method="inclusive")[round(part * 100) - 1]


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
