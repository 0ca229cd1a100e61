"""The scan record: the one door through which the work on the floor changes anything.

`scan_record` takes one delivered scan. In one transaction it finds the piece, locks its fittings, looks the id up,
judges the scan, derives the fittings' tasks again from their scans, and appends the row. The same id again, whoever
sends it and however late, gets the first answer and changes nothing. The answer is in the badge's language, and is kept
as it was given. The code of a sheet stands for all that lies on it
(`travelers.sheet_scans`).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, connection, transaction

from fittings import numbering
from shared import rows
from shared.problems import NotAllowed
from shared.roles import OPERATOR, SUPERVISOR, Actor
from shared.turn import waited_since, write_turn
from shared.words import ENGLISH, mark, say
from travelers import pieces, replaced
from travelers.append import append_scan
from travelers.judging import Judged, Judging
from travelers.languages import shop_language, speaking
from travelers.left_kept import kept_follow
from travelers.limits import Limits, StationLimits, beyond_limits
from travelers.models import Operator, Scan, ScanMismatch, Traveler
from travelers.scan_reading import DeliveredScan, read_scan
from travelers.sheet_scans import SheetJudging
from travelers.state import FINISH, START, Event

LAST = 2**62
MOST_TOGETHER = 25  # scans that share a commit on SQLite
TOGETHER_SECONDS = 0.1  # that others may have to wait for them
KNOWN = (
    "SELECT o.is_active, o.language, s.body_digest, s.outcome, s.message, s.code, s.operation, s.reason_code,"
    " s.sequence FROM (SELECT 1 AS one) AS always LEFT JOIN travelers_operator o ON o.code = %s"
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
    station_limits: StationLimits | None = None,
) -> ScanResult:
    """Record one delivered scan, or answer as its first delivery was answered.

    delivery            the scan as api.md gives it
    actor               a station (operator) or a supervisor, who may name a station in the scan
    station_operations  the operations of a station that a supervisor names, None where there is none
    station_limits      what a station can take; a scan that is beyond it is recorded, and says so
    raises              NotAllowed for another role
    """
    if actor.role not in (OPERATOR, SUPERVISOR):
        raise NotAllowed(role=actor.role, needed=(OPERATOR, SUPERVISOR))
    scan = read_scan(delivery)
    if not scan.has_usable_id:
        sentence = "This scan has no usable id and was not kept. Scan again."
        return ScanResult(scan.id, "refused", "refused", sentence, scan.code, "", 0, None, "no_id")
    station, operations, misplaced = _place(scan, actor, station_operations)
    try:
        with write_turn(ahead=True), transaction.atomic():  # alone: somebody waits for it
            return _record(scan, actor, now, station, operations, misplaced, station_limits)
    except IntegrityError:
        with write_turn(ahead=True), transaction.atomic():
            return _record(scan, actor, now, station, operations, misplaced, station_limits)


def scans_record(
    *, deliveries: Sequence[Mapping[str, Any]], clock: Callable[[], datetime], **given: Any
) -> list[ScanResult]:
    """Record delivered scans in order, each as `scan_record` does; `given` goes to it.

    SQLite has one writer, and each commit waits for the disk: there a few scans share one. An end in the middle leaves
    whole groups only, and what is sent again gets its first answer.

    clock   the time of each
    raises  as `scan_record`; what was recorded before stays
    """
    results: list[ScanResult] = []
    while len(results) < len(deliveries):
        rest = deliveries[len(results) :]
        if len(rest) == 1 or connection.vendor != "sqlite":
            results.append(scan_record(delivery=rest[0], now=clock(), **given))
            continue
        group: list[ScanResult] = []
        with write_turn(), transaction.atomic():
            began = time.monotonic()
            for delivery in rest[:MOST_TOGETHER]:
                group.append(scan_record(delivery=delivery, now=clock(), **given))
                if time.monotonic() - began > TOGETHER_SECONDS:
                    break
        results += group
    return results


def _place(
    scan: DeliveredScan, actor: Actor, station_operations: StationOperations | None
) -> tuple[str, tuple[str, ...], tuple[str, str] | None]:
    """The station that the scan counts for, its operations, and (reason code, sentence) where that cannot be told."""
    if actor.role == OPERATOR:
        if scan.station and scan.station != actor.station:
            return (
                actor.station,
                actor.operations,
                ("other_station", mark("Only a supervisor may scan for another station.")),
            )
        return actor.station, actor.operations, None
    if not scan.station:
        return "", (), ("no_station", mark("Name the station that this scan is for."))
    operations = station_operations(scan.station) if station_operations else None
    if operations is None:
        return scan.station, (), ("no_station", f"There is no station {scan.station}.")
    return scan.station, operations, None


# -- the transaction --------------------------------------------------------


def _record(
    scan: DeliveredScan, actor: Actor, now: datetime, station, operations, misplaced, station_limits
) -> ScanResult:
    known_query = (KNOWN, (scan.badge, scan.id))
    began = time.monotonic()
    at, doubtful = scan.effective(now)
    if scan.has_code:
        with rows.pipelined():
            found, answer = pieces.find(scan.code, at, known_query)
    else:
        found, answer = pieces.Found(), rows.select(*known_query)
    badge_is_good, language, *known = answer[0]
    if known[-1] is not None:
        return _repeat(known, scan, now, station)
    waited_since(began)
    badge = scan.badge or (actor.name[:40] if actor.role == SUPERVISOR else "")
    with speaking(language or _unbadged_language(actor)):
        judged = _refusal(scan, actor, misplaced, found.kind, bool(badge_is_good))
        if judged is None:
            judging = SheetJudging if found.sheet else Judging
            operations = judging.operations_of(operations)
            event = Event(scan.id, LAST, at, scan.action, station, operations, badge, scan.reason)
            judged = judging(scan, event, found).decide()
            left = [one for one in found.loaded if one.is_taken_out] if judged.accepted else ()
            if left:
                kept_follow(left, actor=actor, now=now)
            if judged.accepted and station_limits and scan.action in (START, FINISH):
                beyond = beyond_limits(station_limits(station) or Limits(), found)
                judged.message = f"{judged.message} {beyond}".strip()
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
            scan.number,
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


def _unbadged_language(actor: Actor) -> str:
    """A tablet without a badge that is known speaks the shop's language; a desk speaks English."""
    return shop_language() if actor.role == OPERATOR else ENGLISH


