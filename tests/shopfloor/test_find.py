"""The search: anything by any of its words, exact first, open before done, unknown words named."""

from __future__ import annotations

import pytest
from django.core.management import call_command

from fittings.models import Customer, Fitting, Order, SearchPlace, Segment
from fittings.orders import order_update
from fittings.search_index import index_begin, index_differences, index_rebuild
from fittings.services import customer_update
from shopfloor.find import find
from shopfloor.models import Station
from tests import factories
from tests.factories import NOW, OFFICE_ACTOR, SUPERVISOR_ACTOR
from travelers.models import Operator, Traveler
from travelers.release import order_cancel, order_release

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]


def titles(q: str, actor=OFFICE_ACTOR) -> list[str]:
    return [hit.title for hit in find(q, actor=actor).hits]


@pytest.fixture
def orders() -> dict[str, Order]:
    """An elbow of 14 in, one of 14 1/2 in, and a reducer, for two customers."""
    elbow = factories.line(tag="AHU-3")
    half = factories.line(tag="EF-9", gauge=22, params=factories.elbow_params(diameter=14.5, angle=45))
    reducer = factories.line(
        kind="reducer", params={"diameter_a": 20, "diameter_b": 14, "length": 24}, tag="L2-7"
    )
    return {
        "elbow": factories.order(number="1042", lines=[elbow]),
        "half": factories.order(
            number="1043", customer="Riverside Air", purchase_order="R-881", lines=[half]
        ),
        "reducer": factories.order(number="1044", customer="Riverside Air", lines=[elbow, reducer]),
    }


@pytest.mark.parametrize(
    ("q", "found"),
    [
        ("1043", {"1043"}),
        ("order 1042", {"1042"}),
        ("ahu-3", {"1042", "1044"}),
        ("AHU3", {"1042", "1044"}),
        ("ef", {"1043"}),
        ("R-881", {"1043"}),
        ("riverside", {"1043", "1044"}),
        ("river elbow", {"1043", "1044"}),
        ("14 90 elbow 24", {"1042", "1044"}),
        ("24 elbow 90 14", {"1042", "1044"}),
        ('14 1/2" ell', {"1043"}),
        ("14.5", {"1043"}),
        ("368mm", {"1043"}),
        ("45° 22ga", {"1043"}),
        ("reducer 20x14", {"1044"}),
        ("concentric", {"1044"}),
        ("galv elb", {"1042", "1043", "1044"}),
        ("elbow 22 riverside 45", {"1043"}),
    ],
)
def test_orders_by_their_words(orders, q, found):
    assert {hit.order for hit in find(q, actor=OFFICE_ACTOR).hits if hit.kind == "order"} == found


def test_words_of_two_lines_are_not_put_together(orders):
    """1044 has a 90° elbow and a reducer of 20 in, but no elbow of 20 in."""
    assert titles("elbow 20") == []


def test_codes_are_found_as_typed(orders):
    order_release(number="1042", actor=OFFICE_ACTOR, now=NOW)
    fitting, segment = Fitting.objects.first(), Segment.objects.last()
    traveler = Traveler.objects.get()
    for code, kind in ((fitting.code, "fitting"), (segment.code, "segment"), (traveler.code, "traveler")):
        for typed in (code, code.lower(), f"{code[:4]} {code[4:]}"):
            hit = find(typed, actor=OFFICE_ACTOR).hits[0]
            assert (hit.kind, hit.code, hit.order) == (kind, code, "1042")
    operator = Operator.objects.create(code=code_of_badge(), name="Ana Ruiz")
    assert find(operator.code, actor=OFFICE_ACTOR).hits[0].title == "Ana Ruiz"
    assert titles("ruiz") == ["Ana Ruiz"]


def code_of_badge() -> str:
    from fittings import numbering

    return numbering.take(1)[0]


def test_the_exact_number_comes_before_what_else_has_it(orders):
    factories.order(number="77", lines=[factories.line(tag="1042")])
    assert titles("1042")[0] == "Order 1042"
    assert "Order 77" in titles("1042")


def test_open_orders_come_before_done_and_the_newest_first(orders):
    order_cancel(number="1044", actor=OFFICE_ACTOR, now=NOW)
    assert titles("ahu-3") == ["Order 1042", "Order 1044"]
    factories.order(number="1045")
    assert titles("ahu-3") == ["Order 1045", "Order 1042", "Order 1044"]


def test_open_orders_are_found_behind_any_number_of_newer_ones_that_are_over(orders, monkeypatch):
    factories.order(number="2000")
    for number in ("2001", "2002", "2003"):
        factories.order(number=number)
        order_cancel(number=number, actor=OFFICE_ACTOR, now=NOW)
    monkeypatch.setattr("shopfloor.find.NEWEST", 2)
    found = titles("ahu-3")
    assert found[:3] == ["Order 2000", "Order 1044", "Order 1042"]


