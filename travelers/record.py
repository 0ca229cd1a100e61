"""The scan record: the one door through which the work on the floor changes anything.

`scan_record` takes one delivered scan. In one transaction it finds the piece, locks its fittings, looks the id up,
judges the scan, derives the fittings' tasks again from their scans, and appends the row. The same id again, whoever
sends it and however late, gets the first answer and changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from fittings import numbering
from shared import rows
from shared.problems import NotAllowed
from shared.roles import OPERATOR, SUPERVISOR, Actor
from travelers import pieces
from travelers.append import append_scan
from travelers.delivery import Delivery, read_delivery
from travelers.judging import Judged, Judging
from travelers.models import Operator, Scan, ScanMismatch, Traveler
from travelers.state import Event
from travelers.turn import write_turn

LAST = 2**62
KNOWN = (
    "SELECT (SELECT is_active FROM travelers_operator WHERE code = %s), s.body_digest, s.outcome, s.message, s.code,"
    " s.operation, s.reason_code, s.sequence FROM (SELECT 1 AS one) AS always"
    " LEFT JOIN travelers_scan s ON s.scan_id = %s"
)

StationOperations = Callable[[str], tuple[str, ...] | None]


@dataclass(frozen=True)
class ScanResult:
    """The answer to one delivery."""

    id: str
    outcome: str
    first_outcome: str
    message: str
    code: str
    operation: str
    changed: int
    sequence: int | None
    reason_code: str = ""

    def as_dict(self) -> dict:
        return dict(self.__dict__)


def scan_record(
    *,
    delivery: Mapping[str, Any],
    actor: Actor,
    now: datetime,
    station_operations: StationOperations | None = None,
) -> ScanResult:
    """Record one delivered scan, or answer as its first delivery was answered.

    delivery            the scan as api.md gives it
    actor               a station (operator) or a supervisor, who may name a station in the scan
    station_operations  the operations of a station that a supervisor names, None where there is none
    raises              NotAllowed for another role
    """
    if actor.role not in (OPERATOR, SUPERVISOR):
        raise NotAllowed(role=actor.role, needed=(OPERATOR, SUPERVISOR))
    scan = read_delivery(delivery)
    if not scan.has_usable_id:
        sentence = "This scan has no usable id and was not kept. Scan again."
        return ScanResult(scan.id, "refused", "refused", sentence, scan.code, "", 0, None, "no_id")
    station, operations, misplaced = _place(scan, actor, station_operations)
    try:
        with write_turn(), transaction.atomic():
            return _record(scan, actor, now, station, operations, misplaced)
    except IntegrityError:
        with write_turn(), transaction.atomic():
            return _record(scan, actor, now, station, operations, misplaced)


def _place(
    scan: Delivery, actor: Actor, station_operations: StationOperations | None
) -> tuple[str, tuple[str, ...], tuple[str, str] | None]:
    """The station that the scan counts for, its operations, and (reason code, sentence) where that cannot be told."""
    if actor.role == OPERATOR:
        if scan.station and scan.station != actor.station:
            return (
                actor.station,
                actor.operations,
                ("other_station", "Only a supervisor may scan for another station."),
            )
        return actor.station, actor.operations, None
    if not scan.station:
        return "", (), ("no_station", "Name the station that this scan is for.")
    operations = station_operations(scan.station) if station_operations else None
    if operations is None:
        return scan.station, (), ("no_station", f"There is no station {scan.station}.")
    return scan.station, operations, None


# -- the transaction --------------------------------------------------------


def _record(scan: Delivery, actor: Actor, now: datetime, station, operations, misplaced) -> ScanResult:
    known_query = (KNOWN, (scan.badge, scan.id))
    if scan.has_code:
        with rows.pipelined():
            loaded, segment, kind, answer = pieces.find(scan.code, known_query)
    else:
        loaded, segment, kind, answer = [], None, "", rows.select(*known_query)
    badge_is_good, *known = answer[0]
    if known[-1] is not None:
        return _repeat(known, scan, now, station)
    at, doubtful = scan.effective(now)
    badge = scan.badge or (actor.name[:40] if actor.role == SUPERVISOR else "")
    judged = _refusal(scan, actor, misplaced, kind, bool(badge_is_good))
    if judged is None:
        event = Event(scan.id, LAST, at, scan.action, station, operations, badge, scan.reason)
        judged = Judging(scan, event, loaded, segment, kind).decide()
    outcome = (Scan.Outcome.RECORDED if judged.accepted else Scan.Outcome.REFUSED).value
    message = judged.message[:300]
    reason_code = "" if judged.accepted else judged.reason_code
    sequence = append_scan(
        (
            scan.id,
            scan.digest,
            scan.code,
            scan.action,
            scan.count,
            badge,
            scan.reason,
            judged.undoes,
            station,
            " ".join(operations),
            rows.stored(scan.scanned_at),
            rows.stored(now),
            rows.stored(at),
            doubtful,
            outcome,
            reason_code,
            message,
            judged.operation,
            judged.changed,
        ),
        judged.targets,
        changes=1 if judged.accepted else 0,
    )
    return ScanResult(
        scan.id,
        outcome,
        outcome,
        message,
        scan.code,
        judged.operation,
        judged.changed,
        sequence,
        reason_code,
    )


def _repeat(known: list, scan: Delivery, now: datetime, station: str) -> ScanResult:
    digest, outcome, message, code, operation, reason_code, sequence = known
    if digest != scan.digest:
        ScanMismatch.objects.create(scan_id=scan.id, body=scan.body, station=station, received_at=now)
    return ScanResult(scan.id, "repeated", outcome, message, code, operation, 0, sequence, reason_code)


def _refusal(
    scan: Delivery, actor: Actor, misplaced: tuple[str, str] | None, kind: str, badge_is_good: bool
) -> Judged | None:
    """Why a scan cannot be judged at all, if so: input, station, badge, code."""
    if scan.wrong:
        return Judged(False, scan.wrong_code, scan.wrong)
    if misplaced:
        return Judged(False, *misplaced)
    if actor.role == OPERATOR:
        if not scan.badge:
            return Judged(False, "no_badge", "Scan your badge first.")
        if not badge_is_good:
            return Judged(False, "unknown_badge", "That badge is not known here. Ask the supervisor.")
    if not kind:
        return _unknown_code(scan.code)
    return None


def _unknown_code(code: str) -> Judged:
    if Operator.objects.filter(code=code).exists():
        return Judged(False, "badge_as_piece", "That is a badge, not a piece. Scan a traveler or a label.")
    if Traveler.objects.filter(code=code).exists():
        return Judged(False, "void", "That traveler is void. Do not use it.")
    if not code.startswith(numbering.shop_mark()):
        return Judged(False, "other_shop", f"Code {code} is another shop's. Set the piece aside.")
    return Judged(False, "unknown_code", f"No piece has the code {code}. Scan it again.")
