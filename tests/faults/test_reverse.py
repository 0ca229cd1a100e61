"""Shops with the same codes and the same scans, sent in order and otherwise: the pieces end alike.

An undo follows its scan at once, as on the floor. A scan that was refused stays so: where it was refused for a hold
whose resume, a finish whose undo, or a scrap whose earlier finish was still on its way, the operator was told and scans
afresh. So those actions are sent in reverse, where none is refused for such a reason, and starts and finishes in any
order.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tests.faults import statements
from tests.faults.server import Shop, copied, serving
from tests.faults.tablet import Tablet

SCANS = 240
BATCH = 25
FORWARD = ("finish",) * 7 + ("start",) * 3
ALL = (*FORWARD, "scrap", "hold", "resume", "undo")


def day(shop: Shop, rng, actions: tuple[str, ...]) -> list[dict]:
    """A day's scans of all stations, up to a minute and a half apart; most are of what is next for a piece."""
    fittings = shop.fittings("shared")[:8]
    pieces = [code for one in fittings for code in one["segments"]]
    at = datetime.now(UTC) - timedelta(hours=8)
    maker = Tablet(None, "", "", rng)
    steps = dict.fromkeys(pieces, 0)
    while len(maker.sent) < SCANS:
        if rng.random() < 0.08:
            code = rng.choice(fittings)["code"]
            operation = rng.choice(("ASSEMBLE", "ENDS", "WRAP"))
        else:
            code = rng.choice(pieces)
            steps[code] += rng.random() < 0.8
            operation = ("CUT", "ROLL", "SEAM")[min(2, steps[code] // 2)]
        action = rng.choice(actions)
        same = {
            "station": f"{operation}-{rng.randint(1, 4)}",
            "badge": rng.choice(shop.known["badges"]),
            "reason": "Material" if action in ("hold", "scrap") else "",
        }
        at += timedelta(seconds=rng.uniform(1, 90))
        first = maker.scan(code, "finish" if action == "undo" else action, scanned_at=at.isoformat(), **same)
        if action == "undo":
            at += timedelta(seconds=rng.uniform(1, 9))
            maker.scan(code, "undo", scanned_at=at.isoformat(), undoes=first, **same)
    return list(maker.sent.values())


def as_made(fitting: dict) -> dict:
    """The fitting without what order of arrival may decide.

    A remade segment gets the next free code when its scrap arrives; it is void where an earlier scan that arrives later
    takes the scrap its effect.
    """
    segments = [
        one if one["generation"] == 1 else {name: value for name, value in one.items() if name != "code"}
        for one in fitting["segments"]
        if one["generation"] == 1 or one["state"] != "void"
    ]
    return fitting | {"segments": segments}


def parts(fitting: dict) -> list[dict]:
    """The fitting, each of its segments, and each task of any."""
    tasks = fitting["tasks"] + [task for segment in fitting["segments"] for task in segment["tasks"]]
    return [*tasks, *fitting["segments"], fitting]


def played(first: Shop, folder, scans: list[dict], rng) -> tuple[dict, list[str]]:
    """The fittings after these scans were sent in this order, batch by batch; and the outcomes."""
    with copied(first, folder) as shop, serving(shop) as server:
        hand = Tablet(server, "supervisor", "", rng)
        for begin in range(0, len(scans), BATCH):
            hand.queue = scans[begin : begin + BATCH]
            hand.sent |= {scan["id"]: scan for scan in hand.queue}
            hand.drain()
        record = statements.hold(server, [hand])
        found = statements.fittings_of(server, "shared")
        statements.repeated_alike(server, [hand], "shared")
        return {code: as_made(one) for code, one in found.items()}, [row["outcome"] for row in record]


@pytest.mark.parametrize(
    "order, actions", [("reverse", ALL), ("shuffled", FORWARD)], ids=["reverse", "shuffled"]
)
def test_the_order_of_arrival_decides_nothing(first_shop, tmp_path, rng, order, actions):
    scans = day(first_shop, rng, actions)
    other = scans[::-1] if order == "reverse" else rng.sample(scans, len(scans))
    straight, outcomes = played(first_shop, tmp_path / "straight", scans, rng)
    found, again = played(first_shop, tmp_path / order, other, rng)
    assert outcomes.count("recorded") > len(scans) / 3 and outcomes.count("refused") > 10
    assert outcomes.count("recorded") != again.count("recorded"), "the order decided what was told"
    remade = any(one["generation"] > 1 for fitting in straight.values() for one in fitting["segments"])
    assert remade == ("scrap" in actions)
    for code, fitting in straight.items():
        for part, other_part in zip(parts(fitting), parts(found[code]), strict=True):
            assert other_part == part, code