def _repeat(known: list, scan: DeliveredScan, now: datetime, station: str) -> ScanResult:
    digest, outcome, message, code, operation, reason_code, sequence = known
    if digest != scan.digest:
        ScanMismatch.objects.create(scan_id=scan.id, body=scan.body, station=station, received_at=now)
    return ScanResult(scan.id, "repeated", outcome, message, code, operation, 0, sequence, reason_code)


def _refusal(
    scan: DeliveredScan, actor: Actor, misplaced: tuple[str, str] | None, kind: str, badge_is_good: bool
) -> Judged | None:
    """Why a scan cannot be judged at all, if so: input, station, badge, code."""
    if scan.wrong:
        return Judged(False, scan.wrong_code, scan.wrong)
    if misplaced:
        reason_code, sentence = misplaced
        return Judged(False, reason_code, say(sentence))
    if actor.role == OPERATOR:
        if not scan.badge:
            return Judged(False, "no_badge", say("Scan your badge first."))
        if not badge_is_good:
            sentence = say("That badge is not known here. Ask the supervisor.")
            return Judged(False, "unknown_badge", sentence)
    if not kind:
        return _unknown_code(scan.code)
    return None


def _unknown_code(code: str) -> Judged:
    operator = Operator.objects.filter(code=code).first()
    if operator:
        sentence = say("That is a badge, not a piece. Scan a traveler or a label.")
        if not operator.is_active:
            sentence = say("That badge is not in use. Ask the supervisor.")
        return Judged(False, "badge_as_piece", sentence)
    if Traveler.objects.filter(code=code).exists():
        sentence = replaced.traveler_said(code) or say("That traveler is void. Do not use it.")
        return Judged(False, "void", sentence)
    if not code.startswith(numbering.shop_mark()):
        sentence = say("Code {code} is another shop's. Set the piece aside.", code=code)
        return Judged(False, "other_shop", sentence)
    return Judged(False, "unknown_code", say("No piece has the code {code}. Scan it again.", code=code))
