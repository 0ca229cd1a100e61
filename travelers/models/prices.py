"""What fittings of an order are sold for, as it was settled; and the quotes that were made."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

MONEY = {"max_digits": 12, "decimal_places": 2, "null": True, "blank": True}


class LinePrice(models.Model):
    """The price of one kind of fitting in an order, as it was settled. Rows are appended; the newest stands.

    `what` is the digest of all words of a line that its fitting depends on, so equal lines have one price, and it
    stays through changes of other lines. `how` says where the price came from, `metal`, `labor` and `overhead` are
    what one fitting was then expected to cost, `tables` the versions of the shop tables used.
    """

    class Why(models.TextChoices):
        HAND = "hand", "Set by hand"
        QUOTE = "quote", "Quote accepted"
        RELEASE = "release", "Released"

    order = models.ForeignKey("fittings.Order", on_delete=models.CASCADE, related_name="prices")
    what = models.CharField(max_length=64)
    why = models.CharField(max_length=10, choices=Why.choices)
    unit_price = models.DecimalField(**MONEY)
    list_price = models.DecimalField(**MONEY)
    how = models.CharField(max_length=200, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    metal = models.DecimalField(**MONEY)
    labor = models.DecimalField(**MONEY)
    overhead = models.DecimalField(**MONEY)
    tables = models.JSONField(default=dict)
    made_by = models.CharField(max_length=150)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(unit_price=None) | Q(unit_price__gte=0), name="line_price_not_below_0"
            ),
        ]
        indexes = [
            models.Index(fields=["order", "what", "-id"], name="line_price_newest"),
            models.Index(fields=["made_at"], name="line_price_by_time"),
        ]

    def __str__(self) -> str:
        return f"{self.order_id} {self.unit_price}"


class Quote(models.Model):
    """What a customer was offered: the lines of a draft with their prices, frozen. `number` is the shop's.

    `version` counts the quotes of the order; `order_version` is what the order was at then. `lines` holds each line
    as it stood, prices as digits; `sign` and `terms` are as they were printed.
    """

    class State(models.TextChoices):
        MADE = "made", "Made"
        SENT = "sent", "Sent"
        ACCEPTED = "accepted", "Accepted"
        DECLINED = "declined", "Declined"

    number = models.PositiveIntegerField(unique=True)
    order = models.ForeignKey("fittings.Order", on_delete=models.CASCADE, related_name="quotes")
    version = models.PositiveIntegerField()
    order_version = models.PositiveIntegerField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.MADE)
    valid_until = models.DateField()
    lines = models.JSONField(default=list)
    tables = models.JSONField(default=dict)
    total = models.DecimalField(max_digits=14, decimal_places=2)
    sign = models.CharField(max_length=5)
    terms = models.TextField(blank=True)
    note = models.CharField(max_length=400, blank=True)
    made_by = models.CharField(max_length=150)
    made_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)
    sent_by = models.CharField(max_length=150, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.CharField(max_length=150, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["order", "version"], name="quote_version_once"),
            models.CheckConstraint(
                condition=Q(state__in=["made", "sent", "accepted", "declined"]), name="quote_state_known"
            ),
        ]

    def __str__(self) -> str:
        return f"quote {self.number}"
