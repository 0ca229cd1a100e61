"""Pieces without an order: what can be kept, once, and what becomes of it."""

from __future__ import annotations

import pytest

from fittings.models import KeptPiece, Order
from shared.problems import Conflict, NotFound, WrongInput
from tests.factories import OFFICE_ACTOR
from tests.travelers.floor import LATER, Floor
from travelers.kept import Made, kept_add, kept_change, made_of
from travelers.release import order_cancel

pytestmark = pytest.mark.django_db


def keep(*pieces, why="cancelled", **more) -> list[KeptPiece]:
    return kept_add(pieces=pieces, why=why, actor=OFFICE_ACTOR, now=LATER, **more)


def cancelled(on: Floor) -> None:
    order_cancel(number=on.order.number, actor=OFFICE_ACTOR, now=LATER)


def make(on: Floor, fitting: int = 1) -> None:
    """Every piece of a fitting through every operation."""
    for operation in ("cut", "roll", "seam", "assemble", "wrap"):
        on.scan(operation, on.fittings[fitting - 1].code)


def kept_count() -> int:
    return KeptPiece.objects.count()


def test_a_segment_of_a_cancelled_order_is_kept_with_what_is_done_of_it(on: Floor):
    on.scan("cut", on.segment(2).code)
    on.scan("roll", on.segment(2).code)
    cancelled(on)
    (kept,) = keep(on.segment(2), place="A4")
    assert (kept.place, kept.why, kept.kept_by, kept.used_at, kept.ended_at) == (
        "A4",
        "cancelled",
        "office",
        None,
        None,
    )
    key = (on.fitting.pk, on.segment(2).pk)
    assert [operation for operation, _ in made_of([key])[key].steps] == ["cut", "roll"]


def test_an_implied_step_is_done_all_the_same(on: Floor):
    on.scan("roll", on.segment(2).code)
    key = (on.fitting.pk, on.segment(2).pk)
    assert [operation for operation, _ in made_of([key])[key].steps] == ["cut", "roll"]


def test_a_piece_is_kept_once(on: Floor):
    on.scan("cut", on.segment(2).code)
    cancelled(on)
    keep(on.segment(2), place="A4")
    with pytest.raises(WrongInput, match="is kept already: A4"):
        keep(on.segment(2))
    assert kept_count() == 1


def test_a_piece_named_twice_is_kept_not_at_all(on: Floor):
    on.scan("cut", on.segment(2).code)
    cancelled(on)
    with pytest.raises(WrongInput, match="is named twice"):
        keep(on.segment(2), on.segment(2))
    assert kept_count() == 0


def test_what_was_not_begun_is_no_piece(on: Floor):
    cancelled(on)
    with pytest.raises(WrongInput, match="was not begun"):
        keep(on.segment(2))


def test_a_segment_that_an_order_still_needs_is_not_kept(on: Floor):
    on.scan("cut", on.segment(2).code)
    with pytest.raises(WrongInput, match=f"belongs to fitting {on.fitting.code}"):
        keep(on.segment(2))


def test_a_scrapped_segment_is_not_kept(on: Floor):
    on.scan("cut", on.segment(2).code)
    on.scan("cut", on.segment(2).code, "scrap")
    cancelled(on)
    with pytest.raises(WrongInput, match="is scrapped. Only good pieces are kept"):
        keep(on.segment(2))


def test_every_piece_that_cannot_be_kept_is_named_and_none_is_kept(on: Floor):
    on.scan("cut", on.segment(2).code)
    cancelled(on)
    with pytest.raises(WrongInput) as wrong:
        keep(on.segment(2), on.segment(1), on.segment(3))
    assert [error.field for error in wrong.value.errors] == ["pieces[1]", "pieces[2]"]
    assert [error.value for error in wrong.value.errors] == [on.segment(1).code, on.segment(3).code]
    assert kept_count() == 0


