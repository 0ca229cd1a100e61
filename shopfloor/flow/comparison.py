"""A floor as it is and as it might be: the same work and luck on both, run by run; what differs and how surely."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from .estimates import Range, difference, percentile, range_of
from .floor import Bench, Floor, Job
from .simulation import Run, repeated

FITTINGS, LEAD, LEAD_NINE, THERE, LATE = "fittings", "lead", "lead_nine", "there", "late"
WAITING, BUSY = "waiting", "busy"
"""Measures: fittings a day, days from release to finish of half and of nine in ten, fittings on the floor, late orders;
by operation pieces waiting, and the share of the time that its benches work."""
LEAST_RUNS = 5


@dataclass(frozen=True)
class Change:
    """What is to be different.

    benches  more (or fewer, below 0) at an operation
    people   at most so many work at once; None: as it is
    longer   the working day by this factor; 1 as it is
    caps     pieces at an operation at most, beside the caps that there are
    lot      segments that move on together; None: as it is
    rule     of the next piece; None: as it is
    inflow   of new work, a factor; 1 as it is
    mix      of new work of a kind, a factor beside that of all
    """

    benches: Mapping[str, int]
    people: int | None = None
    longer: float = 1.0
    caps: Mapping[str, int] | None = None
    lot: int | None = None
    rule: str | None = None
    inflow: float = 1.0
    mix: Mapping[str, float] | None = None


def changed(floor: Floor, change: Change) -> Floor:
    """The floor with the change. Benches go from the end of an operation's own; new ones do nothing else.

    >>> one = Floor(("cut", "roll"), (Bench("A", ("cut",)), Bench("B", ("roll",))))
    >>> [bench.code for bench in changed(one, Change({"roll": 1})).benches]
    ['A', 'B', 'roll +1']
    """
    benches = list(floor.benches)
    for operation, more in change.benches.items():
        for _ in range(-more):
            own = [bench for bench in benches if operation in bench.operations]
            if own:
                benches.remove(own[-1])
        benches += [Bench(f"{operation} +{at + 1}", (operation,)) for at in range(more)]
    codes = {bench.code for bench in benches}
    downs = {
        code: tuple((begins * change.longer, ends * change.longer) for begins, ends in spans)
        for code, spans in floor.downs.items()
        if code in codes
    }
    return replace(
        floor,
        benches=tuple(benches),
        downs=downs,
        people=change.people if change.people is not None else floor.people,
        caps={**floor.caps, **(change.caps or {})},
        lot=change.lot or floor.lot,
        rule=change.rule or floor.rule,
    )


def stretched(jobs: Sequence[Job], factor: float) -> tuple[Job, ...]:
    """The jobs with their moments on a working day that is longer by a factor: the same days, more hours in each."""
    if factor == 1:
        return tuple(jobs)
    return tuple(
        replace(job, released=job.released * factor, due=None if job.due is None else job.due * factor)
        for job in jobs
    )


def with_benches(jobs: Sequence[Job], added: Mapping[str, frozenset[str]]) -> tuple[Job, ...]:
    """The jobs for a floor with more benches: those that are added take everything at their operation.

    added  codes of the new benches, by operation; the limits of the others stay
    """
    if not added:
        return tuple(jobs)

    def also(steps):
        return tuple(
            replace(step, benches=step.benches | added[step.operation])
            if step.benches is not None and step.operation in added
            else step
            for step in steps
        )

    return tuple(
        replace(job, segments=tuple(also(segment) for segment in job.segments), whole=also(job.whole))
        for job in jobs
    )


def measures(run: Run, jobs: Sequence[Job], floor: Floor, *, day: float) -> dict[str, float]:
    """What one run says. `day` is the length of a working day in hours of work."""
    came = [job for job in jobs if job.released > 0] or list(jobs)
    lead = [(run.done[job.key] - job.released) / day for job in came if job.key in run.done]
    late = {
        job.order
        for job in jobs
        if job.due is not None and job.due <= run.hours and run.done.get(job.key, run.hours + 1) > job.due
    }
    found = {
        FITTINGS: len(run.done) / (run.hours / day),
        LEAD: percentile(lead, 0.5),
        LEAD_NINE: percentile(lead, 0.9),
        THERE: run.on_floor,
        LATE: float(len(late)),
    }
    for code, at in run.operations.items():
        own = [bench.code for bench in floor.benches if code in bench.operations]
        found[f"{WAITING} {code}"] = at.waiting
        found[f"{BUSY} {code}"] = sum(run.busy[one] for one in own) / len(own) if own else 0.0
    return found


@dataclass(frozen=True)
class Compared:
    """One measure on both floors, and their difference run by run."""

    now: Range
    then: Range
    difference: Range

    @property
    def is_sure(self) -> bool:
        """Whether the difference is more than luck."""
        return self.difference.half < abs(self.difference.mean)


def compared(
    floor: Floor,
    change: Change,
    jobs_of: Callable[[int, Change], Sequence[Job]],
    *,
    day: float,
    days: float,
    runs: int,
    seed: int,
    tell: Callable[[float], bool] = lambda share: True,
) -> tuple[dict[str, Compared], int]:
    """Both floors over so many days, run by run.

    jobs_of  of (number of the run, what is changed): the work of that run, the same for the same number
    day      a working day as it is now [h]
    tell     is told how far it is; where it says no, it ends after the runs that there are (at least `LEAST_RUNS`)
    returns  the measures, and how many runs there were
    """
    other = changed(floor, change)
    there = {bench.code for bench in floor.benches}
    added = {
        code: frozenset(
            bench.code for bench in other.benches if bench.code not in there and code in bench.operations
        )
        for code, count in change.benches.items()
        if count > 0
    }
    found: tuple[list[dict[str, float]], list[dict[str, float]]] = ([], [])
    for number in range(runs):
        work = jobs_of(number, Change({}))
        both = (
            (floor, work, day),
            (
                other,
                with_benches(stretched(jobs_of(number, change), change.longer), added),
                day * change.longer,
            ),
        )
        for side, (one, jobs, length) in zip(found, both, strict=True):
            (run,) = repeated(one, jobs, runs=1, seed=seed + number, until=days * length)
            side.append(measures(run, jobs, one, day=length))
        if not tell((number + 1) / runs) and number + 1 >= LEAST_RUNS:
            break
    names = found[0][0]
    result = {}
    for name in names:
        now, then = ([one[name] for one in side] for side in found)
        result[name] = Compared(range_of(now), range_of(then), difference(now, then))
    return result, len(found[0])
