"""What is to be done, and how far it is."""

from __future__ import annotations

from django.db import models
from django.db.models import BooleanField, Q
from django.db.models.expressions import RawSQL

from travelers.models.floor import Operation


class TaskState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    READY = "ready", "Ready"
    RUNNING = "running", "Running"
    HELD = "held", "On hold"
    DONE = "done", "Done"
    VOID = "void", "Void"


OPEN_STATES = ("waiting", "ready", "running", "held")

IS_OPEN = Q(state__in=OPEN_STATES)

IS_OPEN_HERE = RawSQL("travelers_task.state IN ('waiting', 'ready', 'running', 'held')", (), BooleanField())
"""Word for word as in the index of open work: with parameters SQLite would read the whole history."""
IS_DONE_HERE = RawSQL("travelers_task.state = 'done'", (), BooleanField())
"""The same of the index of finished work."""


class TaskQuerySet(models.QuerySet):
    def open(self):
        return self.filter(IS_OPEN_HERE)

    def ready(self):
        return self.filter(state=TaskState.READY)

    def at(self, *operations: str):
        return self.filter(operation_id__in=operations)


class Task(models.Model):
    """One operation on one segment or on the fitting. Its state is derived from the scans and stored for speed."""

    fitting = models.ForeignKey("fittings.Fitting", on_delete=models.PROTECT, related_name="tasks")
    segment = models.ForeignKey(
        "fittings.Segment",
        on_delete=models.PROTECT,
        related_name="tasks",
        null=True,
        blank=True,
        db_index=False,  # segment_task_once begins with it
    )
    operation = models.ForeignKey(
        Operation,
        on_delete=models.PROTECT,
        related_name="tasks",
        db_index=False,  # asked for together with a state or a time, which have indexes
    )
    step = models.PositiveSmallIntegerField()
    method = models.CharField(max_length=60, blank=True)
    minutes = models.FloatField(default=0)
    needs_own_scan = models.BooleanField(default=False)
    came_done = models.BooleanField(default=False, db_default=False)
    """The piece came from stock with it: done, at no time and by nobody here."""
    state = models.CharField(max_length=10, choices=TaskState.choices, default=TaskState.WAITING)
    is_implied = models.BooleanField(default=False)
    station = models.CharField(max_length=20, blank=True)
    badge = models.CharField(max_length=40, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    ready_at = models.DateTimeField(null=True, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = TaskQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["fitting", "operation"], condition=Q(segment=None), name="fitting_task_once"
            ),
            # without a condition, which would say the same: SQLite joins by a whole index only
            models.UniqueConstraint(fields=["segment", "operation"], name="segment_task_once"),
        ]
        indexes = [
            models.Index(
                fields=["operation", "state", "ready_at"],
                condition=Q(state__in=["waiting", "ready", "running", "held"]),
                name="task_open_by_operation",
            ),
            models.Index(
                fields=["operation", "finished_at"], condition=Q(state="done"), name="task_done_by_time"
            ),
            models.Index(fields=["operation", "ready_at"], name="task_arrivals"),
            models.Index(fields=["finished_at"], condition=Q(is_implied=True), name="task_implied"),
        ]

    def __str__(self) -> str:
        return f"{self.operation_id} {self.fitting_id}/{self.segment_id or '-'}"
