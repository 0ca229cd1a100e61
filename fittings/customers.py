"""Customers: the list, and the one way to add or change one."""

from __future__ import annotations

from django.db import transaction
from django.db.models import Count, Q, QuerySet

from fittings.models import Customer, Order
from shared.problems import FieldError, NotFound, WrongInput


def customer_list(*, q: str = "") -> QuerySet[Customer]:
    """Customers by name, with how many orders each has, open and in all."""
    found = Customer.objects.order_by("name", "pk")
    if q:
        found = found.filter(Q(name__icontains=q) | Q(contact__icontains=q))
    is_open = Q(orders__state__in=[Order.State.DRAFT, Order.State.RELEASED])
    return found.annotate(all_orders=Count("orders"), open_orders=Count("orders", filter=is_open))


def customer_names() -> list[str]:
    """The names that are offered in new orders."""
    return list(Customer.objects.filter(is_active=True).order_by("name").values_list("name", flat=True))


def customer_get(pk: int) -> Customer:
    found = Customer.objects.filter(pk=pk).first()
    if found is None:
        raise NotFound(f"There is no customer number {pk}.")
    return found


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
