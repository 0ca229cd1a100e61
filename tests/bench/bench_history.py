"""What a scan and the screens cost with 5,000,000 old scans in the record against 10,000.

    python -m tests.bench.bench_history [old scans] [few scans] [rounds]

Prints ratios of medians (at most 1.2). Two shops with a database each are asked in turns, so that the machine's noise
falls on both. Old work is of finished orders, spread over a year up to a week ago and written straight into the tables:
only its number matters here. The last week is equal in both: 600 fittings open, and some finished an hour ago.
PostgreSQL has its tables vacuumed and analysed, as its own autovacuum does; SQLite has no statistics, as in the app.
"""

from __future__ import annotations

import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta

from tests.bench import harness, old_scans

SCANS = 20
FINISHED_LATELY = 600
OPEN_FITTINGS = 600
ASKED = 5
PAGES = {
    "board": ("supervisor", "/api/v1/board/"),
    "board page": ("supervisor", "/board/"),
    "tablet queue": ("roll", "/api/v1/station/queue/"),
    "where": ("supervisor", "/api/v1/where/?q={code}"),
    "exceptions page": ("supervisor", "/exceptions/"),
}
WHAT = ("scan", "board built", *PAGES)


def main(old: int = 5_000_000, few: int = 10_000, rounds: int = 25) -> None:
    shops = {scans: Shop(scans, rounds) for scans in (few, old)}
    try:
        for scans, shop in shops.items():
            print(f"{scans} old scans: {shop.read()}", flush=True)
        times: dict[str, dict[int, list[float]]] = {what: {few: [], old: []} for what in WHAT}
        for _ in range(rounds):
            for what in WHAT:
                for scans, shop in shops.items():
                    times[what][scans].append(shop.ask(what))
    finally:
        for shop in shops.values():
            shop.end()
    for what, found in times.items():
        less, more = (statistics.median(found[scans]) for scans in (few, old))
        harness.report(
            f"{what}: {more:.2f} ms with {old}, {less:.2f} with {few}, ratio", more / less, "at most 1.2"
        )


class Shop:
    """A shop in a process and database of its own, asked by lines."""

    def __init__(self, old: int, rounds: int):
        self.folder = tempfile.mkdtemp(prefix=f"bench-{old}-")
        environment = {**os.environ, "SHOPFLOOR_DATA": self.folder}
        if os.environ.get("DATABASE_URL"):
            environment["DATABASE_URL"] = fresh_database(f"bench_{old}")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.bench_history", "shop", str(old), str(rounds)],
            env=environment,
            cwd=harness.TOP,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def read(self) -> str:
        line = self.process.stdout.readline()
        assert line, "the shop's process ended"
        return line.strip()

    def ask(self, what: str) -> float:
        self.process.stdin.write(what + "\n")
        self.process.stdin.flush()
        return float(self.read())

    def end(self) -> None:
        self.process.stdin.close()
        self.process.wait(timeout=60)
        shutil.rmtree(self.folder)


def fresh_database(name: str) -> str:
    """A database beside the one of DATABASE_URL."""
    import psycopg

    url = os.environ["DATABASE_URL"]
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE IF EXISTS {name}")
        connection.execute(f"CREATE DATABASE {name}")
    return url.rpartition("/")[0] + "/" + name


def shop(old: int, rounds: int) -> None:
    """The process of one shop: fills its database, says so, then answers each line with a median time [ms]."""
    harness.django_set_up()
    now = datetime.now(UTC)
    made = harness.shop_with_order(max(OPEN_FITTINGS, (rounds + 2) * SCANS // 5 + FINISHED_LATELY // 18))
    took = old_scans.fill(old, order=made["order"], last=now - timedelta(days=7), days=365)
    old_scans.fill(FINISHED_LATELY, order=made["order"], last=now - timedelta(minutes=1), days=0.1)
    old_scans.settle()
    codes = iter(made["codes"])
    for what in WHAT:
        measure(what, made, codes)
    print(f"filled in {took:.0f} s", flush=True)
    for line in sys.stdin:
        print(measure(line.strip(), made, codes), flush=True)


def measure(what: str, made: dict, codes) -> float:
    """The median time of it [ms]."""
    if what == "scan":
        return one_scan(made, codes, SCANS)
    return one_board(ASKED) if what == "board built" else one_page(what, made, ASKED)


def one_scan(shop: dict, codes, wanted: int) -> float:
    """Median time of a scan [ms], by process time of the recording with the database's own."""
    from django.utils import timezone

    from shared.roles import OPERATOR, Actor
    from travelers.record import scan_record

    actor = Actor("CUT-1", OPERATOR, "CUT-1", ("cut",))
    times = []
    for _ in range(wanted):
        delivery = json.loads(harness.scan_body(next(codes), shop["badge"]))["scans"][0]
        began = time.perf_counter()
        result = scan_record(delivery=delivery, actor=actor, now=timezone.now())
        times.append((time.perf_counter() - began) * 1000)
        assert result.outcome == "recorded", result
    return statistics.median(times)


def one_board(wanted: int) -> float:
    """Median time to build the board anew [ms]."""
    from django.utils import timezone

    from shopfloor.board import board
    from shopfloor.piling import Piling

    piling = Piling()
    times = []
    for _ in range(wanted):
        began = time.perf_counter()
        board(now=timezone.now(), piling=piling)
        times.append((time.perf_counter() - began) * 1000)
    return statistics.median(times)


def one_page(what: str, made: dict, wanted: int) -> float:
    """Median time of an answer [ms], without a server between; the version moves before each, so nothing is kept."""
    from django.db import transaction
    from django.test import Client

    from travelers.pulse import pulse_beat

    who, address = PAGES[what]
    client = Client(headers={"Authorization": f"Token {made['keys'][who]}"})
    times = []
    for _ in range(wanted):
        with transaction.atomic():
            pulse_beat(changes=1)
        began = time.perf_counter()
        answer = client.get(address.format(code=made["codes"][-1]))
        times.append((time.perf_counter() - began) * 1000)
        assert answer.status_code == 200, answer.content[:300]
    return statistics.median(times)


if __name__ == "__main__":
    if sys.argv[1:2] == ["shop"]:
        shop(*(int(text) for text in sys.argv[2:]))
    else:
        main(*(int(text) for text in sys.argv[1:]))
