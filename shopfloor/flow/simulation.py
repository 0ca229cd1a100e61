"""A discrete-event simulation of the floor, on SimPy. Time is hours of work from now; the calendar is elsewhere.

A segment goes through its steps; when all segments of its fitting are through, the fitting itself goes on. A bench
takes the best piece by the floor's rule, or the longest idle bench is told that one came. Times are drawn from a gamma
distribution of the step's mean and its operation's variation, step by step before the run. So two floors with the same
jobs and seed have the same luck: what differs between them is what was changed.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
import simpy

from .floor import NEXT_PIECE, Bench, Floor, Job, Step, checked


@dataclass(frozen=True)
class AtOperation:
    """Pieces waiting and in work on the average of the time looked at; hours waited by each; pieces finished."""

    waiting: float
    in_work: float
    wait: float
    finished: int


@dataclass(frozen=True)
class Look:
    """The floor at a moment of a run, by operation.

    hours   of work that lie there, in work too; as planned
    done    hours of work, as planned, that were finished there so far
    pieces  that lie there
    """

    at: float
    hours: dict[str, float]
    done: dict[str, float]
    pieces: dict[str, int]


@dataclass(frozen=True)
class Run:
    """One run. Hours are hours of work from its start.

    hours       how long it was looked at (without the time before `after`)
    done        when each fitting was finished, by its key; missing where it was not
    lead        hours from release to finish of those finished in that time
    operations  by operation
    busy        share of the time that each bench worked, by its code
    on_floor    mean number of fittings on the floor
    """

    hours: float
    done: dict[str, float]
    lead: dict[str, float]
    operations: dict[str, AtOperation]
    busy: dict[str, float]
    on_floor: float


def simulate(
    floor: Floor,
    jobs: Sequence[Job],
    *,
    seed: int,
    until: float = math.inf,
    after: float = 0.0,
    every: float = 0.0,
    look: Callable[[Look], None] | None = None,
) -> Run:
    """One run, until all is done or until a time; what happens before `after` is not counted.

    every, look  the floor is shown at these distances of time [h], for as long as `until` says

    Raises FloorError where the floor cannot do the jobs.
    """
    jobs = tuple(jobs)
    checked(floor, jobs)
    run = _Run(floor, jobs, seed, after)
    if look is not None and every > 0 and math.isfinite(until):
        run.env.process(run.shown(every, look))
    return run.run(until)


def repeated(
    floor: Floor,
    jobs: Sequence[Job],
    *,
    runs: int,
    seed: int,
    until: float = math.inf,
    after: float = 0.0,
    spread: Callable[..., Iterable[Run]] = map,
) -> list[Run]:
    """Runs whose luck differs; the same ones for every floor with the same seed.

    spread  how they are made, as `map`: that of a pool of processes makes several at once
    """
    jobs = tuple(jobs)
    checked(floor, jobs)
    return list(spread(partial(_numbered, floor, jobs, seed, until, after), range(runs)))


def _numbered(floor: Floor, jobs: tuple[Job, ...], seed: int, until: float, after: float, number: int) -> Run:
    return _Run(floor, jobs, (seed, number), after).run(until)


@dataclass(eq=False, slots=True)
class _Piece:
    """A segment or, without a number, a fitting on its way: where it stands among its steps."""

    at: int
    job: int
    steps: tuple[Step, ...]
    hours: list[float]
    is_whole: bool
    step: int = 0
    ready_at: float = 0.0
    entry: list | None = None


@dataclass(eq=False, slots=True)
class _Place:
    """An operation during a run."""

    code: str
    able: frozenset[int]
    cap: float = math.inf
    queue: list[list] = field(default_factory=list)
    waiting: int = 0
    in_work: int = 0
    coming: int = 0
    """Pieces in work before it whose next step this is."""
    hours: float = 0.0
    """As planned, of the pieces that wait here or are in work."""
    done: float = 0.0
    """As planned, of what was finished."""
    since: float = 0.0
    area_waiting: float = 0.0
    area_in_work: float = 0.0
    waited: float = 0.0
    started: int = 0
    finished: int = 0
    lots: dict = field(default_factory=dict)

    def pass_time(self, now: float, after: float) -> None:
        begin = max(self.since, after)
        if now > begin:
            self.area_waiting += (now - begin) * self.waiting
            self.area_in_work += (now - begin) * self.in_work
        self.since = now


class _Run:
    def __init__(self, floor: Floor, jobs: tuple[Job, ...], seed, after: float):
        self.floor, self.jobs, self.after = floor, jobs, after
        self.env = simpy.Environment()
        self.benches: tuple[Bench, ...] = floor.benches
        self.places = {
            code: _Place(
                code,
                frozenset(at for at, bench in enumerate(floor.benches) if code in bench.operations),
                floor.caps.get(code, math.inf),
            )
            for code in floor.operations
        }
        self.of_bench = [[self.places[code] for code in bench.operations] for bench in floor.benches]
        self.idle: dict[int, simpy.Event] = {}
        self.free = math.inf if floor.people is None else floor.people
        self.busy = [0.0] * len(floor.benches)
        self.began: list[float | None] = [None] * len(floor.benches)
        self.number = 0
        self.pieces: list[list[_Piece]] = []
        self.missing: list[int] = []
        self.left_of_line: dict[tuple[str, str], int] = {}
        self.done: dict[str, float] = {}
        self.on_floor, self.floor_since, self.floor_area = 0, 0.0, 0.0
        self._draw(np.random.default_rng(seed))

    def _draw(self, random: np.random.Generator) -> None:
        """The time of every step, and the pieces of every job."""
        steps = [step for job in self.jobs for steps in (*job.segments, job.whole) for step in steps]
        variation = np.array([self.floor.variation.get(step.operation, 0.0) for step in steps])
        mean = np.array([step.hours for step in steps])
        luck = np.ones(len(steps))
        varies = variation > 0
        shape = 1 / variation[varies] ** 2
        luck[varies] = random.gamma(shape) / shape
        hours = iter((mean * luck).tolist())
        for at, job in enumerate(self.jobs):
            own = []
            for is_whole, steps_ in (*((False, segment) for segment in job.segments), (True, job.whole)):
                own.append(_Piece(len(own), at, steps_, [next(hours) for _ in steps_], is_whole))
                if self.floor.lot > 1 and not is_whole:
                    for step in steps_:
                        key = (job.line, step.operation)
                        self.left_of_line[key] = self.left_of_line.get(key, 0) + 1
            self.pieces.append(own)
            self.missing.append(len(job.segments))

    # -- the run ----------------------------------------------------------

    def run(self, until: float) -> Run:
        for at in range(len(self.benches)):
            self.env.process(self._bench(at))
            if self.benches[at].code in self.floor.downs:
                self.env.process(self._runs_again(at))
        self.env.process(self._releases())
        self.env.run(None if math.isinf(until) else until)
        end = until if math.isfinite(until) else max(self.done.values(), default=0.0)
        looked = max(end - self.after, 1e-12)
        self._count_fittings(0, end)
        for at in range(len(self.benches)):
            self._worked(at, end)
        operations = {}
        for code, place in self.places.items():
            place.pass_time(end, self.after)
            operations[code] = AtOperation(
                place.area_waiting / looked,
                place.area_in_work / looked,
                place.waited / place.started if place.started else 0.0,
                place.finished,
            )
        lead = {
            job.key: self.done[job.key] - job.released
            for job in self.jobs
            if self.done.get(job.key, -1.0) >= self.after
        }
        busy = {bench.code: hours / looked for bench, hours in zip(self.benches, self.busy, strict=True)}
        return Run(looked, self.done, lead, operations, busy, self.floor_area / looked)

    def shown(self, every: float, look: Callable[[Look], None]):
        """A process that looks at the floor again and again."""
        while True:
            yield self.env.timeout(every)
            hours = {code: max(0.0, place.hours) for code, place in self.places.items()}
            done = {code: place.done for code, place in self.places.items()}
            pieces = {code: place.waiting + place.in_work for code, place in self.places.items()}
            look(Look(self.env.now, hours, done, pieces))

    def _releases(self):
        for at in sorted(range(len(self.jobs)), key=lambda at: (self.jobs[at].released, at)):
            wait = self.jobs[at].released - self.env.now
            if wait > 0:
                yield self.env.timeout(wait)
            self._count_fittings(1, self.env.now)
            *segments, whole = self.pieces[at]
            if not segments:
                self._go_on(whole)
            for piece in segments:
                self._go_on(piece)

    def _count_fittings(self, more: int, now: float) -> None:
        begin = max(self.floor_since, self.after)
        if now > begin:
            self.floor_area += (now - begin) * self.on_floor
        self.floor_since = now
        self.on_floor += more

    def _bench(self, at: int):
        env = self.env
        while True:
            down_until = self.floor.down_until(self.benches[at].code, env.now)
            if down_until is not None:
                yield env.timeout(down_until - env.now)
                continue
            piece = self._next_for(at)
            if piece is None:
                self.idle[at] = env.event()
                yield self.idle[at]
                continue
            place = self.places[piece.steps[piece.step].operation]
            following = self._following(piece)
            place.pass_time(env.now, self.after)
            place.waiting -= 1
            place.in_work += 1
            if env.now >= self.after:
                place.waited += env.now - piece.ready_at
                place.started += 1
            if following:
                following.coming += 1
            self.free -= 1
            self.began[at] = env.now
            yield env.timeout(piece.hours[piece.step])
            self._worked(at, env.now)
            self.free += 1
            place.pass_time(env.now, self.after)
            place.in_work -= 1
            place.hours -= piece.steps[piece.step].hours
            place.done += piece.steps[piece.step].hours
            place.finished += env.now >= self.after
            if following:
                following.coming -= 1
            self._finished(piece, place)
            self._call_idle()

    def _worked(self, at: int, until: float) -> None:
        if self.began[at] is not None:
            self.busy[at] += max(0.0, until - max(self.began[at], self.after))
        self.began[at] = None

    def _following(self, piece: _Piece) -> _Place | None:
        """The place to which a piece goes next, where that is not for the rest of its fitting to decide."""
        if piece.step + 1 < len(piece.steps):
            return self.places[piece.steps[piece.step + 1].operation]
        return None

    def _finished(self, piece: _Piece, place: _Place) -> None:
        piece.step += 1
        if self.floor.lot <= 1 or piece.is_whole:
            self._go_on(piece)
            return
        key = (self.jobs[piece.job].line, place.code)
        self.left_of_line[key] -= 1
        lot = place.lots.setdefault(key, [])
        lot.append(piece)
        if len(lot) >= self.floor.lot or not self.left_of_line[key]:
            place.lots[key] = []
            for one in lot:
                self._go_on(one)

    def _go_on(self, piece: _Piece) -> None:
        """To the queue of its next step; through, to its fitting; the fitting through, out of the door."""
        if piece.step < len(piece.steps):
            self._queue(piece)
        elif piece.is_whole:
            self.done[self.jobs[piece.job].key] = self.env.now
            self._count_fittings(-1, self.env.now)
        else:
            self.missing[piece.job] -= 1
            own = self.pieces[piece.job]
            if not self.missing[piece.job]:
                self._go_on(own[-1])
            elif self.missing[piece.job] == 1 and self.floor.rule == NEXT_PIECE:
                last = next((one for one in own[:-1] if one.entry is not None), None)
                if last is not None:  # it completes its fitting now: it stands anew
                    self._enter(last, self.places[last.steps[last.step].operation])

    # -- queues -----------------------------------------------------------

    def _queue(self, piece: _Piece) -> None:
        place = self.places[piece.steps[piece.step].operation]
        place.pass_time(self.env.now, self.after)
        place.waiting += 1
        place.hours += piece.steps[piece.step].hours
        piece.ready_at = self.env.now
        self._enter(piece, place)
        self._call(place, piece.steps[piece.step].benches)

    def _enter(self, piece: _Piece, place: _Place) -> None:
        if piece.entry is not None:
            piece.entry[-1] = None
        job = self.jobs[piece.job]
        self.number += 1
        if self.floor.rule == NEXT_PIECE:
            is_last = not piece.is_whole and len(job.segments) > 1 and self.missing[piece.job] == 1
            due = math.inf if job.due is None else job.due
            key = (not job.is_pinned, due, not is_last, job.priority, piece.ready_at, self.number)
        else:
            key = (piece.ready_at, self.number)
        piece.entry = [key, piece]
        heapq.heappush(place.queue, piece.entry)

    def _next_for(self, bench: int) -> _Piece | None:
        """The best piece that a bench can take now, and takes off its queue."""
        if self.free <= 0:
            return None
        best: tuple | None = None
        for place in self.of_bench[bench]:
            found = self._first(place, bench)
            if found and (best is None or found[0] < best[0]):
                best = (*found, place)
        if best is None:
            return None
        key, entry, place = best
        piece = entry[-1]
        entry[-1] = None
        piece.entry = None
        return piece

    def _first(self, place: _Place, bench: int) -> tuple | None:
        """(key, entry) of the first piece there that this bench may do and that is not held back."""
        aside = []
        found = None
        code = self.benches[bench].code
        while place.queue:
            entry = place.queue[0]
            piece = entry[-1]
            if piece is None:
                heapq.heappop(place.queue)
                continue
            able = piece.steps[piece.step].benches
            if (able is None or code in able) and self._may_start(piece):
                found = (entry[0], entry)
                break
            aside.append(heapq.heappop(place.queue))
        for entry in aside:
            heapq.heappush(place.queue, entry)
        return found

    def _may_start(self, piece: _Piece) -> bool:
        following = self._following(piece)
        return following is None or following.waiting + following.in_work + following.coming < following.cap

    def _call(self, place: _Place, able: frozenset[str] | None) -> None:
        """Tell the longest idle of the benches that can do it that a piece came."""
        for at in self.idle:
            code = self.benches[at].code
            if at in place.able and (able is None or code in able) and not self._is_down(code):
                self.idle.pop(at).succeed()
                return

    def _is_down(self, bench: str) -> bool:
        return self.floor.down_until(bench, self.env.now) is not None

    def _runs_again(self, at: int):
        """A process that wakes an idle bench whenever it runs again: pieces may have come meanwhile."""
        for _, to in sorted(self.floor.downs.get(self.benches[at].code, ())):
            if to > self.env.now:
                yield self.env.timeout(to - self.env.now)
            if at in self.idle:
                self.idle.pop(at).succeed()

    def _call_idle(self) -> None:
        """After a finish: a person is free, and what feeds a place with a cap may go on."""
        if self.floor.people is None and not self.floor.caps:
            return
        for at in list(self.idle):
            self.idle.pop(at).succeed()
