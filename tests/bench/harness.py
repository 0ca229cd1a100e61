"""What the measurements share: a shop of their own, a server with the bare views beside the app's, and a load.

Every figure is a ratio within one run: the two sides are measured in turns, since machines are noisy.
"""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]


def django_set_up(*, with_shop: bool = True) -> None:
    """A fresh data folder (or the database of DATABASE_URL), migrated and filled with what every shop has."""
    os.environ.setdefault("SHOPFLOOR_DATA", tempfile.mkdtemp(prefix="bench-"))
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.bench.settings"
    sys.path.insert(0, str(TOP))
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.utils import timezone

    from travelers.setup import shop_set_up

    call_command("migrate", verbosity=0)
    if not with_shop:
        return
    shop_set_up(now=timezone.now())
    serial = "BIGSERIAL PRIMARY KEY" if connection.vendor == "postgresql" else "INTEGER PRIMARY KEY"
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE TABLE IF NOT EXISTS bench_row (id {serial}, text VARCHAR(200))")
        cursor.execute("CREATE TABLE IF NOT EXISTS bench_count (id INTEGER PRIMARY KEY, n INTEGER)")
        cursor.executemany(
            "INSERT INTO bench_count (id, n) VALUES (%s, 0) ON CONFLICT DO NOTHING", [[n] for n in range(64)]
        )


def shop_with_order(quantity: int, **line) -> dict:
    """Stations, a badge, keys, and a released order of five-piece elbows. Returns keys, badge and codes."""
    from django.utils import timezone

    from fittings import numbering
    from fittings.models import Customer, Order, OrderLine, Segment
    from shared.roles import OFFICE, Actor
    from shopfloor.keys import key_make
    from shopfloor.models import Person, Station
    from travelers.models import Operator
    from travelers.release import order_release

    now = timezone.now()
    badge = numbering.take(1)[0]
    Operator.objects.create(code=badge, name="Bench Operator")
    person = Person.objects.get_or_create(username="bench", defaults={"role": "supervisor"})[0]
    keys = {"supervisor": key_make(now=now, person=person)[1]}
    for operation in ("cut", "roll", "seam", "assemble", "ends", "wrap"):
        station = Station.objects.get_or_create(
            code=f"{operation.upper()}-1", defaults={"name": operation, "operations": [operation]}
        )[0]
        keys[operation] = key_make(now=now, station=station)[1]
    customer = Customer.objects.get_or_create(name="Bench Mechanical")[0]
    order = Order.objects.create(
        number=f"B{uuid.uuid4().hex[:8]}", customer=customer, created_at=now, created_by="bench"
    )
    OrderLine.objects.create(
        order=order,
        position=1,
        quantity=quantity,
        kind="gored_elbow",
        material="galvanized",
        gauge=24,
        params={"diameter": 14, "angle": 90, "pieces": 5, "radius_ratio": 1.5},
        **line,
    )
    began = time.perf_counter()
    order_release(number=order.number, actor=Actor("bench", OFFICE), now=now)
    took = time.perf_counter() - began
    codes = list(Segment.objects.filter(fitting__order=order).order_by("pk").values_list("code", flat=True))
    return {"keys": keys, "badge": badge, "codes": codes, "order": order, "release_seconds": took}


@contextmanager
def server(workers: int = 2) -> Iterator[int]:
    """The app as `manage.py up` serves it, with the bare views beside. Gives the port."""
    from django.db import connections

    connections.close_all()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [
        sys.executable,
        "-m",
        "gunicorn",
        "--config",
        str(TOP / "shopfloor" / "gunicorn_conf.py"),
        "--bind",
        f"127.0.0.1:{port}",
        "--workers",
        str(workers),
        "shopfloor.wsgi:application",
    ]
    process = subprocess.Popen(command, cwd=TOP, env={**os.environ, "PYTHONPATH": str(TOP)})
    try:
        for _ in range(200):
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
                break
            except OSError:
                time.sleep(0.1)
        yield port
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(timeout=20)


@dataclass
class Load:
    """What a burst measured: requests a second and the times of each [ms]."""

    rate: float
    times: list[float]
    wrong: int

    def percentile(self, part: float) -> float:
        return statistics.quantiles(self.times, n=1000, method="inclusive")[round(part * 1000) - 1]


Request = Callable[[int, int], tuple[str, str, bytes | None, dict[str, str]]]


def burst(
    port: int, make: Request, *, clients: int, requests: int, good: tuple[int, ...] = (200, 304)
) -> Load:
    """`clients` connections, kept alive, `requests` each. `make(client, n)` gives method, path, body, headers."""
    times: list[list[float]] = [[] for _ in range(clients)]
    wrong = [0] * clients
    ready = threading.Barrier(clients + 1)

    def run(client: int) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        connection.connect()
        connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        work = [make(client, n) for n in range(requests)]
        ready.wait()
        for method, path, body, headers in work:
            began = time.perf_counter()
            connection.request(method, path, body=body, headers=headers)
            response = connection.getresponse()
            response.read()
            times[client].append((time.perf_counter() - began) * 1000)
            wrong[client] += response.status not in good
        connection.close()

    threads = [threading.Thread(target=run, args=(client,)) for client in range(clients)]
    for thread in threads:
        thread.start()
    ready.wait()
    began = time.perf_counter()
    for thread in threads:
        thread.join()
    took = time.perf_counter() - began
    every = [one for own in times for one in own]
    return Load(len(every) / took, every, sum(wrong))


def scan_body(code: str, badge: str, action: str = "finish") -> bytes:
    from django.utils import timezone

    scan = {
        "id": str(uuid.uuid4()),
        "code": code,
        "action": action,
        "count": None,
        "badge": badge,
        "reason": "",
        "scanned_at": timezone.now().isoformat(),
    }
    return json.dumps({"scans": [scan]}).encode()


def report(name: str, value: float, bound: str) -> None:
    print(f"{name:<58} {value:8.2f}   {bound}", flush=True)
