"""kill -9 of the server at random, thirty times, under twenty scanning clients and two that may not scan."""

from __future__ import annotations

import random
import threading
import time
from datetime import UTC, datetime

from tests.faults import statements
from tests.faults.server import Server
from tests.faults.tablet import Tablet
from tests.threads import until

KILLS = 30
MOST_KEPT = 40
SEGMENT_STATIONS = [f"{one}-{number}" for one in ("CUT", "ROLL", "SEAM") for number in range(1, 5)]
FITTING_STATIONS = [f"{one}-{number}" for number in (1, 2, 3) for one in ("ASSEMBLE", "ENDS", "WRAP")][:8]
CLIENTS = SEGMENT_STATIONS + FITTING_STATIONS


class Shift(threading.Thread):
    """One client at work: pieces that others scan too, and a few of its own, which it also undoes."""

    def __init__(self, tablet: Tablet, shared: list[str], own: list[str], over: threading.Event):
        super().__init__(name=tablet.station, daemon=True)
        self.tablet, self.shared, self.own, self.over = tablet, shared, own, over
        self.error: BaseException | None = None

    def run(self) -> None:
        try:
            rng = self.tablet.rng
            while not self.over.is_set():
                if len(self.tablet.queue) < MOST_KEPT:
                    self._work(rng)
                time.sleep(rng.uniform(0, 0.06))
                if not self.tablet.deliver():
                    time.sleep(rng.uniform(0.02, 0.2))
            self.tablet.drain()
        except BaseException as error:  # told to the test
            self.error = error

    def _work(self, rng: random.Random) -> None:
        code = rng.choice(self.shared)
        if rng.random() < 0.15 and self.own:
            finish = self.tablet.scan(self.own.pop())
            undo = self.tablet.scan(self.tablet.sent[finish]["code"], "undo", undoes=finish)
            if rng.random() < 0.5:
                self.tablet.scan(self.tablet.sent[undo]["code"])
        elif rng.random() < 0.3:
            self.tablet.scan(code, "start")
        else:
            self.tablet.scan(code)


def shifts_of(server: Server, rng: random.Random, over: threading.Event) -> list[Shift]:
    shared, own = server.shop.fittings("shared"), server.shop.fittings("own")
    pieces = [code for one in shared for code in one["segments"]]
    spare = [code for one in own for code in one["segments"]]
    found = []
    for place, station in enumerate(CLIENTS):
        tablet = Tablet(server, station, server.shop.known["badges"][place], random.Random(rng.random()))
        is_of_segments = station in SEGMENT_STATIONS
        codes = pieces if is_of_segments else [one["code"] for one in shared[::4]]
        mine = spare[place :: len(CLIENTS)] if is_of_segments else []
        found.append(Shift(tablet, codes, mine, over))
    return found


def answers(shifts: list[Shift]) -> int:
    return sum(len(shift.tablet.answers) for shift in shifts)


def test_thirty_kills_under_twenty_clients(server, rng):
    over = threading.Event()
    shifts = shifts_of(server, rng, over)
    assert len(shifts) == 20
    tries: list[tuple[str, str, int]] = []
    for shift in shifts:
        shift.start()
    killed_at_work = 0
    for number in range(KILLS):
        end = time.monotonic() + rng.uniform(0, 0.8)
        answered = answers(shifts)
        tries += statements.intrusions(server, shifts[0].shared[0], shifts[0].tablet.badge, rng)
        time.sleep(max(0, end - time.monotonic()))
        if number % 2:  # however slow the machine is
            assert until(lambda before=answered: answers(shifts) > before, 60)
        unanswered = sum(shift.tablet.unanswered for shift in shifts)
        server.kill()
        killed_at_work += answers(shifts) > answered
        server.start()
        server.wait_until_open()
        assert sum(shift.tablet.unanswered for shift in shifts) > unanswered, "somebody noticed"
    over.set()
    for shift in shifts:
        shift.join(120)
        assert not shift.is_alive()
        if shift.error:
            raise shift.error
    tablets = [shift.tablet for shift in shifts]
    record = statements.hold(server, tablets, busy=True)
    statements.none_got_in(record, tries)
    fittings = statements.fittings_of(server, "shared", "own")
    done = statements.assert_work(fittings.values(), tablets, record)
    statements.repeated_alike(server, tablets, "shared", "own")
    counted = {name: sum(row["outcome"] == name for row in record) for name in ("recorded", "refused")}
    print(
        f"{len(record)} scans, {counted}, {done} tasks done, {killed_at_work} of {KILLS} kills amid answers"
    )
    assert killed_at_work > KILLS / 2 and min(counted.values()) > 100
    assert all(datetime.fromisoformat(row["received_at"]) <= datetime.now(UTC) for row in record)
