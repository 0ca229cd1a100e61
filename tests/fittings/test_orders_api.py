"""Orders and customers over HTTP."""

import pytest

from fittings.models import Customer, Order, OrderLine
from tests.factories import elbow_params, line, order, order_body


def listed(answer) -> list[str]:
    return [row["number"] for row in answer.json()["results"]]


# -- create ------------------------------------------------------------------


def test_an_order_is_created_and_answered_whole(office):
    answer = office.post("orders/", order_body(lines=[line(end_a="flange"), line(quantity=2, tag="")]))
    assert answer.status_code == 201
    body = answer.json()
    assert (body["number"], body["state"], body["version"], body["unit"]) == ("1001", "draft", 1, "in")
    assert (body["customer"], body["due"], body["priority"]) == ("Example Mechanical", "2026-03-05", 3)
    assert body["created_at"].endswith("+00:00")
    assert body["lines"][0] == {
        "line": 1,
        "quantity": 4,
        "kind": "gored_elbow",
        "material": "galvanized",
        "gauge": 24,
        "params": elbow_params(),
        "end_a": "flange",
        "end_b": "raw",
        "end_c": "",
        "joins_a": "",
        "joins_b": "",
        "joins_c": "",
        "pressure_class": None,
        "allowances": None,
        "tag": "AHU-3",
        "system": "",
        "traveler_per": "lot",
        "warnings": [],
    }
    assert office.get("orders/1001/").json() == body


def test_what_is_unusual_about_a_line_is_answered_with_it(office):
    body = office.post("orders/", order_body(lines=[line(params=elbow_params(radius_ratio=0.6))])).json()
    assert body["lines"][0]["warnings"][0]["code"] == "radius_ratio_low"


def test_millimetres_are_answered_in_millimetres_and_read_in_inches(office):
    params = {"diameter": 355.6, "angle": 90, "pieces": 5}
    answer = office.post(
        "orders/", order_body(unit="mm", lines=[line(params=params, allowances={"lap": 12.7})])
    )
    assert (answer.json()["unit"], answer.json()["lines"][0]["params"]) == ("mm", params)
    assert answer.json()["lines"][0]["allowances"] == {"lap": 12.7}
    read = office.get("orders/1001/").json()
    assert (read["unit"], read["lines"][0]["params"]["diameter"]) == ("in", 14.0)


def test_a_taken_number_is_a_conflict(office):
    assert office.post("orders/", order_body(number="JOB-7")).status_code == 201
    answer = office.post("orders/", order_body(number="JOB-7"))
    assert answer.status_code == 409
    assert answer.json()["errors"][0]["field"] == "number"
    assert Order.objects.count() == 1


def test_a_line_that_cannot_be_made_is_named(office):
    lines = [line(), line(), line(params=elbow_params(angle=200))]
    answer = office.post("orders/", order_body(lines=lines))
    assert answer.status_code == 400
    error = answer.json()["errors"][0]
    assert (error["field"], error["value"]) == ("lines[2].params.angle", 200)
    assert error["limit"] == "more than 0° and at most 180°"
    assert (Order.objects.count(), OrderLine.objects.count(), Customer.objects.count()) == (0, 0, 0)


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"[]",
        b'{"customer": "A\\u0000B"}',
        b'{"customer": "\\udc00"}',
        b'{"customer": "A", "lines": NaN}',
        b'{"customer": "A", "lines": [{"quantity": 1e999}]}',
        b'{"customer": ' + b"[" * 50 + b"]" * 50 + b"}",
    ],
    ids=["empty", "list", "nul", "half", "nan", "endless", "nested"],
)
def test_a_body_that_cannot_be_kept_is_refused_and_nothing_is_stored(office, raw):
    answer = office.call("POST", "orders/", raw=raw)
    assert answer.status_code == 400
    assert answer.json()["errors"]
    assert (Order.objects.count(), Customer.objects.count()) == (0, 0)


def test_an_answer_can_be_sent_back_as_it_came(office):
    body = office.post("orders/", order_body()).json()
    answer = office.patch("orders/1001/", body)
    assert answer.status_code == 200
    assert answer.json() == body


