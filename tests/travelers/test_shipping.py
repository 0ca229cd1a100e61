"""Deliveries: what leaves, once; who took it over, once; on pages, for programs, in `where`."""

import pytest

from fittings.models import Fitting, Order, OutwardEvent
from shared.problems import Conflict, WrongInput
from tests import factories
from tests.pages import alert_of, browser_of, text_of
from tests.travelers.documents.reading import words
from travelers import shipping
from travelers.models import DeliveredFitting, Delivery
from travelers.release import order_release

pytestmark = pytest.mark.usefixtures("shop")
WHO = {"actor": factories.OFFICE_ACTOR, "now": factories.NOW}
STROKES = [[[100, 200], [400, 100], [700, 300]], [[500, 50]]]


def finished(count: int = 4, **changes) -> Order:
    """A released order of two lines of four fittings; so many of each line are finished."""
    order = factories.order(lines=[factories.line(), factories.line(tag="AHU-4")], **changes)
    order_release(number=order.number, **WHO)
    Fitting.objects.filter(order=order, number__lte=count).update(state="done")
    return order


def make(order: Order, wanted=None) -> Delivery:
    return shipping.delivery_make(number=order.number, wanted=wanted, **WHO)


def receive(delivery: Delivery, **changes) -> Delivery:
    return shipping.delivery_receive(
        pk=delivery.pk, **{"name": "Jo Receiver", "strokes": STROKES, **WHO, **changes}
    )


def test_partial_deliveries_take_the_lowest_numbers_and_leave_the_rest():
    order = finished(3)
    first = make(order, {1: 2})
    assert sorted(first.fittings.values_list("fitting__line__position", "fitting__number")) == [
        (1, 1),
        (1, 2),
    ]
    second = make(order)
    assert sorted(second.fittings.values_list("fitting__line__position", "fitting__number")) == [
        (1, 3), (2, 1), (2, 2), (2, 3),
    ]  # fmt: skip
    assert (first.number, second.number) == (1, 2)
    with pytest.raises(Conflict, match="Nothing of order"):
        make(order)
    receive(first)
    so_far = shipping.shipped(order)
    assert (so_far.fittings, so_far.delivered, so_far.received, so_far.ready) == (8, 6, 2, 0)
    assert so_far.words == "2 of 8, 4 on the way" and not so_far.is_whole


def test_more_than_is_finished_is_refused_naming_line_count_and_limit():
    order = finished(2)
    with pytest.raises(WrongInput) as wrong:
        make(order, {1: 3, 2: 1, 9: 1})
    assert [(error.field, error.limit) for error in wrong.value.errors] == [
        ("line-1", "0 to 2"),
        ("line-9", "0 to 0"),
    ]
    with pytest.raises(WrongInput, match="at least one"):
        make(order, {1: 0})
    assert not Delivery.objects.exists() and not DeliveredFitting.objects.exists()


def test_a_delivery_is_received_once_and_told_to_other_systems():
    order = finished(4)
    delivery = receive(make(order))
    assert delivery.strokes == STROKES and delivery.handed_over_by == "office"
    with pytest.raises(Conflict, match="received by Jo Receiver before"):
        receive(delivery)
    with pytest.raises(Conflict, match="received by Jo Receiver before"):
        shipping.delivery_take_back(pk=delivery.pk, **WHO)
    event = OutwardEvent.objects.get(kind="order.shipped")
    assert event.facts == {"delivery": 1, "fittings": 8, "is_complete": True}


def test_what_is_taken_back_can_leave_again_under_another_number():
    order = finished(4)
    shipping.delivery_take_back(pk=make(order).pk, **WHO)
    again = make(order)
    assert (again.number, again.fittings.count()) == (2, 8)
    with pytest.raises(Conflict, match="was taken back"):
        receive(Delivery.objects.get(number=1))


