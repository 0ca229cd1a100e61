"""One scan judged: which pieces it is about, whether it holds, and what is stored of them if it does."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from django.utils import timezone

from fittings import numbering
from travelers import pieces, sentences
from travelers.delivery import Delivery
from travelers.models import Operator, Scan
from travelers.state import FINISH, HOLD, SCRAP, START, UNDO, Event, FittingState, Verdict, derive, judge


@dataclass
class Judged:
    """What was decided of a scan, before it is written."""

    accepted: bool
    reason_code: str
    message: str
    operation: str = ""
    undoes: str = ""
    targets: list[tuple[int, int | None]] = field(default_factory=list)
    changed: int = 0


class Judging:
    """Decides one scan over the fittings that its code stands for, and stores what follows for each."""

    def __init__(
        self, scan: Delivery, event: Event, loaded: list[pieces.Loaded], segment: int | None, kind: str
    ):
        self.scan = scan
        self.event = event
        self.loaded = loaded
        self.segment = segment
        self.kind = kind

    def decide(self) -> Judged:
        if self.event.action == UNDO:
            return self._undo()
        chosen, shortage = self._choose()
        if shortage:
            return shortage
        judged: Judged | None = None
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
                judged = Judged(True, "", word, verdict.operation)
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

    def _choose(self) -> tuple[list[tuple[pieces.Loaded, tuple[int, ...]]], Judged | None]:
        """The pieces that the scan is about: (fitting, its segments, or none for the fitting itself)."""
        if self.kind == "segment":
            if self.scan.count not in (None, 1):
                return [], Judged(
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
            return [], Judged(False, "wrong_count", sentence)
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

    def _undo(self) -> Judged:
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
        judged = Judged(True, "", "", undoes=named)
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
            word = sentences.piece_word(one.roles.values()).capitalize()
            again = f" (made again, {spec.generation})" if spec.generation > 1 else ""
            return f"{word} {spec.position} of {one.segment_count}{again}"
        if self.kind == "fitting":
            return f"Fitting {one.number}"
        return "The lot"

    def _next(self, one: pieces.Loaded, verdict: Verdict, after: FittingState) -> str:
        """Where the piece goes from here."""
        if not verdict.touched:
            return ""
        touched = [task for task in one.spec.tasks if task.id in verdict.touched]
        done = next(task for task in touched if task.id == verdict.touched[0])
        pieces_ = {task.segment for task in touched if task.operation == done.operation} | {None}
        later = [task for task in one.spec.tasks if task.step > done.step and task.segment in pieces_]
        return min(later, key=lambda task: task.step).operation if later else ""

    def _refused(self, one: pieces.Loaded, verdict: Verdict) -> Judged:
        who = ""
        if verdict.badge:
            who = (
                Operator.objects.filter(code=verdict.badge).values_list("name", flat=True).first()
                or verdict.badge
            )
        when = sentences.clock(timezone.localtime(verdict.at)) if verdict.at else ""
        station = self.event.station if verdict.why == "no_work_here" else verdict.station
        sentence = sentences.refused(self._piece(one), verdict, who=who, when=when, station=station)
        return Judged(False, verdict.why, sentence, verdict.operation)
