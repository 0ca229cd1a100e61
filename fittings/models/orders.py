"""Orders with their versions and lines, and what a supervisor put first."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fittings.models.customers import Customer


class Order(models.Model):
    class State(models.TextChoices):
        DRAFT = "draft", "Draft"
        RELEASED = "released", "Released"
        DONE = "done", "Done"
        CANCELLED = "cancelled", "Cancelled"

    number = models.CharField(max_length=30, unique=True)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="orders")
    purchase_order = models.CharField(max_length=60, blank=True)
    due_on = models.DateField(null=True, blank=True)
    priority = models.PositiveSmallIntegerField(default=5)
    notes = models.TextField(blank=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    version = models.PositiveIntegerField(default=1)
    tables = models.JSONField(default=dict, blank=True)
    created_at = models.DateTimeField()
    created_by = models.CharField(max_length=150)
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.CharField(max_length=150, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    fittings_total = models.PositiveIntegerField(default=0)
    fittings_done = models.PositiveIntegerField(default=0)

    line_warnings: list | None = None  # set by the service that has just developed the lines; not stored

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(priority__gte=1, priority__lte=9), name="order_priority_1_to_9"
            ),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "released", "done", "cancelled"]), name="order_state_known"
            ),
        ]
        indexes = [
            models.Index(fields=["due_on", "id"], condition=Q(state="released"), name="order_open_by_due"),
            models.Index(fields=["-id"], name="order_newest_first"),
            models.Index(fields=["-id"], condition=Q(state__in=["draft", "released"]), name="order_open"),
            models.Index(fields=["released_at"], name="order_by_release"),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def lines(self) -> models.QuerySet[OrderLine]:
        """The lines as they stand; one that a change ended is in `all_lines` only."""
        return self.all_lines.filter(ended_version=None)


class OrderChange(models.Model):
    """What made an order's version: each changed field with its text before and after."""

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="changes")
    version = models.PositiveIntegerField()
    fields = models.JSONField(default=dict)
    made_by = models.CharField(max_length=150)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["order", "version"], name="order_version_once")]

    def __str__(self) -> str:
        return f"{self.order_id} version {self.version}"


class OrderLine(models.Model):
    """Equal fittings of an order. `development` is frozen at release: every printed number comes from it.

    A change of a released order ends the line and puts another, of the same position, in its place; only its quantity
    and its tag change in place. `added_version` is the order's version that brought it (0 with the order itself),
    `ended_version` the one that ended it; `tables` are the versions of the shop's tables that a later line was
    developed with, None for those of the order.

    `end_c` blank is finished as end B. `joins_*` are the finishes of the neighbours' ends, blank where not told;
    `pressure_class` is in inches of water gauge, negative below the room's pressure. `system` marks the floor or the
    duct system of the building that it belongs to.
    """

    class TravelerPer(models.TextChoices):
        LOT = "lot", "One for the lot"
        FITTING = "fitting", "One a fitting"

    order = models.ForeignKey(
        Order, on_delete=models.CASCADE, related_name="all_lines", related_query_name="lines"
    )
    position = models.PositiveIntegerField()
    quantity = models.PositiveIntegerField()
    kind = models.CharField(max_length=30)
    material = models.CharField(max_length=30)
    gauge = models.PositiveSmallIntegerField()
    params = models.JSONField(default=dict)
    end_a = models.CharField(max_length=20, default="raw")
    end_b = models.CharField(max_length=20, default="raw")
    end_c = models.CharField(max_length=20, blank=True, default="")
    joins_a = models.CharField(max_length=20, blank=True, default="")
    joins_b = models.CharField(max_length=20, blank=True, default="")
    joins_c = models.CharField(max_length=20, blank=True, default="")
    pressure_class = models.FloatField(null=True, blank=True)
    allowances = models.JSONField(null=True, blank=True)
    tag = models.CharField(max_length=60, blank=True)
    system = models.CharField(max_length=40, blank=True, default="")
    traveler_per = models.CharField(max_length=10, choices=TravelerPer.choices, default=TravelerPer.LOT)
    development = models.JSONField(null=True, blank=True)
    added_version = models.PositiveIntegerField(default=0)
    ended_version = models.PositiveIntegerField(null=True, blank=True)
    replaces = models.ForeignKey(
        "self", on_delete=models.CASCADE, related_name="replaced_by", null=True, blank=True
    )
    tables = models.JSONField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["order", "position"],
                condition=Q(ended_version=None),
                name="line_position_once_standing",
            ),
            models.UniqueConstraint(
                fields=["order", "position", "added_version"], name="line_position_once_a_version"
            ),
            models.CheckConstraint(condition=Q(quantity__gte=1), name="line_quantity_from_1"),
        ]
        indexes = [models.Index(fields=["tag", "ended_version", "order"], name="line_tagged")]

    def __str__(self) -> str:
        return f"{self.order_id}/{self.position}"

    @property
    def name(self) -> str:
        """How it is called: “3”, and “3 until version 4” of one that a change ended."""
        return f"{self.position}" + (f" until version {self.ended_version}" if self.ended_version else "")

    @property
    def tables_used(self) -> dict:
        """The versions of the shop's tables that it was developed with; empty while a draft."""
        return self.tables or self.order.tables


class Pin(models.Model):
    """A job that a supervisor put first on the floor: an order, or one line of it, until it is taken off again."""

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="pins")
    line = models.ForeignKey(OrderLine, on_delete=models.CASCADE, related_name="pins", null=True, blank=True)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.CharField(max_length=150, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["order"], condition=Q(line=None, ended_at=None), name="pin_of_order_once"
            ),
            models.UniqueConstraint(fields=["line"], condition=Q(ended_at=None), name="pin_of_line_once"),
        ]

    def __str__(self) -> str:
        return f"order {self.order_id} line {self.line_id or 'all'}"
