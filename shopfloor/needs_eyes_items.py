"""Rows of what needs eyes in words: what it is, what happened, where to look it up. Few queries, however many rows."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from fittings.models import Fitting
from shared.templatetags.parts import age, clock
from shopfloor.models import NumberGap, Settlement, Tablet
from shopfloor.scan_numbers import ranges_text
from travelers.models import Operation, Operator, Scan, ScanMismatch, ScanTarget, Task
from travelers.sentences import piece_word_of

Kind = Settlement.Kind
Row = tuple[int, datetime]
LONGEST_WHAT = 200


@dataclass(frozen=True)
class Item:
    """One thing that needs eyes. `code` is what to look it up by, empty where there is nothing to look up."""

    kind: str
    item: int
    since: datetime
    what: str
    words: str
    station: str = ""
    code: str = ""

    @property
    def key(self) -> str:
        return f"{self.item} {self.since.isoformat()}"


# -- words ------------------------------------------------------------------


def names_of(badges: Iterable[str]) -> dict[str, str]:
    """The names behind some badges. One query."""
    return dict(Operator.objects.filter(code__in=set(badges)).values_list("code", "name"))


def _by(badge: str, names: dict[str, str]) -> str:
    return f" by {names.get(badge, badge)}" if badge else ""


def _piece(fitting, segment=None) -> str:
    """“Order 1042, AHU-3, gore 2”."""
    line = fitting.line
    parts = [f"Order {line.order.number}", line.tag or f"line {line.position}"]
    if segment is not None:
        parts.append(f"{piece_word_of(line.kind)} {segment.position}")
    elif line.quantity > 1:
        parts.append(f"{fitting.number} of {line.quantity}")
    return ", ".join(parts)


def _scan(action: str, code: str) -> str:
    return f"{action} of {code}".strip() if code else action or "a scan"


# -- each kind --------------------------------------------------------------


def implied_items(rows: Sequence[Row], now: datetime) -> list[Item]:
    fittings, times = {item for item, _ in rows}, {since for _, since in rows}
    tasks = (
        Task.objects.filter(fitting_id__in=fittings, finished_at__in=times, is_implied=True)
        .select_related("fitting__line__order", "segment")
        .order_by("step", "pk")
    )
    names = dict(Operation.objects.values_list("code", "name"))
    missed: dict[Row, Counter] = defaultdict(Counter)
    pieces: dict[Row, dict] = defaultdict(dict)
    for task in tasks:
        missed[task.fitting_id, task.finished_at][names.get(task.operation_id, task.operation_id)] += 1
        pieces[task.fitting_id, task.finished_at][task.segment_id] = task
    scans = {
        (target.fitting_id, target.scan.effective_at): target.scan
        for target in ScanTarget.objects.filter(
            fitting_id__in=fittings,
            scan__effective_at__in=times,
            scan__action__in=("start", "finish"),
            scan__outcome=Scan.Outcome.RECORDED,
        ).select_related("scan")
    }
    badges = names_of(scan.badge for scan in scans.values())
    found = []
    for item, since in rows:
        tasks_here, scan = list(pieces[item, since].values()), scans.get((item, since))
        fitting = tasks_here[0].fitting if tasks_here else None
        segment = tasks_here[0].segment if len(tasks_here) == 1 else None
        counted = [name if n == 1 else f"{name} ×{n}" for name, n in missed[item, since].items()]
        words = f"{', '.join(counted)} taken as done"
        if scan is not None:
            later = names.get(scan.operation, scan.operation)
            words += f": {later} was scanned{_by(scan.badge, badges)}."
        found.append(
            Item(
                Kind.IMPLIED,
                item,
                since,
                _piece(fitting, segment) if fitting else "A fitting",
                words,
                scan.station if scan else "",
                (segment or fitting).code if fitting else "",
            )
        )
    return found


def clock_items(rows: Sequence[Row], now: datetime) -> list[Item]:
    scans = Scan.objects.in_bulk([item for item, _ in rows])
    names = names_of(scan.badge for scan in scans.values())
    found = []
    for item, since in rows:
        scan = scans[item]
        if scan.scanned_at is None:
            words = "The tablet gave no time that can be read."
        else:
            words = (
                f"The tablet said {clock(scan.scanned_at)}, {off_text(scan.scanned_at - scan.received_at)}."
            )
        what = f"{scan.action.capitalize() or 'A scan'}{_by(scan.badge, names)}"
        words += " The time of its arrival counts."
        found.append(Item(Kind.CLOCK, item, since, what, words, scan.station, scan.code))
    return found


def off_text(off: timedelta) -> str:
    """“3 h ahead”, “2 d behind”."""
    return f"{age(abs(off))} {'ahead' if off > timedelta(0) else 'behind'}"


def same_id_items(rows: Sequence[Row], now: datetime) -> list[Item]:
    second = ScanMismatch.objects.in_bulk([item for item, _ in rows])
    ids = {one.scan_id for one in second.values()}
    first = {scan.scan_id: scan for scan in Scan.objects.filter(scan_id__in=ids)}
    found = []
    for item, since in rows:
        other = second[item]
        scan = first.get(other.scan_id)
        body = other.body if isinstance(other.body, dict) else {}
        said = _scan(str(body.get("action", ""))[:20], str(body.get("code", ""))[:20])
        words = f"The second was {said}; it changed nothing."
        what, code = f"Id {other.scan_id[:14]}", ""
        if scan is not None:
            words = f"The first was {_scan(scan.action, scan.code)}, {scan.outcome}; it holds. {words}"
            code = scan.code
        found.append(Item(Kind.SAME_ID, item, since, what, words, other.station, code))
    return found


def gap_items(rows: Sequence[Row], now: datetime) -> list[Item]:
    gaps = NumberGap.objects.select_related("series").in_bulk([item for item, _ in rows])
    ids = {one for gap in gaps.values() for one in (gap.before, gap.after) if one}
    scans = {scan.scan_id: scan for scan in Scan.objects.filter(scan_id__in=ids)}
    keys = {gap.series.key_id for gap in gaps.values()}
    tablets = dict(Tablet.objects.filter(key_id__in=keys).values_list("key_id", "name"))
    found = []
    for item, since in rows:
        gap = gaps[item]
        tablet = tablets.get(gap.series.key_id, f"A tablet of {gap.series.station or 'no station'}")
        before, after = scans.get(gap.before), scans.get(gap.after)
        if gap.last is None:
            what = f"{tablet}: its store was emptied"
            words = f"Its numbers began anew after {gap.first - 1}. Scans kept there and not sent are lost."
        else:
            count = sum(high - low + 1 for low, high in gap.missing)
            numbers = ranges_text(gap.missing)
            what = f"{tablet}: {count} scan{'' if count == 1 else 's'} not here"
            words = f"Number {numbers} has" if count == 1 else f"Numbers {numbers} have"
            words += " not come: still on the tablet, or lost."
        sides = [
            f"{side}: {_scan(scan.action, scan.code)}, received {clock(scan.received_at)}."
            for side, scan in (("Before", before), ("After", after))
            if scan is not None
        ]
        if not gap.before and gap.last is not None:
            sides.insert(0, "Before: none.")
        found.append(
            Item(Kind.GAP, item, since, what[:LONGEST_WHAT], " ".join([words, *sides]), gap.series.station)
        )
    return found


def hold_items(rows: Sequence[Row], now: datetime) -> list[Item]:
    tasks = Task.objects.select_related("fitting__line__order", "segment", "operation").in_bulk(
        [item for item, _ in rows]
    )
    names = names_of(task.badge for task in tasks.values())
    found = []
    for item, since in rows:
        task = tasks[item]
        words = (
            f"On hold at {task.operation.name}{_by(task.badge, names)}: {task.reason or 'no reason given'}."
        )
        code = (task.segment or task.fitting).code
        found.append(
            Item(Kind.HOLD, item, since, _piece(task.fitting, task.segment), words, task.station, code)
        )
    return found


def left_items(rows: Sequence[Row], now: datetime) -> list[Item]:
    fittings = Fitting.objects.select_related("line__order", "delivered__delivery").in_bulk(
        [item for item, _ in rows]
    )
    found = []
    for item, since in rows:
        fitting = fittings[item]
        delivery = f"{fitting.line.order.number}-{fitting.delivered.delivery.number}"
        words = f"On delivery {delivery}, but not finished any more: a scan that came late took work back."
        found.append(Item(Kind.LEFT, item, since, _piece(fitting), words, "", fitting.code))
    return found


BUILD = {
    Kind.HOLD: hold_items,
    Kind.LEFT: left_items,
    Kind.GAP: gap_items,
    Kind.CLOCK: clock_items,
    Kind.SAME_ID: same_id_items,
    Kind.IMPLIED: implied_items,
}
