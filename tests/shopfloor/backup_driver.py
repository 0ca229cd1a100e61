"""What the tests of backups do in other processes, on the shop that the environment names.

python -m tests.shopfloor.backup_driver fill            migrate, set up, six released orders, some scans
… scan SHARE SHARES FILE                                scan without end; each id goes to FILE when it is answered
… slowly FILE                                           a backup of which the reading takes a second
… killed POINTS backup|restore FILE                     each time anew, killed at a line of the backup code
… killed_while_writing FILE                             killed while SQLite has half of a restore in its log
"""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import sys
import time
from contextlib import suppress
from itertools import cycle
from pathlib import Path

import django

HERE = "shopfloor/backups/"


def fill() -> None:
    from django.core.management import call_command
    from django.utils import timezone

    from tests.travelers.floor import floor
    from travelers.setup import shop_set_up

    call_command("migrate", interactive=False, verbosity=0)
    shop_set_up(now=timezone.now())
    for _ in range(6):
        made = floor(quantity=8, pieces=5)
        made.scan("cut", made.segment(1).code)
        made.scan("roll", made.segment(2).code, "start")
        made.scan("roll", made.segment(2).code, "hold", reason="Stain")
        made.scan("seam", made.segment(3).code, "scrap", reason="Torn")


def scan(share: str, shares: str, file: str) -> None:
    from fittings.models import Order, Segment
    from shared.problems import Busy
    from tests.travelers.floor import Floor, badge

    worker = badge(f"Sam Invented {share}")
    steps = (("cut", "start"), ("cut", "finish"), ("roll", "finish"), ("seam", "finish"))
    with Path(file).open("a", buffering=1) as answered:
        for order in cycle(list(Order.objects.order_by("pk"))[int(share) :: int(shares)]):
            on = Floor(order, worker, minutes=100)
            for code in Segment.objects.filter(fitting__order=order).values_list("code", flat=True):
                for operation, action in steps:
                    with suppress(Busy):
                        answered.write(on.scan(operation, code, action).id + "\n")


def more_scans() -> None:
    """A few more scans, so that old and new differ."""
    from fittings.models import Order
    from tests.travelers.floor import Floor, badge

    for order in Order.objects.order_by("pk"):
        on = Floor(order, badge(f"Sam Invented {order.pk}"), minutes=100)
        on.scan("cut", on.traveler)


def slowly(file: str) -> None:
    from django.utils import timezone

    from shopfloor.backups import services, sqlite

    sqlite.PAGES_A_STEP, sqlite.PAUSE_SECONDS = 10, 0.02
    services.backup_make(to=Path(file), now=timezone.now())


def act(what: str, file: str) -> None:
    from django.utils import timezone

    from shopfloor.backups import services

    if what == "backup":
        services.backup_make(to=Path(file), now=timezone.now())
    else:
        services.backup_restore(file=Path(file), is_present_kept=False, now=timezone.now())


class KilledAt:
    """Counts the lines of the backup code that this process has run, and ends it at the one that is due."""

    def __init__(self, due: int):
        self.due = due
        self.seen = 0

    def __call__(self, frame, event, argument):
        return self._line if HERE in frame.f_code.co_filename else None

    def _line(self, frame, event, argument):
        if event == "line":
            self.seen += 1
            if self.seen == self.due:
                os.kill(os.getpid(), signal.SIGKILL)
        return self._line


def killed(points: str, what: str, file: str) -> None:
    """Tell for each point: the line, and whether the record was then as before or as the backup has it."""
    from tests.shopfloor.backup_shop import read_rows, record

    data, url = Path(os.environ["SHOPFLOOR_DATA"]), os.environ.get("DATABASE_URL", "")
    old = record(read_rows(data, url))
    kept = data / "kept.sqlite3"
    if not url:
        shutil.copy(data / "shop.sqlite3", kept)
    lines = count_lines(what, file)
    new = record(read_rows(data, url))
    for at in range(int(points)):
        due = 1 + at * (lines - 1) // (int(points) - 1)
        if what == "restore" and record(read_rows(data, url)) != old:
            put_back(data, url)
        if what == "backup":
            Path(file).unlink(missing_ok=True)
        in_a_child(lambda due=due: sys.settrace(KilledAt(due)) or act(what, file), is_killed=True)
        alone(url)
        sound(data, url)
        for folder in (data, Path(file).parent):
            for left in folder.glob(".shop-backup-*.part"):
                shutil.rmtree(left)
        found = record(read_rows(data, url))
        word = "old" if found == old else "new" if found == new else "TORN"
        whole = Path(file).exists() and " named"
        print(due, lines, word + (whole or ""))


def count_lines(what: str, file: str) -> int:
    out, inn = os.pipe()

    def counted() -> None:
        counter = KilledAt(-1)
        sys.settrace(counter)
        act(what, file)
        sys.settrace(None)
        os.write(inn, str(counter.seen).encode())

    in_a_child(counted, is_killed=False)
    return int(os.read(out, 100))


def in_a_child(do, *, is_killed: bool) -> None:
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            do()
            code = 0
        finally:
            os._exit(code)
    status = os.waitpid(pid, 0)[1]
    right = os.WIFSIGNALED(status) if is_killed else status == 0
    assert right, f"the child ended with {status}"


def put_back(data: Path, url: str) -> None:
    """The old record, copied while nobody has it open."""
    if url:
        from tests.shopfloor.backup_shop import server_do

        name = url.rsplit("/", 1)[1]
        server_do(f'DROP DATABASE "{name}" WITH (FORCE)')
        server_do(f'CREATE DATABASE "{name}" TEMPLATE "{os.environ["OLD_DATABASE"]}"')
        return
    for ending in ("-wal", "-shm"):
        (data / f"shop.sqlite3{ending}").unlink(missing_ok=True)
    shutil.copy(data / "kept.sqlite3", data / "shop.sqlite3")


def alone(url: str) -> None:
    """Wait until PostgreSQL has noticed that the killed process is gone."""
    if not url:
        return
    import psycopg

    end = time.monotonic() + 30
    with psycopg.connect(url, autocommit=True) as server:
        asked = (
            "SELECT COUNT(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"
            " AND backend_type = 'client backend'"
        )
        while server.execute(asked).fetchone()[0]:
            assert time.monotonic() < end, "a connection of the killed process stays"
            time.sleep(0.02)


def sound(data: Path, url: str) -> None:
    if not url:
        found = sqlite3.connect(data / "shop.sqlite3")
        assert found.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        found.close()


def killed_while_writing(file: str) -> None:
    from shopfloor.backups import sqlite

    log = Path(os.environ["SHOPFLOOR_DATA"]) / "shop.sqlite3-wal"
    half = (log.parent / "shop.sqlite3").stat().st_size // 2

    def look(*how_far) -> None:
        if log.stat().st_size > half:
            os.kill(os.getpid(), signal.SIGKILL)

    class Dying(sqlite3.Connection):
        def backup(self, target, **how):
            super().backup(target, progress=look, **how)

    def opened(path: Path) -> Dying:
        made = sqlite3.connect(path, isolation_level=None, factory=Dying)
        made.execute("PRAGMA cache_size=10")  # no more than these stay in memory, so the log grows at once
        return made

    sqlite.PAGES_A_STEP, sqlite._opened = 5, opened
    act("restore", file)


def main(name: str, *words: str) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopfloor.settings")
    django.setup()
    globals()[name](*words)


if __name__ == "__main__":
    main(*sys.argv[1:])
