"""The scans of a fitting to the state of its tasks. Pure: no Django, no database, no clock.

One fold serves everything: the verdict on a new scan (folded over what happened before it), the state after it, and the
replay of the whole record. Events are taken in order of their effective time, then of their sequence, so the state does
not depend on the order in which they arrived. An event that the fold refuses has no effect; it stays in the record.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from travelers.leaving import fitting_left, segments_left

START, FINISH, HOLD, RESUME, SCRAP, UNDO = "start", "finish", "hold", "resume", "scrap", "undo"
ACTIONS = (START, FINISH, HOLD, RESUME, SCRAP, UNDO)
WAITING, READY, RUNNING, HELD, DONE, VOID = "waiting", "ready", "running", "held", "done", "void"
OPEN, SCRAPPED = "open", "scrapped"
_PENDING = "pending"


@dataclass(frozen=True, slots=True)
class TaskSpec:
    """What a task is, apart from how far it is. `segment` is None for a task of the whole fitting.

    came_done  it was done before: the piece came from stock with it. No scan of this fitting did it, none undoes it
    """

    id: int
    operation: str
    step: int
    segment: int | None
    needs_own_scan: bool = False
    came_done: bool = False


@dataclass(frozen=True, slots=True)
class SegmentSpec:
    id: int
    position: int
    generation: int = 1


@dataclass(frozen=True, slots=True)
class FittingSpec:
    """A fitting with its segments and tasks. `voided_at` where its order was cancelled: later scans have no effect.

    taken_out_as  scrap or keep, where a change took the fitting out of its order at `voided_at`
    """

    id: int
    released_at: datetime | None
    segments: tuple[SegmentSpec, ...]
    tasks: tuple[TaskSpec, ...]
    voided_at: datetime | None = None
    taken_out_as: str = ""


@dataclass(frozen=True, slots=True)
class Event:
    """One recorded scan, as it concerns this fitting. `segments` empty: the fitting itself was meant.

    plates  (segment, plate, of how many): of these segments the scan was about single plates only
    """

    id: str
    sequence: int
    at: datetime
    action: str
    station: str = ""
    operations: tuple[str, ...] = ()
    badge: str = ""
    reason: str = ""
    undoes: str = ""
    segments: tuple[int, ...] = ()
    plates: tuple[tuple[int, int, int], ...] = ()

    @property
    def order(self) -> tuple[datetime, int]:
        return (self.at, self.sequence)


@dataclass(slots=True)
class TaskState:
    """How far a task is. Times are None where they are not known."""

    state: str = _PENDING
    is_implied: bool = False
    station: str = ""
    badge: str = ""
    reason: str = ""
    ready_at: datetime | None = None
    started_at: datetime | None = None
    finished_at: datetime | None = None
    scan: str = ""

    def facts(self) -> tuple:
        return (
            self.state,
            self.is_implied,
            self.station,
            self.badge,
            self.reason,
            self.ready_at,
            self.started_at,
            self.finished_at,
        )


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the fold says of one event: accepted, or why not, with the facts that a sentence needs."""

    accepted: bool
    why: str = ""
    operation: str = ""
    station: str = ""
    badge: str = ""
    at: datetime | None = None
    reason: str = ""
    implied: int = 0
    touched: tuple[int, ...] = ()
    segments: tuple[int, ...] = ()
    """Of the event's segments those on which it holds."""


@dataclass(slots=True)
class FittingState:
    tasks: dict[int, TaskState]
    segments: dict[int, str]
    fitting: str
    done_at: datetime | None
    verdicts: dict[str, Verdict] = field(default_factory=dict)
    cancelled: frozenset[str] = frozenset()
    plates: dict[int, frozenset[int]] = field(default_factory=dict)
    """The plates that were finished one by one, by task."""


def derive(spec: FittingSpec, events: Sequence[Event]) -> FittingState:
    """The state of a fitting's tasks, segments and of itself after its events, in whatever order they are given."""
    ordered = sorted(events, key=lambda event: event.order)
    cancelled: dict[str, str] = {}
    while True:
        fold = _Fold(spec, ordered, cancelled)
        found = fold.run()
        if found is None:
            return fold.result()
        cancelled[found[0]] = found[1]


def judge(spec: FittingSpec, events: Sequence[Event], new: Event) -> tuple[Verdict, FittingState]:
    """The verdict on a new event, with the fitting as it was at the event's own time, and the state after it."""
    state = derive(spec, [event for event in events if event.order < new.order] + [new])
    return state.verdicts[new.id], state


