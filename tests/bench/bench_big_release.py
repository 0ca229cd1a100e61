"""Releasing 4,000 fittings while eight stations scan.

    python -m tests.bench.bench_big_release [rounds]

Two orders a round, both released through the API: 4,000 equal elbows of five pieces in one line, and 500 different
fittings of five kinds, eight of each. Prints the seconds of each release (at most 10), and of the scans that were sent
meanwhile p50, p95 (at most 1,000) and the longest [ms], beside those of the same seconds before it.
"""

from __future__ import annotations

import http.client
import json
import statistics
import sys
import threading
import time
import uuid

from tests.bench import harness

STATIONS = 8
PAUSE_SECONDS = 0.1  # between the scans of a station: a busy floor sends one in some seconds
BEFORE_SECONDS = 5.0
KINDS = (
    ("gored_elbow", {"angle": 90, "pieces": 5}, {"diameter": (8, 0.1), "radius_ratio": (1.5, 0.0)}),
    ("reducer", {"diameter_b": 8, "length": 20}, {"diameter_a": (12, 0.1)}),
    ("tee", {"branch_diameter": 10, "angle": 90, "length": 60, "branch_length": 60}, {"diameter": (16, 0.1)}),
    ("pipe", {"length": 60}, {"diameter": (6, 0.1)}),
    ("square_to_round", {"height": 16, "diameter": 14, "length": 20}, {"width": (20, 0.1)}),
)


def main(rounds: int = 1) -> None:
    harness.django_set_up()
    shop = harness.shop_with_order(2000)
    codes = iter(shop["codes"])
    with harness.server() as port:
        for _ in range(rounds):
            for name, lines in (
                ("one line of 4,000 elbows", same()),
                ("500 lines, 4,000 fittings", different()),
            ):
                with scanning(port, shop, codes) as times:
                    while len(times) < 2 * STATIONS:  # both processes have begun to answer
                        time.sleep(0.1)
                    time.sleep(BEFORE_SECONDS)
                    before = len(times)
                    seconds = released(port, shop["keys"]["supervisor"], lines)
                    during = times[before:]
                harness.report(f"release, {name} [s]", seconds, "at most 10")
                told("scans before", times[:before])
                told("scans meanwhile", during, "at most 1000")


def same() -> list[dict]:
    params = {"diameter": 14, "angle": 90, "pieces": 5, "radius_ratio": 1.5}
    return [{"quantity": 4000, "kind": "gored_elbow", "params": params}]


def different() -> list[dict]:
    lines = []
    for at in range(500):
        kind, params, sizes = KINDS[at % len(KINDS)]
        grown = {name: first + step * at for name, (first, step) in sizes.items()}
        lines.append({"quantity": 8, "kind": kind, "params": params | grown})
    return lines


def released(port: int, key: str, lines: list[dict]) -> float:
    """Seconds that the release took; the order is typed in before that."""
    from django.utils import timezone

    from fittings.models import Customer, Order, OrderLine

    number = f"B{uuid.uuid4().hex[:8]}"
    customer = Customer.objects.get(name="Bench Mechanical")
    order = Order.objects.create(
        number=number, customer=customer, created_at=timezone.now(), created_by="bench"
    )
    OrderLine.objects.bulk_create(
        OrderLine(order=order, position=at, material="galvanized", gauge=24, **line)
        for at, line in enumerate(lines, start=1)
    )
    began = time.perf_counter()
    status, answer = ask(port, "POST", f"/api/v1/orders/{number}/release/", key)
    assert status == 200, answer
    return time.perf_counter() - began


def ask(port: int, method: str, path: str, key: str, body: bytes | None = None) -> tuple[int, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    headers = {"Authorization": f"Token {key}", "Content-Type": "application/json"}
    connection.request(method, path, body=body, headers=headers)
    response = connection.getresponse()
    answer = response.read()
    connection.close()
    return response.status, answer


class scanning:
    """Stations that scan one code after the other while it is open; gives the times of their scans [ms], in order."""

    def __init__(self, port: int, shop: dict, codes):
        self.port, self.shop, self.codes = port, shop, codes
        self.times: list[float] = []
        self.wrong = 0
        self.lock, self.ended = threading.Lock(), threading.Event()
        self.threads = [threading.Thread(target=self.station) for _ in range(STATIONS)]

    def __enter__(self) -> list[float]:
        for thread in self.threads:
            thread.start()
        return self.times

    def __exit__(self, *error) -> None:
        self.ended.set()
        for thread in self.threads:
            thread.join()
        assert not self.wrong, f"{self.wrong} scans were not recorded"

    def station(self) -> None:
        while not self.ended.wait(PAUSE_SECONDS):
            with self.lock:
                code = next(self.codes)
            body = harness.scan_body(code, self.shop["badge"])
            began = time.perf_counter()
            status, answer = ask(self.port, "POST", "/api/v1/scans/", self.shop["keys"]["cut"], body)
            took = (time.perf_counter() - began) * 1000
            recorded = status == 200 and json.loads(answer)["results"][0]["outcome"] == "recorded"
            with self.lock:
                self.times.append(took)
                self.wrong += not recorded


def told(name: str, times: list[float], bound: str = "") -> None:
    ordered = sorted(times)
    p95 = statistics.quantiles(ordered, n=100, method="inclusive")[94]
    print(f"  {name}: {len(ordered)}, p50 {statistics.median(ordered):.0f} ms, longest {ordered[-1]:.0f} ms")
    harness.report(f"  {name}, p95 [ms]", p95, bound)


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
