"""Who may do what: every endpoint of orders, customers, tables and development, for every role."""

import pytest

from fittings.models import Customer, Order, TableVersion
from tests.factories import elbow_params, line, order, order_body

ELBOW = {"kind": "gored_elbow", "material": "galvanized", "gauge": 24, "params": elbow_params()}
ANYONE = {"office", "supervisor", "operator", "display"}
WRITERS = {"office", "supervisor"}
ENDPOINTS = [
    ("POST", "develop/", ELBOW, ANYONE, 200),
    ("POST", "develop/?format=svg", ELBOW, ANYONE, 200),
    ("GET", "kinds/", None, ANYONE, 200),
    ("GET", "orders/", None, WRITERS, 200),
    ("POST", "orders/", order_body(), WRITERS, 201),
    ("GET", "orders/1001/", None, WRITERS, 200),
    ("PATCH", "orders/1001/", {"version": 1, "lines": [line(quantity=9)]}, WRITERS, 200),
    ("GET", "orders/1001/patterns.zip", None, WRITERS, 200),
    ("GET", "customers/", None, WRITERS, 200),
    ("POST", "customers/", {"name": "New"}, WRITERS, 201),
    ("GET", "customers/{customer}/", None, WRITERS, 200),
    ("PATCH", "customers/{customer}/", {"contact": "555-0100"}, WRITERS, 200),
    ("GET", "tables/", None, WRITERS, 200),
    ("GET", "tables/stock/", None, WRITERS, 200),
    ("POST", "tables/stock/", "{stock}", WRITERS, 201),
]
STOCK = {
    "version": 1,
    "note": "Wider sheets",
    "rows": [
        {
            "name": "60x144",
            "form": "sheet",
            "width_in": 60,
            "length_in": 144,
            "source": "common practice, no source",
        }
    ],
}


def counts():
    return [model.objects.count() for model in (Order, Customer, TableVersion)]


@pytest.mark.parametrize("role", ["office", "supervisor", "operator", "display", ""])
@pytest.mark.parametrize(
    ("method", "path", "body", "roles", "status"),
    ENDPOINTS,
    ids=[f"{method} {path}" for method, path, *_ in ENDPOINTS],
)
def test_each_endpoint_is_for_its_roles(api_as, role, method, path, body, roles, status):
    kept = order()
    before = counts()
    caller = api_as(role)
    path = path.format(customer=kept.customer_id)
    answer = caller.call(method, path, STOCK if body == "{stock}" else body)
    assert answer.status_code == (status if role in roles else 403 if role else 401)
    if role not in roles:
        assert answer["Content-Type"] == "application/problem+json"
        assert answer.json()["detail"]
        assert counts() == before
        kept.refresh_from_db()
        assert kept.version == 1


def test_a_key_that_is_unknown_or_revoked_is_not_signed_in(office):
    from django.utils import timezone

    from shopfloor.models import Key

    assert office.get("orders/").status_code == 200
    Key.objects.update(revoked_at=timezone.now())
    answer = office.get("orders/")
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"] == "Token"


@pytest.mark.parametrize(
    "path", ["orders/", "orders/1001/", "customers/", "tables/", "tables/stock/", "kinds/"]
)
def test_nothing_is_deleted_over_http(office, path):
    assert office.call("DELETE", path).status_code == 405


def test_a_refused_role_learns_nothing_about_an_order(api_as):
    order()
    display = api_as("display")
    assert display.get("orders/1001/").json() == display.get("orders/9999/").json()
