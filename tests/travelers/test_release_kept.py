"""Kept pieces that a release uses: which fit, what of the work is left, and that the record agrees."""

from __future__ import annotations

import pytest

from fittings.models import CodeSeries, Fitting, KeptPiece, Order, Segment
from shared.problems import WrongInput
from tests import factories
from tests.factories import NOW, OFFICE_ACTOR, elbow_params
from tests.travelers.floor import LATER, Floor, badge, facts
from tests.travelers.kept_floor import agrees, draft, fittings_kept, kept_holds, release, segments_kept
from travelers.cut_work import pieces_to_cut
from travelers.kept import kept_add, kept_change
from travelers.models import Pulse, Task
from travelers.release import order_cancel, order_release, release_ready
from travelers.release_kept import kept_places, wanted_by

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]


def fit(order: Order) -> list[tuple[int, int | None, int]]:
    """(number, position, steps done) where kept pieces would go."""
    uses = kept_places(wanted_by(release_ready(order.number).plans))
    return sorted((use.number, use.position or 0, len(use.made.steps)) for use in uses)


def open_tasks(on: Floor, number: int = 1) -> list[tuple[int, str]]:
    """(position, or 0 of the fitting; operation) of what is left to do."""
    tasks = Task.objects.filter(fitting=on.fittings[number - 1]).exclude(state="done").order_by("step")
    found = tasks.values_list("segment__position", "operation")
    return sorted(((position or 0, operation) for position, operation in found), key=lambda one: one[0])


# -- which fit ------------------------------------------------------------------------


def test_an_equal_segment_fits_and_says_how_far_it_is():
    segments_kept(2)
    assert fit(draft()) == [(1, 2, 2)]


def test_middle_gores_are_alike_and_go_to_one_fitting_first():
    """A five-piece elbow has three equal middle gores, at 2 to 4 (common practice, no source)."""
    segments_kept(2, 4, pieces=5)
    assert fit(draft(pieces=5)) == [(1, 2, 2), (1, 3, 2)]


def test_a_gore_of_another_angle_fits_where_its_miter_is_equal():
    """90° in five pieces and 45° in three have gores of 90/4 = 45/2 = 22.5°, so that the middle ones are equal."""
    segments_kept(3, pieces=5)
    assert fit(draft(pieces=3, params={"angle": 45})) == [(1, 2, 2)]


@pytest.mark.parametrize(
    "other",
    [
        {"gauge": 22},
        {"material": "stainless"},
        {"params": {"diameter": 14.25}},
        {"params": {"radius_ratio": 1.0}},
        {"params": {"angle": 60}},
        {"allowances": {"lap": 0.75}},
    ],
)
def test_what_differs_in_metal_or_pattern_does_not_fit(other):
    segments_kept(2)
    fittings_kept()
    assert fit(draft(**other)) == []


def test_the_words_of_an_order_make_no_difference():
    segments_kept(2)
    assert fit(draft(tag="Another tag")) == [(1, 2, 2)]


def test_an_end_gore_with_a_flange_is_no_raw_one_and_a_middle_gore_is_any():
    segments_kept(1, 2)
    assert fit(draft(end_a="flange")) == [(1, 2, 2)]


def test_a_whole_fitting_fits_and_comes_before_segments():
    fittings_kept(quantity=2)
    segments_kept(2)
    assert fit(draft(quantity=3)) == [(1, 0, 2), (2, 0, 2), (3, 2, 2)]


def test_a_whole_fitting_with_another_end_does_not_fit():
    fittings_kept(end_b="flange")
    assert fit(draft()) == []
    assert fit(draft(end_b="flange")) == [(1, 0, 3)]


def test_where_another_method_was_used_it_does_not_fit():
    """14 gauge is welded, so that a route table that locks it makes another piece of the same metal."""
    (kept,) = segments_kept(2, upto="seam")
    Task.objects.filter(segment=kept.segment, operation="seam").update(method="Weld seam")
    assert fit(draft()) == []


