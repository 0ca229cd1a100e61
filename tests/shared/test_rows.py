"""Reads of one moment hold nobody up, and see nothing that comes after."""

from __future__ import annotations

import pytest
from django.db import connection, transaction

from fittings.models import Customer
from shared.rows import one_moment
from tests.threads import together


def write() -> None:
    with transaction.atomic():
        Customer.objects.create(name="Second Invented Customer")


@pytest.mark.django_db(transaction=True)
def test_others_write_while_one_moment_is_read():
    Customer.objects.create(name="First Invented Customer")
    with one_moment():
        assert Customer.objects.count() == 1
        together(write)
        assert Customer.objects.count() == 1
    assert Customer.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_it_is_over_after_an_error():
    with pytest.raises(ZeroDivisionError), one_moment():
        Customer.objects.count()
        raise ZeroDivisionError
    write()
    assert Customer.objects.count() == 1


@pytest.mark.django_db
def test_inside_a_transaction_it_is_that_ones():
    write()
    with one_moment():
        assert Customer.objects.count() == 1
    assert connection.in_atomic_block
