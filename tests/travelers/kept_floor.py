"""Kept pieces that came about as on the floor, and drafts that they fit."""

from __future__ import annotations

from collections.abc import Sequence

from fittings.models import KeptPiece, Order
from tests import factories
from tests.factories import NOW, OFFICE_ACTOR, elbow_params
from tests.travelers.floor import LATER, Floor, badge, floor
from travelers.kept import kept_add
from travelers.kept_facts import fitting_facts, segment_facts
from travelers.models import Task
from travelers.release import order_cancel, order_release
from travelers.replay import replay


def draft(quantity: int = 2, pieces: int = 3, **changes) -> Order:
    params = elbow_params(pieces=pieces) | changes.pop("params", {})
    return factories.order(lines=[factories.line(quantity=quantity, params=params, **changes)])


def segments_kept(*positions: int, upto: str = "roll", pieces: int = 3) -> list[KeptPiece]:
    """Segments of a cancelled order of one elbow, done up to an operation."""
    old = floor(quantity=1, pieces=pieces)
    for position in positions:
        old.scan(upto, old.segment(position).code)
    order_cancel(number=old.order.number, actor=OFFICE_ACTOR, now=LATER)
    return kept_add(
        pieces=[old.segment(position) for position in positions],
        why="cancelled",
        place="A4",
        actor=OFFICE_ACTOR,
        now=LATER,
    )


def fittings_kept(quantity: int = 1, **line) -> list[KeptPiece]:
    """Every fitting of a done order, come back."""
    old = floor(quantity=quantity, **line)
    for operation in dict.fromkeys(Task.objects.order_by("step").values_list("operation_id", flat=True)):
        for fitting in old.fittings:
            old.scan(operation, fitting.code)
    assert Order.objects.get(pk=old.order.pk).state == "done"
    return kept_add(pieces=old.fittings, why="returned", place="B1", actor=OFFICE_ACTOR, now=LATER)


def release(order: Order, kept: Sequence[KeptPiece] = ()) -> Floor:
    made = order_release(
        number=order.number, actor=OFFICE_ACTOR, now=NOW, use_kept=[piece.pk for piece in kept]
    )
    return Floor(made, badge())


def agrees() -> None:
    assert replay(write=False).differences == []


def kept_holds() -> None:
    """What is always true of kept pieces: none is lost or doubled, and what they became is equal and knows of it."""
    rows = list(
        KeptPiece.objects.select_related("fitting__line", "segment", "used_for__line", "used_segment")
    )
    live = [(row.fitting_id, row.segment_id) for row in rows if not row.used_at and not row.ended_at]
    assert len(live) == len(set(live)), "a piece is kept twice"
    used = [row for row in rows if row.used_at]
    olds = [(row.fitting_id, row.segment_id) for row in used]
    news = [(row.used_for_id, row.used_segment_id) for row in used]
    assert len(olds) == len(set(olds)), "a piece was used twice"
    assert len(news) == len(set(news)), "two pieces became one"
    assert not set(olds) & set(live), "a used piece is kept as it was"
    for row in rows:
        if row.segment is None:
            assert row.fitting.state in ("done", "open")  # open: its last scan was undone
        else:
            assert row.fitting.state in ("void", "scrapped")
    for row in used:
        development, line = row.used_for.line.development, row.used_for.line
        new = row.used_segment
        facts = segment_facts(development, new.position) if new else fitting_facts(development, line)
        assert facts == row.facts
        tasks = Task.objects.filter(fitting=row.used_for, came_done=True)
        assert (
            tasks.filter(segment=new).exists()
            if new
            else not row.used_for.tasks.filter(came_done=False).exists()
        )
