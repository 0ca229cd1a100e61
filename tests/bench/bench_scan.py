"""The scan endpoint against the bare stack: a view that does one insert and one update.

    python -m tests.bench.bench_scan [rounds]

Prints the ratio of requests a second at 8 clients (at least 0.5) and of p99 (at most 2).
"""

from __future__ import annotations

import random
import statistics
import sys

from tests.bench import harness

CLIENTS = 8
EACH = 60


def main(rounds: int = 5) -> None:
    harness.django_set_up()
    shop = harness.shop_with_order(CLIENTS * EACH * rounds // 5 + 40)
    random.Random(1).shuffle(shop["codes"])  # as on a floor: eight stations, eight fittings
    codes = iter(shop["codes"])
    headers = {"Authorization": f"Token {shop['keys']['cut']}", "Content-Type": "application/json"}

    def scan(client: int, n: int):
        return "POST", "/api/v1/scans/", harness.scan_body(next(codes), shop["badge"]), headers

    def bare(client: int, n: int):
        return "POST", "/bare/write/", harness.scan_body("0" * 9, shop["badge"]), headers

    with harness.server() as port:
        for make in (scan, bare):
            harness.burst(port, make, clients=CLIENTS, requests=4)
        rates, tails, bares, scans = [], [], [], []
        for _ in range(rounds):
            one = harness.burst(port, bare, clients=CLIENTS, requests=EACH)
            two = harness.burst(port, scan, clients=CLIENTS, requests=EACH)
            assert one.wrong == two.wrong == 0, (one.wrong, two.wrong)
            rates.append(two.rate / one.rate)
            tails.append(two.percentile(0.99) / one.percentile(0.99))
            bares.append(one)
            scans.append(two)
    print(
        f"bare {statistics.median(one.rate for one in bares):.0f}/s, p99 "
        f"{statistics.median(one.percentile(0.99) for one in bares):.0f} ms; scans "
        f"{statistics.median(one.rate for one in scans):.0f}/s, p99 "
        f"{statistics.median(one.percentile(0.99) for one in scans):.0f} ms"
    )
    harness.report(
        "scan endpoint, requests/s against the bare view", statistics.median(rates), "at least 0.5"
    )
    harness.report("scan endpoint, p99 against the bare view", statistics.median(tails), "at most 2")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