class _Fold:
    """One pass over the events with a given set of cancelled scans."""

    def __init__(self, spec: FittingSpec, events: Sequence[Event], cancelled: dict[str, str]):
        self.spec = spec
        self.events = events
        self.cancelled = cancelled
        self.tasks = {task.id: TaskState(DONE if task.came_done else _PENDING) for task in spec.tasks}
        self.of_segment: dict[int, list[TaskSpec]] = {segment.id: [] for segment in spec.segments}
        self.of_fitting: list[TaskSpec] = []
        for task in sorted(spec.tasks, key=lambda task: task.step):
            (self.of_fitting if task.segment is None else self.of_segment[task.segment]).append(task)
        self.scrapped: dict[int, Event] = {}
        self.scans: dict[str, tuple[Event, int]] = {}
        self.plates: dict[tuple[int, str], dict[int, Event]] = {}
        self.verdicts: dict[str, Verdict] = {}

    # -- the pass ---------------------------------------------------------

    def run(self) -> tuple[str, str] | None:
        """Folds every event. Where an undo newly cancels a scan: (that scan's id, the undo's id), to begin again."""
        for event in self.events:
            if event.id in self.cancelled:
                self.verdicts[event.id] = Verdict(False, "undone")
                continue
            if self.spec.voided_at and event.at > self.spec.voided_at:
                verdict = Verdict(False, "void")
            elif event.action == UNDO:
                verdict = self._undo(event)
                if verdict.accepted and event.undoes not in self.cancelled and self._is_here(event.undoes):
                    return event.undoes, event.id
            else:
                verdict = self._act(event)
                if verdict.accepted:
                    if verdict.segments != event.segments:
                        event = replace(event, segments=verdict.segments)
                    self.scans[event.id] = (event, self._latest_step(verdict))
            self.verdicts[event.id] = verdict
        return None

    def _is_here(self, scan_id: str) -> bool:
        return any(event.id == scan_id for event in self.events)

    def _latest_step(self, verdict: Verdict) -> int:
        return max((task.step for task in self.spec.tasks if task.id in verdict.touched), default=-1)

    # -- one event --------------------------------------------------------

    def _act(self, event: Event) -> Verdict:
        if not event.segments:
            return self._act_on(event, None)
        verdicts = [self._act_on(event, segment) for segment in event.segments]
        good = [verdict for verdict in verdicts if verdict.accepted]
        if not good:
            return verdicts[0]
        return replace(
            good[0],
            implied=sum(verdict.implied for verdict in good),
            touched=tuple(dict.fromkeys(task for verdict in good for task in verdict.touched)),
            segments=tuple(
                segment for segment, verdict in zip(event.segments, verdicts, strict=True) if verdict.accepted
            ),
        )

    def _act_on(self, event: Event, segment: int | None) -> Verdict:
        if segment is not None and segment not in self.of_segment:
            return Verdict(False, "void")
        if segment is not None and not self._exists(segment):
            return Verdict(False, "void")
        if segment is not None and segment in self.scrapped:
            scrap = self.scrapped[segment]
            return Verdict(
                False, "scrapped", station=scrap.station, badge=scrap.badge, at=scrap.at, reason=scrap.reason
            )
        if event.action == SCRAP:
            return self._scrap(event, segment)
        task = self._task_here(event, segment)
        if task is None:
            return Verdict(False, "no_work_here")
        now = self.tasks[task.id]
        if event.action == RESUME:
            return self._resume(event, task, now)
        if task.came_done:
            return self._refuse("came_done", task, now)
        if now.state == DONE and not (now.is_implied and event.action == FINISH):
            return self._refuse("already_done", task, now, at=now.finished_at)
        if event.action == HOLD:
            if now.state == HELD:
                return self._refuse("already_held", task, now, at=now.started_at)
            now.state, now.reason = HELD, event.reason
            now.station, now.badge, now.scan = event.station, event.badge, event.id
            return Verdict(True, operation=task.operation, touched=(task.id,))
        if now.state == HELD:
            return self._refuse("held", task, now)
        plates = [(plate, of) for one, plate, of in event.plates if one == segment]
        if event.action == START and now.state == RUNNING and not plates:
            return self._refuse("already_started", task, now, at=now.started_at)
        missed = self._missed(task)
        for before in missed:
            if self.tasks[before.id].state == HELD:
                return self._refuse("held", before, self.tasks[before.id])
        for before in missed:
            if before.needs_own_scan:
                return self._refuse("needs_own_scan", before, self.tasks[before.id])
        if plates:
            verdict = self._act_on_plates(event, task, plates)
            if verdict is not None:
                return verdict
        for before in missed:
            earlier = self.tasks[before.id]
            earlier.state, earlier.is_implied, earlier.scan = DONE, True, event.id
            earlier.finished_at = event.at
        if event.action == START:
            now.state, now.started_at = RUNNING, event.at
        else:
            if not now.is_implied:
                now.finished_at = event.at
            now.state, now.is_implied = DONE, False
        now.station, now.badge, now.scan, now.reason = event.station, event.badge, event.id, ""
        touched = (task.id, *(before.id for before in missed))
        return Verdict(True, operation=task.operation, implied=len(missed), touched=touched)

    def _act_on_plates(self, event: Event, task: TaskSpec, plates: list[tuple[int, int]]) -> Verdict | None:
        """The plates of a segment that a start or a finish is about; None where the segment as a whole follows.

        The first started plate starts the segment, the last finished one finishes it: whatever order they arrive in.
        """
        known = self.plates.setdefault((task.id, event.action), {})
        fresh = [plate for plate, _ in plates if plate not in known]
        if not fresh:
            first = known[plates[0][0]]
            why = "already_done" if event.action == FINISH else "already_started"
            return Verdict(False, why, task.operation, first.station, first.badge, first.at)
        known.update(dict.fromkeys(fresh, event))
        is_whole = (
            len(known) == plates[0][1] if event.action == FINISH else self.tasks[task.id].state != RUNNING
        )
        return None if is_whole else Verdict(True, operation=task.operation, touched=(task.id,))

    def _resume(self, event: Event, task: TaskSpec, now: TaskState) -> Verdict:
        """A resume of what is not on hold changes nothing but is recorded: its hold may still be on the way."""
        if now.state == HELD:
            now.state = RUNNING if now.started_at else _PENDING
            now.reason, now.scan = "", event.id
            now.station, now.badge = (event.station, event.badge) if now.started_at else ("", "")
        return Verdict(True, operation=task.operation, touched=(task.id,))

    def _scrap(self, event: Event, segment: int | None) -> Verdict:
        """The segment is scrapped (the fitting's code: all its segments); what was done with it is to be done again."""
        if self.of_fitting and all(self.tasks[task.id].state == DONE for task in self.of_fitting):
            last = self.tasks[self.of_fitting[-1].id]
            return self._refuse("fitting_done", self.of_fitting[-1], last, at=last.finished_at)
        gone = [segment] if segment is not None else self._current()
        touched = []
        for one in gone:
            self.scrapped[one] = event
            touched += [task.id for task in self.of_segment[one]]
        for task in self.of_fitting:
            if self.tasks[task.id].state != _PENDING:
                self.tasks[task.id] = TaskState()
                touched.append(task.id)
        here = next((task for task in self.spec.tasks if task.operation in event.operations), None)
        operation = here.operation if here else ""
        return Verdict(True, operation=operation, touched=tuple(touched))

    def _undo(self, event: Event) -> Verdict:
        """Accepted: the scan that it names is cancelled (or will be, when it arrives)."""
        if event.undoes in self.cancelled:
            if self.cancelled[event.undoes] == event.id:
                return Verdict(True, touched=())
            return Verdict(False, "already_undone")
        known = self.scans.get(event.undoes)
        if known is None:
            verdict = self.verdicts.get(event.undoes)
            if verdict is not None and not verdict.accepted:
                return Verdict(False, "nothing_to_undo")
            return Verdict(True)
        scan, step = known
        for other, other_step in self.scans.values():
            same = not scan.segments or not other.segments or set(scan.segments) & set(other.segments)
            if other.order > scan.order and other_step > step and same and other.action in (START, FINISH):
                return Verdict(
                    False,
                    "later_done",
                    operation=self.verdicts[other.id].operation,
                    station=other.station,
                    badge=other.badge,
                    at=other.at,
                )
        if scan.action == SCRAP and self._remade_is_begun(scan):
            return Verdict(False, "remade")
        return Verdict(
            True, operation=self.verdicts[scan.id].operation, touched=self.verdicts[scan.id].touched
        )

    # -- what holds at this moment ---------------------------------------

    def _exists(self, segment: int) -> bool:
        """A remade segment exists only while the one that it replaces is scrapped."""
        spec = next(one for one in self.spec.segments if one.id == segment)
        if spec.generation == 1:
            return True
        return any(
            one.position == spec.position
            and one.generation == spec.generation - 1
            and one.id in self.scrapped
            for one in self.spec.segments
        )

    def _current(self) -> list[int]:
        return [one.id for one in self.spec.segments if one.id not in self.scrapped and self._exists(one.id)]

    def _remade_is_begun(self, scrap: Event) -> bool:
        gone = {one for one, event in self.scrapped.items() if event.id == scrap.id}
        replaced = {(one.position, one.generation + 1) for one in self.spec.segments if one.id in gone}
        return any(
            self.tasks[task.id].state != _PENDING
            for one in self.spec.segments
            if (one.position, one.generation) in replaced
            for task in self.of_segment[one.id]
        )

    def _task_here(self, event: Event, segment: int | None) -> TaskSpec | None:
        """The first task of the piece at this station that is not done; the last one where all are."""
        tasks = self.of_fitting if segment is None else [*self.of_segment[segment], *self.of_fitting]
        here = [task for task in tasks if task.operation in event.operations]
        for task in here:
            if self.tasks[task.id].state != DONE:
                return task
        return here[-1] if here else None

    def _missed(self, task: TaskSpec) -> list[TaskSpec]:
        """The tasks before this one that are not done, in flow order."""
        if task.segment is not None:
            before = self.of_segment[task.segment]
        else:
            before = [
                one for segment in self._current() for one in self.of_segment[segment]
            ] + self.of_fitting
        return [one for one in before if one.step < task.step and self.tasks[one.id].state != DONE]

    def _refuse(self, why: str, task: TaskSpec, now: TaskState, at: datetime | None = None) -> Verdict:
        return Verdict(False, why, task.operation, now.station, now.badge, at, now.reason)

    # -- the result -------------------------------------------------------

    def result(self) -> FittingState:
        """Waiting and ready follow from what is done; a task is ready since the last task before it was finished."""
        segments: dict[int, str] = {}
        for segment in self.spec.segments:
            tasks = self.of_segment[segment.id]
            if not self._exists(segment.id):
                segments[segment.id] = VOID
            elif segment.id in self.scrapped:
                segments[segment.id] = SCRAPPED
            else:
                done = all(self.tasks[task.id].state == DONE for task in tasks)
                segments[segment.id] = DONE if done else OPEN
            self._settle(tasks, self._born(segment), is_void=segments[segment.id] in (VOID, SCRAPPED))
        current = [one for one in self.spec.segments if segments[one.id] in (OPEN, DONE)]
        complete = all(segments[one.id] == DONE for one in current)
        kit_at = max(
            (
                self.tasks[task.id].finished_at
                for one in current
                for task in self.of_segment[one.id]
                if complete and not task.came_done
            ),
            default=self.spec.released_at,
        )
        self._settle(self.of_fitting, kit_at if complete else None, is_void=False)
        last = [self.tasks[task.id] for task in self.of_fitting] or [
            self.tasks[task.id] for one in current for task in self.of_segment[one.id]
        ]
        is_done = complete and bool(last) and all(task.state == DONE for task in last)
        fitting, done_at = OPEN, None
        if is_done:
            fitting = DONE
            done_at = max(
                (task.finished_at for task in last if task.finished_at), default=self.spec.released_at
            )
        tasks = self.tasks
        if self.spec.taken_out_as:
            segments = segments_left(self.spec.taken_out_as, segments, self._begun(), is_done=is_done)
            if not is_done or self.spec.taken_out_as == SCRAP:
                fitting, done_at = fitting_left(self.spec.taken_out_as, segments, self._begun()), None
        elif self.spec.voided_at and not is_done:
            fitting = VOID
            segments = {id_: now if now == SCRAPPED else VOID for id_, now in segments.items()}
        if self.spec.voided_at and not is_done:  # what was done stays in view
            tasks = {id_: now if now.state == DONE else TaskState(state=VOID) for id_, now in tasks.items()}
        return FittingState(
            tasks,
            segments,
            fitting,
            done_at,
            self.verdicts,
            frozenset(self.cancelled),
            self._finished_plates(),
        )

    def _begun(self) -> dict[int | None, str]:
        """By segment, None for the fitting as a whole: what of its work was finished or at least started."""
        begun: dict[int | None, str] = {}
        for piece, tasks in [*self.of_segment.items(), (None, self.of_fitting)]:
            states = [self.tasks[task.id] for task in tasks]
            started = any(now.started_at for now in states) or any(
                (task.id, action) in self.plates for task in tasks for action in (START, FINISH)
            )
            if any(now.state == DONE for now in states):
                begun[piece] = DONE
            elif started:
                begun[piece] = RUNNING
        return begun

    def _finished_plates(self) -> dict[int, frozenset[int]]:
        return {task: frozenset(known) for (task, action), known in self.plates.items() if action == FINISH}

    def _born(self, segment: SegmentSpec) -> datetime | None:
        if segment.generation == 1:
            return self.spec.released_at
        for one in self.spec.segments:
            if one.position == segment.position and one.generation == segment.generation - 1:
                scrap = self.scrapped.get(one.id)
                return scrap.at if scrap else None
        return None

    def _settle(self, tasks: list[TaskSpec], since: datetime | None, *, is_void: bool) -> None:
        for task in tasks:
            if task.came_done:
                continue
            now = self.tasks[task.id]
            if is_void and now.state != DONE:
                self.tasks[task.id] = TaskState(state=VOID)
                continue
            if now.state == _PENDING:
                now.state = WAITING if since is None else READY
            now.ready_at = since
            since = now.finished_at if now.state == DONE else None
