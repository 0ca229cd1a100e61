"""`manage.py up` as a shop meets it: a process that is started, used, stopped with Ctrl-C and started again."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from tests.shopfloor.processes import is_alive, workers_of
from tests.threads import until

ROOT = Path(__file__).resolve().parents[2]
SLOWEST_START = 240


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def environment(data: Path) -> dict[str, str]:
    kept = {
        name: value for name, value in os.environ.items() if not name.startswith(("DATABASE_", "DJANGO_"))
    }
    return kept | {"SHOPFLOOR_DATA": str(data), "SHOPFLOOR_HOST": "127.0.0.1", "PYTHONUNBUFFERED": "1"}


def manage(data: Path, *words: str) -> str:
    done = subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env=environment(data),
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    return done.stdout.strip()


class Server:
    def __init__(self, data: Path, *words: str):
        self.port = free_port()
        self.log = data.parent / f"up-{self.port}.log"
        self.data = data
        with self.log.open("w") as log:
            self.process = subprocess.Popen(
                [sys.executable, "manage.py", "up", "--port", str(self.port), *words],
                cwd=ROOT,
                env=environment(data),
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    def wait_until_open(self) -> dict:
        end = time.monotonic() + SLOWEST_START
        while time.monotonic() < end:
            assert self.process.poll() is None, self.log.read_text()
            try:
                return json.loads(self.get("/api/v1/health/")[1])
            except OSError:
                time.sleep(0.1)
        raise AssertionError("It did not open. " + self.log.read_text())

    def request(self, path: str, key: str = "", **headers: str) -> urllib.request.Request:
        found = urllib.request.Request(f"http://127.0.0.1:{self.port}{path}", headers=headers)
        if key:
            found.add_header("Authorization", f"Token {key}")
        return found

    def get(self, path: str, key: str = "") -> tuple[int, bytes]:
        try:
            with urllib.request.urlopen(self.request(path, key), timeout=20) as answer:
                return answer.status, answer.read()
        except urllib.error.HTTPError as error:
            return error.code, error.read()

    def stream(self, key: str):
        return urllib.request.urlopen(
            self.request("/api/v1/board/stream/", key, Accept="text/event-stream"), timeout=20
        )

    def interrupt(self) -> tuple[int, float]:
        """Ctrl-C: the whole group gets the signal, as in a terminal. The exit code, and how long it took."""
        began = time.monotonic()
        os.killpg(self.process.pid, signal.SIGINT)
        return self.process.wait(timeout=30), time.monotonic() - began


@contextmanager
def running(data: Path, *words: str):
    server = Server(data, *words)
    try:
        server.wait_until_open()
        yield server
    finally:
        if server.process.poll() is None:
            os.killpg(server.process.pid, signal.SIGTERM)
            try:
                server.process.wait(10)
            except subprocess.TimeoutExpired:
                os.killpg(server.process.pid, signal.SIGKILL)
                server.process.wait(10)


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("up") / "data"


def event(stream) -> dict:
    """The next event of a stream."""
    while True:
        line = stream.readline()
        assert line, "the stream ended"
        if line.startswith(b"data: "):
            return json.loads(line[6:])


def test_a_fresh_shop_opens_with_the_demo_serves_and_stops_with_streams_open(demo):
    with running(demo) as server:
        printed = server.log.read_text()
        assert f"http://127.0.0.1:{server.port}/" in printed
        assert "supervisor" in printed and "Sign-ins of the demo shop" in printed
        assert server.get("/sign-in/")[0] == 200
        key = manage(demo, "api_key", "display")
        status, page = server.get("/board/", key)
        assert status == 200 and b"floor-pile" in page
        sheet = page.decode().split('href="/static/shopfloor/board')[1].split('"')[0]
        assert server.get("/static/shopfloor/board" + sheet)[0] == 200
        board = json.loads(server.get("/api/v1/board/", key)[1])
        assert sum(one["ready"] for one in board["operations"]) > 0
        streams = [server.stream(key) for _ in range(6)]
        assert all(event(stream)["operations"] for stream in streams)
        code, took = server.interrupt()
        assert code == 0, server.log.read_text()
        assert took < 3
        assert all(stream.read() is not None for stream in streams), "they ended"


def test_a_change_made_by_another_process_reaches_the_stream(demo):
    with running(demo) as server:
        stream = server.stream(manage(demo, "api_key", "display"))
        before = event(stream)["version"]
        manage(demo, "shell", "-c", "from travelers.pulse import pulse_beat; pulse_beat()")
        assert event(stream)["version"] == before + 1


def test_a_second_start_keeps_all_data_and_fills_nothing_twice(demo):
    key = manage(demo, "api_key", "display")
    with running(demo) as server:
        again = json.loads(server.get("/api/v1/board/", key)[1])
        assert "Filling" not in server.log.read_text()
        assert sum(one["waiting"] for one in again["operations"]) > 0
        os.kill(server.process.pid, signal.SIGTERM)
        assert server.process.wait(15) == 0


def test_without_the_demo_an_empty_shop_stays_empty(tmp_path):
    with running(tmp_path / "data", "--no-demo") as server:
        printed = server.log.read_text()
        assert "Sign-ins of the demo shop" not in printed
        code = re.search(r"with this code:\n  ((?:[0-9A-Z]{4}-){2}[0-9A-Z]{4})\n", printed)[1]
        assert f"/first-steps/?code={code}" in printed
        assert server.get("/")[0] == 200 and b"Open the shop" in server.get("/")[1]
        again = manage(tmp_path / "data", "setup_code")
        assert re.fullmatch(r"(?:[0-9A-Z]{4}-){2}[0-9A-Z]{4}", again) and again != code
        assert server.get("/api/v1/board/")[0] == 401


def soon(condition, seconds: float = 30):
    """What the condition gives once it holds."""
    found = until(condition, seconds, pause=0.05)
    assert found, "it did not come about"
    return found


ASK = (
    "from django.utils import timezone; from shared.jobs import job_enqueue; "
    "job_enqueue(kind='cut_plan', subject='{}', asked_by='office', now=timezone.now())"
)


def ask(data: Path, subject: str) -> None:
    """Long work about a plan that does not exist: a worker has to find that out, and the job fails."""
    manage(data, "shell", "-c", ASK.format(subject))


def state(data: Path, subject: str) -> str:
    with closing(sqlite3.connect(data / "shop.sqlite3")) as database:
        return database.execute("SELECT state FROM shared_job WHERE subject = ?", (subject,)).fetchone()[0]


@pytest.fixture(scope="module")
def bare(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("bare") / "data"


def test_long_work_is_done_beside_the_server_and_the_worker_stops_with_it(bare):
    with running(bare, "--no-demo") as server:
        (worker,) = soon(lambda: workers_of(server.process.pid))
        ask(bare, "900001")
        soon(lambda: state(bare, "900001") == "failed")
        niceness = os.getpriority(os.PRIO_PROCESS, worker)
        assert niceness == min(19, os.getpriority(os.PRIO_PROCESS, server.process.pid) + 5)
        code, took = server.interrupt()
        assert (code, took < 4) == (0, True), server.log.read_text()
        assert not is_alive(worker), "it had ended before the server did"
        assert "Traceback" not in server.log.read_text()


def test_a_worker_that_dies_is_started_again_and_works(bare):
    with running(bare, "--no-demo") as server:
        (first,) = soon(lambda: workers_of(server.process.pid))
        os.kill(first, signal.SIGKILL)
        (second,) = soon(lambda: [pid for pid in workers_of(server.process.pid) if pid != first])
        ask(bare, "900002")
        soon(lambda: state(bare, "900002") == "failed")
        assert "The background worker ended; it is started again in 1 s." in server.log.read_text()
        assert server.get("/sign-in/")[0] == 200
        os.kill(server.process.pid, signal.SIGHUP)
        soon(lambda: workers_of(server.process.pid) not in ([], [second]))
        (third,) = workers_of(server.process.pid)
        os.kill(server.process.pid, signal.SIGTERM)
        assert server.process.wait(15) == 0
        assert not is_alive(third), "the server that was told to read its settings again still stops it"


def test_a_worker_ends_by_itself_when_the_server_is_killed_and_the_next_start_has_one_again(bare):
    with running(bare, "--no-demo") as server:
        (worker,) = soon(lambda: workers_of(server.process.pid))
        server.process.kill()
        server.process.wait(10)
        soon(lambda: not is_alive(worker))
    ask(bare, "900003")
    with running(bare, "--no-demo"):
        soon(lambda: state(bare, "900003") == "failed")


def test_without_jobs_no_worker_is_started(bare, monkeypatch):
    monkeypatch.setenv("SHOPFLOOR_JOBS", "0")
    with running(bare, "--no-demo") as server:
        assert server.get("/sign-in/")[0] == 200
        assert not workers_of(server.process.pid)
        assert server.interrupt()[0] == 0, server.log.read_text()


def test_a_port_in_use_is_said_in_a_sentence(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = subprocess.run(
            [sys.executable, "manage.py", "up", "--port", str(port)],
            cwd=ROOT,
            env=environment(tmp_path),
            capture_output=True,
            text=True,
            timeout=60,
        )
    assert done.returncode == 1
    assert done.stderr.startswith(f"Port {port} is in use.")
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "shop.sqlite3").exists(), "nothing was begun"


@pytest.mark.parametrize("port", [0, 65536])
def test_a_port_that_does_not_exist_is_refused(port):
    from shopfloor.management.commands.up import port_refusal

    assert port_refusal("127.0.0.1", port) == f"Port {port} does not exist. Choose one from 1 to 65535."
