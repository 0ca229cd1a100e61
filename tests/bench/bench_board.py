"""The board unchanged (304) against a view that does nothing, on the same server.

    python -m tests.bench.bench_board [rounds]

Prints the ratio of requests a second at 8 clients (at least 0.5).
"""

from __future__ import annotations

import http.client
import statistics
import sys

from tests.bench import harness

CLIENTS = 8
EACH = 150


def main(rounds: int = 5) -> None:
    harness.django_set_up()
    shop = harness.shop_with_order(40)
    headers = {"Authorization": f"Token {shop['keys']['supervisor']}"}
    with harness.server() as port:
        first = http.client.HTTPConnection("127.0.0.1", port)
        first.request("GET", "/api/v1/board/", headers=headers)
        answer = first.getresponse()
        answer.read()
        headers["If-None-Match"] = answer.getheader("ETag")

        def board(client: int, n: int):
            return "GET", "/api/v1/board/", None, headers

        def nothing(client: int, n: int):
            return "GET", "/bare/nothing/", None, headers

        ratios, rates = [], []
        for make in (board, nothing):
            harness.burst(port, make, clients=CLIENTS, requests=10)
        for _ in range(rounds):
            one = harness.burst(port, nothing, clients=CLIENTS, requests=EACH, good=(304,))
            two = harness.burst(port, board, clients=CLIENTS, requests=EACH)
            assert one.wrong == two.wrong == 0, (one.wrong, two.wrong)
            ratios.append(two.rate / one.rate)
            rates.append((one.rate, two.rate))
    print(
        f"nothing {statistics.median(one for one, _ in rates):.0f}/s, "
        f"board {statistics.median(two for _, two in rates):.0f}/s"
    )
    harness.report(
        "board unchanged, requests/s against the empty view", statistics.median(ratios), "at least 0.5"
    )


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