def test_a_word_that_is_nowhere_is_named_and_left_out(orders):
    answer = find("elbwo 14 ahu-3", actor=OFFICE_ACTOR)
    assert answer.unknown == ("elbwo",)
    assert "“elbwo” stands nowhere" in answer.sentence
    assert {hit.order for hit in answer.hits} == {"1042", "1044"}
    nothing = find("elbwo", actor=OFFICE_ACTOR)
    assert (nothing.unknown, nothing.hits) == (("elbwo",), ())


def test_customers_stations_and_stock_by_name(orders):
    Station.objects.create(code="ROLL-9", name="Big roll", operations=["roll"])
    assert titles("Riverside Air")[0] == "Riverside Air"
    assert titles("roll-9") == ["Station ROLL-9"] == titles("big roll")


def test_pages_are_linked_for_the_role_that_may_open_them(orders):
    Station.objects.create(code="ROLL-9", name="Big roll", operations=["roll"])
    links = {
        actor.role: find("roll-9", actor=actor).hits[0].url for actor in (OFFICE_ACTOR, SUPERVISOR_ACTOR)
    }
    assert links == {"office": "", "supervisor": "/stations/at/ROLL-9/"}


# -- kept with the orders --------------------------------------------------------------


def test_a_changed_order_is_found_by_its_new_words_alone(orders):
    line = factories.line(kind="pipe", params={"diameter": 31, "length": 60}, tag="ROOF-2")
    order_update(
        number="1042",
        data={"version": 1, "lines": [line], "purchase_order": "Z-5"},
        actor=OFFICE_ACTOR,
        now=NOW,
    )
    assert titles("roof 31 pipe z-5") == ["Order 1042"]
    assert titles("ahu-3") == ["Order 1044"]
    assert index_differences() == ([], 4)


def test_another_name_of_a_customer_counts_at_once(orders):
    customer = Customer.objects.get(name="Riverside Air")
    customer_update(customer_id=customer.pk, data={"name": "Lakeshore Air"}, actor=OFFICE_ACTOR, now=NOW)
    assert {hit.order for hit in find("lakeshore 14.5", actor=OFFICE_ACTOR).hits} == {"1043"}


def test_the_command_says_and_mends_what_differs(orders, capsys):
    assert index_rebuild() == 4
    before = set(SearchPlace.objects.values_list("word__word", "line"))
    SearchPlace.objects.filter(word__word="elbow").first().delete()
    with pytest.raises(SystemExit):
        call_command("search_index", "--check")
    assert "elbow" in capsys.readouterr().out
    call_command("search_index")
    assert set(SearchPlace.objects.values_list("word__word", "line")) == before
    call_command("search_index", "--check")


def test_lines_of_a_time_before_the_search_get_their_words_at_the_start(orders):
    assert index_begin() == 0
    SearchPlace.objects.all().delete()
    assert titles("ahu-3") == []
    assert index_begin() == 4
    assert titles("ahu-3") == ["Order 1044", "Order 1042"]


def test_the_same_few_queries_whatever_there_is(orders, django_assert_max_num_queries):
    for number in range(30):
        factories.order(number=f"5{number:03}")
    with django_assert_max_num_queries(20):
        find("14 90 elbow 24 ahu-3", actor=OFFICE_ACTOR)


# -- pages and the contract --------------------------------------------------------------


def test_the_page_and_its_drop(office_page, orders):
    page = office_page.get("/find/", {"q": "14.5 elbow"}).content.decode()
    assert "Order 1043" in page and "Gored elbow 14 1/2 in, 45°, 22 ga galvanized, EF-9" in page
    part = office_page.get("/find/first/", {"q": "elbow"}).content.decode()
    assert "Order 1044" in part and "<html" not in part
    assert "Nothing asked yet" in office_page.get("/find/").content.decode()
    assert "stands nowhere" in office_page.get("/find/", {"q": "<script>"}).content.decode()


def test_the_field_is_on_the_pages_of_office_and_supervisor_alone(browse, orders):
    for role, has in (("office", True), ("supervisor", True)):
        assert ('id="find"' in browse(role).get("/orders/").content.decode()) is has
    assert 'id="find"' not in browse("display").get("/board/").content.decode()


def test_programs_ask_the_same(api_as, orders):
    answer = api_as("office").get("find/?q=14 90 elbow 24").json()
    assert [one["order"] for one in answer["results"]] == ["1044", "1042"]
    assert answer["results"][0]["kind"] == "order" and answer["unknown"] == [] and answer["more"] is False
    refused = api_as("office").get("find/?q=%20")
    assert refused.status_code == 400 and refused.json()["errors"][0]["field"] == "q"
    assert api_as("operator").get("find/?q=elbow").status_code == 403
