"""The scan record: the one door through which the work on the floor changes anything.

`scan_record` takes one delivered scan. In one transaction it finds the piece, locks its fittings, looks the id up,
judges the scan, derives the fittings' tasks again from their scans, and appends the row. The same id again, whoever
sends it and however late, gets the first answer and changes nothing.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from fittings import numbering
from shared import rows
from shared.api import body_digest
from shared.codes import CodeNotUnderstood, read_code
from shared.problems import NotAllowed
from shared.roles import OPERATOR, SUPERVISOR, Actor
from travelers import pieces, sentences
from travelers.append import append_scan
from travelers.models import Operator, Scan, ScanMismatch, Traveler
from travelers.state import (
    ACTIONS,
    FINISH,
    HOLD,
    SCRAP,
    START,
    UNDO,
    Event,
    FittingState,
    Verdict,
    derive,
    judge,
)
from travelers.turn import write_turn

AHEAD = timedelta(minutes=2)
BEHIND = timedelta(days=30)
LAST = 2**62
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_\-]{7,63}")
_FIELDS = ("id", "code", "action", "count", "badge", "reason", "scanned_at", "undoes", "station")

KNOWN = (
    "SELECT (SELECT is_active FROM travelers_operator WHERE code = %s), s.body_digest, s.outcome, s.message, s.code,"
    " s.operation, s.sequence FROM (SELECT 1 AS one) AS always LEFT JOIN travelers_scan s ON s.scan_id = %s"
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

    def as_dict(self) -> dict:
        return {
            "id": self.id,
            "outcome": self.outcome,
            "first_outcome": self.first_outcome,
            "message": self.message,
            "code": self.code,
            "operation": self.operation,
            "changed": self.changed,
            "sequence": self.sequence,
        }


@dataclass(frozen=True)
class _Delivery:
    """A delivered scan, read. `wrong` is the sentence for input that cannot be used."""

    id: str
    digest: str
    body: dict
    code: str
    action: str
    count: int | None
    badge: str
    reason: str
    undoes: str
    station: str
    scanned_at: datetime | None
    wrong: str = ""
    wrong_code: str = "wrong_input"


@dataclass
class _Judged:
    """What was decided of a scan, before it is written."""

    accepted: bool
    reason_code: str
    message: str
    operation: str = ""
    undoes: str = ""
    targets: list[tuple[int, int | None]] = field(default_factory=list)
    changed: int = 0


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
    scan = _read(delivery)
    if not _ID.fullmatch(scan.id):
        sentence = "This scan has no usable id, so it was not kept. Scan again."
        return ScanResult(scan.id, "refused", "refused", sentence, scan.code, "", 0, None)
    station, operations, misplaced = _place(scan, actor, station_operations)
    try:
        with write_turn(), transaction.atomic():
            return _record(scan, actor, now, station, operations, misplaced)
    except IntegrityError:
        with write_turn(), transaction.atomic():
            return _record(scan, actor, now, station, operations, misplaced)


# -- reading ----------------------------------------------------------------


def _read(delivery: Any) -> _Delivery:
    body = delivery if isinstance(delivery, Mapping) else {}
    text = {name: body.get(name) if isinstance(body.get(name), str) else "" for name in _FIELDS}
    known = {name: body[name] for name in _FIELDS if name in body}
    wrong, wrong_code, code = "", "", ""
    try:
        code = read_code(text["code"])
    except CodeNotUnderstood as error:
        wrong, wrong_code = error.sentence, f"code_{error.reason}"
    count = body.get("count")
    if count is not None and (
        isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= 100_000
    ):
        wrong, wrong_code = f"Count is {_printable(str(count))[:20]}; it can be 1 to 100000.", "wrong_input"
    if text["action"] not in ACTIONS:
        shown = _printable(str(body.get("action")))[:20]
        wrong, wrong_code = f"Action is {shown}; it can be {', '.join(ACTIONS)}.", "wrong_input"
    if len(text["reason"]) > 200:
        wrong, wrong_code = "The reason is longer than 200 characters. Shorten it.", "wrong_input"
    scanned_at = None
    try:
        found = parse_datetime(text["scanned_at"]) if len(text["scanned_at"]) <= 40 else None
        scanned_at = found if found and found.tzinfo else None
    except ValueError:
        scanned_at = None
    return _Delivery(
        id=text["id"][:65],  # one too many stays too long: cut to 64 it could be another scan's
        digest=body_digest(known),
        body={name: _short(value) for name, value in known.items()},
        code=code or _printable(text["code"])[:80],
        action=text["action"] if text["action"] in ACTIONS else _printable(str(body.get("action")))[:20],
        count=count if not wrong else None,
        badge=_badge(text["badge"]),
        reason=_printable(text["reason"])[:200],
        undoes=_printable(text["undoes"])[:64],
        station=_printable(text["station"])[:20],
        scanned_at=scanned_at,
        wrong=wrong,
        wrong_code=wrong_code or "wrong_input",
    )


def _printable(text: str) -> str:
    return "".join(character for character in text if character.isprintable()).strip()


def _short(value: Any) -> Any:
    return value if isinstance(value, int | float) or value is None else _printable(str(value))[:200]


def _badge(text: str) -> str:
    try:
        return read_code(text)
    except CodeNotUnderstood:
        return _printable(text)[:40]


def _place(
    scan: _Delivery, actor: Actor, station_operations: StationOperations | None
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


def _effective(scanned_at: datetime | None, now: datetime) -> tuple[datetime, bool]:
    """The time that counts, and whether the tablet's own is doubtful: more than 2 minutes ahead or 30 days behind."""
    if scanned_at is None or scanned_at > now + AHEAD or scanned_at < now - BEHIND:
        return now, True
    return min(scanned_at, now), False


