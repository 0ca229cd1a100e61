"""Orders are made, changed and cancelled through their services only; bad input changes nothing."""

from datetime import date

import pytest

from fittings.models import Customer, Order, OrderChange, OrderLine
from fittings.orders import next_free_number, order_cancel, order_create, order_update
from shared.problems import Conflict, NotFound, WrongInput
from tests.factories import NOW, OFFICE_ACTOR, SUPERVISOR_ACTOR, elbow_params, line, order, order_body
from tests.threads import together


def create(**changes):
    return order_create(data=order_body(**changes), actor=OFFICE_ACTOR, now=NOW)


def update(of_order, seen, /, **changes):
    data = {"version": seen, **changes}
    return order_update(number=of_order, data=data, actor=SUPERVISOR_ACTOR, now=NOW)


def rows():
    return [model.objects.count() for model in (Order, OrderLine, Customer, OrderChange)]


def fields_of(caught) -> list[str]:
    return [error.field for error in caught.value.errors]


# -- making ------------------------------------------------------------------


def test_an_order_is_made_with_its_lines_and_a_new_customer(shop):
    made = create(lines=[line(), line(quantity=2, tag="AHU-4", end_a="flange")])
    assert (made.number, made.state, made.version) == ("1001", "draft", 1)
    assert (made.customer.name, made.due_on, made.created_by) == (
        "Example Mechanical",
        date(2026, 3, 5),
        "office",
    )
    kept = list(made.lines.order_by("position").values_list("position", "quantity", "tag", "end_a"))
    assert kept == [(1, 4, "AHU-3", "raw"), (2, 2, "AHU-4", "flange")]
    assert made.lines.first().development is None


def test_the_same_customer_is_found_whatever_the_capitals(shop):
    first, second = create(), create(customer="  example   MECHANICAL ")
    assert first.customer == second.customer
    assert Customer.objects.count() == 1


def test_only_what_a_fitting_needs_must_be_given(shop):
    made = order_create(
        data={
            "customer": "Someone",
            "lines": [
                {
                    "quantity": 1,
                    "kind": "gored_elbow",
                    "material": "galvanized",
                    "gauge": 24,
                    "params": {"diameter": 14, "angle": 90},
                }
            ],
        },
        actor=OFFICE_ACTOR,
        now=NOW,
    )
    kept = made.lines.get()
    assert (made.due_on, made.priority, kept.end_a, kept.allowances) == (None, 5, "raw", None)
    assert kept.params == {"diameter": 14, "angle": 90}


def test_millimetres_are_kept_as_inches(shop):
    made = create(
        unit="mm",
        lines=[
            line(
                params={"diameter": 355.6, "angle": 90, "pieces": 5, "centerline_radius": 533.4},
                allowances={"lap": 12.7},
            )
        ],
    )
    kept = made.lines.get()
    assert kept.params == {"diameter": 14.0, "angle": 90, "pieces": 5, "centerline_radius": 21.0}
    assert kept.allowances == {"lap": 0.5}


