"""What a piece lacks before it can be worked on at an operation. Pure, over rows of tasks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

WAITING, HELD = "waiting", "held"
OPEN = ("waiting", "ready", "running", "held")

Task = Mapping[str, Any]


class Lacking(NamedTuple):
    """A step that is still to be done: of the segment at a position, None where it is the piece's own."""

    position: int | None
    operation: str
    state: str


def lacking(task: Task | None, tasks: Sequence[Task], positions: Mapping[int, int]) -> tuple[Lacking, ...]:
    """What comes before a task that waits; nothing where it does not wait.

    A segment lacks the steps before, each; a fitting lacks of each segment the step at which it is.

    tasks      of the fitting, in flow order: operation, segment_id, state, step
    positions  of the fitting's segments, by id
    """
    if task is None or task["state"] != WAITING:
        return ()
    before = [one for one in tasks if one["state"] in OPEN and one["step"] < task["step"]]
    if task["segment_id"] is not None:
        own = (one for one in before if one["segment_id"] == task["segment_id"])
        return tuple(Lacking(None, one["operation"], one["state"]) for one in own)
    found = [
        Lacking(position, first["operation"], first["state"])
        for segment, position in sorted(positions.items(), key=lambda pair: pair[1])
        if (first := _first(one for one in before if one["segment_id"] == segment))
    ]
    whole = (one for one in before if one["segment_id"] is None)
    return tuple(found) or tuple(Lacking(None, one["operation"], one["state"]) for one in whole)


def _first(tasks: Iterable[Task]) -> Task | None:
    return next(iter(tasks), None)
