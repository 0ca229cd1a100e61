"""The pages of customers."""

import pytest
from django.test import Client

from fittings.models import Customer
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def office_page(shop):
    client = Client()
    client.force_login(factories.person(), backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_customer_is_added_and_offered_in_a_new_order(office_page):
    answer = office_page.post("/customers/new/", {"name": "Harbor Mechanical", "is_active": "on"})
    assert answer.status_code == 302
    assert '<option value="Harbor Mechanical">' in office_page.get("/orders/new/").content.decode()


def test_customer_that_is_not_active_is_not_offered(office_page):
    customer = Customer.objects.create(name="Harbor Mechanical")
    office_page.post(f"/customers/{customer.pk}/", {"name": "Harbor Mechanical"})
    assert '<option value="Harbor Mechanical">' not in office_page.get("/orders/new/").content.decode()


def test_name_is_needed_and_used_once_whatever_its_capitals(office_page):
    Customer.objects.create(name="Harbor Mechanical")
    assert "Enter the customer’s name." in office_page.post("/customers/new/", {}).content.decode()
    answer = office_page.post("/customers/new/", {"name": "HARBOR  mechanical", "contact": "Jo"})
    assert answer.status_code == 400
    assert "There is a customer “Harbor Mechanical” already." in answer.content.decode()
    assert 'value="Jo"' in answer.content.decode()


def test_list_counts_orders_and_has_its_two_blank_screens(office_page):
    assert "No customers yet" in office_page.get("/customers/").content.decode()
    factories.order()
    page = office_page.get("/customers/").content.decode()
    assert "Example Mechanical" in page
    assert "No customer matches" in office_page.get("/customers/", {"q": "zzz"}).content.decode()


def test_unknown_customer_is_not_found(office_page):
    assert office_page.get("/customers/999/").status_code == 404
