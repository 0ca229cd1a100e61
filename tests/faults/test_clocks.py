"""Clocks that are wrong: tablets far ahead and far behind, and a server whose clock jumps both ways in mid-shift.

The server's clock is turned by a file that the tests' settings read (`tests/faults/settings.py`).
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tests.faults import statements
from tests.faults.server import Server
from tests.faults.tablet import Tablet
from tests.threads import together


def ago(**length) -> str:
    return (datetime.now(UTC) - timedelta(**length)).isoformat()


TABLET_TIMES = {
    "right": (lambda: ago(), False),
    "a minute ahead": (lambda: ago(minutes=-1), False),
    "three minutes ahead": (lambda: ago(minutes=-3), True),
    "a year ahead": (lambda: ago(days=-365), True),
    "a day behind": (lambda: ago(days=1), False),
    "29 days behind": (lambda: ago(days=29), False),
    "31 days behind": (lambda: ago(days=31), True),
    "1970": (lambda: "1970-01-01T00:00:00+00:00", True),
    "another offset": (
        lambda: datetime.now(UTC).astimezone(__import__("zoneinfo").ZoneInfo("Asia/Kolkata")).isoformat(),
        False,
    ),
    "2038": (lambda: "2038-01-19T03:14:08Z", True),
    "the end of all calendars": (lambda: "9999-12-31T23:59:59-12:00", True),
    "the beginning of all calendars": (lambda: "0001-01-01T00:00:00+14:00", True),
    "no offset": (lambda: "2026-03-04T13:02:11", True),
    "no such day": (lambda: "2026-02-30T13:02:11Z", True),
    "no time": (lambda: "", True),
}


def assert_no_negative_duration(fittings) -> None:
    """No task was finished before it was started, or either before it was ready."""
    for fitting in fittings:
        for task in [task for one in fitting["segments"] for task in one["tasks"]] + fitting["tasks"]:
            started, finished = (
                datetime.fromisoformat(task[name]) if task[name] else None
                for name in ("started_at", "finished_at")
            )
            assert not (started and finished) or started <= finished, task


def test_clocks_of_tablets(server, rng):
    pieces = [code for one in server.shop.fittings("shared") for code in one["segments"]]
    tablet = Tablet(server, "CUT-1", server.shop.known["badges"][0], rng)
    scans = {}
    for piece, (name, (time_of, _)) in zip(pieces, TABLET_TIMES.items(), strict=False):
        scans[name] = tablet.scan(piece, scanned_at=time_of())
    assert tablet.deliver(len(scans)), tablet.troubles
    record = {row["id"]: row for row in statements.hold(server, [tablet])}
    for name, (_, is_doubtful) in TABLET_TIMES.items():
        row = record[scans[name]]
        assert row["outcome"] == "recorded", name
        assert row["is_time_doubtful"] == is_doubtful, name
    fittings = statements.fittings_of(server, "shared")
    own = statements.assert_work(fittings.values(), [tablet], list(record.values()))
    assert own == len(scans)
    assert_no_negative_duration(fittings.values())
    statements.repeated_alike(server, [tablet], "shared")


def turn(server: Server, **jump) -> None:
    (server.shop.data / "clock").write_text(str(timedelta(**jump).total_seconds()))


@pytest.mark.parametrize("is_replayed_late", [False, True], ids=["at once", "kept and sent later"])
def test_the_servers_clock_jumps(server, rng, is_replayed_late):
    fittings = server.shop.fittings("shared")[:10]
    pieces = [code for one in fittings for code in one["segments"]]
    badges = server.shop.known["badges"]
    stations = ("CUT-1", "CUT-2", "ROLL-1", "ROLL-2", "SEAM-1", "SEAM-2")
    tablets = [Tablet(server, station, badges[place], rng) for place, station in enumerate(stations)]
    jumps = [{}, {"hours": 1}, {"hours": -2}, {"days": 40}, {"days": -2}, {"minutes": -3}, {}]
    for jump in jumps:
        turn(server, **jump)
        for tablet in tablets:
            for code in rng.sample(pieces, 6):
                tablet.scan(code, rng.choice(("start", "finish", "finish")))
        if not is_replayed_late or rng.random() < 0.5:
            together(*[tablet.drain for tablet in tablets])
        board = server.get("board/", "display")
        assert board.status == 200
        for one in board.json["operations"]:
            for name in ("waiting", "ready", "running", "held", "done_today", "hours_queued"):
                assert one[name] >= 0, (jump, one)
            assert (one["oldest_ready_minutes"] or 0) >= 0, (jump, one)
    together(*[tablet.drain for tablet in tablets])
    record = statements.hold(server, tablets)
    after = statements.fittings_of(server, "shared")
    assert_no_negative_duration(after.values())
    scanned = {row["code"] for row in record if row["outcome"] == "recorded" and row["action"] == "finish"}
    done = {
        segment["code"]
        for fitting in after.values()
        for segment in fitting["segments"]
        if any(task["state"] == "done" and not task["implied"] for task in segment["tasks"])
    }
    assert done == scanned, "what was recorded as finished is finished once, whatever the clock said"
    statements.repeated_alike(server, tablets, "shared")
