"""Where the next operation is full: what its tablets before it are told. An operation without a cap is never full."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from travelers.models import Operation, Task, TaskState


@dataclass(frozen=True)
class Full:
    """An operation with as many pieces as its cap, or more."""

    operation: str
    name: str
    pieces: int
    cap: int


def full_after(operations: Sequence[str], flow: Sequence[Operation]) -> list[Full]:
    """Of the operations that follow these in the flow, those that are full. A query for each with a cap.

    operations  those of one station; what the station does itself does not hold it back
    flow        all operations, in flow order
    """
    found = []
    for one, following in zip(flow, flow[1:], strict=False):
        if one.code not in operations or following.code in operations or following.cap is None:
            continue
        lying = Task.objects.open().at(following.code).exclude(state=TaskState.WAITING).count()
        if lying >= following.cap:
            found.append(Full(following.code, following.name, lying, following.cap))
    return found
