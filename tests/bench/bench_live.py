"""How soon a committed change is on the streams: from commit to client, for thirty of them.

    python tests/bench/bench_live.py [--clients 30] [--changes 200] [--every 0.2] [--workers 2]

Needs a database that `manage.py up` has set up (SHOPFLOOR_DATA or DATABASE_URL). Starts its own gunicorn on a free
port, commits changes of the version from this process, and prints percentiles in milliseconds with the machine's load.
"""

from __future__ import annotations

import argparse
import os
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopfloor.settings")

import django  # noqa: E402

django.setup()

from django.db import connection, transaction  # noqa: E402
from django.utils import timezone  # noqa: E402

from shopfloor.keys import key_make  # noqa: E402
from shopfloor.models import Person  # noqa: E402
from travelers.pulse import pulse_beat  # noqa: E402


def percentiles(values: list[float]) -> str:
    ordered = sorted(values)

    def at(share: float) -> float:
        return ordered[min(len(ordered) - 1, int(share * len(ordered)))] * 1000

    return f"p50 {at(0.5):6.1f}  p95 {at(0.95):6.1f}  p99 {at(0.99):6.1f}  most {ordered[-1] * 1000:6.1f} ms"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def read(url: str, key: str, seen: dict[int, float], ready: threading.Event) -> None:
    request = urllib.request.Request(
        url, headers={"Authorization": f"Token {key}", "Accept": "text/event-stream"}
    )
    with urllib.request.urlopen(request, timeout=60) as stream:
        for line in stream:
            if line.startswith(b"id: "):
                number = int(line[4:])
            elif line.startswith(b"data: "):
                seen[number] = time.monotonic()
                ready.set()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--clients", type=int, default=30)
    parser.add_argument("--changes", type=int, default=200)
    parser.add_argument("--every", type=float, default=0.2, help="seconds between changes")
    parser.add_argument("--workers", type=int, default=2)
    chosen = parser.parse_args()

    port = free_port()
    settings = {
        "SHOPFLOOR_PORT": str(port),
        "SHOPFLOOR_HOST": "127.0.0.1",
        "SHOPFLOOR_WORKERS": str(chosen.workers),
    }
    server = subprocess.Popen(
        [sys.executable, "-m", "gunicorn", "-c", "shopfloor/gunicorn_conf.py", "--no-control-socket"],
        cwd=ROOT,
        env=os.environ | settings,
    )
    try:
        health = f"http://127.0.0.1:{port}/api/v1/health/"
        for _ in range(600):
            try:
                urllib.request.urlopen(health, timeout=5).close()
                break
            except OSError:
                time.sleep(0.1)
        name = "bench-display"
        person = Person.objects.filter(username=name).first() or Person.objects.create_user(
            name, role="display"
        )
        key, secret = key_make(now=timezone.now(), person=person, label="bench")
        url = f"http://127.0.0.1:{port}/api/v1/board/stream/"
        clients: list[dict[int, float]] = []
        for _ in range(chosen.clients):
            seen: dict[int, float] = {}
            ready = threading.Event()
            threading.Thread(target=read, args=(url, secret, seen, ready), daemon=True).start()
            assert ready.wait(30), "a stream did not open"
            clients.append(seen)
        committed: dict[int, float] = {}
        for _ in range(chosen.changes):
            with transaction.atomic():
                version = pulse_beat(changes=1)[1]
            committed[version] = time.monotonic()
            time.sleep(chosen.every)
        time.sleep(1)
        waits, missed = [], 0
        for seen in clients:
            for version, at in committed.items():
                first = min((when for number, when in seen.items() if number >= version), default=None)
                if first is None:
                    missed += 1
                else:
                    waits.append(max(0.0, first - at))
        load = os.getloadavg()[0]
        print(
            f"{connection.vendor}, {chosen.clients} clients, {chosen.workers} workers, a change every {chosen.every} s"
        )
        print(
            f"commit to client  {percentiles(waits)}   missed {missed}, load {load:.1f} on {os.cpu_count()} cores"
        )
        key.delete()
    finally:
        server.terminate()
        server.wait(10)


if __name__ == "__main__":
    main()
