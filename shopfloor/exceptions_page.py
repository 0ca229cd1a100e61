"""What the page of exceptions shows: one list a kind, what was settled, and what to know of today. Only reads."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.core.paginator import Paginator

from shopfloor import exceptions as today
from shopfloor import needs_eyes
from shopfloor.needs_eyes_items import names_of

ON_A_PAGE = needs_eyes.MOST_AT_ONCE
REFUSED_SHOWN = 5
SETTLED, REFUSED = "settled", "refused"
TITLES = {
    needs_eyes.Kind.HOLD: "On hold",
    needs_eyes.Kind.LEFT: "Left unfinished",
    needs_eyes.Kind.GAP: "Scans not here",
    needs_eyes.Kind.CLOCK: "Clocks off",
    needs_eyes.Kind.SAME_ID: "Same id, other scan",
    needs_eyes.Kind.IMPLIED: "Missed scans",
}
HINTS = {
    needs_eyes.Kind.HOLD: "Oldest first. A resume takes a piece off the list; a note says that somebody sees to it.",
    needs_eyes.Kind.LEFT: "On a delivery, though a scan that came late took work of it back. The office takes the"
    " delivery back, or a note says what was found. What is scanned after a fitting left is refused.",
    needs_eyes.Kind.GAP: "Tablets number their scans. These numbers have not come though later ones have; a late one"
    " leaves the list when it comes.",
    needs_eyes.Kind.CLOCK: "More than 2 minutes ahead or 30 days behind: set the tablet's clock. The last 30 days.",
    needs_eyes.Kind.SAME_ID: "A known id came again with other words. The first one holds. The last 30 days.",
    needs_eyes.Kind.IMPLIED: "Taken as done because a later operation was scanned. Their own scan, or an undo of the"
    " later one, takes them off. The last 30 days.",
}


def list_shown(asked: str, counts: Mapping[str, int]) -> str:
    """The list that is asked for; else the first that holds something."""
    first = next((kind for kind, count in counts.items() if count), needs_eyes.KINDS[0])
    return asked if asked in (*counts, SETTLED, REFUSED) else first


def exceptions_page(*, asked: str, page: str | None, now: datetime) -> dict[str, Any]:
    """All lists' counts, and one list. The same few queries, however much there is."""
    counts = needs_eyes.open_counts(now=now)
    shown = list_shown(asked, counts)
    refused = today.refused_today(now=now)
    listed = Paginator(_rows(shown, refused, now), ON_A_PAGE).get_page(page)
    rows = list(listed.object_list)
    latest = rows if shown == REFUSED else list(refused[:REFUSED_SHOWN])
    names = names_of(scan.badge for scan in latest if scan.badge)
    items = needs_eyes.items_of(shown, rows, now=now) if shown in TITLES else []
    settled = needs_eyes.settled_of(rows) if shown == SETTLED else []
    missed = today.missed_today(now=now)
    return {
        "now": now,
        "kinds": [(kind, TITLES[kind], count) for kind, count in counts.items()],
        "total": sum(counts.values()),
        "shown": shown,
        "title": TITLES.get(shown, {SETTLED: "Settled", REFUSED: "Refused today"}.get(shown)),
        "hint": HINTS.get(shown, ""),
        "page_obj": listed,
        "items": [(item, now - item.since) for item in items],
        "settled": [(one, TITLES[one.kind]) for one in settled],
        "refused": [(scan, names.get(scan.badge, scan.badge)) for scan in latest],
        "missed": missed,
        "missed_total": sum(one.count for one in missed),
        "sign_ins": today.wrong_sign_ins(),
    }


def _rows(shown: str, refused, now: datetime):
    if shown == SETTLED:
        return needs_eyes.settled_rows(now=now)
    return refused if shown == REFUSED else needs_eyes.open_rows(shown, now=now)