# -- read and list -----------------------------------------------------------


@pytest.mark.parametrize("number", ["47%0011", "%ED%A0%80", "x" * 3000, "..%2F"])
def test_a_strange_number_is_not_there(office, number):
    assert office.get(f"orders/{number}/").status_code == 404
    assert office.patch(f"orders/{number}/", {"version": 1}).status_code == 404


def test_an_order_that_is_not_there(office):
    answer = office.get("orders/4711/")
    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")
    assert "4711" in answer.json()["detail"]


def test_the_list_is_paged_and_newest_first(office):
    for _ in range(5):
        order()
    answer = office.get("orders/?page_size=2&page=2")
    body = answer.json()
    assert set(body) == {"count", "next", "previous", "results"}
    assert body["count"] == 5
    assert listed(answer) == ["1003", "1002"]
    assert "page=3" in body["next"]
    assert (body["results"][0]["lines_count"], body["results"][0]["pieces"]) == (1, 4)
    assert office.get("orders/?page=99").status_code == 404


@pytest.mark.parametrize("q", ["JOB-7", "job", "placeholder air", "po-123", "ahu-9"])
def test_an_order_is_found_by_number_customer_purchase_order_and_tag(office, q):
    order()
    order(number="JOB-7", customer="Placeholder Air", purchase_order="PO-123", lines=[line(tag="AHU-9")])
    assert listed(office.get(f"orders/?q={q}")) == ["JOB-7"]


@pytest.mark.parametrize("size", ["0", "501", "abc", "-1", "1.5", "07", "²", "9" * 30])
def test_a_page_size_beyond_its_range_is_refused(office, size):
    answer = office.get(f"orders/?page_size={size}")
    assert answer.status_code == 400
    (wrong,) = answer.json()["errors"]
    assert (wrong["field"], wrong["limit"]) == ("page_size", "a whole number from 1 to 500")
    assert wrong["message"].startswith(f"page_size is {size[:20]}; it can be")


def test_what_the_framework_refuses_is_told_in_words(office):
    missing = office.get("orders/?page=99")
    assert (missing.status_code, missing.json()["detail"][:27]) == (404, "There is no page 99 here. P")
    method = office.delete("orders/").json()
    assert (method["status"], method["type"]) == (405, "/problems/method-not-allowed")
    assert method["detail"] == 'Method "DELETE" not allowed.' and "{" not in method["title"]
    form = office.client.post("/api/v1/orders/", {"a": 1}, **office.headers).json()
    assert (form["status"], form["type"], form["title"]) == (
        415,
        "/problems/not-json",
        "The body is not JSON",
    )


@pytest.mark.parametrize("q", ["%25", "_", "%00", "%27;--", "x" * 5000])
def test_a_strange_search_finds_nothing(office, q):
    order()
    answer = office.get(f"orders/?q={q}")
    assert answer.status_code == 200
    assert listed(answer) in ([], ["1001"] if q == "%00" else [])


def test_the_list_of_one_state(office):
    order()
    order()
    Order.objects.filter(number="1001").update(state="released")
    assert listed(office.get("orders/?state=released")) == ["1001"]
    assert office.get("orders/?state=lost").status_code == 400


def test_the_list_takes_the_same_queries_however_long_it_is(office, django_assert_num_queries):
    order()
    with django_assert_num_queries(3):  # the key, the count, the page
        office.get("orders/?q=example")
    for _ in range(9):
        order(lines=[line(), line(tag="B")])
    with django_assert_num_queries(3):
        assert len(listed(office.get("orders/?q=example"))) == 10


def test_an_order_takes_few_queries_however_many_lines_it_has(office, django_assert_max_num_queries):
    order()
    order(lines=[line(params=elbow_params(diameter=size)) for size in range(5, 25)])
    for number in ("1001", "1002"):
        with django_assert_max_num_queries(
            5
        ):  # the key, the order, its lines, the versions and rows of the tables
            office.get(f"orders/{number}/")


