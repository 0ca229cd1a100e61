"""What a scan and the board cost with 1,000,000 old scans in the record against 1,000.

    python -m tests.bench.bench_history [old scans]

Prints the ratios (at most 1.2). Two shops with a database each, one with few old scans and one with many, are asked in
turns, so that the machine's noise falls on both. Old scans are of finished fittings, written straight into the tables:
only their number matters here.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
import uuid
from datetime import timedelta

from tests.bench import harness

ROUNDS = 15
SCANS = 20
BOARDS = 5


def main(old: int = 1_000_000) -> None:
    shops = {few: Shop(few) for few in (1_000, old)}
    for shop in shops.values():
        shop.read()
    ratios: dict[str, list[float]] = {"scan": [], "board": []}
    times: dict[tuple[str, int], list[float]] = {}
    for _ in range(ROUNDS):
        for what, found in ratios.items():
            pair = {scans: shop.ask(what) for scans, shop in shops.items()}
            found.append(pair[old] / pair[1_000])
            for scans, took in pair.items():
                times.setdefault((what, scans), []).append(took)
    for shop in shops.values():
        shop.end()
    for (what, scans), found in times.items():
        print(f"{what} with {scans} old scans: {statistics.median(found):.2f} ms")
    for what, found in ratios.items():
        harness.report(f"{what} with {old} old scans against 1000", statistics.median(found), "at most 1.2")


class Shop:
    """A shop in a process and database of its own, asked by lines."""

    def __init__(self, old: int):
        environment = {**os.environ, "SHOPFLOOR_DATA": tempfile.mkdtemp(prefix=f"bench-{old}-")}
        if os.environ.get("DATABASE_URL"):
            environment["DATABASE_URL"] = fresh_database(f"bench_{old}")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.bench_history", "shop", str(old)],
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
        self.process.wait(timeout=30)


def fresh_database(name: str) -> str:
    """A database beside the one of DATABASE_URL."""
    import psycopg

    url = os.environ["DATABASE_URL"]
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE IF EXISTS {name}")
        connection.execute(f"CREATE DATABASE {name}")
    return url.rpartition("/")[0] + "/" + name


def shop(old: int) -> None:
    """The process of one shop: fills its database, says so, then answers each line with a median time [ms]."""
    harness.django_set_up()
    made = harness.shop_with_order((ROUNDS + 3) * SCANS // 5)
    codes = iter(made["codes"])
    grow(old)
    one_scan(made, codes, SCANS)
    one_board(BOARDS)
    print("ready", flush=True)
    for line in sys.stdin:
        took = one_scan(made, codes, SCANS) if line.strip() == "scan" else one_board(BOARDS)
        print(took, flush=True)


def one_scan(shop: dict, codes, count: int) -> float:
    """Median time of a scan [ms], by process time of the recording with the database's own."""
    from django.utils import timezone

    from shared.roles import OPERATOR, Actor
    from travelers.record import scan_record

    actor = Actor("CUT-1", OPERATOR, "CUT-1", ("cut",))
    times = []
    for _ in range(count):
        delivery = json.loads(harness.scan_body(next(codes), shop["badge"]))["scans"][0]
        began = time.perf_counter()
        result = scan_record(delivery=delivery, actor=actor, now=timezone.now())
        times.append((time.perf_counter() - began) * 1000)
        assert result.outcome == "recorded", result
    return statistics.median(times)


def one_board(count: int) -> float:
    """Median time to build the board anew [ms]."""
    from django.utils import timezone

    from shopfloor.board import board
    from shopfloor.piling import Piling

    piling = Piling()

    times = []
    for _ in range(count):
        began = time.perf_counter()
        board(now=timezone.now(), piling=piling)
        times.append((time.perf_counter() - began) * 1000)
    return statistics.median(times)