def test_more_than_the_line_needs_stays_kept():
    fittings_kept(quantity=3)
    assert fit(draft(quantity=2)) == [(1, 0, 2), (2, 0, 2)]


def test_what_is_further_done_goes_first():
    segments_kept(2, upto="cut")
    segments_kept(2, upto="seam")
    assert fit(draft(quantity=1)) == [(1, 2, 3)]


def test_two_equal_lines_share_what_is_kept():
    fittings_kept(quantity=3)
    line = factories.line(quantity=2, params=elbow_params(pieces=3))
    order = factories.order(lines=[line, line])
    uses = kept_places(wanted_by(release_ready(order.number).plans))
    assert [(use.wanted.line.position, use.number) for use in uses] == [(1, 1), (1, 2), (2, 1)]
    assert len({use.piece.pk for use in uses}) == 3


def test_what_is_used_lost_or_scrapped_is_not_offered_again():
    (kept,) = segments_kept(2)
    kept_change(pk=kept.pk, data={"ended": "lost"}, actor=OFFICE_ACTOR, now=LATER)
    assert fit(draft()) == []
    used = segments_kept(2)
    release(draft(quantity=1), used)
    assert fit(draft()) == []


# -- what is left of the work ---------------------------------------------------------


def test_only_the_rest_of_a_kept_segment_is_work():
    on = release(draft(quantity=1), segments_kept(2))
    assert open_tasks(on) == [
        (0, "assemble"),
        (0, "wrap"),
        (1, "cut"),
        (1, "roll"),
        (1, "seam"),
        (2, "seam"),
        (3, "cut"),
        (3, "roll"),
        (3, "seam"),
    ]
    assert on.task("seam", 2).state == "ready"
    agrees()


def test_what_came_done_waits_at_no_table_and_for_no_cut_plan():
    on = release(draft(quantity=1), segments_kept(2))
    wanted = {piece.code for piece in pieces_to_cut(material="galvanized", gauge=24)}
    assert wanted == {on.segment(1).code, on.segment(3).code}


def test_the_work_that_is_left_finishes_the_fitting():
    on = release(draft(quantity=1), segments_kept(2))
    on.scan("seam", on.segment(1).code)
    on.scan("seam", on.segment(2).code)
    on.scan("seam", on.segment(3).code)
    on.scan("assemble", on.fitting.code)
    assert on.scan("wrap", on.fitting.code).outcome == "recorded"
    order = Order.objects.get(pk=on.order.pk)
    assert (order.state, order.fittings_done) == ("done", 1)
    agrees()


def test_a_kept_fitting_is_one_of_the_line_and_done():
    on = release(draft(quantity=3), fittings_kept())
    assert [one.state for one in on.fittings] == ["done", "open", "open"]
    assert (on.order.state, on.order.fittings_total, on.order.fittings_done) == ("released", 3, 1)
    assert open_tasks(on, 1) == []
    assert set(Segment.objects.filter(fitting=on.fittings[0]).values_list("state", flat=True)) == {"done"}
    agrees()


def test_an_order_of_kept_fittings_alone_is_done_with_its_release():
    on = release(draft(quantity=2), fittings_kept(quantity=2))
    assert (on.order.state, on.order.ended_at, on.order.fittings_done) == ("done", NOW, 2)
    assert [one.done_at for one in on.fittings] == [NOW, NOW]
    agrees()


def test_a_kept_segment_that_is_scrapped_is_made_again_from_the_sheet_on():
    on = release(draft(quantity=1), segments_kept(2))
    assert on.scan("seam", on.segment(2).code, "scrap").outcome == "recorded"
    again = Task.objects.filter(segment=on.segment(2, generation=2)).order_by("step")
    assert list(again.values_list("operation", "state", "came_done")) == [
        ("cut", "ready", False),
        ("roll", "waiting", False),
        ("seam", "waiting", False),
    ]
    agrees()


