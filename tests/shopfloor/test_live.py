"""The board as it changes: one build a version, events for all who watch, and an end to every stream."""

from __future__ import annotations

import json
import threading
import time
from contextlib import contextmanager
from datetime import UTC, datetime

import pytest
from django.db import connection

from shopfloor import live as live_module
from shopfloor.live import Live, etag
from shopfloor.piling import Piling
from travelers.models import Pulse
from travelers.pulse import pulse_beat, pulse_epoch, pulse_version

from .floor_of_four import released, scan, segments, stations


@pytest.fixture
def live():
    made = Live(Piling(), most_streams=50)
    ending = threading.Event()
    made.ends_when(ending.is_set)
    yield made
    ending.set()
    until(lambda: made.seats_taken == 0 and made._watcher is None)


def until(holds, seconds: float = 5.0) -> bool:
    """Wait for a condition of another thread; the time is a ceiling, not a pause."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if holds():
            return True
        time.sleep(0.005)
    return False


class Client(threading.Thread):
    """Reads a stream in a thread of its own, as the server does, and notes what came and when."""

    def __init__(self, live: Live, **how):
        super().__init__(daemon=True)
        self.live = live
        self.how = {"is_allowed": lambda: True} | how
        self.events: list[tuple[int, float]] = []
        self.raw: list[bytes] = []
        self.start()

    def run(self):
        try:
            for chunk in self.live.stream(**self.how):
                self.raw.append(chunk)
                if b"event: version" in chunk:
                    body = json.loads(chunk.split(b"data: ")[1])
                    self.events.append((body["version"], time.monotonic()))
        finally:
            connection.close()

    @property
    def version(self) -> int:
        return self.events[-1][0] if self.events else -1


@contextmanager
def watching(live: Live, count: int = 1, **how):
    clients = [Client(live, **how) for _ in range(count)]
    assert until(lambda: all(client.events for client in clients))
    yield clients


def beat() -> int:
    """A change of the version, committed."""
    from django.db import transaction

    with transaction.atomic():
        return pulse_beat(changes=1)[1]


def test_a_stream_begins_with_the_board_and_the_time_to_come_back(live_shop, live):
    with watching(live) as (client,):
        assert client.raw[0] == b"retry: 2000\n\n"
        name, event, data, *rest = client.raw[1].decode().split("\n")
        assert name == f"id: {pulse_version()}" and event == "event: version" and rest == ["", ""]
        assert json.loads(data.removeprefix("data: "))["operations"][0]["operation"] == "cut"


def test_every_client_hears_of_a_change(live_shop, live):
    with watching(live, 12) as clients:
        version = beat()
        assert until(lambda: all(client.version == version for client in clients))


def test_the_event_carries_what_the_scan_changed(live_shop, live):
    stations()
    order = released(now=datetime(2026, 3, 2, 15, tzinfo=UTC))
    with watching(live) as (client,):
        scan(segments(order)[0].code, "cut", now=datetime(2026, 3, 2, 15, 5, tzinfo=UTC))
        assert until(lambda: client.version == pulse_version())
        cut, roll, *_ = json.loads(client.raw[-1].split(b"data: ")[1])["operations"]
        assert (cut["ready"], roll["ready"]) == (19, 1)


def test_a_version_is_built_once_however_many_watch(live_shop, live):
    with watching(live, 20) as clients:
        assert live.builds == 1
        version = beat()
        assert until(lambda: all(client.version == version for client in clients))
        assert live.builds == 2
        assert live.edition() is live.edition()
        assert live.builds == 2


def test_a_burst_is_built_a_few_times_and_its_last_change_arrives(live_shop, live):
    with watching(live, 3) as clients:
        began = time.monotonic()
        for _ in range(100):
            version = beat()
        assert until(lambda: all(client.version == version for client in clients))
        took = time.monotonic() - began
        assert live.builds <= 2 + took / live_module.LEAST_GAP_SECONDS
        for client in clients:
            seen = [number for number, _ in client.events]
            assert seen == sorted(set(seen)), "never a smaller version, never one twice"


def test_after_a_restored_backup_the_smaller_version_is_shown(live_shop, live):
    with watching(live) as (client,):
        beat()
        assert until(lambda: client.version == pulse_version())
        Pulse.objects.update(epoch="another", version=0)
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("NOTIFY pulse")
        assert until(lambda: client.version == 0)
        assert pulse_epoch() == "another"


def test_beyond_the_seats_a_stream_is_one_event_and_the_end(live_shop, live):
    live.most_streams = 2
    with watching(live, 2) as clients:
        third = Client(live)
        third.join(5)
        assert not third.is_alive() and len(third.events) == 1
        assert all(client.is_alive() for client in clients)


def test_a_stream_whose_key_was_revoked_ends(live_shop, live, monkeypatch):
    monkeypatch.setattr(live_module, "CHECK_SECONDS", 0.1)
    allowed = threading.Event()
    allowed.set()
    with watching(live, is_allowed=allowed.is_set) as (client,):
        client.join(1.2)
        assert client.is_alive()
        allowed.clear()
        client.join(2)
        assert not client.is_alive()


def test_a_key_is_looked_at_twice_a_minute():
    assert live_module.CHECK_SECONDS + live_module.TICK_SECONDS < 60


def test_a_client_that_hung_up_gives_its_seat_back(live_shop, live):
    gone = threading.Event()
    with watching(live, is_gone=gone.is_set) as (client,):
        gone.set()
        client.join(2)
        assert not client.is_alive()
        assert live.seats_taken == 0


def test_a_line_is_shown_to_be_open(live_shop, live, monkeypatch):
    monkeypatch.setattr(live_module, "HEARTBEAT_SECONDS", 0.1)
    with watching(live) as (client,):
        assert until(lambda: any(chunk.startswith(b":") for chunk in client.raw))


def test_all_streams_end_when_the_server_ends(live_shop):
    made = Live(Piling())
    ending = threading.Event()
    made.ends_when(ending.is_set)
    with watching(made, 8) as clients:
        began = time.monotonic()
        ending.set()
        for client in clients:
            client.join(3)
        assert not any(client.is_alive() for client in clients)
        assert time.monotonic() - began < 1.5


def test_the_watcher_works_only_while_somebody_watches(live_shop, live):
    gone = threading.Event()
    assert live._watcher is None
    with watching(live, is_gone=gone.is_set):
        assert live._watcher.is_alive()
        gone.set()
        assert until(lambda: live._watcher is None)
    with watching(live) as (client,):
        version = beat()
        assert until(lambda: client.version == version), "a second watcher follows"


@pytest.mark.parametrize("count", [30])
def test_a_change_reaches_thirty_clients_soon(live_shop, live, count):
    """A generous ceiling, for slow machines; tests/bench/bench_live.py measures the real thing."""
    with watching(live, count) as clients:
        committed = {}
        for _ in range(10):
            version = beat()
            committed[version] = time.monotonic()
            assert until(lambda v=version: all(client.version >= v for client in clients))
        waits = [at - committed[v] for client in clients for v, at in client.events if v in committed]
        assert max(waits) < 2.0


def test_the_tag_changes_with_the_version_and_the_epoch():
    assert len({etag("aaaaaaaa", 1), etag("aaaaaaaa", 2), etag("bbbbbbbb", 1)}) == 3
