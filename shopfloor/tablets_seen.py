"""The tablets in use as the supervisor's list shows them: last seen, version, battery, what is not sent or not here."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from shared.templatetags.parts import age
from shopfloor.models import Tablet
from shopfloor.needs_eyes import gaps_open
from shopfloor.presence import page_version
from shopfloor.stations import StationRow

LONG_UNSEEN = timedelta(minutes=15)
OLD_UNSENT = timedelta(minutes=10)
LOW_BATTERY = 15


@dataclass(frozen=True)
class TabletRow:
    """A tablet and what is said of it. `warnings` are the words of what is not as it should be."""

    tablet: Tablet
    station: str
    seen: str
    page: str
    battery: str
    unsent: str
    missing: int
    warnings: tuple[str, ...]


def tablet_rows(stations: Iterable[StationRow], *, now: datetime) -> list[TabletRow]:
    """The tablets in use at these stations, those with a warning first. One query."""
    missing = Counter()
    for gap in gaps_open(now).select_related("series"):
        missing[gap.series.key_id] += sum(high - low + 1 for low, high in gap.missing)
    rows = [
        _row(tablet, row.station.code, missing[tablet.key_id], now)
        for row in stations
        for tablet in row.tablets
    ]
    return sorted(rows, key=lambda row: not row.warnings)


def _row(tablet: Tablet, station: str, missing: int, now: datetime) -> TabletRow:
    unseen = max(timedelta(0), now - (tablet.seen_at or tablet.enrolled_at))
    oldest = max(timedelta(0), now - tablet.oldest_unsent_at) if tablet.oldest_unsent_at else None
    warnings = []
    if unseen > LONG_UNSEEN:
        warnings.append(f"Not seen for {age(unseen)}" if tablet.seen_at else "Never seen")
    if oldest is not None and oldest > OLD_UNSENT:
        warnings.append(f"Unsent for {age(oldest)}")
    is_low = tablet.battery is not None and tablet.battery <= LOW_BATTERY and not tablet.is_charging
    if is_low:
        warnings.append("Battery low")
    is_older = bool(tablet.version) and tablet.version != page_version()
    return TabletRow(
        tablet=tablet,
        station=station,
        seen=f"{age(unseen)} ago" if tablet.seen_at else "never",
        page=f"older ({tablet.version})" if is_older else "up to date" if tablet.version else "not told",
        battery=_battery(tablet),
        unsent=_unsent(tablet, oldest),
        missing=missing,
        warnings=tuple(warnings),
    )


def _battery(tablet: Tablet) -> str:
    if tablet.battery is None:
        return "not told"
    return f"{tablet.battery}\N{NO-BREAK SPACE}%" + (", charging" if tablet.is_charging else "")


def _unsent(tablet: Tablet, oldest: timedelta | None) -> str:
    """As it was told last: a tablet that is away may have more by now."""
    if tablet.unsent is None:
        return "not told"
    if not tablet.unsent:
        return "none"
    return f"{tablet.unsent}" + (f", oldest {age(oldest)}" if oldest is not None else "")
