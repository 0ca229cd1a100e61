"""The state of everything once more, from the record alone, by the same function that recording uses."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from django.db.models import Count, Q

from fittings.models import Fitting, Order, PieceState
from travelers import pieces
from travelers.models import Scan
from travelers.state import derive

BATCH = 200


@dataclass
class Replayed:
    fittings: int = 0
    scans: int = 0
    differences: list[str] = field(default_factory=list)


def replay(*, write: bool) -> Replayed:
    """Derive every fitting; report what is stored otherwise than derived, and write it if asked."""
    found = Replayed(scans=Scan.objects.count())
    for ids in _batches():
        for one in pieces.load(ids, lock=write):
            found.fittings += 1
            state = derive(one.spec, one.events)
            tasks, segments, is_fitting = pieces.differences(one, state)
            for id_, facts in tasks:
                found.differences.append(
                    f"fitting {one.code} task {id_}: stored {one.stored_tasks[id_]}, derived {facts}"
                )
            for id_, new in segments:
                found.differences.append(
                    f"fitting {one.code} segment {id_}: stored {one.stored_segments[id_]}, derived {new}"
                )
            if is_fitting:
                found.differences.append(
                    f"fitting {one.code}: stored {one.state} {one.done_at}, derived {state.fitting} {state.done_at}"
                )
            if write and (tasks or segments or is_fitting):
                pieces.store(one, state)
    found.differences += _orders()
    return found


def _batches() -> Iterator[list[int]]:
    last = 0
    while ids := list(
        Fitting.objects.filter(pk__gt=last).order_by("pk").values_list("pk", flat=True)[:BATCH]
    ):
        yield ids
        last = ids[-1]


def _orders() -> list[str]:
    """Orders whose counts or state do not follow from their fittings."""
    rows = (
        Order.objects.exclude(state=Order.State.DRAFT)
        .annotate(
            made=Count("fittings"), finished=Count("fittings", filter=Q(fittings__state=PieceState.DONE))
        )
        .values_list("number", "state", "fittings_total", "fittings_done", "made", "finished", "released_at")
    )
    found = []
    for number, state, total, done, made, finished, released_at in rows:
        if (total, done) != (made, finished):
            found.append(f"order {number}: stored {done} of {total} done, derived {finished} of {made}")
        should = "done" if made and made == finished else "released"
        if state != Order.State.CANCELLED and released_at and state != should:
            found.append(f"order {number}: stored {state}, derived {should}")
    return found
