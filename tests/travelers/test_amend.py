"""A released order is changed: what stays, what goes, what is made, and what becomes of started work."""

from __future__ import annotations

import pytest

from fittings import tables
from fittings.models import Fitting, KeptPiece, Order, OrderLine, Pin, Segment
from shared.problems import Conflict, WrongInput
from tests import factories
from tests.travelers import amend_desk as desk
from tests.travelers.floor import Floor, facts, floor
from travelers import papers
from travelers.amend import order_change
from travelers.amend_travelers import travelers_renew
from travelers.models import Task, Traveler
from travelers.pins import pin_set
from travelers.replay import replay
from travelers.shipping import delivery_make

pytestmark = pytest.mark.usefixtures("shop")


def at(minutes: float):
    return desk.at(minutes)


def line(position: int = 1, **changes):
    return {"line": position, **changes}


# -- quantity ------------------------------------------------------------------


def test_a_quantity_raised_makes_new_fittings_numbered_on_and_leaves_the_old_traveler():
    one = floor(quantity=2)
    old = one.traveler
    desk.changed(one.order, line(quantity=5), now=at(5))
    assert [fitting.number for fitting in one.fittings] == [1, 2, 3, 4, 5]
    assert [fitting.traveler_code == old for fitting in one.fittings] == [True, True, False, False, False]
    new = Traveler.objects.exclude(code=old).get()
    assert (new.first_number, new.last_number, new.void_at) == (3, 5, None)
    assert Traveler.objects.get(code=old).void_at is None
    order = Order.objects.get(pk=one.order.pk)
    assert (order.fittings_total, order.lines.get().quantity, order.version) == (5, 5, 3)


def test_new_fittings_of_a_raised_quantity_have_the_frozen_development_and_the_same_work():
    one = floor(quantity=1)
    before = list(
        Task.objects.order_by("segment__position", "step").values_list("operation", "method", "minutes")
    )
    frozen = one.order.lines.get().development
    desk.changed(one.order, line(quantity=2), now=at(5))
    new = one.fittings[1]
    after = Task.objects.filter(fitting=new).order_by("segment__position", "step")
    assert list(after.values_list("operation", "method", "minutes")) == before
    assert one.order.lines.get().development == frozen
    assert {task.ready_at for task in after if task.state == "ready"} == {at(5)}


def test_a_quantity_cut_voids_what_is_not_started_the_highest_numbers_first():
    one = floor(quantity=4)
    old = one.traveler
    one.scan("cut", one.segment(1, fitting=4).code)
    desk.changed(one.order, line(quantity=2), now=at(5))
    assert desk.states(one.order) == ["open", "void keep", "void keep", "open"]
    assert [fitting.number for fitting in one.fittings if fitting.state == "open"] == [1, 4]
    new = Traveler.objects.get(code=one.fittings[0].traveler_code)
    assert (new.code != old, new.first_number, new.last_number) == (True, 1, 4)
    assert Traveler.objects.get(code=old).replaced_by == new
    assert desk.kept() == []


def test_started_work_beyond_the_new_quantity_is_kept_by_itself():
    one = floor(quantity=2)
    cut = [one.segment(1, fitting=n).code for n in (1, 2)]
    for code in cut:
        one.scan("cut", code)
    one.scan("roll", cut[0])
    shown = desk.changed(one.order, line(quantity=1), now=at(5))
    assert (shown.lines[0].started, shown.lines[0].begun) == ("keep", 1)
    assert desk.states(one.order) == ["open", "void keep"]
    assert desk.segments(one.order, 2) == ["void", "void", "void"]
    assert desk.kept() == [cut[1]]
    assert KeptPiece.objects.get().why == "changed"


def test_started_work_is_scrapped_by_choice():
    one = floor(quantity=1)
    desk.changed(one.order, {**factories.line(quantity=1)}, now=at(1))
    one.scan("cut", one.segment(1).code)
    one.scan("cut", one.segment(2).code, "start")
    desk.changed(one.order, line(cancel=True, started="scrap"), now=at(5))
    assert desk.states(one.order)[0] == "scrapped scrap"
    assert desk.segments(one.order, 1) == ["scrapped", "scrapped", "void"]
    assert desk.kept() == []


