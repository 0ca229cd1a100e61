"""Days of the flow that are over, added up."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class FlowMark(models.Model):
    """The one row that says how far the days are added up (`shopfloor.flow_days`).

    target    the newest target of a scan that the days know of
    looked_at  when it was last looked whether an order was cancelled, or a piece taken off its sheet
    calendar  the versions of the tables that the hours of work were counted by
    """

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    target = models.BigIntegerField(default=0)
    looked_at = models.DateTimeField()
    calendar = models.CharField(max_length=40)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="flow_mark_is_one_row")]

    def __str__(self) -> str:
        return f"to target {self.target}"


class FlowDay(models.Model):
    """A day that is over, added up from the record; it can be dropped and made again at any time.

    stations  by code, what it finished (`flow.figures.Bench`, as its fields)
    rises     by operation, how far the count of pieces there rose above that of the day's beginning
    """

    day = models.DateField(primary_key=True)
    stations = models.JSONField(default=dict)
    rises = models.JSONField(default=dict)

    def __str__(self) -> str:
        return f"{self.day}"


class FlowCell(models.Model):
    """What a day adds at an operation (blank: whole fittings), of one order line: the numbers of `flow.figures.Cell`.

    order, kind, gauge, size_in  the line's, which its release froze; size is its largest diameter
    """

    day = models.ForeignKey(FlowDay, on_delete=models.CASCADE, related_name="cells", db_index=False)
    operation = models.CharField(max_length=20, blank=True)
    line = models.PositiveBigIntegerField()
    order = models.CharField(max_length=30)
    kind = models.CharField(max_length=30)
    gauge = models.PositiveSmallIntegerField()
    size_in = models.FloatField()
    arrived = models.PositiveIntegerField()
    finished = models.PositiveIntegerField()
    implied = models.PositiveIntegerField()
    timed = models.PositiveIntegerField()
    first_pass = models.PositiveIntegerField()
    arrived_hours = models.FloatField()
    finished_hours = models.FloatField()
    arrived_cents = models.BigIntegerField()
    finished_cents = models.BigIntegerField()
    arrived_unpriced = models.PositiveIntegerField()
    finished_unpriced = models.PositiveIntegerField()
    arrived_rest = models.FloatField()
    finished_rest = models.FloatField()
    lead_days = models.FloatField()
    spreads = models.JSONField(default=dict)
    scrap = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["day", "operation", "line"], name="flow_cell_once"),
        ]

    def __str__(self) -> str:
        return f"{self.day_id} {self.operation or 'fittings'} {self.line}"
