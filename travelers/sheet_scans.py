"""The scan of a sheet judged: one scan for all that lies on it.

The sheet is about every piece on it, and each piece is judged by itself: what is cut already, on hold or scrapped is
passed over. All of them are kept as what the scan was about, so that the outcome does not depend on the order in which
scans arrive. What a change of its order took off the sheet was still there for the scans before that. Of a segment made
of plates a sheet may carry some only: the fold finishes it with its last plate.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import replace
from functools import cached_property

from fittings.models import CutPiece, CutSheet
from fittings.stock import remnants_arrive
from shared.words import mark, say, say_count
from travelers import pieces, sentences
from travelers.judging import Judged, Judging
from travelers.models import Scan
from travelers.sheets import CUT, PieceHere, plates_of, sheets_of_plates
from travelers.state import DONE, FINISH, UNDO, Event, FittingState, Verdict, judge


class SheetJudging(Judging):
    """Decides one scan over the pieces of a sheet."""

    def __init__(self, scan, event: Event, found: pieces.Found):
        super().__init__(scan, event, found)
        self.sheet = found.sheet
        self.live: dict[int, list[PieceHere]] = defaultdict(list)
        left = {one.id for one in found.loaded if one.is_taken_out}
        for piece in self.sheet.pieces:
            lay_here = piece.fitting in left and piece.off_at is not None and event.at <= piece.off_at
            if piece.is_live or lay_here:
                self.live[piece.fitting].append(piece)

    @staticmethod
    def operations_of(operations: tuple[str, ...]) -> tuple[str, ...]:
        """A sheet is cut and nothing else, also at a station that does more."""
        return (CUT,) if CUT in operations else operations

    def decide(self) -> Judged:
        if CUT not in self.event.operations:
            sentence = say("{sheet} is cut at another station. Scan its pieces here.", sheet=self.sheet.word)
            return Judged(False, "no_work_here", sentence)
        if self.scan.count is not None:
            sentence = say("A sheet has no count. Scan its code alone for all its pieces.")
            return Judged(False, "wrong_count", sentence)
        if self.event.action == UNDO and self.loaded:
            judged = self._undo()
        else:
            judged = self._act()
        if judged.accepted:
            self._move_remnants(judged)
            self._put_back(judged)
        return judged

    def _put_back(self, judged: Judged) -> None:
        """What a change took off the sheet after this scan was cut with it all the same: it bears its share."""
        if self.event.action != FINISH:
            return
        cut = {(segment, plate) for _, segment, plate, _ in judged.targets}
        off = [
            piece.id
            for own in self.live.values()
            for piece in own
            if not piece.is_live and (piece.segment, piece.plate) in cut
        ]
        if off:
            CutPiece.objects.filter(pk__in=off).update(is_live=True, off_at=None, off_by="", off_reason="")

    def _act(self) -> Judged:
        judgements = [
            (one, event := self._event(one), *judge(one.spec, one.events, event))
            for one in self.loaded
            if one.id in self.live
        ]
        good: list[PieceHere] = []
        lacking: dict[int, frozenset[int]] = {}
        passed: Counter[str] = Counter()
        for one, _, verdict, state in judgements:
            for piece in self.live[one.id]:
                if verdict.accepted and piece.segment in verdict.segments:
                    good.append(piece)
                    lacking |= self._lacking(one, state, piece)
                else:
                    passed[self._passed_over(one, state, piece)] += 1
        if not good:
            refused = next(((one, verdict) for one, _, verdict, _ in judgements), None)
            return self._nothing(passed, refused)
        judged = Judged(True, "", self._message(good, passed, lacking), CUT)
        for one, event, _, state in judgements:
            # Also where it holds on no piece now: the hold in its way may be undone by a scan that came before it.
            judged.changed += self._store(one, event, state)[0]
            judged.targets += [self._target(piece) for piece in self.live[one.id]]
        return judged

    def _event(self, one: pieces.Loaded) -> Event:
        here = self.live[one.id]
        return replace(
            self.event,
            segments=tuple(sorted({piece.segment for piece in here})),
            plates=tuple(
                (piece.segment, piece.plate, self._plates[piece.segment]) for piece in here if piece.plate
            ),
        )

    @cached_property
    def _plates(self) -> dict[int, int]:
        """Of how many plates the segments are of which the sheet carries plates."""
        return plates_of({piece.segment for piece in self.sheet.pieces if piece.plate})

    def _target(self, piece: PieceHere) -> tuple[int, int, int, int]:
        return (
            piece.fitting,
            piece.segment,
            piece.plate,
            self._plates[piece.segment] if piece.plate else 0,
        )

    def _move_remnants(self, judged: Judged) -> None:
        """What is left of a sheet is on hand from its finish on, and not after the undo of its last one."""
        if self.event.action not in (FINISH, UNDO):
            return
        mine = Scan.objects.filter(code=self.scan.code, outcome=Scan.Outcome.RECORDED)
        finishes = set(mine.filter(action=FINISH).values_list("scan_id", flat=True))
        undone = set(mine.filter(action=UNDO).values_list("undoes", flat=True))
        if self.event.action == FINISH and self.event.id not in undone:
            remnants_arrive(self._row, is_back=False, now=self.event.at)
        elif judged.undoes in finishes and finishes <= undone | {judged.undoes}:
            remnants_arrive(self._row, is_back=True, now=self.event.at)

    @property
    def _row(self) -> CutSheet:
        return CutSheet.objects.get(pk=self.sheet.id)

    # words

    def _piece(self, one: pieces.Loaded) -> str:
        return self.sheet.word

    def _refused(self, one: pieces.Loaded, verdict: Verdict) -> Judged:
        judged = super()._refused(one, verdict)
        if verdict.why in ("later_done", "remade", "fitting_done"):
            rest = f"{judged.message[:1].lower()}{judged.message[1:]}"
            judged.message = say("A piece of {rest}", rest=rest)
        return judged

    def _lacking(
        self, one: pieces.Loaded, state: FittingState, piece: PieceHere
    ) -> dict[int, frozenset[int]]:
        """The other plates of a segment that was not finished, because they are not cut yet: by segment."""
        if self.event.action != FINISH or not piece.plate:
            return {}
        task = next(
            task for task in one.spec.tasks if task.segment == piece.segment and task.operation == CUT
        )
        if state.tasks[task.id].state == DONE:
            return {}
        plates = range(1, self._plates[piece.segment] + 1)
        return {piece.segment: frozenset(plates) - state.plates.get(task.id, frozenset())}

    def _passed_over(self, one: pieces.Loaded, state: FittingState, piece: PieceHere) -> str:
        """Why a piece was passed over, as the message counts it."""
        segment = state.segments[piece.segment]
        if segment in ("scrapped", "void"):
            return segment
        task = next(
            (task for task in one.spec.tasks if task.segment == piece.segment and task.operation == CUT), None
        )
        now = state.tasks[task.id].state if task else ""
        return {"held": "held", "running": "running"}.get(now, "done")

    def _nothing(self, passed: Counter, refusal: tuple[pieces.Loaded, Verdict] | None) -> Judged:
        """No piece of it took the scan."""
        if refusal is None:
            return Judged(False, "void", say("{sheet} has no pieces left on it.", sheet=self.sheet.word))
        if len(passed) == 1:
            return self._refused(*refusal)
        sentence = say(
            "{sheet}: nothing to do here; {passed}.", sheet=self.sheet.word, passed=_counted(passed)
        )
        return Judged(False, refusal[1].why, sentence, CUT)

    def _message(self, good: list[PieceHere], passed: Counter, lacking: dict[int, frozenset[int]]) -> str:
        waiting = sum(piece.segment in lacking for piece in good)
        noun = "plate" if good and waiting == len(good) else "piece"
        count = _pieces(noun, len(good))
        words = sentences.sheet_accepted(self.event.action, count, reason=self._reason())
        text = f"{self.sheet.word}: {words}"
        if passed:
            text += f", {_counted(passed)}"
        if lacking:
            text += f"; {self._elsewhere(waiting, noun, lacking)}"
        return f"{text}."

    def _elsewhere(self, waiting: int, noun: str, lacking: dict[int, frozenset[int]]) -> str:
        """Where the plates lie that are still to be cut."""
        whose = say("its other plates") if waiting == 1 else say("their other plates")
        if noun == "piece":
            whose = say("other plates of {n}", n=len(lacking))
        places = sheets_of_plates(lacking)
        sheets = {
            place
            for segment, plates in lacking.items()
            for plate in plates
            if (place := places.get((segment, plate)))
        }
        if not sheets:
            return say("{plates} are still to be planned", plates=whose)
        words = [
            say("sheet {sheet}", sheet=sheet)
            if plan == self.sheet.plan
            else say("sheet {sheet} of plan {plan}", sheet=sheet, plan=plan)
            for plan, sheet in sorted((plan, sheet) for sheet, plan in sheets)
        ]
        if len(words) > 3:
            more = say("{sheets} and {n} more", sheets=", ".join(words[:3]), n=len(words) - 3)
            return say("{plates} are on {sheets}", plates=whose, sheets=more)
        return say("{plates} are on {sheets}", plates=whose, sheets=", ".join(words))


def _pieces(noun: str, count: int) -> str:
    if noun == "plate":
        return say_count("{n} plate", "{n} plates", count)
    return say_count("{n} piece", "{n} pieces", count)


_PASSED = {
    "held": mark("{n} on hold"),
    "running": mark("{n} started already"),
    "done": mark("{n} cut already"),
    "scrapped": mark("{n} scrapped"),
    "void": mark("{n} void"),
}


def _counted(passed: Counter) -> str:
    return ", ".join(say(_PASSED[why], n=count) for why, count in passed.items())


__all__ = ["SheetJudging"]
