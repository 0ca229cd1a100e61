"""The scan record as others read it: append-only, oldest first."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shared.problems import FieldError, WrongInput
from travelers.models import Pulse, Scan

MOST_SCANS = 500


def record_page(query: Mapping[str, str]) -> dict[str, Any]:
    """Scans after `since`, oldest first. Sequences have no gaps, so the count needs no counting."""
    since = _whole(query, "since", 0, 0, 2**62)
    size = _whole(query, "page_size", 100, 1, MOST_SCANS)
    rows = list(
        Scan.objects.filter(sequence__gt=since)
        .order_by("sequence")[:size]
        .values(
            "sequence",
            "scan_id",
            "code",
            "action",
            "count",
            "badge",
            "reason",
            "undoes",
            "station",
            "operation",
            "scanned_at",
            "received_at",
            "is_time_doubtful",
            "outcome",
            "reason_code",
            "message",
            "changed",
            "number",
        )
    )
    for row in rows:
        row["id"] = row.pop("scan_id")
    last = Pulse.objects.values_list("sequence", flat=True).get(pk=1)
    end = rows[-1]["sequence"] if rows else since
    return {
        "count": max(last - since, len(rows)),
        "next": f"/api/v1/scans/?since={end}&page_size={size}" if rows and end < last else None,
        "previous": None,
        "results": rows,
    }


def _whole(query: Mapping[str, str], name: str, default: int, low: int, high: int) -> int:
    text = query.get(name, "")
    if text == "":
        return default
    try:
        value = int(text[:20])
    except ValueError:
        value = low - 1
    if not low <= value <= high:
        limit = f"a whole number from {low} to {high}"
        raise WrongInput([FieldError(name, text, limit, f"{name} is {text[:20]}; it can be {limit}.")])
    return value