# -- the transaction --------------------------------------------------------


def _record(scan: _Delivery, actor: Actor, now: datetime, station, operations, misplaced) -> ScanResult:
    is_code = not scan.wrong_code.startswith("code_")
    loaded, segment, kind = pieces.find(scan.code) if is_code else ([], None, "")
    badge_is_good, *known = rows.select(KNOWN, (scan.badge, scan.id))[0]
    if known[-1] is not None:
        return _repeat(known, scan, now, station)
    at, doubtful = _effective(scan.scanned_at, now)
    badge = scan.badge or (actor.name[:40] if actor.role == SUPERVISOR else "")
    judged = _refusal(scan, actor, misplaced, kind, bool(badge_is_good))
    if judged is None:
        event = Event(scan.id, LAST, at, scan.action, station, operations, badge, scan.reason)
        judged = _Judging(scan, event, loaded, segment, kind).decide()
    outcome = (Scan.Outcome.RECORDED if judged.accepted else Scan.Outcome.REFUSED).value
    message = judged.message[:300]
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
            "" if judged.accepted else judged.reason_code,
            message,
            judged.operation,
            judged.changed,
        ),
        judged.targets,
        changes=1 if judged.accepted else 0,
    )
    return ScanResult(
        scan.id, outcome, outcome, message, scan.code, judged.operation, judged.changed, sequence
    )


def _repeat(known: list, scan: _Delivery, now: datetime, station: str) -> ScanResult:
    digest, outcome, message, code, operation, sequence = known
    if digest != scan.digest:
        ScanMismatch.objects.create(scan_id=scan.id, body=scan.body, station=station, received_at=now)
    return ScanResult(scan.id, "repeated", outcome, message, code, operation, 0, sequence)


def _refusal(
    scan: _Delivery, actor: Actor, misplaced: tuple[str, str] | None, kind: str, badge_is_good: bool
) -> _Judged | None:
    """Why a scan cannot be judged at all, if so: input, station, badge, code."""
    if scan.wrong:
        return _Judged(False, scan.wrong_code, scan.wrong)
    if misplaced:
        return _Judged(False, *misplaced)
    if actor.role == OPERATOR:
        if not scan.badge:
            return _Judged(False, "no_badge", "Scan your badge first.")
        if not badge_is_good:
            return _Judged(False, "unknown_badge", "That badge is not known here. Ask the supervisor.")
    if not kind:
        return _unknown_code(scan.code)
    return None


def _unknown_code(code: str) -> _Judged:
    if Operator.objects.filter(code=code).exists():
        return _Judged(False, "badge_as_piece", "That is a badge, not a piece. Scan a traveler or a label.")
    if Traveler.objects.filter(code=code).exists():
        return _Judged(False, "void", "That traveler is void. Do not use it.")
    if not code.startswith(numbering.shop_mark()):
        return _Judged(False, "other_shop", f"Code {code} is another shop's. Set the piece aside.")
    return _Judged(False, "unknown_code", f"No piece has the code {code}. Scan it again.")


