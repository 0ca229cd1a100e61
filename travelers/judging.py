"""One scan judged: which pieces it is about, whether it holds, and what is stored of them if it does."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from django.utils import timezone

from fittings import numbering
from fittings.models import CutSheet
from shared.words import say
from travelers import pieces, replaced, sentences
from travelers.append import Target
from travelers.left_the_shop import left_said
from travelers.models import Operator, Scan
from travelers.reasons import reasons_now
from travelers.scan_reading import DeliveredScan
from travelers.sheets import CUT, cut_through
from travelers.state import (
    DONE,
    FINISH,
    HOLD,
    SCRAP,
    START,
    UNDO,
    VOID,
    Event,
    FittingState,
    Verdict,
    derive,
    judge,
)

LEFT = "delivered"
"""The reason code of what is refused because the fitting left the shop."""


@dataclass
class Judged:
    """What was decided of a scan, before it is written."""

    accepted: bool
    reason_code: str
    message: str
    operation: str = ""
    undoes: str = ""
    targets: list[Target] = field(default_factory=list)
    changed: int = 0


class Judging:
    """Decides one scan over the fittings that its code stands for, and stores what follows for each."""

    def __init__(self, scan: DeliveredScan, event: Event, found: pieces.Found):
        self.scan = scan
        self.event = event
        self.loaded = found.loaded
        self.segment = found.segment
        self.kind = found.kind
        self.void_at = found.void_at

    @staticmethod
    def operations_of(operations: tuple[str, ...]) -> tuple[str, ...]:
        """Of a station's operations those that such a scan is about."""
        return operations

    def decide(self) -> Judged:
        if self.void_at and self.event.at > self.void_at:
            return Judged(False, "void", replaced.traveler_said(self.scan.code))
        if self.event.action == UNDO:
            return self._undo()
        chosen, shortage = self._choose()
        if shortage:
            return shortage
        left = left_said([one for one, _ in chosen], self.event.at) if self.event.action == SCRAP else ""
        if left:
            return Judged(False, LEFT, left)
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
                    self._counted(one),
                    verdict,
                    next_operation=self._next(one, verdict, after),
                    reason=self._reason(),
                )
                judged = Judged(True, "", word, verdict.operation)
            judged.changed += changed
            judged.targets += [(one.id, segment, 0, 0) for segment in segments or (None,)]
        if judged and self.event.action == FINISH and judged.operation == CUT:
            cut_through([segment for _, segment, *_ in judged.targets if segment], self.event.at)
        return judged or self._refused(*first_refusal)

    def _store(self, one: pieces.Loaded, event: Event, state: FittingState) -> tuple[int, FittingState]:
        """Derive the fitting with the new event among all its events, and write what differs."""
        events = [*one.events, event]
        if any(other.order > event.order for other in one.events):
            state = derive(one.spec, events)
        if event.action == SCRAP and not one.is_taken_out:
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
                return pieces.store(fresh, state, at=event.at), state
        return pieces.store(one, state, at=event.at), state

    # which pieces

    def _choose(self) -> tuple[list[tuple[pieces.Loaded, tuple[int, ...]]], Judged | None]:
        """The pieces that the scan is about: (fitting, its segments, or none for the fitting itself)."""
        if self.kind == "segment":
            if self.scan.count not in (None, 1):
                sentence = say("This label is one piece. Scan the traveler to count a lot.")
                return [], Judged(False, "wrong_count", sentence)
            return [(self.loaded[0], (self.segment,))], None
        chosen, spare = [], []
        for one in self.loaded:
            operation, segments = self._level(one)
            (chosen if operation else spare).append((one, segments))
        if self.scan.count is None or not chosen:
            return (chosen or spare), None if self.scan.count is None else self._none_left(spare)
        left = sum(len(segments) or 1 for _, segments in chosen)
        if self.scan.count > left:
            sentence = say(
                "Only {left} of this lot are left here; the count is {count}.",
                left=left,
                count=self.scan.count,
            )
            return [], Judged(False, "wrong_count", sentence)
        taken, still = [], self.scan.count
        for one, segments in chosen:
            if still <= 0:
                break
            part = segments[:still]
            taken.append((one, part))
            still -= len(part) or 1
        return taken, None

    def _none_left(self, spare: list[tuple[pieces.Loaded, tuple[int, ...]]]) -> Judged | None:
        """Why a count finds nothing here now, whatever was left at the scan's own time: what is counted exists once."""
        for one, segments in spare:
            last = max([self.event.at, *(event.at for event in one.events)])
            verdict, _ = judge(one.spec, one.events, replace(self.event, segments=segments, at=last))
            if not verdict.accepted:
                return self._refused(one, verdict)
        return None

    def _level(self, one: pieces.Loaded) -> tuple[str, tuple[int, ...]]:
        """At which operation the fitting's own code or its lot's acts here, and on which open segments."""
        if self.event.action == SCRAP:
            return "scrap", ()
        spec = one.spec
        if one.is_taken_out and self.event.at <= spec.voided_at:  # the scan is of a time when it still was in
            spec = replace(spec, voided_at=None, taken_out_as="")
        before = derive(spec, [event for event in one.events if event.order < self.event.order])
        now = derive(spec, one.events)
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
            codes = replaced.codes_before(self.scan.code) if self.kind == "lot" else [self.scan.code]
            undone = Scan.objects.filter(action=UNDO, outcome="recorded", code__in=codes).values("undoes")
            last = (
                Scan.objects.filter(
                    code__in=codes,
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
        elif self.kind != "sheet" and self._is_of_sheet(named):
            sentence = say("That was the scan of a sheet. Scan the sheet's code to undo it.")
            return Judged(False, "nothing_to_undo", sentence)
        event = replace(self.event, undoes=named)
        concerned = [one for one in self.loaded if any(other.id == named for other in one.events)]
        if not concerned and Scan.objects.filter(scan_id=named).exists():
            return self._refused(self.loaded[0], Verdict(False, "nothing_to_undo"))
        left = left_said(concerned, self.event.at)
        if left:
            return Judged(False, LEFT, left)
        judgements = [(one, *judge(one.spec, one.events, event)) for one in concerned or self.loaded]
        # Where the scan had no effect there is nothing to undo; that stops nothing where it had one.
        has_effect = any(verdict.accepted for _, verdict, _ in judgements)
        for one, verdict, _ in judgements:
            if not verdict.accepted and not (has_effect and verdict.why == "nothing_to_undo"):
                return self._refused(one, verdict)
        judged = Judged(True, "", "", undoes=named)
        for one, verdict, state in judgements:
            changed, _ = self._store(one, event, state)
            judged.changed += changed
            judged.targets.append((one.id, None, 0, 0))
            judged.operation = judged.operation or verdict.operation or self._operation_of(state, named)
        piece = self._piece(judgements[0][0])
        work = sentences.operation_word(judged.operation)
        action = Scan.objects.filter(scan_id=named).values_list("action", flat=True).first()
        if not concerned:
            judged.message = say("{piece}: the undo is kept for when its scan arrives.", piece=piece)
        elif action in (FINISH, START) and self._still_stands(*judgements[0][::2], judged.operation):
            judged.message = say(
                "{piece}: undone; {operation} stands by another scan.", piece=piece, operation=work
            )
        else:
            judged.message = sentences.undone(action, piece, judged.operation)
        return judged

    def _is_of_sheet(self, scan_id: str) -> bool:
        named = Scan.objects.filter(scan_id=scan_id).values("code")
        return CutSheet.objects.exclude(code="").filter(code__in=named).exists()

    def _still_stands(self, one: pieces.Loaded, state: FittingState, operation: str) -> bool:
        """The scanned segment's work is done all the same: its sheet was finished too."""
        mine = (task for task in one.spec.tasks if task.segment is not None and task.segment == self.segment)
        return any(task.operation == operation and state.tasks[task.id].state == DONE for task in mine)

    def _operation_of(self, state: FittingState, named: str) -> str:
        known = Scan.objects.filter(scan_id=named).values_list("operation", flat=True).first()
        return known or ""

    # words

    def _reason(self) -> str:
        """The reason in the language in use, as the shop's table has it."""
        return reasons_now().said(self.event.reason) if self.event.reason else ""

    def _piece(self, one: pieces.Loaded) -> str:
        if self.kind == "segment":
            spec = next(segment for segment in one.spec.segments if segment.id == self.segment)
            word = sentences.piece_word(one.roles.values())
            piece = sentences.part_said(word, spec.position, one.segment_count)
            if spec.generation > 1:
                return say("{piece} (made again, {generation})", piece=piece, generation=spec.generation)
            return piece
        if self.kind == "fitting":
            return sentences.fitting_said(one.number)
        return say("The lot")

    def _counted(self, one: pieces.Loaded) -> str:
        """The piece, or as many of the lot as the scan counts."""
        if self.kind == "lot" and self.scan.count:
            return say("{count} of the lot", count=self.scan.count)
        return self._piece(one)

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
        if verdict.why == "void" and one.is_taken_out and self.kind != "sheet":
            segment = self.segment if self.kind == "segment" else None
            return Judged(False, "void", replaced.piece_said(one, segment, self._piece(one)))
        who = ""
        if verdict.badge:
            who = (
                Operator.objects.filter(code=verdict.badge).values_list("name", flat=True).first()
                or verdict.badge
            )
        when = sentences.clock(timezone.localtime(verdict.at)) if verdict.at else ""
        station = self.event.station if verdict.why == "no_work_here" else verdict.station
        sentence = sentences.refused(self._piece(one), verdict, who=who, when=when, station=station)
        if verdict.why == "no_work_here" and (place := self._place_of(one)):
            sentence = f"{sentence} {sentences.is_at(place)}"
        return Judged(False, verdict.why, sentence, verdict.operation)

    def _place_of(self, one: pieces.Loaded) -> str:
        """The operation at which a piece is: its first that is not done, then its fitting's."""
        state = derive(one.spec, one.events)
        own = (self.segment, None) if self.kind == "segment" else {task.segment for task in one.spec.tasks}
        live = [
            task
            for task in one.spec.tasks
            if task.segment in own and state.tasks[task.id].state not in (DONE, VOID)
        ]
        live.sort(key=lambda task: (task.segment is None, task.step))
        return live[0].operation if live else ""