def test_a_cancelled_order_gives_its_kept_pieces_back_to_keep():
    on = release(draft(quantity=1), segments_kept(2))
    order_cancel(number=on.order.number, actor=OFFICE_ACTOR, now=LATER)
    (again,) = kept_add(pieces=[on.segment(2)], why="cancelled", actor=OFFICE_ACTOR, now=LATER)
    assert fit(draft()) == [(1, 2, 2)]
    assert KeptPiece.objects.filter(used_at=None).get() == again
    agrees()


def test_the_row_says_who_used_it_when_and_for_what():
    (kept,) = segments_kept(2)
    on = release(draft(quantity=1), [kept])
    kept.refresh_from_db()
    assert (kept.used_at, kept.used_by) == (NOW, "office")
    assert (kept.used_for, kept.used_segment) == (on.fitting, on.segment(2))


# -- all or nothing -------------------------------------------------------------------


def everything() -> tuple:
    return (
        *facts(),
        list(KeptPiece.objects.order_by("pk").values_list()),
        CodeSeries.objects.get().next_number,
        Pulse.objects.get().version,
    )


def test_a_piece_that_fits_nowhere_releases_nothing():
    kept = segments_kept(2)
    order = draft(gauge=22)
    before = everything()
    with pytest.raises(WrongInput) as wrong:
        release(order, kept)
    (error,) = wrong.value.errors
    assert (error.field, error.value) == ("use_kept[0]", kept[0].pk)
    assert f"fits no place that is left in order {order.number}" in error.message
    assert everything() == before


def test_a_piece_that_was_used_meanwhile_releases_nothing():
    kept = segments_kept(2)
    release(draft(quantity=1), kept)
    order = draft()
    before = everything()
    with pytest.raises(WrongInput, match="is used already: it is now fitting"):
        release(order, kept)
    assert everything() == before


def test_an_unknown_piece_releases_nothing():
    order = draft()
    with pytest.raises(WrongInput, match="There is no kept piece 99"):
        order_release(number=order.number, actor=OFFICE_ACTOR, now=NOW, use_kept=[99])
    assert Fitting.objects.count() == 0


def test_a_kept_fitting_whose_last_scan_was_undone_is_not_used():
    kept = fittings_kept()
    old = Floor(kept[0].fitting.order, badge(), minutes=60)
    assert old.scan("wrap", kept[0].fitting.code, "undo").outcome == "recorded"
    with pytest.raises(WrongInput, match="fits no place that is left"):
        release(draft(), kept)


def test_nothing_is_lost_or_doubled_over_many_uses():
    """Three elbows come back and go out again, a gore is used, cancelled, kept again, lost, found and used."""
    kept = fittings_kept(quantity=3)
    (gore,) = segments_kept(2, upto="seam")
    first = release(draft(quantity=4), [*kept[:2], gore])
    kept_holds()
    order_cancel(number=first.order.number, actor=OFFICE_ACTOR, now=LATER)
    kept_holds()
    (again,) = kept_add(pieces=[first.segment(2, fitting=3)], why="cancelled", actor=OFFICE_ACTOR, now=LATER)
    kept_change(pk=again.pk, data={"ended": "lost"}, actor=OFFICE_ACTOR, now=LATER)
    (found,) = kept_add(pieces=[first.segment(2, fitting=3)], why="cancelled", actor=OFFICE_ACTOR, now=LATER)
    back = kept_add(pieces=first.fittings[:2], why="cancelled", actor=OFFICE_ACTOR, now=LATER)
    kept_holds()
    second = release(draft(quantity=4), [kept[2], *back, found])
    kept_holds()
    agrees()
    assert [one.state for one in second.fittings] == ["done", "done", "done", "open"]
    assert KeptPiece.objects.filter(used_at=None, ended_at=None).count() == 0


def test_a_fitting_from_stock_is_no_output_of_the_day():
    from shopfloor.flow_read import _fittings_of

    kept = fittings_kept()
    on = release(draft(quantity=2), kept)
    seen = {pk for pk, *_ in _fittings_of(NOW, LATER)}
    assert on.fittings[0].pk not in seen
    assert {on.fittings[1].pk, kept[0].fitting_id} <= seen
