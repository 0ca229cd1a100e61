"""Release and cancelling: all or nothing, once."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fittings import services, tables
from fittings.developing import develop_for
from fittings.models import CodeSeries, Fitting, Order, OrderLine, Segment
from fittings.orders import order_update
from shared.problems import Conflict, NotFound, WrongInput
from tests import factories
from tests.factories import NOW, OFFICE_ACTOR
from tests.travelers.floor import LATER, floor
from travelers.models import Operation, Pulse, Task, Traveler
from travelers.release import order_cancel, order_release, release_ready
from travelers.replay import replay

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]
MODELS = (Fitting, Segment, Task, Traveler)
LINE_FACTS = ("order", "quantity", "kind", "material", "gauge", "params", "end_a", "end_b", "allowances")


def release(order: Order) -> Order:
    return order_release(number=order.number, actor=OFFICE_ACTOR, now=NOW)


def rows() -> list:
    """Everything that a release could change."""
    counts = [model.objects.count() for model in MODELS]
    orders = list(Order.objects.order_by("pk").values())
    lines = list(OrderLine.objects.order_by("pk").values())
    return [counts, orders, lines, CodeSeries.objects.get().next_number, Pulse.objects.get().version]


# -- what comes of it ---------------------------------------------------------------


def test_an_elbow_of_five_pieces_becomes_two_end_and_three_middle_segments():
    """Common practice, no source: the end gores are halves of a middle gore, at positions 1 and last."""
    order = release(factories.order(lines=[factories.line(quantity=1)]))
    fitting = Fitting.objects.get(order=order)
    roles = list(fitting.segments.order_by("position").values_list("role", flat=True))
    assert roles == ["end_gore", "middle_gore", "middle_gore", "middle_gore", "end_gore"]
    assert Task.objects.filter(fitting=fitting, segment=None).count() == 2
    assert Task.objects.filter(fitting=fitting).exclude(segment=None).count() == 15


def test_worked_ends_add_a_task_and_raw_ends_none():
    order = release(
        factories.order(lines=[factories.line(quantity=1, end_b="flange"), factories.line(quantity=1)])
    )
    worked, raw = Fitting.objects.filter(order=order).order_by("line__position")
    assert list(worked.tasks.filter(segment=None).order_by("step").values_list("operation", flat=True)) == [
        "assemble",
        "ends",
        "wrap",
    ]
    assert list(raw.tasks.filter(segment=None).order_by("step").values_list("operation", flat=True)) == [
        "assemble",
        "wrap",
    ]


def test_fourteen_gauge_is_welded_and_sixteen_closed_mechanically():
    """Common practice, no source: 16 gauge and lighter closed mechanically, 14 and heavier welded."""
    order = release(
        factories.order(lines=[factories.line(quantity=1, gauge=14), factories.line(quantity=1, gauge=16)])
    )
    heavy, light = Fitting.objects.filter(order=order).order_by("line__position")
    closing = Task.objects.filter(operation__in=("seam", "assemble"))
    methods = [set(closing.filter(fitting=one).values_list("method", flat=True)) for one in (heavy, light)]
    assert methods == [{"Weld seam", "Weld gores"}, {"Lock seam", "Press standing seams"}]


def test_the_order_says_who_when_and_by_which_tables():
    order = release(factories.order())
    order.refresh_from_db()
    assert (order.state, order.released_at, order.released_by) == ("released", NOW, "office")
    assert (order.fittings_total, order.fittings_done) == (4, 0)
    assert order.tables == tables.versions_in_force()
    assert order.version == 2


def test_numbers_stay_as_released_when_the_tables_change():
    order = release(factories.order(lines=[factories.line(quantity=1)]))
    before = OrderLine.objects.get(order=order).development
    seam = [dict(row) for row in tables.rows("allowances")]
    for row in seam:
        row["amount_in"] = row["amount_in"] + 0.5
    services.table_change(name="allowances", data={"rows": seam, "version": 1}, actor=OFFICE_ACTOR, now=LATER)
    assert OrderLine.objects.get(order=order).development == before
    second = release(factories.order(lines=[factories.line(quantity=1)]))
    assert OrderLine.objects.get(order=second).development != before
    assert Order.objects.get(pk=second.pk).tables["allowances"] == 2


def test_only_the_first_operation_is_ready_and_the_times_are_those_of_the_table():
    order = release(factories.order(lines=[factories.line(quantity=1)]))
    tasks = Task.objects.filter(fitting__order=order)
    assert set(tasks.filter(operation="cut").values_list("state", "ready_at")) == {("ready", NOW)}
    assert set(tasks.exclude(operation="cut").values_list("state", "ready_at")) == {("waiting", None)}
    stretch_out_ft = 3.14159265 * (14 + 0.0276) / 12
    assert tasks.filter(operation="roll").first().minutes == pytest.approx(
        0.8 + 0.15 * stretch_out_ft, abs=2e-3
    )
    assert tasks.get(operation="assemble").minutes == pytest.approx(2 + 0.5 * 4 * stretch_out_ft, rel=0.06)
    assert replay(write=False).differences == []


def test_travelers_for_the_lot_or_for_each():
    order = release(
        factories.order(
            lines=[factories.line(quantity=3), factories.line(quantity=3, traveler_per="fitting")]
        )
    )
    first, second = order.lines.order_by("position")
    assert list(first.travelers.values_list("first_number", "last_number")) == [(1, 3)]
    assert list(second.travelers.order_by("first_number").values_list("first_number", "last_number")) == [
        (1, 1),
        (2, 2),
        (3, 3),
    ]
    codes = [one.traveler_code for one in Fitting.objects.filter(line=second).order_by("number")]
    assert codes == list(second.travelers.order_by("first_number").values_list("code", flat=True))


def test_no_code_is_given_out_twice():
    release(factories.order())
    release(factories.order())
    codes = [
        code
        for model in (Fitting, Segment, Traveler)
        for code in model.objects.values_list("code", flat=True)
    ]
    assert len(codes) == len(set(codes)) == 2 * (4 + 20 + 1)


# -- equal lines ---------------------------------------------------------------------


def test_equal_lines_are_developed_once_and_others_by_themselves(monkeypatch):
    """A thousand equal lines of one order: one development, the same for all of them."""
    differing = [
        factories.line(quantity=1, gauge=22),
        factories.line(quantity=1, material="stainless"),
        factories.line(quantity=1, end_a="flange"),
        factories.line(quantity=1, end_b="flange"),
        factories.line(quantity=1, allowances={"lap": 1}),
        factories.line(quantity=1, params=factories.elbow_params(angle=45)),
        factories.line(quantity=1, kind="gored_elbow", params=factories.elbow_params(seam_at="side")),
    ]
    order = factories.order(lines=[factories.line(quantity=1)])
    first = order.lines.get()
    facts = {name: getattr(first, name) for name in LINE_FACTS}
    OrderLine.objects.bulk_create(OrderLine(**facts, position=2 + at) for at in range(999))
    others = factories.order(lines=differing)
    for at, line in enumerate(others.lines.order_by("position")):
        OrderLine.objects.filter(pk=line.pk).update(order=order, position=1001 + at)
    asked = []

    def counted(**facts):
        asked.append(facts)
        return develop_for(**facts)

    monkeypatch.setattr("travelers.release.develop_for", counted)
    release(order)
    assert len(asked) == 1 + len(differing)
    by_line = OrderLine.objects.filter(order=order).order_by("position").values_list("development", flat=True)
    assert len(by_line) == 1000 + len(differing)
    assert all(one == by_line[0] for one in by_line[:1000])
    assert all(one != by_line[0] for one in by_line[1000:])
    assert Task.objects.filter(fitting__line__position=1000).count() == 17
    assert Task.objects.filter(fitting__line__position=1003, operation="ends").exists()


# -- refusals ------------------------------------------------------------------------------


def test_an_order_is_released_once():
    order = release(factories.order())
    before = rows()
    with pytest.raises(Conflict, match="is released since Mon 2 Mar, 08:00. Only a draft can be released"):
        release(order)
    assert rows() == before


def test_an_order_without_lines_is_refused():
    order = factories.order()
    order.lines.all().delete()
    before = rows()
    with pytest.raises(WrongInput) as caught:
        release(order)
    assert [(one.field, one.value, one.limit) for one in caught.value.errors] == [("lines", 0, "1 or more")]
    assert rows() == before


@pytest.mark.parametrize("is_released", [False, True])
def test_a_cancelled_order_is_not_released(is_released):
    order = factories.order()
    if is_released:
        release(order)
    order_cancel(number=order.number, actor=OFFICE_ACTOR, now=LATER)
    before = rows()
    with pytest.raises(Conflict, match="is cancelled"):
        release(order)
    assert rows() == before


def test_an_order_that_does_not_exist():
    before = rows()
    for act in (order_release, order_cancel):
        with pytest.raises(NotFound):
            act(number="nothing", actor=OFFICE_ACTOR, now=NOW)
    assert rows() == before


def test_one_line_that_cannot_be_made_any_more_stops_all_of_it():
    """Drafts are checked when entered; a table can change after that."""
    order = factories.order(
        lines=[factories.line(), factories.line(material="stainless"), factories.line(gauge=26)]
    )
    gauges = [dict(row) for row in tables.rows("gauges") if row["material"] != "stainless"]
    services.table_change(name="gauges", data={"rows": gauges, "version": 1}, actor=OFFICE_ACTOR, now=NOW)
    before = rows()
    with pytest.raises(WrongInput) as caught:
        release(order)
    assert [one.field for one in caught.value.errors] == ["lines[1].material"]
    assert rows() == before


def test_a_line_without_a_route_is_refused():
    order = factories.order()
    routes = [dict(row, kind="pipe") for row in tables.rows("routes") if row["kind"] == "*"]
    services.table_change(name="routes", data={"rows": routes, "version": 1}, actor=OFFICE_ACTOR, now=NOW)
    before = rows()
    with pytest.raises(WrongInput, match="Line 1 has no route"):
        release(order)
    assert rows() == before


def test_a_piece_that_no_step_is_for_is_refused_by_its_name():
    """Its label would be a code that no station takes."""
    ring_cap = {"diameter": 14, "depth": 1.5, "construction": "ring"}
    order = factories.order(lines=[factories.line(), factories.line(kind="end_cap", params=ring_cap)])
    rules = [dict(row) for row in tables.rows("routes")]
    rules.insert(0, rules[0] | {"operation": "cut", "form": "flat", "method": "none"})
    services.table_change(name="routes", data={"rows": rules, "version": 1}, actor=OFFICE_ACTOR, now=NOW)
    before = rows()
    with pytest.raises(WrongInput) as caught:
        release(order)
    (error,) = caught.value.errors
    assert (error.field, error.value) == ("lines[1]", "end_cap")
    assert error.message == "Line 2 has no step for piece 2 (disc): no row of the route table fits it."
    assert rows() == before


def test_where_no_segment_has_a_step_the_fittings_alone_are_scanned():
    order = factories.order(lines=[factories.line(quantity=1)])
    rules = [dict(row) for row in tables.rows("routes") if row["operation"] in ("assemble", "wrap")]
    services.table_change(name="routes", data={"rows": rules, "version": 1}, actor=OFFICE_ACTOR, now=NOW)
    release(order)
    assert list(Task.objects.order_by("step").values_list("operation", "segment", "state")) == [
        ("assemble", None, "ready"),
        ("wrap", None, "waiting"),
    ]
    assert replay(write=False).differences == []


def test_what_fails_half_way_leaves_nothing(monkeypatch):
    order = factories.order()
    before = rows()

    def fails(*args, **kwargs):
        raise OSError("the disk is full")

    monkeypatch.setattr("travelers.release_rows._insert_tasks", fails)
    with pytest.raises(OSError, match="full"):
        release(order)
    assert rows() == before


# -- cancelling --------------------------------------------------------------------------------


def test_cancelling_voids_what_is_open_and_keeps_what_was_done():
    on = floor()
    on.scan("cut", on.segment(1).code)
    on.scan("wrap", on.fittings[1].code)
    order_cancel(number=on.order.number, actor=OFFICE_ACTOR, now=LATER)
    assert [one.state for one in on.fittings] == ["void", "done"]
    assert set(Segment.objects.filter(fitting=on.fittings[0]).values_list("state", flat=True)) == {"void"}
    assert set(Segment.objects.filter(fitting=on.fittings[1]).values_list("state", flat=True)) == {"done"}
    assert on.states("cut", 1) == ["done", "void", "void"]
    assert not Task.objects.open().exists()
    order = Order.objects.get(pk=on.order.pk)
    assert (order.state, order.ended_at) == ("cancelled", LATER)
    assert replay(write=False).differences == []


def test_a_draft_is_cancelled_too_and_nothing_twice():
    order = factories.order()
    order_cancel(number=order.number, actor=OFFICE_ACTOR, now=NOW)
    before = rows()
    with pytest.raises(Conflict, match="is cancelled"):
        order_cancel(number=order.number, actor=OFFICE_ACTOR, now=NOW + timedelta(days=1))
    assert rows() == before


def test_a_finished_order_is_not_cancelled():
    on = floor(quantity=1)
    on.scan("wrap", on.fitting.code)
    before = rows()
    with pytest.raises(Conflict, match="is done"):
        order_cancel(number=on.order.number, actor=OFFICE_ACTOR, now=LATER)
    assert rows() == before


def test_an_operation_of_the_shops_own_is_routed_without_code():
    Operation.objects.create(
        code="leak_test", name="Leak test", level="fitting", position=55, needs_own_scan=True
    )
    routes = [dict(row) for row in tables.rows("routes")]
    routes.append({**routes[0], "operation": "leak_test", "method": "Soap and look", "end": "flange"})
    services.table_change(name="routes", data={"rows": routes, "version": 1}, actor=OFFICE_ACTOR, now=NOW)
    on = floor(quantity=1, end_b="flange")
    assert on.task("leak_test").method == "Soap and look"
    refused = on.scan("wrap", on.fitting.code)
    assert (refused.outcome, refused.message) == (
        "refused",
        "Fitting 1 still needs its Leak test scan. Take it there first.",
    )
    assert (
        on.scan("leak_test", on.fitting.code).message
        == "Fitting 1 Leak test done. Next: Wrap. 11 missed before it."
    )
    assert on.scan("wrap", on.fitting.code).outcome == "recorded"


# -- worked out ahead --------------------------------------------------------------------------


def test_what_was_worked_out_before_a_change_is_worked_out_again():
    """The order's lines, the shop's tables and the codes can all change between working out and writing."""
    order = factories.order(lines=[factories.line(quantity=1)])
    ready = release_ready(order.number)
    changed = {"version": 1, "lines": [factories.line(quantity=3)]}
    order_update(number=order.number, data=changed, actor=OFFICE_ACTOR, now=NOW)
    made = order_release(number=order.number, actor=OFFICE_ACTOR, now=NOW, ready=ready)
    assert (made.fittings_total, Fitting.objects.count(), Segment.objects.count()) == (3, 3, 15)


def test_tables_that_changed_meanwhile_are_those_of_the_release():
    order = factories.order(lines=[factories.line(quantity=1)])
    ready = release_ready(order.number)
    laps = [dict(row, amount_in=row["amount_in"] + 0.5) for row in tables.rows("allowances")]
    services.table_change(name="allowances", data={"rows": laps, "version": 1}, actor=OFFICE_ACTOR, now=NOW)
    made = order_release(number=order.number, actor=OFFICE_ACTOR, now=NOW, ready=ready)
    assert made.tables["allowances"] == 2


def test_codes_that_were_given_out_meanwhile_are_not_given_out_again():
    first, second = (factories.order(lines=[factories.line(quantity=2)]) for _ in range(2))
    ready = release_ready(first.number)
    release(second)
    order_release(number=first.number, actor=OFFICE_ACTOR, now=NOW, ready=ready)
    codes = [
        code
        for model in (Fitting, Segment, Traveler)
        for code in model.objects.values_list("code", flat=True)
    ]
    assert len(codes) == len(set(codes)) == 2 * (2 + 10 + 1)


def test_two_that_were_worked_out_at_once_are_released_once():
    order = factories.order()
    ready = release_ready(order.number)
    release(order)
    before = rows()
    with pytest.raises(Conflict, match="Only a draft can be released"):
        order_release(number=order.number, actor=OFFICE_ACTOR, now=NOW, ready=ready)
    assert rows() == before


def test_many_lines_and_lots_of_one_keep_numbers_travelers_and_tasks_together():
    """More lines of equal work than one statement takes: 205 lines of 2, travelers for each fitting."""
    given = factories.line(
        quantity=2, traveler_per="fitting", kind="pipe", params={"diameter": 8, "length": 20}
    )
    order = release(factories.order(lines=[given] * 205))
    assert (order.fittings_total, Traveler.objects.count()) == (410, 410)
    for line in order.lines.order_by("position")[200:]:
        assert list(line.fittings.order_by("number").values_list("number", flat=True)) == [1, 2]
    per_fitting = {
        fitting.tasks.count()
        for fitting in Fitting.objects.filter(order=order, line__position__in=(1, 203, 205))
    }
    assert len(per_fitting) == 1 and per_fitting != {0}
    assert replay(write=False).differences == []
