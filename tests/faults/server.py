"""A shop of its own and the app serving it, as `manage.py up` does: started, killed, started again.

The shop is made once and copied for each test, with all its codes: a folder, or a database from a template.
"""

from __future__ import annotations

import contextlib
import json
import os
import resource
import shutil
import signal
import socket
import subprocess
import sys
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import psycopg

from tests.faults.wire import Answer, call

ROOT = Path(__file__).resolve().parents[2]
SLOWEST_START = 120
CLUSTER = os.environ.get("DATABASE_URL", "")


@dataclass(frozen=True)
class Shop:
    """Where a shop's data are, and what a client must know of it."""

    data: Path
    database: str
    known: dict

    def key(self, who: str) -> str:
        return self.known["keys"][who]

    def fittings(self, order: str) -> list[dict]:
        return self.known["orders"][order]["fittings"]

    @property
    def environment(self) -> dict[str, str]:
        kept = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("DATABASE_", "DJANGO_", "SHOPFLOOR_"))
        }
        own = {
            "SHOPFLOOR_DATA": str(self.data),
            "SHOPFLOOR_HOST": "127.0.0.1",
            "SHOPFLOOR_JOBS": "0",
            "SHOPFLOOR_STATIC_FROM_SOURCE": "1",
            "DJANGO_SETTINGS_MODULE": "tests.faults.settings",
            "PYTHONPATH": str(ROOT),
        }
        return kept | own | ({"DATABASE_URL": self.database} if self.database else {})


def administer(statement: str, url: str = CLUSTER) -> None:
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(statement)


def database_url(name: str) -> str:
    return urlunsplit(urlsplit(CLUSTER)._replace(path=f"/{name}"))


def shop_make(data: Path) -> Shop:
    """The shop that all others are copies of."""
    data.mkdir(parents=True)
    name = ""
    if CLUSTER:
        name = f"faults_{uuid.uuid4().hex[:12]}"
        administer(f"CREATE DATABASE {name}")
    shop = Shop(data, database_url(name) if name else "", {})
    done = subprocess.run(
        [sys.executable, "-m", "tests.faults.make_shop"],
        cwd=ROOT,
        env=shop.environment,
        stdout=subprocess.PIPE,
        text=True,
        check=True,
        timeout=SLOWEST_START,
    )
    return Shop(data, shop.database, json.loads(done.stdout))


def shop_drop(shop: Shop) -> None:
    if shop.database:
        administer(f"DROP DATABASE IF EXISTS {urlsplit(shop.database).path[1:]} WITH (FORCE)")


@contextmanager
def copied(shop: Shop, data: Path, tablespace: str = "") -> Iterator[Shop]:
    """A shop of the same codes, keys and orders, gone at the end."""
    url = ""
    shutil.copytree(shop.data, data, dirs_exist_ok=True)
    if shop.database:
        name = f"faults_{uuid.uuid4().hex[:12]}"
        where = f" TABLESPACE {tablespace}" if tablespace else ""
        administer(f"CREATE DATABASE {name} TEMPLATE {urlsplit(shop.database).path[1:]}{where}")
        url = database_url(name)
    made = Shop(data, url, shop.known)
    try:
        yield made
    finally:
        shop_drop(made)


class Server:
    """One process group that serves a shop. It keeps its port over a restart, as the tablets expect."""

    def __init__(self, shop: Shop, log: Path):
        self.shop = shop
        self.log = log
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self._process: subprocess.Popen | None = None

    def start(self) -> None:
        with self.log.open("a") as log:
            self._process = subprocess.Popen(
                [
                    *(sys.executable, "-m", "gunicorn", "-c", "shopfloor/gunicorn_conf.py", "--preload"),
                    *("-b", f"127.0.0.1:{self.port}", "tests.faults.wsgi"),
                ],
                cwd=ROOT,
                env=self.shop.environment,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    def wait_until_open(self) -> None:
        end = time.monotonic() + SLOWEST_START
        while time.monotonic() < end:
            assert self._process and self._process.poll() is None, self.log.read_text()[-4000:]
            try:
                if self.get("health/").status == 200:
                    return
            except OSError:
                time.sleep(0.02)
        raise AssertionError("The server did not open. " + self.log.read_text()[-4000:])

    def kill(self) -> None:
        """kill -9 of all its processes at once."""
        if self._process:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait(20)
            self._process = None

    def limit_file_size(self, size: int) -> None:
        """No file of these processes grows beyond this; -1 lets them grow again."""
        for folder in Path("/proc").glob("[0-9]*"):
            pid = int(folder.name)
            try:
                is_mine = os.getpgid(pid) == self._process.pid
            except ProcessLookupError:
                continue
            if is_mine:
                resource.prlimit(
                    pid, resource.RLIMIT_FSIZE, (size, resource.prlimit(pid, resource.RLIMIT_FSIZE)[1])
                )

    def get(self, path: str, who: str = "supervisor") -> Answer:
        return call(self.port, "GET", f"/api/v1/{path}", key=self.shop.key(who))

    def page(self, path: str, who: str) -> Answer:
        return call(self.port, "GET", path, key=self.shop.key(who), Accept="text/html")

    def post_as(self, who: str, path: str, body) -> Answer:
        """As someone whose key may be none, or none of ours."""
        key = {"nobody": "", "invented": "x" * 43}.get(who)
        key = self.shop.key(who) if key is None else key
        return call(self.port, "POST", f"/api/v1/{path}", body, key=key)

    def post(self, path: str, body, who: str, *, timeout: float = 30, **headers: str) -> Answer:
        return call(
            self.port, "POST", f"/api/v1/{path}", body, key=self.shop.key(who), timeout=timeout, **headers
        )


@contextmanager
def serving(shop: Shop) -> Iterator[Server]:
    """A server of this shop, open. It is killed in the end, which it must bear."""
    server = Server(shop, shop.data.with_suffix(".log"))
    try:
        server.start()
        server.wait_until_open()
        yield server
    finally:
        server.kill()
