"""The board as it changes: one build a version, events for all who watch, and an end to every stream."""

from __future__ import annotations

import http.client
import json
import socket
import threading
import time
from contextlib import contextmanager, suppress
from datetime import UTC, datetime

import pytest
from django.db import OperationalError, connection

from shopfloor import live as live_module
from shopfloor import open_streams
from shopfloor.live import Live, etag
from shopfloor.open_streams import Line
from shopfloor.piling import Piling
from tests.threads import until
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
    assert until(lambda: made.seats_taken == 0 and made._watcher is None and made._sender._thread is None)


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
                self.note(chunk)
        finally:
            connection.close()

    def note(self, chunk: bytes):
        self.raw.append(chunk)
        if b"event: version" in chunk:
            body = json.loads(chunk.split(b"data: ")[1])
            self.events.append((body["version"], time.monotonic()))

    @property
    def version(self) -> int:
        return self.events[-1][0] if self.events else -1


class Caller(Client):
    """Behind a socket. The server's thread begins the answer, then the socket is taken from it."""

    def __init__(self, live: Live, **how):
        self.near, self.far = socket.socketpair()
        super().__init__(live, **how)

    def run(self):
        try:
            for chunk in self.live.stream(take_line=lambda: Line(self.near, is_chunked=False), **self.how):
                self.near.sendall(chunk)
        finally:
            connection.close()
        with suppress(OSError):
            self.near.shutdown(socket.SHUT_WR)
        self.near.close()
        self.read()

    def read(self):
        kept = b""
        with suppress(OSError):
            while piece := self.far.recv(65536):
                *events, kept = (kept + piece).split(b"\n\n")
                for event in events:
                    self.note(event + b"\n\n")

    def hang_up(self):
        self.far.shutdown(socket.SHUT_RDWR)


@contextmanager
def calling(live: Live, count: int = 1, *, client: type[Client] = Caller, **how):
    clients = [client(live, **how) for _ in range(count)]
    assert until(lambda: all(client.events for client in clients))
    yield clients


@pytest.fixture(params=[Client, Caller], ids=["thread", "socket"])
def watching(request):
    """Clients that watch, by a thread each or behind sockets."""
    return lambda live, count=1, **how: calling(live, count, client=request.param, **how)


def beat() -> int:
    """A change of the version, committed."""
    from django.db import transaction

    with transaction.atomic():
        return pulse_beat(changes=1)[1]


def test_a_stream_begins_with_the_board_and_the_time_to_come_back(live_shop, live, watching):
    with watching(live) as (client,):
        assert client.raw[0] == b"retry: 2000\n\n"
        name, event, data, *rest = client.raw[1].decode().split("\n")
        assert name == f"id: {pulse_version()}" and event == "event: version" and rest == ["", ""]
        assert json.loads(data.removeprefix("data: "))["operations"][0]["operation"] == "cut"


def test_every_client_hears_of_a_change(live_shop, live, watching):
    with watching(live, 12) as clients:
        version = beat()
        assert until(lambda: all(client.version == version for client in clients))


def test_the_event_carries_what_the_scan_changed(live_shop, live, watching):
    stations()
    order = released(now=datetime(2026, 3, 2, 15, tzinfo=UTC))
    with watching(live) as (client,):
        scan(segments(order)[0].code, "cut", now=datetime(2026, 3, 2, 15, 5, tzinfo=UTC))
        assert until(lambda: client.version == pulse_version())
        cut, roll, *_ = json.loads(client.raw[-1].split(b"data: ")[1])["operations"]
        assert (cut["ready"], roll["ready"]) == (19, 1)


def test_a_version_is_built_once_however_many_watch(live_shop, live, watching):
    with watching(live, 20) as clients:
        assert live.builds == 1
        version = beat()
        assert until(lambda: all(client.version == version for client in clients))
        assert live.builds == 2
        assert live.edition() is live.edition()
        assert live.builds == 2


def test_a_burst_is_built_a_few_times_and_its_last_change_arrives(live_shop, live, watching):
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


def test_a_board_that_took_long_to_build_is_not_kept_waiting_for_long(live_shop, live, watching):
    with watching(live) as (client,):
        beat()
        assert until(lambda: client.version == pulse_version())
        live._cost = 20.0
        version = beat()
        assert until(lambda: client.version == version, 15)


def test_after_a_restored_backup_the_smaller_version_is_shown(live_shop, live, watching):
    with watching(live) as (client,):
        beat()
        assert until(lambda: client.version == pulse_version())
        Pulse.objects.update(epoch="another", version=0)
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("NOTIFY pulse")
        assert until(lambda: client.version == 0)
        assert pulse_epoch() == "another"


def test_beyond_the_seats_a_stream_is_one_event_and_the_end(live_shop, live, watching):
    live.most_streams = 2
    with watching(live, 2) as clients:
        third = Client(live)
        third.join(5)
        assert not third.is_alive() and len(third.events) == 1
        assert all(client.is_alive() for client in clients)


def test_a_stream_whose_key_was_revoked_ends(live_shop, live, watching, monkeypatch):
    monkeypatch.setattr(open_streams, "CHECK_SECONDS", 0.1)
    allowed = threading.Event()
    allowed.set()
    with watching(live, is_allowed=allowed.is_set) as (client,):
        client.join(1.2)
        assert client.is_alive()
        allowed.clear()
        client.join(2)
        assert not client.is_alive()