def test_started_work_goes_on_by_choice_beyond_what_is_ordered():
    one = floor(quantity=3)
    one.scan("cut", one.segment(1, fitting=2).code)
    one.scan("cut", one.segment(1, fitting=1).code)
    shown = desk.changed(one.order, line(quantity=1, started="go_on"), now=at(5))
    assert desk.states(one.order) == ["open", "open", "void keep"]
    assert (shown.lines[0].stays, shown.lines[0].over) == (2, 1)
    assert Order.objects.get(pk=one.order.pk).fittings_total == 2
    # one more than is ordered is there already: no new one is made
    desk.changed(one.order, line(quantity=2), now=at(6))
    assert len(one.fittings) == 3
    desk.changed(one.order, line(quantity=3), now=at(7))
    assert [fitting.number for fitting in one.fittings if fitting.state == "open"] == [1, 2, 4]


def finish(one: Floor, fitting: int) -> None:
    code = one.fittings[fitting - 1].code
    one.scan("assemble", code)
    one.scan("wrap", code)


def test_a_finished_fitting_beyond_the_new_quantity_is_kept_whole_and_stays_finished():
    one = floor(quantity=2)
    finish(one, 1)
    finish(one, 2)
    order = Order.objects.get(pk=one.order.pk)
    assert order.state == "done"
    with pytest.raises(Conflict, match="is done. It cannot be changed any more"):
        desk.changed(one.order, line(quantity=1), now=at(60))
    one = floor(quantity=3)
    finish(one, 1)
    finish(one, 2)
    desk.changed(one.order, line(quantity=1, started="keep"), now=at(60))
    # the third was never started, so it goes first; of the two finished the higher number
    assert desk.states(one.order) == ["done", "done keep", "void keep"]
    assert desk.kept() == [one.fittings[1].code]
    order = Order.objects.get(pk=one.order.pk)
    assert (order.state, order.fittings_done, order.fittings_total) == ("done", 1, 1)
    assert order.ended_at == one.fittings[0].done_at


def test_a_finished_fitting_is_scrapped_by_choice():
    one = floor(quantity=2)
    finish(one, 1)
    desk.changed(one.order, line(cancel=True, started="scrap"), factories.line(quantity=1), now=at(60))
    assert desk.states(one.order) == ["scrapped scrap", "void scrap", "open"]
    assert desk.segments(one.order, 1) == ["scrapped"] * 3
    assert Order.objects.get(pk=one.order.pk).fittings_done == 0


def test_what_is_assembled_but_not_finished_cannot_be_kept_and_is_scrap():
    one = floor(quantity=1)
    one.scan("assemble", one.fitting.code)
    shown = desk.changed(one.order, line(cancel=True), factories.line(quantity=1), now=at(60))
    assert (shown.lines[0].kept.pieces, shown.lines[0].scrap.pieces) == (0, 3)
    assert desk.states(one.order)[0] == "scrapped keep"
    assert desk.kept() == []


# -- another fitting ------------------------------------------------------------


def test_a_line_that_becomes_another_fitting_is_ended_and_another_takes_its_place():
    one = floor(quantity=2)
    old, before = one.order.lines.get(), one.fittings
    desk.changed(
        one.order, line(params={"diameter": 16, "angle": 90, "pieces": 3, "radius_ratio": 1.5}), now=at(5)
    )
    new = one.order.lines.get()
    assert (new.pk != old.pk, new.position, new.replaces_id, new.added_version) == (True, 1, old.pk, 3)
    old.refresh_from_db()
    assert (old.ended_version, old.name, old.params["diameter"]) == (3, "1 until version 3", 14)
    # stretch-out of the mean diameter, pi (16 + 0.0276) in; the old line's development stays as it was frozen
    assert new.development["segments"][0]["stretch_out"] == pytest.approx(50.352, abs=0.001)
    assert old.development["segments"][0]["stretch_out"] == pytest.approx(44.069, abs=0.001)
    assert desk.states(one.order) == ["void keep", "void keep", "open", "open"]
    fresh = list(Fitting.objects.filter(line=new).order_by("number"))
    replaced = [Fitting.objects.get(pk=fitting.pk).replaced_by for fitting in before]
    assert replaced == fresh
    assert Traveler.objects.get(line=old).replaced_by.line == new


