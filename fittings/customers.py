"""Customers: their names for forms, and the one way to add or change one."""

from __future__ import annotations

from django.db import transaction
from django.db.models import Count

from fittings.models import Customer, Order
from shared.problems import FieldError, WrongInput

NEWEST_SHOWN = 20


def customer_names() -> list[str]:
    """The names that are offered in new orders."""
    return list(Customer.objects.filter(is_active=True).order_by("name").values_list("name", flat=True))


def customer_orders(customer: Customer) -> list[Order]:
    """The newest orders of a customer, each with how many lines it has."""
    return list(customer.orders.annotate(lines_count=Count("lines")).order_by("-id")[:NEWEST_SHOWN])


@transaction.atomic
def customer_save(
    *, customer: Customer | None, name: str, contact: str = "", notes: str = "", is_active: bool = True
) -> Customer:
    """Add a customer, or change one.

    raises  WrongInput where another customer has the name, in any case
    """
    customer = customer or Customer()
    name = " ".join(name.split())
    other = Customer.objects.filter(name__iexact=name).exclude(pk=customer.pk).first()
    if other:
        sentence = (
            f"There is a customer “{other.name}” already. Change that one, or give this one another name."
        )
        raise WrongInput([FieldError("name", name, "a name used once", sentence)])
    customer.name, customer.contact, customer.notes, customer.is_active = name, contact, notes, is_active
    customer.save()
    return customer