def test_a_key_is_looked_at_twice_a_minute():
    assert open_streams.CHECK_SECONDS + open_streams.TICK_SECONDS < 60


def test_a_client_that_hung_up_gives_its_seat_back(live_shop, live):
    with calling(live, 3) as (client, *others):
        client.hang_up()
        assert until(lambda: live.seats_taken == 2)
        version = beat()
        assert until(lambda: all(other.version == version for other in others))


def test_a_line_is_shown_to_be_open(live_shop, live, watching, monkeypatch):
    monkeypatch.setattr(open_streams, "HEARTBEAT_SECONDS", 0.1)
    with watching(live) as (client,):
        assert until(lambda: any(chunk.startswith(b":") for chunk in client.raw))


def test_all_streams_end_when_the_server_ends(live_shop, watching):
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


def test_watcher_and_sender_work_only_while_somebody_watches(live_shop, live):
    assert live._watcher is None and live._sender._thread is None
    with calling(live) as (client,):
        assert live._watcher.is_alive() and live._sender._thread.is_alive()
        client.hang_up()
        assert until(lambda: live._watcher is None and live._sender._thread is None)
    with calling(live) as (client,):
        version = beat()
        assert until(lambda: client.version == version), "others follow"


@pytest.mark.parametrize("count", [30])
def test_a_change_reaches_thirty_clients_soon(live_shop, live, watching, count):
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


# -- one thread that sends to all ------------------------------------------------


def threads_now() -> set[str]:
    return {one.name for one in threading.enumerate() if not isinstance(one, Client)}


def test_two_hundred_streams_take_one_thread(live_shop, live):
    live.most_streams = 200
    before = threads_now()
    with calling(live, 200) as clients:
        assert threads_now() - before == {"board-watcher", "board-sender"}
        version = beat()
        assert until(lambda: all(client.version == version for client in clients), 20)
        assert live.builds == 2


class Sleeper(Caller):
    """Takes nothing until it is woken."""

    def __init__(self, live: Live, **how):
        self.awake = threading.Event()
        super().__init__(live, **how)

    def read(self):
        self.events.append((-1, 0.0))
        self.awake.wait(30)
        super().read()


def long_event(edition) -> bytes:
    """Longer than what a socket takes for a client that reads nothing."""
    return edition.event() + b": " + b"x" * 300_000 + b"\n\n"


def test_a_client_that_reads_nothing_holds_up_nobody_and_then_gets_the_newest(live_shop, live):
    with (
        calling(live, client=Sleeper, event=long_event) as (sleeper,),
        calling(live, event=long_event) as (client,),
    ):
        versions = []
        for _ in range(12):
            versions.append(beat())
            assert until(lambda: client.version == versions[-1])
        sleeper.awake.set()
        assert until(lambda: sleeper.version == versions[-1])
        seen = [number for number, _ in sleeper.events]
        assert seen == sorted(set(seen)) and len(seen) < len(versions), "what was new meanwhile is not kept"
        assert {len(one) for one in sleeper.raw if one.startswith(b": x")} == {300_004}, "nothing is cut"


def test_a_client_that_takes_nothing_for_long_is_left(live_shop, live, monkeypatch):
    monkeypatch.setattr(open_streams, "STALLED_SECONDS", 0.2)
    with calling(live, client=Sleeper, event=long_event) as (sleeper,):
        assert until(lambda: beat() and live.seats_taken == 0, pause=0.1)
        sleeper.awake.set()


def test_when_the_database_cannot_say_who_may_see_all_streams_end_and_new_ones_begin(
    live_shop, live, monkeypatch
):
    def cannot_say():
        raise OperationalError("the connection was lost")

    monkeypatch.setattr(open_streams, "CHECK_SECONDS", 0.1)
    with calling(live, 2) as others, calling(live, is_allowed=cannot_say) as own:
        for client in [*others, *own]:
            client.join(5)
        assert not any(client.is_alive() for client in [*others, *own])
    with calling(live) as (client,):
        version = beat()
        assert until(lambda: client.version == version)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_mistake_in_what_is_sent_ends_the_streams_and_keeps_no_seat(live_shop, live):
    sent = []

    def breaks_at_the_second(edition) -> bytes:
        sent.append(edition)
        return edition.event() if len(sent) == 1 else 1 / 0

    with calling(live, event=breaks_at_the_second) as (client,):
        beat()
        client.join(5)
        assert not client.is_alive() and until(lambda: live.seats_taken == 0)
    with calling(live) as (client,):
        version = beat()
        assert until(lambda: client.version == version)


def test_the_server_is_left_with_a_closed_line():
    near, far = socket.socketpair()
    line = Line(near, is_chunked=False)
    with pytest.raises(BrokenPipeError):
        near.sendall(b"0\r\n\r\n")
    assert near.recv(1) == b""
    near.close()
    line.send(b": still here\n\n")
    assert far.recv(100) == b": still here\n\n"
    line.close()
    assert far.recv(100) == b""
    far.close()


def test_chunks_are_as_http_has_them():
    """Decoded by the standard library's client."""
    near, far = socket.socketpair()
    near.sendall(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n")
    line = Line(near, is_chunked=True)
    line.send(b"id: 1\n\n")
    line.send(b"x" * 20_000)
    line.close()
    near.close()
    answer = http.client.HTTPResponse(far)
    answer.begin()
    assert answer.read() == b"id: 1\n\n" + b"x" * 20_000
    far.close()
