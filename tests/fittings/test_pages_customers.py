"""The pages of customers."""

import pytest

from fittings.models import Customer
from tests import factories

pytestmark = pytest.mark.django_db


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


def test_a_customers_page_lists_the_newest_orders_first_and_leads_to_them(office_page):
    for number in ("1001", "1002"):
        factories.order(number=number, customer="Harbor Mechanical", purchase_order=f"PO-{number}")
    factories.order(number="2001", customer="Someone Else")
    customer = Customer.objects.get(name="Harbor Mechanical")
    page = office_page.get(f"/customers/{customer.pk}/").content.decode()
    assert page.index('href="/orders/1002/"') < page.index('href="/orders/1001/"')
    assert "PO-1001" in page and "2001" not in page
    assert (
        "None yet."
        in office_page.get(f"/customers/{Customer.objects.create(name='New one').pk}/").content.decode()
    )
