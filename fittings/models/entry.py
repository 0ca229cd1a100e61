"""What helps to type orders: lines kept under a name, and what was typed and is not saved yet."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

from fittings.models.customers import Customer


class Favourite(models.Model):
    """A fitting kept under a name, for one customer or (`customer` None) for all.

    `line` holds the words of a line as a request names them, lengths in inches; quantity, tag and system are the
    order's own and not kept.
    """

    name = models.CharField(max_length=60)
    customer = models.ForeignKey(
        Customer, on_delete=models.CASCADE, related_name="favourites", null=True, blank=True
    )
    line = models.JSONField()
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("name"), "customer", name="favourite_once_a_customer", condition=~Q(customer=None)
            ),
            models.UniqueConstraint(Lower("name"), name="favourite_once_for_all", condition=Q(customer=None)),
        ]

    def __str__(self) -> str:
        return self.name


class TypedOrder(models.Model):
    """The fields of an order's form as they were typed, kept while nothing is saved.

    page      number of the order that is changed, "" for a new one
    token     made by the page; a window that goes on with it names the `revision` that it saw
    ended_at  since it was saved or thrown away; the row stays a day, so that a late window is told
    """

    who = models.CharField(max_length=150)
    page = models.CharField(max_length=30, blank=True)
    token = models.CharField(max_length=40)
    revision = models.PositiveIntegerField(default=1)
    fields = models.JSONField(default=list)
    kept_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["who", "token"], name="typed_order_token_once")]
        indexes = [models.Index(fields=["who", "page", "-kept_at"], name="typed_order_newest")]

    def __str__(self) -> str:
        return f"{self.who} {self.page or 'new'}"