@pytest.mark.parametrize(
    ("strokes", "said"),
    [
        ("M0 0L9 9", "1 to 100 strokes"),
        ([[[1, 1], [900, 300]]] * 101, "1 to 100 strokes"),
        ([[]], "no list of points"),
        ([[[1, 2, 3]]], "no pair of numbers"),
        ([[["1", 2]]], "no pair of numbers"),
        ([[[1, True]]], "no pair of numbers"),
        ([[[0, 0], [1001, 5]]], "outside of 1000 × 400"),
        ([[[0, 0], [float("nan"), 5]]], "outside of 1000 × 400"),
        ([[[1, 1]] * 4001], "more than 4,000 points"),
        ([[[10, 10], [20, 20]]], "too short"),
    ],
)
def test_what_is_no_signature_is_refused_and_changes_nothing(strokes, said):
    delivery = make(finished(1))
    with pytest.raises(WrongInput) as wrong:
        receive(delivery, strokes=strokes)
    assert said in wrong.value.detail and wrong.value.errors[0].field == "strokes"
    delivery.refresh_from_db()
    assert delivery.is_open


@pytest.mark.parametrize("name", ["", "   ", "x" * 81, "bell \x07", 5])
def test_a_name_is_needed(name):
    with pytest.raises(WrongInput) as wrong:
        receive(make(finished(1)), name=name)
    assert wrong.value.errors[0].field == "name"


def test_a_repeated_signature_of_a_tablet_counts_once(client):
    order = finished(2)
    make(order)
    key = {"HTTP_AUTHORIZATION": f"Token {factories.key_for('operator')}", "HTTP_IDEMPOTENCY_KEY": "a" * 32}
    address = f"/api/v1/orders/{order.number}/deliveries/1/receive/"
    body = {"name": "Jo Receiver", "strokes": STROKES}
    answers = [client.post(address, body, content_type="application/json", **key) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [200, 200]
    assert answers[0].json() == answers[1].json()
    assert OutwardEvent.objects.filter(kind="order.shipped").count() == 1


def test_the_office_makes_a_delivery_and_signs_it_off_on_paper(office_page):
    order = finished(3)
    address = f"/orders/{order.number}/deliveries/new/"
    wrong = office_page.post(address, {"line-1": "4", "line-2": "two"})
    assert wrong.status_code == 400 and "Line 2: enter how many leave" in alert_of(wrong)
    assert 'value="two"' in wrong.content.decode(), "what was typed stays"
    page = text_of(office_page.post(address, {"line-1": "2", "line-2": "1", "notes": "Dock 4"}, follow=True))
    assert f"Delivery {order.number}-1 is ready to leave." in page
    delivery = Delivery.objects.get()
    assert "To be signed" in text_of(office_page.get(f"/orders/{order.number}/"))
    paper = f"/deliveries/{delivery.pk}/signed-on-paper/"
    assert office_page.post(paper, {"name": ""}).status_code == 400
    page = text_of(office_page.post(paper, {"name": "Jo Receiver"}, follow=True))
    assert "was received by Jo Receiver" in page and "Left the shop: 3 of 8" in page
    (note,) = words(office_page.get(f"/api/v1/orders/{order.number}/deliveries/1/note.pdf").content)
    for part in (
        "Delivery note",
        f"{order.number}-1",
        "2 of 4",
        "1 of 4",
        "5 still to come",
        "Dock 4",
        "Jo Receiver",
    ):
        assert part in note
    assert "signed on paper" in note


def test_where_says_with_which_delivery_a_fitting_left(office_page):
    order = finished(1)
    delivery = make(order)
    row = Fitting.objects.get(order=order, line__position=1, number=1)
    place = office_page.get(f"/api/v1/fittings/{row.code}/").json()["where"]
    assert place["text"] == f"On delivery {order.number}-1"
    receive(delivery)
    place = office_page.get(f"/api/v1/fittings/{row.code}/").json()["where"]
    assert place["text"] == f"Left with delivery {order.number}-1"


def test_the_tablet_reads_deliveries_in_the_shops_language(client):
    from shopfloor.keys import TABLET_COOKIE

    client.cookies[TABLET_COOKIE] = factories.key_for("operator")
    assert "Nothing waits to leave." in text_of(client.get("/deliveries/"))
    make(finished(1))
    page = client.get("/deliveries/")
    assert "Ready to leave" in text_of(page) and "Received lately" not in text_of(page)
    assert browser_of("display").get("/deliveries/").status_code == 403
