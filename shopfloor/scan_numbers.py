"""The running numbers that tablets give their scans: how far each series has come, and what is missing in it.

A tablet gives out its numbers in order and never twice, and a scan leaves it only with its own answer. So a number that
is missing below the highest is a scan that is still on the tablet, or lost with it. Numbers are noted after the scans
of a request are recorded; what is delivered again is noted again, which changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Exists, OuterRef, Q

from shared.roles import Actor
from shared.turn import write_turn
from shopfloor.models import NumberGap, NumberSeries
from travelers.record import ScanResult
from travelers.scan_reading import read_number

OF_A_KEY = "key "

Ranges = list[list[int]]


def numbers_of(deliveries: Sequence[Any], results: Sequence[ScanResult]) -> dict[int, str]:
    """The numbers of the delivered scans that the record has, each with its scan's id."""
    pairs = zip(deliveries, results, strict=True)
    found = {read_number(delivery): result.id for delivery, result in pairs if result.sequence is not None}
    found.pop(None, None)
    return found


def numbers_note(*, actor: Actor, series: str, numbers: dict[int, str], now: datetime) -> None:
    """Note numbers that came: a gap is noticed, or becomes smaller, or closes.

    series   the name of the tablet's series; without it the numbers are the key's own
    raises   Busy where it is not the writer's turn in time; sent again, the scans are repeated and their numbers noted
    """
    name = series or (f"{OF_A_KEY}{actor.key_id}" if actor.key_id is not None else "")
    if not numbers or not name:
        return
    with write_turn():
        if not _goes_on(name, actor, numbers):
            _note(name, actor, numbers, now)


def _goes_on(name: str, actor: Actor, numbers: dict[int, str]) -> bool:
    """The usual case in one statement: the numbers follow the highest so far, of the same tablet, none missing."""
    first, last = min(numbers), max(numbers)
    if last - first + 1 != len(numbers):
        return False
    is_emptied = NumberGap.objects.filter(series=OuterRef("pk"), last=None, closed_at=None)
    found = NumberSeries.objects.filter(
        ~Exists(is_emptied), name=name, highest=first - 1, key_id=actor.key_id, station=actor.station
    )
    return bool(found.update(highest=last, highest_scan=numbers[last]))


def _note(name: str, actor: Actor, numbers: dict[int, str], now: datetime) -> None:
    with transaction.atomic():
        row = _series(name, actor, min(numbers.items())[1], now)
        highest = row.highest
        later = sorted(number for number in numbers if number > highest)
        if len(later) < len(numbers):
            _close(row, [number for number in numbers if number <= highest], now)
        if later:
            _notice(row, later, numbers, now)
            row.highest, row.highest_scan = later[-1], numbers[later[-1]]
        if actor.station:
            row.key_id, row.station = actor.key_id, actor.station
        if later or actor.station:
            row.save()


def _series(name: str, actor: Actor, first_scan: str, now: datetime) -> NumberSeries:
    """The series, locked. A new one of a tablet that had another says that the tablet's store was emptied."""
    row, is_new = NumberSeries.objects.select_for_update().get_or_create(
        name=name, defaults={"key_id": actor.key_id, "station": actor.station, "began_at": now}
    )
    if is_new and actor.key_id is not None and not name.startswith(OF_A_KEY):
        others = NumberSeries.objects.filter(key_id=actor.key_id).exclude(pk=row.pk)
        before = others.exclude(name__startswith=OF_A_KEY).order_by("-began_at", "-pk").first()
        if before is not None:
            NumberGap.objects.create(
                series=before,
                first=before.highest + 1,
                before=before.highest_scan,
                after=first_scan,
                noticed_at=now,
            )
    return row


def _notice(row: NumberSeries, later: list[int], numbers: dict[int, str], now: datetime) -> None:
    """One gap of a request: all that is missing between the highest so far and its own highest."""
    NumberGap.objects.filter(series=row, last=None, closed_at=None).update(closed_at=now)
    known = [row.highest, *later]
    missing = [[low + 1, high - 1] for low, high in zip(known, known[1:], strict=False) if high > low + 1]
    if missing:
        first, last = missing[0][0], missing[-1][1]
        NumberGap.objects.create(
            series=row,
            first=first,
            last=last,
            missing=missing,
            before=numbers.get(first - 1) or row.highest_scan,
            after=numbers[last + 1],
            noticed_at=now,
        )


def _close(row: NumberSeries, came: list[int], now: datetime) -> None:
    gaps = NumberGap.objects.select_for_update().filter(
        Q(first__lte=max(came), last__gte=min(came)), series=row, closed_at=None
    )
    for gap in gaps:
        left = without(gap.missing, came)
        if left != gap.missing:
            gap.missing, gap.closed_at = left, None if left else now
            gap.save(update_fields=["missing", "closed_at"])


def without(ranges: Ranges, numbers: Iterable[int]) -> Ranges:
    """Ranges of whole numbers less some numbers.

    >>> without([[3, 6], [9, 9]], [5, 9, 40])
    [[3, 4], [6, 6]]
    """
    for number in numbers:
        ranges = [
            part
            for low, high in ranges
            for part in ([[low, number - 1], [number + 1, high]] if low <= number <= high else [[low, high]])
            if part[0] <= part[1]
        ]
    return ranges


def ranges_text(ranges: Ranges) -> str:
    """“12, 14 to 16”.

    >>> ranges_text([[12, 12], [14, 16]])
    '12, 14 to 16'
    """
    return ", ".join(str(low) if low == high else f"{low} to {high}" for low, high in ranges)
