"""The state of everything once more, from the record alone, by the same function that recording uses."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from django.db.models import Count, Max, Q

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
                pieces.store(one, state, at=None)
    found.differences += _orders(write)
    return found


def _batches() -> Iterator[list[int]]:
    last = 0
    while ids := list(
        Fitting.objects.filter(pk__gt=last).order_by("pk").values_list("pk", flat=True)[:BATCH]
    ):
        yield ids
        last = ids[-1]


def _orders(write: bool) -> list[str]:
    """Orders whose count, state or end do not follow from their fittings; mended if asked."""
    orders = Order.objects.exclude(state=Order.State.DRAFT).annotate(
        made=Count("fittings", filter=Q(fittings__taken_out_at=None)),
        finished=Count("fittings", filter=Q(fittings__taken_out_at=None, fittings__state=PieceState.DONE)),
        last=Max("fittings__done_at", filter=Q(fittings__taken_out_at=None)),
    )
    found = []
    for order in orders.order_by("pk"):
        stored = {
            name: getattr(order, name) for name in ("fittings_total", "fittings_done", "state", "ended_at")
        }
        derived = stored | {"fittings_total": order.made, "fittings_done": order.finished}
        if order.state != Order.State.CANCELLED:
            is_done = bool(order.made) and order.made == order.finished
            derived["state"] = (Order.State.DONE if is_done else Order.State.RELEASED).value
            derived["ended_at"] = order.last if is_done else None
        wrong = [name for name in stored if stored[name] != derived[name]]
        found += [
            f"order {order.number} {name}: stored {stored[name]}, derived {derived[name]}" for name in wrong
        ]
        if write and wrong:
            Order.objects.filter(pk=order.pk).update(**{name: derived[name] for name in wrong})
    return found
