"""Memory of the server over an hour of a shop's work: every page and address in turn, boards open, a station scanning.

    python -m tests.bench.bench_memory FOLDER [minutes] [boards]

FOLDER (SQLite) or a postgres:// address is a shop that `tests.bench.ten_years` filled. Each minute one line: requests
answered, scans, and the memory of all the server's processes, what they share counted once. At the end the mean of the
last fifth of the minutes against that of the second fifth, when every page had been asked for: flat is at most 1.05.
"""

from __future__ import annotations

import http.client
import os
import statistics
import sys
import threading
import time
from itertools import cycle

from tests.bench import harness
from tests.bench.bench_live import Displays, megabytes
from tests.bench.bench_ten_years import asked_there, clients_there

PAUSE_SECONDS, SCAN_SECONDS = 0.2, 0.5
BROKEN = 500


def main(place: str, minutes: int = 60, boards: int = 20) -> None:
    name = "DATABASE_URL" if place.startswith("postgres") else "SHOPFLOOR_DATA"
    os.environ[name] = place
    harness.django_set_up(with_shop=False)
    asks, _ = asked_there()
    shop = harness.shop_with_order(minutes * 60 // 5 + 100)
    headers = {who: headers_of(client) for who, client in clients_there().items()}
    megabytes_seen: list[float] = []
    with harness.server() as port:
        displays = Displays(port, shop["keys"]["supervisor"], "/board/stream/", boards)
        work = [Walk(port, list(asks.values()), headers), Scanning(port, shop)]
        for one in work:
            one.start()
        for minute in range(1, minutes + 1):
            time.sleep(60)
            megabytes_seen.append(megabytes(port))
            walk, scanning = work
            print(
                f"{minute:>3} min: {walk.answered} answers, {scanning.answered} scans, {megabytes_seen[-1]:.0f} MB",
                flush=True,
            )
        for one in work:
            one.is_over = True
            one.join()
        displays.end()
    fifth = max(1, minutes // 5)
    ratio = statistics.mean(megabytes_seen[-fifth:]) / statistics.mean(megabytes_seen[fifth : 2 * fifth])
    harness.report("memory of the last fifth against the second, ratio", ratio, "at most 1.05")
    print(f"addresses that failed: {sorted(work[0].broken) or 'none'}")


def headers_of(client) -> dict[str, str]:
    """What a client of the tests sends, for a connection of its own."""
    cookies = "; ".join(f"{name}={one.value}" for name, one in client.cookies.items())
    token = client.defaults.get("HTTP_AUTHORIZATION", "")
    return {name: text for name, text in (("Cookie", cookies), ("Authorization", token)) if text}


class Caller(threading.Thread):
    def __init__(self, port: int):
        super().__init__(daemon=True)
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.answered, self.is_over = 0, False

    def ask(self, method: str, path: str, headers: dict[str, str], body: bytes | None = None):
        self.connection.request(method, path.replace(" ", "%20"), body=body, headers=headers)
        response = self.connection.getresponse()
        content = response.read()
        self.answered += 1
        return response.status, content


class Walk(Caller):
    """Every page and address, one after the other, again and again."""

    def __init__(self, port: int, asks: list[tuple[str, str]], headers: dict[str, dict[str, str]]):
        super().__init__(port)
        self.asks, self.headers = asks, headers
        self.broken: set[str] = set()

    def run(self) -> None:
        for who, path in cycle(self.asks):
            if self.is_over:
                return
            status, _ = self.ask("GET", path, {"Host": "localhost", **self.headers[who]})
            if status >= BROKEN:
                self.broken.add(path)
            time.sleep(PAUSE_SECONDS)


class Scanning(Caller):
    def __init__(self, port: int, shop: dict):
        super().__init__(port)
        self.shop = shop

    def run(self) -> None:
        headers = {
            "Authorization": f"Token {self.shop['keys']['cut']}",
            "Content-Type": "application/json",
        }
        for code in self.shop["codes"]:
            if self.is_over:
                return
            _, content = self.ask(
                "POST", "/api/v1/scans/", headers, harness.scan_body(code, self.shop["badge"])
            )
            assert b'"recorded"' in content, content
            time.sleep(SCAN_SECONDS)


if __name__ == "__main__":
    main(sys.argv[1], *(int(text) for text in sys.argv[2:]))
