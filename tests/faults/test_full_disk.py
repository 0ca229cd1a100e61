"""A full disk: nothing is recorded and it is said so, reading goes on, and with room again all goes on by itself."""

from __future__ import annotations

import pytest

from tests.faults import statements
from tests.faults.disks import WAYS
from tests.faults.server import serving
from tests.faults.tablet import Tablet
from tests.faults.test_busy import read_all
from tests.threads import together

MOST_TRIES = 60


def tried(tablet: Tablet) -> None:
    """Until one delivery is refused for want of room; what was recorded before there was none leaves the queue."""
    for _ in range(MOST_TRIES):
        if not tablet.deliver(5):
            return
        for code in [body["code"] for body in tablet.sent.values()][:5]:
            tablet.scan(code)
    raise AssertionError("the disk was never full")


@pytest.mark.parametrize("way", WAYS, ids=lambda way: way.__name__.replace("_", " "))
def test_a_full_disk(first_shop, tmp_path, rng, way):
    with way(first_shop, tmp_path) as (shop, disk), serving(shop) as server:
        pieces = [code for one in shop.fittings("shared") for code in one["segments"]]
        badges = shop.known["badges"]
        stations = ("CUT-1", "CUT-2", "ROLL-1", "ROLL-2", "SEAM-1", "SEAM-2")
        tablets = [Tablet(server, station, badges[place], rng) for place, station in enumerate(stations)]
        for tablet in tablets:
            for code in rng.sample(pieces, 5):
                tablet.scan(code)
            tablet.drain()
            for code in rng.sample(pieces, 20):
                tablet.scan(code)
        disk.fill(server)
        try:
            together(*[lambda tablet=tablet: tried(tablet) for tablet in tablets])
            before = statements.record_of(server)
            read_all(server)
            tries = statements.intrusions(server, pieces[0], badges[0], rng)
            for tablet in tablets:
                tablet.deliver(5)
            answers = [answer for tablet in tablets for answer in tablet.troubles]
            assert len(answers) >= len(tablets)
            acknowledged = {scan_id for tablet in tablets for scan_id in tablet.answers}
            assert acknowledged >= {row["id"] for row in before} - {
                body["id"] for tablet in tablets for body in tablet.queue
            }
        finally:
            disk.make_room(server)
        together(*[tablet.drain for tablet in tablets])
        record = statements.hold(server, tablets, busy=True)
        statements.none_got_in(record, tries)
        statements.assert_work(statements.fittings_of(server, "shared").values(), tablets, record)
        statements.repeated_alike(server, tablets, "shared")