def test_every_wrong_field_is_named_at_once_and_nothing_is_kept(shop):
    before = rows()
    with pytest.raises(WrongInput) as caught:
        create(
            customer="",
            due="2026-02-30",
            priority=10,
            notes="x" * 2001,
            lines=[
                line(quantity=0),
                line(material="gold"),
                line(params=elbow_params(angle=-5, pieces=61)),
                line(tag="bell\x07"),
                "four elbows",
            ],
        )
    assert fields_of(caught) == [
        "customer",
        "due",
        "priority",
        "notes",
        "lines[0].quantity",
        "lines[1].material",
        "lines[2].params.angle",
        "lines[2].params.pieces",
        "lines[3].tag",
        "lines[4]",
    ]
    assert all(error.limit and error.message for error in caught.value.errors)
    assert rows() == before


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"lines": []}, "lines"),
        ({"lines": None}, "lines"),
        ({"lines": {}}, "lines"),
        ({"lines": [line()] * 501}, "lines"),
        ({"lines": [line(quantity=10_001)]}, "lines[0].quantity"),
        ({"lines": [line(quantity=True)]}, "lines[0].quantity"),
        ({"lines": [line(quantity=1.5)]}, "lines[0].quantity"),
        ({"lines": [line(quantity="4")]}, "lines[0].quantity"),
        ({"lines": [line(quantity=None)]}, "lines[0].quantity"),
        ({"lines": [line(gauge=True)]}, "lines[0].gauge"),
        ({"lines": [line(gauge=9)]}, "lines[0].gauge"),
        ({"lines": [line(end_a="glued")]}, "lines[0].end_a"),
        ({"lines": [line(end_b=7)]}, "lines[0].end_b"),
        ({"lines": [line(traveler_per="week")]}, "lines[0].traveler_per"),
        ({"lines": [line(allowances={"lap": -1})]}, "lines[0].allowances.lap"),
        ({"lines": [line(allowances=[1])]}, "lines[0].allowances"),
        ({"lines": [line(params=None)]}, "lines[0].params"),
        ({"lines": [line(params=elbow_params(diameter="14 1/2"))]}, "lines[0].params.diameter"),
        ({"lines": [line(params=elbow_params(diameter=float("nan")))]}, "lines[0].params.diameter"),
        ({"lines": [line(qty=4)]}, "lines[0].qty"),
        ({"purchase_order": "P" * 61}, "purchase_order"),
        ({"purchase_order": 7}, "purchase_order"),
        ({"customer": "x" * 121}, "customer"),
        ({"customer": "one\x00two"}, "customer"),
        ({"customer": "half \ud800"}, "customer"),
        ({"due": "1999-12-31"}, "due"),
        ({"due": "2101-01-01"}, "due"),
        ({"due": "20260304"}, "due"),
        ({"due": 20260304}, "due"),
        ({"priority": 0}, "priority"),
        ({"number": "10 42"}, "number"),
        ({"number": "../admin"}, "number"),
        ({"number": "import"}, "number"),
        ({"number": "9" * 31}, "number"),
        ({"number": 1042}, "number"),
        ({"unit": "ft"}, "unit"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_a_wrong_field_is_named_and_nothing_is_kept(shop, changes, field):
    before = rows()
    with pytest.raises(WrongInput) as caught:
        create(**changes)
    assert fields_of(caught) == [field]
    assert caught.value.errors[0].limit
    assert caught.value.errors[0].message
    assert rows() == before


def test_a_body_that_is_no_object_is_refused(shop):
    with pytest.raises(WrongInput):
        order_create(data=[order_body()], actor=OFFICE_ACTOR, now=NOW)


# -- numbers -----------------------------------------------------------------


def test_numbers_go_up_from_1001(shop):
    assert [order().number for _ in range(3)] == ["1001", "1002", "1003"]


def test_a_number_that_was_chosen_is_passed_over(shop):
    order(number="1002")
    assert [order().number for _ in range(3)] == ["1001", "1003", "1004"]


def test_a_number_chosen_far_above_does_not_move_the_series(shop):
    order(number="20261125")
    assert order().number == "1001"


def test_the_next_number_takes_few_queries_however_many_orders_there_are(shop, django_assert_max_num_queries):
    first = order()
    Order.objects.bulk_create(
        Order(number=str(number), customer=first.customer, created_at=NOW, created_by="office")
        for number in range(1002, 4001)
    )
    with django_assert_max_num_queries(4):
        assert next_free_number() == "4001"


def test_a_taken_number_is_a_conflict_that_names_it(shop):
    order(number="JOB-7.1")
    before = rows()
    with pytest.raises(Conflict) as caught:
        create(number="JOB-7.1", customer="Another")
    assert caught.value.errors[0].field == "number"
    assert caught.value.errors[0].value == "JOB-7.1"
    assert rows() == before


def test_orders_made_at_the_same_moment_get_different_numbers(live_shop):
    made = []

    def work():
        for _ in range(3):
            made.append(order().number)

    together(*[work] * 8)
    assert sorted(made) == [str(number) for number in range(1001, 1025)]
    assert Customer.objects.count() == 1


# -- changing ----------------------------------------------------------------


def test_a_change_makes_the_next_version_and_says_what_it_was(shop):
    made = order()
    changed = update(made.number, 1, due="2026-03-09", priority=1)
    assert (changed.version, changed.due_on, changed.priority) == (2, date(2026, 3, 9), 1)
    kept = OrderChange.objects.get()
    assert kept.fields == {"due": ["2026-03-05", "2026-03-09"], "priority": ["3", "1"]}
    assert (kept.version, kept.made_by, kept.made_at) == (2, "supervisor", NOW)


def test_fields_that_are_left_out_stay(shop):
    made = order(notes="Call first")
    changed = update(made.number, 1, priority=1)
    assert (changed.notes, changed.purchase_order, changed.lines.count()) == ("Call first", "PO-77", 1)


def test_a_change_that_changes_nothing_keeps_the_version(shop):
    made = order()
    assert update(made.number, 1, priority=3, lines=[line()]).version == 1
    assert OrderChange.objects.count() == 0


def test_lines_are_replaced_whole(shop):
    made = order(lines=[line(), line(tag="B")])
    changed = update(made.number, 1, lines=[line(tag="C", quantity=9)])
    assert list(changed.lines.values_list("position", "tag", "quantity")) == [(1, "C", 9)]
    assert OrderChange.objects.get().fields == {"lines": ["2 lines, 8 in all", "1 line, 9 in all"]}


def test_a_stale_change_is_refused_and_names_what_changed_since(shop):
    made = order()
    update(made.number, 1, due="2026-03-09")
    update(made.number, 2, lines=[line(quantity=5)])
    update(made.number, 3, due="2026-03-12")
    before = rows()
    with pytest.raises(Conflict) as caught:
        update(made.number, 1, notes="Mine")
    assert caught.value.extra == {"version": 4, "changed": ["due", "lines"]}
    assert fields_of(caught) == ["version", "due", "lines"]
    assert "Due went from “2026-03-05” to “2026-03-12” (by supervisor)." in caught.value.detail
    assert rows() == before
    assert Order.objects.get().notes == ""


def test_a_version_that_is_not_there_yet_is_refused(shop):
    with pytest.raises(Conflict):
        update(order().number, 9, notes="Mine")


@pytest.mark.parametrize("version", [None, "1", True, 0, 1.5])
def test_a_change_must_name_the_version_that_it_saw(shop, version):
    made = order()
    with pytest.raises(WrongInput) as caught:
        update(made.number, version, notes="Mine")
    assert fields_of(caught) == ["version"]


def test_a_wrong_change_changes_nothing(shop):
    made = order()
    with pytest.raises(WrongInput) as caught:
        update(made.number, 1, priority=1, lines=[line(), line(params=elbow_params(angle=181))])
    assert fields_of(caught) == ["lines[1].params.angle"]
    made.refresh_from_db()
    assert (made.priority, made.version, made.lines.count()) == (3, 1, 1)


def test_the_number_of_an_order_is_kept(shop):
    made = order()
    assert update(made.number, 1, number=made.number, priority=1).version == 2
    with pytest.raises(WrongInput) as caught:
        update(made.number, 2, number="7")
    assert fields_of(caught) == ["number"]


def test_a_released_order_can_still_get_another_date_priority_note_and_purchase_order(shop):
    made = order()
    Order.objects.update(state="released")
    changed = update(made.number, 1, due=None, priority=1, notes="Hurry", purchase_order="PO-78")
    assert (changed.version, changed.due_on, changed.priority) == (2, None, 1)


@pytest.mark.parametrize("changes", [{"lines": [line(quantity=5)]}, {"customer": "Another"}])
def test_what_is_made_of_a_released_order_cannot_be_changed(shop, changes):
    made = order()
    Order.objects.update(state="released")
    before = rows()
    with pytest.raises(Conflict) as caught:
        update(made.number, 1, priority=1, **changes)
    assert "released" in caught.value.detail
    assert fields_of(caught) == list(changes)
    made.refresh_from_db()
    assert (made.priority, made.version) == (3, 1)
    assert rows() == before


@pytest.mark.parametrize("state", ["done", "cancelled"])
def test_an_order_that_has_ended_cannot_be_changed(shop, state):
    made = order()
    Order.objects.update(state=state)
    with pytest.raises(Conflict) as caught:
        update(made.number, 1, notes="Too late")
    assert state in caught.value.detail


def test_an_order_that_is_not_there_is_not_found(shop):
    with pytest.raises(NotFound):
        update("4711", 1, notes="Mine")


def test_of_two_changes_at_the_same_moment_one_is_refused(live_shop):
    number = order().number

    def work(priority):
        try:
            update(number, 1, priority=priority)
            return "changed"
        except Conflict:
            return "conflict"

    outcomes = together(lambda: work(1), lambda: work(2))
    assert sorted(outcomes) == ["changed", "conflict"]
    assert Order.objects.get().version == 2


# -- cancelling --------------------------------------------------------------


def test_a_draft_is_cancelled(shop):
    made = order()
    cancelled = order_cancel(number=made.number, actor=OFFICE_ACTOR, now=NOW)
    assert (cancelled.state, cancelled.ended_at, cancelled.version) == ("cancelled", NOW, 2)


@pytest.mark.parametrize("state", ["released", "done", "cancelled"])
def test_only_a_draft_is_cancelled_here(shop, state):
    made = order()
    Order.objects.update(state=state)
    with pytest.raises(Conflict):
        order_cancel(number=made.number, actor=OFFICE_ACTOR, now=NOW)
    assert Order.objects.get().state == state
