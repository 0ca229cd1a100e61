"""The scan endpoint against the bare stack, a view that does one insert and one update, on the same server.

    python -m tests.bench.bench_scan [rounds]

Prints the ratio of requests a second at 8 clients (at least 0.5) and of p99 (at most 2) against the bare view as it is
usually written, by the ORM; and for information against the same in plain SQL. The three take turns within one run.
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
    shop = harness.shop_with_order((CLIENTS * EACH * rounds) // 5 + 40)
    random.Random(1).shuffle(shop["codes"])  # as on a floor: eight stations, eight fittings
    codes = iter(shop["codes"])
    headers = {"Authorization": f"Token {shop['keys']['cut']}", "Content-Type": "application/json"}

    def scan(client: int, n: int):
        return "POST", "/api/v1/scans/", harness.scan_body(next(codes), shop["badge"]), headers

    def bare(path: str):
        return lambda client, n: ("POST", path, harness.scan_body("0" * 9, shop["badge"]), headers)

    sides = {"bare": bare("/bare/write/"), "plain SQL": bare("/bare/sql/"), "scans": scan}
    loads: dict[str, list[harness.Load]] = {name: [] for name in sides}
    with harness.server() as port:
        for make in sides.values():
            harness.burst(port, make, clients=CLIENTS, requests=4)
        for _ in range(rounds):
            for name, make in sides.items():
                load = harness.burst(port, make, clients=CLIENTS, requests=EACH)
                assert load.wrong == 0, (name, load.wrong)
                loads[name].append(load)
    for name, found in loads.items():
        rate = statistics.median(one.rate for one in found)
        tail = statistics.median(one.percentile(0.99) for one in found)
        print(f"{name}: {rate:.0f}/s, p99 {tail:.0f} ms")
    for name, bounds in (("bare", ("at least 0.5", "at most 2")), ("plain SQL", ("", ""))):
        pairs = list(zip(loads["scans"], loads[name], strict=True))
        rate = statistics.median(one.rate / other.rate for one, other in pairs)
        tail = statistics.median(one.percentile(0.99) / other.percentile(0.99) for one, other in pairs)
        harness.report(f"scans against {name}, requests/s", rate, bounds[0])
        harness.report(f"scans against {name}, p99", tail, bounds[1])


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
