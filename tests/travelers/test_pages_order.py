"""An order's own page: release, cancel, progress, where each fitting is."""

import pytest

from fittings.models import Fitting, Order
from tests import factories
from travelers.models import Task
from travelers.release import order_release

pytestmark = pytest.mark.django_db


def released(**changes):
    order = factories.order(**changes)
    order_release(number=order.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
    return Order.objects.get(pk=order.pk)


def test_draft_says_what_its_release_makes(office_page):
    factories.order(
        number="1042", lines=[factories.line(), factories.line(quantity=3, traveler_per="fitting")]
    )
    page = office_page.get("/orders/1042/").content.decode()
    assert "Release makes 7 fittings of 35 segments in all and 4 travelers" in page
    assert "/orders/1042/edit/" in page
    assert "travelers.pdf" not in page


def test_release_makes_what_was_said(office_page):
    order = factories.order(number="1042")
    answer = office_page.post("/orders/1042/release/", follow=True)
    page = answer.content.decode()
    order.refresh_from_db()
    assert order.state == "released"
    assert Fitting.objects.filter(order=order).count() == 4
    assert "Order 1042 is on the floor: 4 fittings." in page
    for paper in ("travelers.pdf", "labels.pdf", "packing-list.pdf"):
        assert f"/api/v1/orders/1042/{paper}" in page


def test_second_release_is_refused_with_a_sentence(office_page):
    released(number="1042")
    answer = office_page.post("/orders/1042/release/")
    assert answer.status_code == 409
    assert "Only a draft can be released." in answer.content.decode()


def test_nothing_is_released_by_opening_an_address(office_page):
    factories.order(number="1042")
    assert office_page.get("/orders/1042/release/").status_code == 405
    assert Order.objects.get().state == "draft"


def test_progress_is_counted_by_line_and_operation(office_page):
    order = released(number="1042")
    cut = Task.objects.filter(fitting__order=order, operation_id="cut").order_by("pk")
    Task.objects.filter(pk__in=cut.values("pk")[:3]).update(state="done")
    Task.objects.filter(pk=cut.order_by("-pk").first().pk).update(state="held")
    page = office_page.get("/orders/1042/").content.decode()
    assert "3/20" in page
    assert "0/4" in page
    assert "1 on hold" in page


def test_page_lists_where_each_fitting_is(office_page):
    released(number="1042")
    page = office_page.get("/orders/1042/").content.decode()
    assert page.count("5 gores at cut") == 4


def test_cost_does_not_grow_with_the_order(office_page, django_assert_max_num_queries):
    released(number="1", lines=[factories.line(quantity=1)])
    released(number="2", lines=[factories.line(quantity=60), factories.line(quantity=30)])
    office_page.get("/orders/1/")
    for number in ("1", "2"):
        with django_assert_max_num_queries(21):
            page = office_page.get(f"/orders/{number}/").content.decode()
    assert "1–50 of 90 fittings" in page


def test_cancelled_order_offers_nothing_more(office_page):
    released(number="1042")
    page = office_page.post("/orders/1042/cancel/", follow=True).content.decode()
    assert Order.objects.get().state == "cancelled"
    assert "Order 1042 is cancelled" in page
    assert "Cancel the order" not in page
    assert "/orders/1042/edit/" not in page
    assert office_page.get("/orders/1042/edit/").status_code == 409


def test_released_order_changes_only_its_head(office_page):
    order = released(number="1042")
    page = office_page.get("/orders/1042/edit/").content.decode()
    assert 'name="line-0-quantity"' not in page
    data = {
        "customer": "x",
        "due": "17 Dec 2026",
        "priority": "1",
        "act": "save",
        "version": str(order.version),
    }
    assert office_page.post("/orders/1042/edit/", data).status_code == 302
    order.refresh_from_db()
    assert (order.priority, str(order.due_on)) == (1, "2026-12-17")
    assert order.lines.count() == 1


def test_line_page_shows_the_frozen_sizes(office_page):
    released(number="1042")
    page = office_page.get("/orders/1042/lines/1/").content.decode()
    assert "frozen" in page
    assert "Throat radius" in page
    assert page.count("<svg") > 4


def test_unknown_order_says_where_to_look(office_page):
    answer = office_page.get("/orders/nope/")
    assert answer.status_code == 404
    assert "There is no order nope." in answer.content.decode()


def test_display_may_not_release(browse):
    factories.order(number="1042")
    assert browse("display").post("/orders/1042/release/").status_code == 403
