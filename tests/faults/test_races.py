"""Many at once on one thing: fifty deliveries of an id, two stations on a piece, a lot counted beyond what it holds."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.faults import statements
from tests.faults.server import Server
from tests.faults.tablet import Tablet
from tests.threads import together

FIFTY = 50


def tablets_at(server: Server, rng, *stations: str) -> list[Tablet]:
    badges = server.shop.known["badges"]
    return [Tablet(server, station, badges[place], rng) for place, station in enumerate(stations)]


@pytest.mark.parametrize("is_good", [True, False], ids=["recorded", "refused"])
def test_fifty_deliveries_of_one_id_at_once(server, rng, is_good):
    piece = server.shop.fittings("shared")[0]
    maker = tablets_at(server, rng, "CUT-1")[0]
    if not is_good:
        maker.scan(piece["segments"][0])
        maker.drain()
    first = maker.scan(piece["segments"][0])
    body = {"scans": [maker.sent[first]]}
    answers = together(*[lambda: server.post("scans/", body, "CUT-1")] * FIFTY)
    assert {answer.status for answer in answers} == {200}
    results = [answer.json["results"][0] for answer in answers]
    maker.answers[first] = results
    maker.queue.clear()
    told = "recorded" if is_good else "refused"
    assert sorted(one["outcome"] for one in results) == sorted([told, *["repeated"] * (FIFTY - 1)])
    assert {one["first_outcome"] for one in results} == {told}
    assert len({one["message"] for one in results}) == 1
    record = statements.hold(server, [maker])
    assert len(record) == (1 if is_good else 2)
    statements.assert_work(statements.fittings_of(server, "shared").values(), [maker], record)


def test_one_id_fifty_times_in_one_batch_from_all_stations_and_with_other_bodies(server, rng):
    piece = server.shop.fittings("shared")[1]
    maker = tablets_at(server, rng, "CUT-2")[0]
    first = maker.scan(piece["segments"][0])
    batch = {"scans": [maker.sent[first]] * FIFTY}
    maker.answers[first] = server.post("scans/", batch, "CUT-2").json["results"]
    maker.queue.clear()
    assert [one["outcome"] for one in maker.answers[first]] == ["recorded", *["repeated"] * (FIFTY - 1)]
    before = statements.fittings_of(server, "shared")
    other = {"scans": [maker.sent[first] | {"code": piece["segments"][1], "action": "scrap"}]}
    stations = ["CUT-1", "CUT-2", "ROLL-1", "WRAP-1", "supervisor"] * 10
    answers = together(*[lambda who=who: server.post("scans/", other, who) for who in stations])
    for answer in answers:
        (result,) = answer.json["results"]
        assert (result["outcome"], result["first_outcome"]) == ("repeated", "recorded")
        assert result["message"] == maker.first(first)["message"] and result["changed"] == 0
    assert statements.fittings_of(server, "shared") == before
    assert len(statements.hold(server, [maker])) == 1
    page = server.page("/exceptions/", "supervisor")
    assert page.status == 200 and first[:12] in page.body.decode(), "listed for the supervisor"


@pytest.mark.parametrize("is_same_time", [True, False], ids=["same time", "own times"])
def test_two_stations_on_one_piece(server, rng, is_same_time):
    """At the same time one of the two is recorded; by their own clocks, the earlier one has done the work."""
    one, other = tablets_at(server, rng, "ROLL-1", "ROLL-2")
    pieces = [code for fitting in server.shop.fittings("shared")[:8] for code in fitting["segments"]]
    for code in pieces:
        now = datetime.now(UTC).isoformat()
        changes = {"scanned_at": now} if is_same_time else {}
        scans = [tablet.scan(code, **changes) for tablet in (one, other)]
        together(*[lambda tablet=tablet: tablet.deliver(1) for tablet in (one, other)])
        found = [tablet.first(scan) for tablet, scan in zip((one, other), scans, strict=True)]
        outcomes = sorted(result["outcome"] for result in found)
        if is_same_time:
            assert outcomes == ["recorded", "refused"]
        assert "recorded" in outcomes
        for result in found:
            if result["outcome"] == "refused":
                assert "Roll was finished by Invented Operator" in result["message"]
    record = statements.hold(server, [one, other])
    fittings = statements.fittings_of(server, "shared")
    assert statements.assert_work(fittings.values(), [one, other], record) == len(pieces)
    statements.repeated_alike(server, [one, other], "shared")


def test_a_lot_raced_beyond_its_count(server, rng):
    """Forty pipes: twelve tablets count seven each and again, then by ones; forty are done, and no more."""
    lot = server.shop.known["orders"]["lot"]
    stations = [f"{one}-{number}" for one in ("CUT",) for number in (1, 2, 3, 4)] * 3
    tablets = tablets_at(server, rng, *stations)
    for count in (7, 7, 1, 1, 1):
        for tablet in tablets:
            tablet.scan(lot["traveler"], count=count, scanned_at=datetime.now(UTC).isoformat())
        together(*[lambda tablet=tablet: tablet.deliver(1) for tablet in tablets])
    results = [found[0] for tablet in tablets for found in tablet.answers.values()]
    good = [one for one in results if one["outcome"] == "recorded"]
    counts = {scan_id: body["count"] for tablet in tablets for scan_id, body in tablet.sent.items()}
    assert len(results) == 5 * len(tablets)
    record = statements.hold(server, tablets)
    done = [
        task
        for fitting in statements.fittings_of(server, "lot").values()
        for segment in fitting["segments"]
        for task in segment["tasks"]
        if task["operation"] == "cut" and task["state"] == "done"
    ]
    assert len(done) == 40 == len(lot["fittings"])
    assert sum(row["count"] for row in record if row["outcome"] == "recorded") >= 40
    assert sum(counts[one["id"]] for one in good) == 40, "what was counted is what there is"
    for one in results:
        if one["outcome"] == "refused":
            assert "left here" in one["message"] or "was finished" in one["message"], one["message"]
    assert not any(task["implied"] for task in done)
    statements.repeated_alike(server, tablets, "lot")