def test_a_changed_line_takes_the_tables_in_force_and_the_others_keep_theirs():
    one = floor(quantity=1)
    frozen = Order.objects.get(pk=one.order.pk).tables
    cut = one.task("cut", 1).minutes
    doubled = [
        dict(row) | {name: row[name] * 2 for name in ("minutes_each", "minutes_per_foot")}
        for row in tables.rows("times")
    ]
    tables.save(
        name="times", new_rows=doubled, seen=None, note="", actor=factories.SUPERVISOR_ACTOR, now=at(2)
    )
    same = {"params": {"diameter": 14, "angle": 90, "pieces": 3, "radius_ratio": 1.5}}
    desk.changed(one.order, factories.line(quantity=1, **same), line(quantity=2), now=at(5))
    first, added = one.order.lines.order_by("position")
    assert (first.tables, added.tables) == (None, {**frozen, "times": frozen["times"] + 1})
    of_first = Task.objects.filter(operation="cut", segment__position=1, fitting__line=first)
    assert set(of_first.values_list("minutes", flat=True)) == {cut}
    of_added = Task.objects.get(operation="cut", segment__position=1, fitting__line=added)
    assert of_added.minutes == pytest.approx(2 * cut)


def test_only_the_tag_changes_in_place_and_nothing_is_made_again():
    one = floor(quantity=2)
    codes = [fitting.code for fitting in one.fittings]
    shown = desk.changed(one.order, line(tag="AHU-9"), now=at(5))
    assert (shown.lines[0].wish.kind, shown.lines[0].made) == ("wording", 0)
    assert [fitting.code for fitting in one.fittings] == codes
    assert one.order.lines.get().tag == "AHU-9"


def test_the_same_lengths_in_millimetres_are_no_change():
    one = floor(quantity=1)
    asked = {"line": 1, "params": {"diameter": 355.6, "angle": 90, "pieces": 3, "radius_ratio": 1.5}}
    with pytest.raises(WrongInput, match="changes nothing"):
        desk.changed(one.order, asked, now=at(5), unit="mm")


def test_a_pin_goes_along_with_its_line():
    one = floor(quantity=1)
    pin_set(number=one.order.number, line=1, actor=factories.SUPERVISOR_ACTOR, now=at(1))
    desk.changed(one.order, line(gauge=22), now=at(5))
    assert Pin.objects.get().line == one.order.lines.get()


# -- added and cancelled ---------------------------------------------------------


def test_lines_are_added_and_cancelled_in_one_change():
    one = floor(quantity=2)
    desk.changed(one.order, line(cancel=True), factories.line(quantity=3, tag="NEW"), now=at(5))
    assert list(one.order.lines.values_list("position", "tag")) == [(2, "NEW")]
    assert Order.objects.get(pk=one.order.pk).fittings_total == 3
    traveler = Traveler.objects.get(line__ended_version=3)
    assert (traveler.void_at, traveler.replaced_by) == (at(5), None)


def test_a_cancelled_line_s_position_is_not_given_again():
    one = floor(quantity=1)
    desk.changed(one.order, line(cancel=True), factories.line(quantity=1), now=at(5))
    desk.changed(one.order, line(2, cancel=True), factories.line(quantity=1), now=at(6))
    assert list(one.order.lines.values_list("position", flat=True)) == [3]


def test_an_order_of_which_nothing_would_be_left_is_to_be_cancelled_instead():
    one = floor(quantity=1)
    before = facts()
    with pytest.raises(WrongInput, match="Cancel the order instead"):
        desk.changed(one.order, line(cancel=True), now=at(5))
    assert facts() == before


# -- refused -----------------------------------------------------------------------


def test_a_stale_version_is_refused_and_nothing_is_changed():
    one = floor(quantity=2)
    before = facts()
    data = {"version": 1, "lines": [line(quantity=3)]}
    with pytest.raises(Conflict, match="is at version 2 now; you began with 1"):
        order_change(number=one.order.number, data=data, actor=desk.ACTOR, now=at(5))
    assert facts() == before


def test_a_scan_that_alters_what_was_shown_makes_it_be_shown_again():
    one = floor(quantity=2)
    shown = desk.shown(one.order, line(quantity=1), now=at(2))
    one.scan("cut", one.segment(1, fitting=1).code)
    # fitting 1 is begun now, but the other one goes: nothing that was shown is altered
    assert desk.shown(one.order, line(quantity=1), now=at(3)).seen == shown.seen
    one.scan("cut", one.segment(1, fitting=2).code)
    before = facts()
    with pytest.raises(Conflict, match="since this change of order"):
        desk.changed(one.order, line(quantity=1), now=at(4), seen=shown.seen)
    assert facts() == before
    again = desk.shown(one.order, line(quantity=1), now=at(5))
    desk.changed(one.order, line(quantity=1), now=at(6), seen=again.seen)


