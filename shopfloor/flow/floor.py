"""A floor as the simulation takes it: benches, people, rules; and the fittings that go over it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

NEXT_PIECE, OLDEST = "next piece", "oldest"


@dataclass(frozen=True)
class Bench:
    """A station: the operations that it does, one piece at a time."""

    code: str
    operations: tuple[str, ...]


@dataclass(frozen=True)
class Step:
    """Work at one operation. `hours` is its usual time [h]; `benches` names those that can do it, or None for all."""

    operation: str
    hours: float
    benches: frozenset[str] | None = None


@dataclass(frozen=True)
class Job:
    """A fitting: what is left to do of each of its segments, then of itself.

    key       its own name, different for each
    line      fittings of one line move in lots together
    released  hours of work from now at which it comes to the floor; 0 for what is there
    due       the same, or None
    segments  steps of each segment, in order; an empty one waits at assembly
    whole     steps of the fitting once all its segments are through
    is_pinned  the supervisor put it first
    """

    key: str
    segments: tuple[tuple[Step, ...], ...]
    whole: tuple[Step, ...]
    order: str = ""
    line: str = ""
    released: float = 0.0
    due: float | None = None
    priority: int = 5
    is_pinned: bool = False


@dataclass(frozen=True)
class Floor:
    """How the floor works.

    operations  in flow order
    variation   of the time at an operation: standard deviation by mean; 0 always as planned, 1 exponential
    people      at most so many benches work at once, or None
    caps        at most so many pieces at an operation, waiting and in work: what feeds it is held back
    rule        NEXT_PIECE as the tablets choose (pinned, due soonest, the piece that completes its fitting,
                priority, the longest ready), or OLDEST: the longest ready
    lot         segments of a line that move on together; 1 moves each at once
    downs       hours from now (from, to) in which a bench takes up no piece; what it has in work is finished
    """

    operations: tuple[str, ...]
    benches: tuple[Bench, ...]
    variation: Mapping[str, float] = field(default_factory=dict)
    people: int | None = None
    caps: Mapping[str, int] = field(default_factory=dict)
    rule: str = NEXT_PIECE
    lot: int = 1
    downs: Mapping[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)

    def down_until(self, bench: str, at: float) -> float | None:
        """When a bench that is down at a time takes up work again [h]; None where it is not down."""
        return next((to for begin, to in self.downs.get(bench, ()) if begin <= at < to), None)


class FloorError(ValueError):
    """A floor or job that cannot be simulated: names what and why."""


def checked(floor: Floor, jobs: tuple[Job, ...]) -> None:
    """Refuse what cannot be simulated.

    Raises FloorError for an operation without a bench, a time below zero, a cap or lot below one, nobody at work, a
    bench that is down and is none, or whose time ends before it begins.
    """
    doers = {operation for bench in floor.benches for operation in bench.operations}
    codes = {bench.code for bench in floor.benches}
    if len(codes) != len(floor.benches):
        raise FloorError("Two benches have the same code.")
    if floor.rule not in (NEXT_PIECE, OLDEST):
        raise FloorError(f"The rule {floor.rule!r} is not known; there are {NEXT_PIECE!r} and {OLDEST!r}.")
    if floor.people is not None and floor.people < 1:
        raise FloorError(f"People are {floor.people}; at least 1 works.")
    if floor.lot < 1:
        raise FloorError(f"The lot is {floor.lot}; it is at least 1.")
    for bench, spans in floor.downs.items():
        if bench not in codes:
            raise FloorError(f"{bench} is down, and is no bench of the floor.")
        for begin, to in spans:
            if not begin < to:
                raise FloorError(f"{bench} is down from {begin} to {to} h; it ends after it begins.")
    for operation, cap in floor.caps.items():
        if cap < 1:
            raise FloorError(f"The cap of {operation} is {cap}; it is at least 1.")
    for operation, variation in floor.variation.items():
        if variation < 0:
            raise FloorError(f"The variation of {operation} is {variation}; it is 0 or more.")
    places = set(floor.operations)
    for job in jobs:
        name = f"Order {job.order}" if job.order else job.key
        for step in (*(step for segment in job.segments for step in segment), *job.whole):
            if step.operation not in places:
                raise FloorError(f"{name}: {step.operation} is no operation of the floor.")
            if step.hours < 0:
                raise FloorError(f"{name}: {step.hours} h at {step.operation}; a time is 0 or more.")
            able = step.operation in doers
            if able and step.benches is not None:
                able = any(
                    bench.code in step.benches and step.operation in bench.operations
                    for bench in floor.benches
                )
            if not able:
                raise FloorError(f"{name}: no bench does {step.operation} for it.")