def grow(scans: int) -> None:
    """Old scans with their finished fittings: 18 scans, tasks and targets each, as a five-piece elbow has."""
    from django.db import connection, transaction
    from django.utils import timezone

    from fittings.models import Fitting, Order, OrderLine, Segment
    from shared.rows import places, stored
    from travelers.models import Pulse, Task

    now = timezone.now()
    line = OrderLine.objects.order_by("pk").first()
    then = stored(now - timedelta(days=90))
    order = Order.objects.create(
        number=f"H{uuid.uuid4().hex[:8]}",
        customer_id=line.order.customer_id,
        created_at=now,
        created_by="bench",
        state="done",
        released_at=now - timedelta(days=120),
        ended_at=now - timedelta(days=90),
    )
    line = OrderLine.objects.create(
        order=order,
        position=1,
        quantity=scans,
        kind=line.kind,
        material=line.material,
        gauge=line.gauge,
        params=line.params,
        development=line.development,
    )
    head = Pulse.objects.get(pk=1)
    sequence = head.sequence
    for start in range(0, scans, 18 * 500):
        count = min(18 * 500, scans - start) // 18 + 1
        with transaction.atomic():
            fittings = Fitting.objects.bulk_create(
                Fitting(
                    order=order,
                    line=line,
                    number=sequence + n + 1,
                    code=uuid.uuid4().hex[:10],
                    traveler_code="OLD",
                    state="done",
                    done_at=now - timedelta(days=90),
                )
                for n in range(count)
            )
            segments = Segment.objects.bulk_create(
                Segment(
                    fitting=fitting,
                    position=position,
                    role="gore",
                    pattern="x",
                    code=uuid.uuid4().hex[:10],
                    state="done",
                )
                for fitting in fittings
                for position in range(1, 6)
            )
            Task.objects.bulk_create(
                Task(
                    fitting_id=segment.fitting_id,
                    segment=segment,
                    operation_id=operation,
                    step=step,
                    state="done",
                    ready_at=now - timedelta(days=91),
                    finished_at=now - timedelta(days=90),
                )
                for segment in segments
                for step, operation in ((10, "cut"), (20, "roll"), (30, "seam"))
            )
            Task.objects.bulk_create(
                Task(
                    fitting=fitting,
                    operation_id=operation,
                    step=step,
                    state="done",
                    ready_at=now - timedelta(days=91),
                    finished_at=now - timedelta(days=90),
                )
                for fitting in fittings
                for step, operation in ((40, "assemble"), (50, "ends"), (60, "wrap"))
            )
            rows, targets = [], []
            for fitting in fittings:
                for _ in range(18):
                    sequence += 1
                    rows.append(
                        (
                            sequence,
                            uuid.uuid4().hex,
                            "",
                            fitting.code,
                            "finish",
                            None,
                            "",
                            "",
                            "",
                            "CUT-1",
                            "cut",
                            then,
                            then,
                            then,
                            False,
                            "recorded",
                            "",
                            "old",
                            "cut",
                            1,
                        )
                    )
                    targets.append((sequence, fitting.pk))
            with connection.cursor() as cursor:
                cursor.executemany(
                    "INSERT INTO travelers_scan (sequence, scan_id, body_digest, code, action, count, badge, reason,"
                    " undoes, station, operations, scanned_at, received_at, effective_at, is_time_doubtful, outcome,"
                    f" reason_code, message, operation, changed) VALUES {places(20)}",
                    rows,
                )
                cursor.executemany(
                    "INSERT INTO travelers_scantarget (scan_id, fitting_id) VALUES (%s, %s)", targets
                )
    Pulse.objects.filter(pk=1).update(sequence=sequence)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)" if connection.vendor == "sqlite" else "CHECKPOINT")
    os.sync()  # years of history were written long ago: their pages are not waiting for the disk


if __name__ == "__main__":
    if sys.argv[1:2] == ["shop"]:
        shop(int(sys.argv[2]))
    else:
        main(*(int(text) for text in sys.argv[1:]))