@pytest.mark.parametrize(
    "wrong, sentence",
    [
        ({"line": 7, "quantity": 1}, "There is no line 7"),
        ({"line": 1, "quantity": 0}, "Quantity is 0"),
        ({"line": 1, "started": "burn"}, "Started is"),
        ({"line": 1, "params": {"diameter": -3, "angle": 90}}, "iameter"),
        ({"line": 1, "quantitty": 3}, "is not a field here"),
        ({"cancel": True}, "Say which line is cancelled"),
        ({"quantity": 2}, "ind"),
    ],
)
def test_wrong_lines_are_named_and_nothing_is_changed(wrong, sentence):
    one = floor(quantity=1)
    before = facts()
    with pytest.raises(WrongInput) as problem:
        desk.changed(one.order, wrong, now=at(5))
    assert sentence in problem.value.detail
    assert all(error.field.startswith("lines[0]") for error in problem.value.errors)
    assert facts() == before


def test_a_line_named_twice_is_refused():
    one = floor(quantity=1)
    with pytest.raises(WrongInput, match="named twice"):
        desk.changed(one.order, line(quantity=2), line(cancel=True), now=at(5))


def test_a_draft_is_edited_not_changed():
    made = factories.order()
    with pytest.raises(Conflict, match="A draft is edited as it is"):
        desk.changed(made, line(quantity=2), now=at(5))


# -- shown ---------------------------------------------------------------------------


def test_what_is_shown_of_started_work_is_counted_by_operation_and_costed():
    one = floor(quantity=2)
    for position in (1, 2):
        one.scan("cut", one.segment(position, fitting=1).code)
        one.scan("cut", one.segment(position, fitting=2).code)
    one.scan("roll", one.segment(1, fitting=2).code)
    before = facts()
    shown = desk.shown(one.order, line(cancel=True, started="scrap"), factories.line(quantity=1), now=at(30))
    assert facts() == before
    [going, added] = shown.lines
    assert [(step.operation, step.done) for step in going.going] == [("cut", 4), ("roll", 1)]
    assert (going.scrap.pieces, going.made, added.made) == (4, 0, 1)
    development = one.order.lines.get().development
    first, second = development["segments"][:2]
    assert going.scrap.area_in2 == pytest.approx(2 * first["cut_area"] + 2 * second["cut_area"])
    assert going.scrap.weight_lb == pytest.approx(2 * first["weight"] + 2 * second["weight"])
    done = Task.objects.filter(state="done").values_list("minutes", flat=True)
    assert len(done) == 5
    assert going.hours == pytest.approx(sum(done) / 60)
    assert going.scrap.cost is None  # nothing of it was cut by a plan: what it cost is not known


def test_every_change_is_in_the_history_with_words_for_each_line():
    one = floor(quantity=2)
    one.scan("cut", one.segment(1, fitting=1).code)
    one.scan("cut", one.segment(1, fitting=2).code)
    desk.changed(one.order, line(quantity=1, started="scrap"), now=at(5), note="The customer rang")
    change = one.order.changes.order_by("version").last()
    before, after = change.fields["line 1"]
    assert before.startswith("2 × ") and "24 ga galvanized, tag AHU-3" in before
    assert after.startswith("1 × ") and after.endswith("1 piece scrapped")
    assert change.fields["note"] == ["", "The customer rang"]
    assert (change.version, change.made_by, change.made_at) == (3, "office", at(5))


def test_a_change_moves_the_board():
    from travelers.pulse import pulse_version

    one = floor(quantity=1)
    before = pulse_version()
    desk.changed(one.order, line(quantity=2), now=at(5))
    assert pulse_version() > before


def test_unchanged_lines_sent_along_are_left_alone():
    one = floor(quantity=2)
    desk.changed(one.order, line(quantity=2), factories.line(quantity=1), now=at(5))
    assert list(one.order.changes.order_by("version").last().fields) == ["line 2"]
    assert desk.states(one.order) == ["open"] * 3
    assert OrderLine.objects.filter(ended_version=None).count() == 2
    assert Segment.objects.count() == 3 * 2 + 5
    assert replay(write=False).differences == []


# -- papers, deliveries, pages -------------------------------------------------------