# -- judging ----------------------------------------------------------------


class _Judging:
    """Decides one scan over the fittings that its code stands for, and stores what follows for each."""

    def __init__(
        self, scan: _Delivery, event: Event, loaded: list[pieces.Loaded], segment: int | None, kind: str
    ):
        self.scan = scan
        self.event = event
        self.loaded = loaded
        self.segment = segment
        self.kind = kind

    def decide(self) -> _Judged:
        if self.event.action == UNDO:
            return self._undo()
        chosen, shortage = self._choose()
        if shortage:
            return shortage
        judged: _Judged | None = None
        first_refusal: tuple[pieces.Loaded, Verdict] | None = None
        for one, segments in chosen:
            event = replace(self.event, segments=segments)
            verdict, state = judge(one.spec, one.events, event)
            if not verdict.accepted:
                first_refusal = first_refusal or (one, verdict)
                continue
            changed, after = self._store(one, event, state)
            if judged is None:
                word = sentences.accepted(
                    self.event.action,
                    self._piece(one),
                    verdict,
                    next_operation=self._next(one, verdict, after),
                    reason=self.event.reason,
                )
                judged = _Judged(True, "", word, verdict.operation)
            judged.changed += changed
            judged.targets += [(one.id, segment) for segment in segments] or [(one.id, None)]
        return judged or self._refused(*first_refusal)

    def _store(self, one: pieces.Loaded, event: Event, state: FittingState) -> tuple[int, FittingState]:
        """Derive the fitting with the new event among all its events, and write what differs."""
        events = [*one.events, event]
        if any(other.order > event.order for other in one.events):
            state = derive(one.spec, events)
        if event.action == SCRAP:
            gone = [segment for segment in state.segments if state.segments[segment] == "scrapped"]
            have = {(segment.position, segment.generation) for segment in one.spec.segments}
            missing = [
                segment.id
                for segment in one.spec.segments
                if segment.id in gone and (segment.position, segment.generation + 1) not in have
            ]
            if missing:
                pieces.remake(one, missing, numbering.take(len(missing)))
                fresh = pieces.load([one.id], lock=False)[0]
                state = derive(fresh.spec, events)
                return pieces.store(fresh, state), state
        return pieces.store(one, state), state

    # which pieces

    def _choose(self) -> tuple[list[tuple[pieces.Loaded, tuple[int, ...]]], _Judged | None]:
        """The pieces that the scan is about: (fitting, its segments, or none for the fitting itself)."""
        if self.kind == "segment":
            if self.scan.count not in (None, 1):
                return [], _Judged(
                    False, "wrong_count", "This label is one piece. Scan the traveler to count a lot."
                )
            return [(self.loaded[0], (self.segment,))], None
        chosen, spare = [], []
        for one in self.loaded:
            operation, segments = self._level(one)
            (chosen if operation else spare).append((one, segments))
        if self.scan.count is None or not chosen:
            return (chosen or spare), None
        left = sum(len(segments) or 1 for _, segments in chosen)
        if self.scan.count > left:
            sentence = f"Only {left} of this lot are left here; the count is {self.scan.count}."
            return [], _Judged(False, "wrong_count", sentence)
        taken, still = [], self.scan.count
        for one, segments in chosen:
            if still <= 0:
                break
            part = segments[:still]
            taken.append((one, part))
            still -= len(part) or 1
        return taken, None

    def _level(self, one: pieces.Loaded) -> tuple[str, tuple[int, ...]]:
        """At which operation the fitting's own code or its lot's acts here, and on which open segments."""
        if self.event.action == SCRAP:
            return "scrap", ()
        before = derive(one.spec, [event for event in one.events if event.order < self.event.order])
        now = derive(one.spec, one.events)
        here = sorted(
            (task for task in one.spec.tasks if task.operation in self.event.operations),
            key=lambda task: task.step,
        )
        for operation in dict.fromkeys(task.operation for task in here):
            tasks = [task for task in here if task.operation == operation]
            open_ = [task for task in tasks if self._is_open(task, before) and self._is_open(task, now)]
            if not open_:
                continue
            if open_[0].segment is None:
                return operation, ()
            order = {segment.id: segment.position for segment in one.spec.segments}
            return operation, tuple(sorted((task.segment for task in open_), key=order.__getitem__))
        if here and here[-1].segment is not None:
            return "", tuple(task.segment for task in here if task.operation == here[-1].operation)
        return "", ()

    def _is_open(self, task, state: FittingState) -> bool:
        now = state.tasks[task.id]
        if self.event.action == FINISH and now.is_implied:
            return True
        if self.event.action in (FINISH, START, HOLD):
            skipped = ("held", "running") if self.event.action == START else ("held",)
            if self.kind == "lot" and now.state in skipped:
                return False
        return now.state in ("waiting", "ready", "running", "held")

    # undo

    def _undo(self) -> _Judged:
        """Cancel the one scan that is named; left out, the last recorded one of this code at this station."""
        named = self.scan.undoes
        if not named:
            undone = Scan.objects.filter(action=UNDO, outcome="recorded", code=self.scan.code).values(
                "undoes"
            )
            last = (
                Scan.objects.filter(
                    code=self.scan.code,
                    station=self.event.station,
                    outcome=Scan.Outcome.RECORDED,
                    effective_at__lte=self.event.at,
                )
                .exclude(action=UNDO)
                .exclude(scan_id__in=undone)
                .order_by("-effective_at", "-sequence")
                .first()
            )
            if last is None:
                return self._refused(self.loaded[0], Verdict(False, "nothing_to_undo"))
            named = last.scan_id
        event = replace(self.event, undoes=named)
        concerned = [one for one in self.loaded if any(other.id == named for other in one.events)]
        if not concerned and Scan.objects.filter(scan_id=named).exists():
            return self._refused(self.loaded[0], Verdict(False, "nothing_to_undo"))
        judgements = [(one, *judge(one.spec, one.events, event)) for one in concerned or self.loaded]
        for one, verdict, _ in judgements:
            if not verdict.accepted:
                return self._refused(one, verdict)
        judged = _Judged(True, "", "", undoes=named)
        for one, verdict, state in judgements:
            changed, _ = self._store(one, event, state)
            judged.changed += changed
            judged.targets.append((one.id, None))
            judged.operation = judged.operation or verdict.operation or self._operation_of(state, named)
        piece = self._piece(judgements[0][0])
        judged.message = (
            f"{piece}: {sentences.operation_word(judged.operation)} is undone."
            if concerned
            else f"{piece}: the undo is kept for when its scan arrives."
        )
        return judged

    def _operation_of(self, state: FittingState, named: str) -> str:
        known = Scan.objects.filter(scan_id=named).values_list("operation", flat=True).first()
        return known or ""

    # words

    def _piece(self, one: pieces.Loaded) -> str:
        if self.kind == "segment":
            spec = next(segment for segment in one.spec.segments if segment.id == self.segment)
            role = "Gore" if "gore" in one.roles.get(self.segment, "") else "Piece"
            again = f" (made again, {spec.generation})" if spec.generation > 1 else ""
            return f"{role} {spec.position} of {one.segment_count}{again}"
        if self.kind == "fitting":
            return f"Fitting {one.number}"
        return "The lot"

    def _next(self, one: pieces.Loaded, verdict: Verdict, after: FittingState) -> str:
        """Where the piece goes from here."""
        if not verdict.touched:
            return ""
        done = next(task for task in one.spec.tasks if task.id == verdict.touched[0])
        later = [
            task
            for task in one.spec.tasks
            if task.step > done.step and (task.segment is None or task.segment == done.segment)
        ]
        return min(later, key=lambda task: task.step).operation if later else ""

    def _refused(self, one: pieces.Loaded, verdict: Verdict) -> _Judged:
        who = ""
        if verdict.badge:
            who = (
                Operator.objects.filter(code=verdict.badge).values_list("name", flat=True).first()
                or verdict.badge
            )
        when = sentences.clock(timezone.localtime(verdict.at)) if verdict.at else ""
        station = self.event.station if verdict.why == "no_work_here" else verdict.station
        sentence = sentences.refused(self._piece(one), verdict, who=who, when=when, station=station)
        return _Judged(False, verdict.why, sentence, verdict.operation)
