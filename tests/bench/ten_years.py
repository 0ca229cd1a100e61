"""Ten years of a busy shop: some days of work recorded as the shop records it, then copied by the database itself.

    python -m tests.bench.ten_years [orders] [recorded orders]

Fills an empty database (of SHOPFLOOR_DATA or DATABASE_URL): 20,000 orders of fifty fittings, a million fittings and
more than five million scans, with the orders' lines as frozen, prices, quotes, cut plans, deliveries, promises, events
and kept sums; the last month is the demo's alone. The same `now` gives the same shop. `replay --check` accepts it:
a copy is another order with other ids and codes, whole weeks later.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

from tests.bench import harness
from tests.bench.work_copied import copies_made
from tests.bench.work_recorded import Recorded

ORDERS, RECORDED = 20_000, 20
YEARS = 10
QUIET = timedelta(days=30)
"""Before now: what of the last days the screens read is the demo's work, in a shop with history and in one without."""


def main(orders: int = ORDERS, recorded: int = RECORDED) -> None:
    harness.django_set_up(with_shop=False)
    from django.utils import timezone

    for what, seconds in filled(orders, recorded=recorded, now=timezone.now()):
        print(f"{what} in {seconds:.0f} s", flush=True)


def filled(orders: int, *, recorded: int, now: datetime) -> Iterator[tuple[str, float]]:
    """Fill an empty database; tells each part with its seconds.

    recorded  orders that are recorded one scan after the other; the others are copies of them
    """
    from django.db import transaction

    from fittings.search_index import index_rebuild
    from shopfloor.demo import demo_shop, demo_story
    from shopfloor.flow_days import flow_days_bring_up

    begin = first_monday(now)
    parts: list[tuple[str, Callable[[], object]]] = [
        ("people and stations made", lambda: demo_shop(now=begin)),
        (f"{recorded} orders recorded", lambda: Recorded(recorded, begin).run()),
        (
            f"{orders - recorded} orders copied",
            lambda: copies_made(orders // recorded - 1, now - QUIET - begin),
        ),
        ("words of the search made", index_rebuild),
    ]
    for name, act in parts:
        began = time.monotonic()
        with unsafe_but_fast():
            act()
        yield name, time.monotonic() - began
    began = time.monotonic()
    with transaction.atomic():
        demo_story(now=now)
    yield "demo made", time.monotonic() - began
    began = time.monotonic()
    with unsafe_but_fast():
        flow_days_bring_up(now=now, most=400 * YEARS)
    yield "days added up", time.monotonic() - began
    settle()


def first_monday(now: datetime) -> datetime:
    """The Monday after the 7th of the month ten years ago, at midnight: all that is recorded lies in one month."""
    day = now.astimezone(UTC).replace(year=now.year - YEARS, day=8, hour=0, minute=0, second=0, microsecond=0)
    return day + timedelta(days=-day.weekday() % 7)


@contextmanager
def unsafe_but_fast():
    """Nothing waits for the disk, and an end in between leaves nothing of use."""
    from django.db import connection

    is_free = connection.vendor == "sqlite" and not connection.in_atomic_block
    with connection.cursor() as cursor:
        for sql in (
            "journal_mode = MEMORY",
            "synchronous = OFF",
            "foreign_keys = OFF",
            "cache_size = -2000000",
        ):
            if is_free:
                cursor.execute(f"PRAGMA {sql}")
    yield
    if is_free:
        connection.cursor().execute("PRAGMA journal_mode = WAL")
        connection.close()  # the next one has the app's own settings


def settle() -> None:
    from django.db import connection

    from tests.bench import old_scans

    if not connection.in_atomic_block:
        old_scans.settle()


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
