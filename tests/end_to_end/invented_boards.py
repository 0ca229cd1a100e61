"""Boards of invented shops, from three to twelve operations: calm, busy, and with all that is long and large."""

from __future__ import annotations

import time
from datetime import datetime
from zoneinfo import ZoneInfo

from shopfloor.attention import LateRisk, MissingSegment, ShortKit
from shopfloor.board import Board, BoardOperation
from shopfloor.flow.pile import Slat
from shopfloor.flow.queue import Horizon
from shopfloor.live import Edition, this_minute

AS_OF = datetime(2026, 3, 2, 10, 40, tzinfo=ZoneInfo("America/Chicago"))
NAMES = (
    "Cut",
    "Roll",
    "Seam",
    "Assemble",
    "Ends",
    "Wrap",
    "Weld",
    "Inspect",
    "Leak test",
    "Label",
    "Pack",
    "Load",
)
ORDER = (
    "Cut",
    "Roll",
    "Seam",
    "Weld",
    "Assemble",
    "Ends",
    "Inspect",
    "Leak test",
    "Label",
    "Wrap",
    "Pack",
    "Load",
)
LONG = (
    "Pressure and leak test of all assemblies",
    "Inspection",
    "Wrapping, labelling",
    "Hand forming of long gores",
)
WHY = (
    "6.5 h queued, 2.1 h more than it will clear today.",
    "31 gores of 3 orders.",
    "Seam starves from 14:10.",
    "BENCH-2 can do it and is idle.",
)
LARGE = (
    "123456.7 h queued, 123449.9 h more than it will clear in the next hour.",
    "1234567 segments of 1500 or more orders.",
    f"{LONG[0]} starves from 14:10.",
    f"{LONG[0]} is full: clear it first.",
)


def bay(name: str, **changes) -> BoardOperation:
    lies = changes.pop("lies", ((0.4, "running"), (0.9, "ready"), (0.6, "ready")))
    usual = {
        "operation": name.lower()[:20],
        "name": name,
        "level": "segment",
        "stations": 1,
        "waiting": 24,
        "ready": 18,
        "running": 2,
        "held": 0,
        "done_today": 40,
        "oldest_ready_minutes": 35,
        "hours_queued": round(sum(hours for hours, state in lies if state != "held"), 2),
        "hours_clear": 4.4,
        "arrivals_per_hour": 12.5,
        "finishes_per_hour": 9.0,
        "piling_up": False,
        "said": ("1.9 h queued of the 4.4 h that it will clear today.", "20 gores of 3 orders."),
        "slats": tuple(Slat(hours, state) for hours, state in lies),
    }
    values = usual | changes
    return BoardOperation(**values | {"why": " ".join(values["said"])})


def board(bays: list[BoardOperation], **changes) -> Board:
    usual = {
        "as_of": AS_OF,
        "version": 12,
        "epoch": "e",
        "operations": tuple(bays),
        "bottleneck": None,
        "short_kits": (),
        "short_kits_more": 0,
        "late_risk": (),
        "late_risk_more": 0,
        "finished_today": 14,
        "planned_today": 22,
        "look": Horizon(4.4, "today"),
    }
    return Board(**usual | changes)


def names(count: int) -> list[str]:
    """The first so many that a shop would have, in flow order."""
    return [name for name in ORDER if name in NAMES[:count]]


def calm(count: int, fittings: list[str]) -> Board:
    return board([bay(name) for name in names(count)])


def busy(count: int, fittings: list[str]) -> Board:
    bays = [bay(name) for name in names(count)]
    high = tuple((0.5, "ready") for _ in range(13))
    bays[1] = bay(names(count)[1], lies=(*high, (0.5, "held")), piling_up=True, said=WHY, ready=329, held=3)
    bays[2] = bay(names(count)[2], lies=((0.46, "ready"),) * 10, piling_up=True, ready=120)
    bays[0] = bay(names(count)[0], lies=(), ready=0, running=0, oldest_ready_minutes=None)
    kits = tuple(kit(code, f"FH-{at + 8}", "1019", 1) for at, code in enumerate(fittings))
    lates = (
        late("1014", due="2026-02-27", days_overdue=3, hours_left=0.0),
        late("1015", likely_at="2026-03-03T14:00:00-06:00", sure_at="2026-03-04T10:00:00-06:00"),
        late("1016"),
    )
    return board(bays, short_kits=kits, short_kits_more=3, late_risk=lates, late_risk_more=0)


def large(count: int, fittings: list[str]) -> Board:
    """Names, numbers and texts as long and as large as the database takes them."""
    high = tuple((150.0, state) for state in ("running", "ready", "ready", "held") for _ in range(200))
    bays = [
        bay(
            LONG[at % len(LONG)],
            lies=high if at % 2 == 0 else ((0.1, "ready"),),
            waiting=1_234_567,
            ready=98_765 if at % 3 else 9_999,
            running=4_321,
            held=9_876 if at % 2 else 12_345_678,
            oldest_ready_minutes=5_000_000,
            hours_queued=123_456.7 if at % 2 == 0 else 9_999.4,
            hours_clear=7.75,
            arrivals_per_hour=987.4,
            finishes_per_hour=12_345.0 if at % 2 else 999.4,
            piling_up=at % 2 == 0,
            said=LARGE,
        )
        for at in range(count)
    ]
    tag, order = (
        "Air handling unit 3, mezzanine north-east, supply, east riser",
        "ORDER-2026-000000000000001042",
    )
    return board(
        bays,
        short_kits=tuple(kit(code, tag, order, 9) for code in fittings),
        short_kits_more=123_456,
        late_risk=(
            late(order, days_overdue=1234, hours_left=0.0, hours_of_work=123_456.7),
            late(order, likely_at="2027-11-23T14:00:00-06:00", sure_at="2027-12-24T10:00:00-06:00"),
        ),
        late_risk_more=123_456,
        finished_today=123_456,
        planned_today=1_234_567,
        look=Horizon(1.0, "in the next hour"),
    )


def kit(fitting: str, tag: str, order: str, missing: int) -> ShortKit:
    lacking = tuple(
        MissingSegment(
            f"S{at}", at + 1, "gore", 1, "roll" if at % 2 else "hand-forming-bench-12", "held", None
        )
        if missing > 1
        else MissingSegment("S1", 2, "gore", 1, "roll", "ready", None)
        for at in range(missing)
    )
    return ShortKit(fitting, order, 1, tag, "gored_elbow", "2026-03-06", 5, 5 - min(missing, 4), lacking)


def late(order: str, **changes) -> LateRisk:
    usual = {
        "order": order,
        "customer": "Riverside Mechanical",
        "due": "2026-03-03",
        "days_overdue": 0,
        "hours_of_work": 12.4,
        "hours_left": 3.1,
        "fittings_open": 4,
        "why": "",
    }
    return LateRisk(**usual | changes)


def edition(found: Board) -> Edition:
    return Edition(found, found.as_json(), time.monotonic(), this_minute())