def test_what_is_unusual_is_read_from_the_frozen_development_of_a_released_order(office):
    kept = order().lines.get()
    kept.development = {"warnings": [{"code": "frozen", "message": "As it was."}], "segments": []}
    kept.save(update_fields=["development"])
    answer = office.get("orders/1001/").json()
    assert answer["lines"][0]["warnings"] == [{"code": "frozen", "message": "As it was."}]


def test_a_draft_whose_gauge_left_the_table_says_so(office):
    order()
    table = office.get("tables/gauges/").json()
    rows = [row for row in table["rows"] if row["gauge"] != 24]
    assert office.post("tables/gauges/", {"rows": rows, "version": 1}).status_code == 201
    warned = office.get("orders/1001/").json()["lines"][0]["warnings"]
    assert [one["code"] for one in warned] == ["cannot_be_made"]
    assert "Gauge is 24" in warned[0]["message"]


# -- change ------------------------------------------------------------------


def test_a_change(office):
    order()
    answer = office.patch("orders/1001/", {"version": 1, "due": None, "lines": [line(quantity=7)]})
    assert answer.status_code == 200
    body = answer.json()
    assert (body["version"], body["due"], body["lines"][0]["quantity"]) == (2, None, 7)


def test_a_change_without_a_version_is_refused(office):
    order()
    answer = office.patch("orders/1001/", {"priority": 1})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "version"


def test_a_stale_change_says_what_changed(office):
    order()
    office.patch("orders/1001/", {"version": 1, "due": "2026-03-09"})
    answer = office.patch("orders/1001/", {"version": 1, "priority": 1})
    assert answer.status_code == 409
    body = answer.json()
    assert (body["version"], body["changed"]) == (2, ["due"])
    assert "2026-03-09" in body["detail"]
    assert [error["field"] for error in body["errors"]] == ["version", "due"]
    assert Order.objects.get().priority == 3


def test_a_change_after_release_says_that_it_is_released(office):
    order()
    Order.objects.update(state="released", version=2)
    stale = office.patch("orders/1001/", {"version": 1, "notes": "Mine"}).json()
    assert (stale["status"], stale["changed"]) == (409, ["state"])
    fresh = office.patch("orders/1001/", {"version": 2, "lines": [line(quantity=9)]})
    assert fresh.status_code == 409
    assert "released" in fresh.json()["detail"]


# -- customers ---------------------------------------------------------------


def test_a_customer_is_made_listed_and_changed(office):
    made = office.post("customers/", {"name": "Placeholder Air", "contact": "555-0100", "notes": "Gate 2"})
    assert made.status_code == 201
    page = office.get("customers/?q=placeh").json()
    assert (page["count"], page["results"]) == (1, [made.json()])
    changed = office.patch(f"customers/{made.json()['id']}/", {"is_active": False})
    assert changed.json() == {**made.json(), "is_active": False}


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"name": ""}, "name"),
        ({"name": "x" * 121}, "name"),
        ({"name": 7}, "name"),
        ({"contact": "x" * 201}, "contact"),
        ({"is_active": "yes"}, "is_active"),
        ({"colour": "red"}, "colour"),
        ({"name": "taken"}, "name"),
    ],
)
def test_a_wrong_customer_is_refused(office, changes, field):
    office.post("customers/", {"name": "Taken"})
    answer = office.post("customers/", {"name": "New", **changes})
    assert answer.status_code == 400
    assert [error["field"] for error in answer.json()["errors"]] == [field]
    assert Customer.objects.count() == 1


@pytest.mark.parametrize("customer_id", [999, 10**30])
def test_a_customer_that_is_not_there(office, customer_id):
    assert office.get(f"customers/{customer_id}/").status_code == 404
    assert office.patch(f"customers/{customer_id}/", {"contact": "x"}).status_code == 404


def test_the_list_of_customers_takes_the_same_queries_however_long_it_is(office, django_assert_num_queries):
    Customer.objects.bulk_create(Customer(name=f"Customer {number}") for number in range(30))
    with django_assert_num_queries(3):
        office.get("customers/")