def test_papers_are_those_of_what_stands():
    one = floor(quantity=3)
    one.scan("cut", one.segment(1, fitting=1).code)
    one.scan("cut", one.segment(1, fitting=2).code)
    desk.changed(one.order, line(quantity=2), factories.line(quantity=1, gauge=22), now=at(5))
    desk.changed(one.order, line(quantity=1, started="go_on"), now=at(6))
    order = Order.objects.get(pk=one.order.pk)
    rows = (
        Traveler.objects.filter(line__order=order, void_at=None)
        .select_related("line")
        .order_by("line__position")
    )
    sheets = papers.traveler_sheets(order, rows)
    assert [(sheet.line, [piece.number for piece in sheet.pieces], sheet.quantity) for sheet in sheets] == [
        (1, [1, 2], 2),
        (2, [1], 1),
    ]
    assert sheets[1].tables == "Shop tables of version 3 of the order"
    labels = papers.label_items(order)
    assert {(item.line, item.fitting_number) for item in labels} == {(1, 1), (1, 2), (2, 1)}
    assert papers.packing_list(number=order.number, now=at(7)).startswith(b"%PDF")


def test_what_is_on_a_delivery_is_not_taken_out_any_more():
    one = floor(quantity=3)
    finish(one, 1)
    delivery_make(number=one.order.number, wanted=None, actor=desk.ACTOR, now=at(30))
    shown = desk.changed(
        one.order, line(cancel=True, started="scrap"), factories.line(quantity=1), now=at(60)
    )
    assert (shown.lines[0].delivered, shown.lines[0].stays) == (1, 1)
    assert desk.states(one.order) == ["done", "void scrap", "void scrap", "open"]


def test_the_page_shows_the_change_then_makes_it(browse):
    one = floor(quantity=2)
    one.scan("cut", one.segment(1, fitting=1).code)
    office = browse("office")
    address = f"/orders/{one.order.number}/change/"
    page = office.get(address)
    assert page.status_code == 200 and "Cut: 1 piece" in page.content.decode()
    typed = {
        name: value
        for row in page.context["entry"].rows
        for field in row.form
        if (value := field.value()) not in (None, False)
        for name in [field.html_name]
    }
    typed |= {"version": "2", "added": "0", "note": "By phone", "line-1-started": "scrap"}
    nothing = office.post(address, {**typed, "act": "show"})
    assert nothing.status_code == 400 and "Nothing" in nothing.content.decode()
    typed["line-1-diameter"] = "16 1/2"
    typed["line-1-quantity"] = "1"
    shown = office.post(address, {**typed, "act": "show"})
    text = shown.content.decode()
    assert shown.status_code == 200 and "1 piece becomes scrap" in text
    assert OrderLine.objects.count() == 1
    seen = shown.context["entry"].shown.seen
    one.scan("cut", one.segment(2, fitting=1).code)
    again = office.post(address, {**typed, "act": "make", "seen": seen})
    assert again.status_code == 409 and "2 pieces become scrap" in again.content.decode()
    seen = again.context["entry"].shown.seen
    made = office.post(address, {**typed, "act": "make", "seen": seen})
    assert made.status_code == 302
    new = one.order.lines.get()
    assert (new.params["diameter"], new.quantity) == (16.5, 1)
    told = office.get(f"/orders/{one.order.number}/").content.decode()
    assert "2 pieces scrapped" in told and "By phone" in told


def test_the_page_keeps_what_was_typed_where_something_is_wrong(browse):
    one = floor(quantity=1)
    office = browse("office")
    address = f"/orders/{one.order.number}/change/"
    added = office.post(address, {"version": "2", "added": "0", "act": "add", "line-1-quantity": "7"})
    assert 'name="new-0-quantity"' in added.content.decode() and 'value="7"' in added.content.decode()
    wrong = office.post(
        address,
        {"version": "2", "added": "1", "act": "show", "new-0-kind": "gored_elbow", "new-0-quantity": "x"},
    )
    assert wrong.status_code == 400
    assert "New line: Quantity is “x”" in wrong.content.decode()


@pytest.mark.parametrize("going", [2, 12])
def test_travelers_of_one_fitting_each_are_renewed_in_the_same_few_queries(
    django_assert_max_num_queries, going
):
    one = floor(quantity=going + 1, traveler_per="fitting")
    codes = [fitting.traveler_code for fitting in one.fittings]
    Fitting.objects.filter(order=one.order, number__gt=1).update(
        taken_out_at=at(5), taken_out_as="keep", taken_out_version=2
    )
    with django_assert_max_num_queries(8):
        travelers_renew(codes[1:], version=2, successors=(), now=at(5))
    void = Traveler.objects.exclude(void_at=None)
    assert set(void.values_list("code", flat=True)) == set(codes[1:])
    assert set(void.values_list("replaced_by", flat=True)) == {None}