def test_a_fitting_of_a_done_order_comes_back(on: Floor):
    make(on, 1)
    make(on, 2)
    assert Order.objects.get(pk=on.order.pk).state == "done"
    (kept,) = keep(on.fitting, why="returned", place="B1")
    assert kept.segment is None
    made = made_of([(on.fitting.pk, None)])[on.fitting.pk, None]
    assert [operation for operation, _ in made.steps] == ["assemble", "wrap"]
    assert [(position, len(steps)) for position, steps in made.segments] == [(1, 3), (2, 3), (3, 3)]


def test_a_finished_fitting_of_an_order_on_the_floor_is_kept_only_where_the_order_changes(on: Floor):
    make(on, 1)
    with pytest.raises(WrongInput, match="which is on the floor"):
        keep(on.fitting, why="surplus")
    assert keep(on.fitting, why="changed")[0].why == "changed"


def test_an_unfinished_fitting_is_not_kept_whole(on: Floor):
    on.scan("cut", on.fitting.code)
    cancelled(on)
    with pytest.raises(WrongInput, match="is void, not finished"):
        keep(on.fitting)


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"why": "gift"}, "why"),
        ({"why": ""}, "why"),
        ({"place": "A" * 61}, "place"),
        ({"note": "n" * 201}, "note"),
        ({"place": "A\x00"}, "place"),
    ],
)
def test_wrong_words_name_their_field(on: Floor, wrong, field):
    on.scan("cut", on.segment(2).code)
    cancelled(on)
    with pytest.raises(WrongInput) as found:
        keep(on.segment(2), **wrong)
    assert [error.field for error in found.value.errors] == [field]
    assert kept_count() == 0


def test_nothing_named_is_refused(on: Floor):
    with pytest.raises(WrongInput, match="Name at least one piece"):
        keep()


def test_a_lost_piece_can_be_found_again_and_a_scrapped_one_not(on: Floor):
    on.scan("cut", on.segment(2).code)
    cancelled(on)
    (kept,) = keep(on.segment(2))
    kept_change(pk=kept.pk, data={"ended": "lost"}, actor=OFFICE_ACTOR, now=LATER)
    (again,) = keep(on.segment(2))
    kept_change(pk=again.pk, data={"ended": "scrapped"}, actor=OFFICE_ACTOR, now=LATER)
    with pytest.raises(WrongInput, match="was kept and is scrapped"):
        keep(on.segment(2))


def test_what_has_ended_does_not_change_any_more(on: Floor):
    on.scan("cut", on.segment(2).code)
    cancelled(on)
    (kept,) = keep(on.segment(2))
    kept_change(pk=kept.pk, data={"ended": "lost"}, actor=OFFICE_ACTOR, now=LATER)
    with pytest.raises(Conflict, match="not kept any more: not found"):
        kept_change(pk=kept.pk, data={"place": "C2"}, actor=OFFICE_ACTOR, now=LATER)


def test_two_who_move_a_piece_at_once_are_told(on: Floor):
    on.scan("cut", on.segment(2).code)
    cancelled(on)
    (kept,) = keep(on.segment(2))
    kept_change(pk=kept.pk, data={"place": "C2", "version": 1}, actor=OFFICE_ACTOR, now=LATER)
    with pytest.raises(Conflict, match="version 1 was seen, it has 2 now"):
        kept_change(pk=kept.pk, data={"place": "D3", "version": 1}, actor=OFFICE_ACTOR, now=LATER)
    assert KeptPiece.objects.get().place == "C2"


def test_what_is_not_there_is_not_found(on: Floor):
    with pytest.raises(NotFound):
        kept_change(pk=99, data={"ended": "lost"}, actor=OFFICE_ACTOR, now=LATER)


def test_a_piece_without_a_task_done_has_no_steps(on: Floor):
    key = (on.fitting.pk, on.segment(1).pk)
    assert made_of([key])[key] == Made(())
