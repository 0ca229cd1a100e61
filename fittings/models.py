"""What is made: customers, orders, lines, fittings, segments, and the shop's versioned tables."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class TableVersion(models.Model):
    """One version of one shop table, whole. Versions are never changed; the newest number is in force.

    `rows` is a list of objects whose columns `fittings.tables` describes; each row names its source.
    """

    table = models.CharField(max_length=40)
    number = models.PositiveIntegerField()
    rows = models.JSONField(default=list)
    note = models.CharField(max_length=300, blank=True)
    made_by = models.CharField(max_length=150)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["table", "number"], name="table_version_once")]

    def __str__(self) -> str:
        return f"{self.table} version {self.number}"


class CodeSeries(models.Model):
    """The one row from which codes are given out: the shop's mark and the next free number."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    mark = models.CharField(max_length=2)
    next_number = models.BigIntegerField(default=0)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="code_series_is_one_row")]

    def __str__(self) -> str:
        return f"{self.mark} next {self.next_number}"


class Customer(models.Model):
    name = models.CharField(max_length=120, unique=True)
    contact = models.CharField(max_length=200, blank=True)
    notes = models.TextField(blank=True)
    is_active = models.BooleanField(default=True)

    def __str__(self) -> str:
        return self.name


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
        ]

    def __str__(self) -> str:
        return self.number


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

    `end_c` blank is finished as end B. `joins_*` are the finishes of the neighbours' ends, blank where not told;
    `pressure_class` is in inches of water gauge, negative below the room's pressure.
    """

    class TravelerPer(models.TextChoices):
        LOT = "lot", "One for the lot"
        FITTING = "fitting", "One a fitting"

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="lines")
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
    traveler_per = models.CharField(max_length=10, choices=TravelerPer.choices, default=TravelerPer.LOT)
    development = models.JSONField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["order", "position"], name="line_position_once"),
            models.CheckConstraint(condition=Q(quantity__gte=1), name="line_quantity_from_1"),
        ]
        indexes = [models.Index(fields=["tag"], name="line_by_tag")]

    def __str__(self) -> str:
        return f"{self.order_id}/{self.position}"


class PieceState(models.TextChoices):
    OPEN = "open", "Open"
    DONE = "done", "Done"
    SCRAPPED = "scrapped", "Scrapped"
    VOID = "void", "Void"


class Fitting(models.Model):
    """One fitting to make. It keeps its traveler's code as text: travelers are of a higher package."""

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="fittings")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="fittings")
    number = models.PositiveIntegerField()
    code = models.CharField(max_length=10, unique=True)
    traveler_code = models.CharField(max_length=10, db_index=True)
    state = models.CharField(max_length=10, choices=PieceState.choices, default=PieceState.OPEN)
    done_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["line", "number"], name="fitting_number_once")]
        indexes = [
            models.Index(fields=["done_at"], condition=Q(state="done"), name="fitting_done_by_day"),
            models.Index(fields=["order"], condition=Q(state="open"), name="fitting_open_by_order"),
        ]

    def __str__(self) -> str:
        return self.code


class Segment(models.Model):
    """One piece of a fitting. A remade one is a new row of the next generation."""

    fitting = models.ForeignKey(Fitting, on_delete=models.PROTECT, related_name="segments")
    position = models.PositiveSmallIntegerField()
    generation = models.PositiveSmallIntegerField(default=1)
    role = models.CharField(max_length=20)
    pattern = models.CharField(max_length=20)
    code = models.CharField(max_length=10, unique=True)
    state = models.CharField(max_length=10, choices=PieceState.choices, default=PieceState.OPEN)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["fitting", "position", "generation"], name="segment_generation_once"
            )
        ]

    def __str__(self) -> str:
        return self.code


class KeptAnswer(models.Model):
    """The first answer to a request that carried an Idempotency-Key, so that a repeat gets the same one."""

    who = models.CharField(max_length=150)
    key = models.CharField(max_length=200)
    body_digest = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True, blank=True)
    body = models.JSONField(null=True, blank=True)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["who", "key"], name="kept_answer_once")]

    def __str__(self) -> str:
        return self.key
