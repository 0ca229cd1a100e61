"""What other systems hear of."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fittings.models.orders import Order
from fittings.models.pieces import Fitting


class OutwardEvent(models.Model):
    """Something that other systems may want to know. Rows are added with what they tell of, and never change.

    key     names it for ever, also on another delivery and after a backup was restored
    number  its place in the feed, given once its transaction has ended (`fittings.events`); None until then
    facts   what is true of that moment only: the order's version, what was changed
    """

    key = models.CharField(max_length=32, unique=True)
    number = models.BigIntegerField(null=True, unique=True)
    kind = models.CharField(max_length=30)
    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="events", db_index=False)
    fitting = models.ForeignKey(
        Fitting, on_delete=models.PROTECT, related_name="events", null=True, db_index=False
    )
    facts = models.JSONField(default=dict)
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["id"], condition=Q(number=None), name="event_without_number")]

    def __str__(self) -> str:
        return f"{self.kind} {self.number or 'not numbered yet'}"


class EventSeries(models.Model):
    """The one row that gives out the numbers of the feed."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    last = models.BigIntegerField(default=0)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="event_series_is_one_row")]

    def __str__(self) -> str:
        return f"events to {self.last}"
