"""How it is made and how far it is: operations, tasks, travelers, operators, and the append-only scan record."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class Operation(models.Model):
    """A step of the work. The shop adds its own (inspect, leak test) as rows."""

    class Level(models.TextChoices):
        SEGMENT = "segment", "Each segment"
        FITTING = "fitting", "The fitting"

    code = models.CharField(max_length=20, primary_key=True)
    name = models.CharField(max_length=40)
    level = models.CharField(max_length=10, choices=Level.choices)
    position = models.PositiveSmallIntegerField(unique=True)
    needs_own_scan = models.BooleanField(default=False)

    def __str__(self) -> str:
        return self.name


class Operator(models.Model):
    """A person on the floor, known by a badge. A badge says who; it is no secret and opens nothing by itself."""

    code = models.CharField(max_length=10, unique=True)
    name = models.CharField(max_length=80)
    is_active = models.BooleanField(default=True)

    def __str__(self) -> str:
        return self.name


class Traveler(models.Model):
    """The sheet that goes with a lot of equal fittings, or with one."""

    code = models.CharField(max_length=10, unique=True)
    line = models.ForeignKey("fittings.OrderLine", on_delete=models.PROTECT, related_name="travelers")
    first_number = models.PositiveIntegerField()
    last_number = models.PositiveIntegerField()
    prints = models.PositiveIntegerField(default=0)
    printed_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.code


class Pulse(models.Model):
    """The one row that gives out scan sequences and board versions.

    It is locked to the commit, so that readers never miss a scan. `epoch` changes when a backup is restored.
    """

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    sequence = models.BigIntegerField(default=0)
    version = models.BigIntegerField(default=0)
    epoch = models.CharField(max_length=36)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="pulse_is_one_row")]

    def __str__(self) -> str:
        return f"sequence {self.sequence}, version {self.version}"


class TaskState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    READY = "ready", "Ready"
    RUNNING = "running", "Running"
    HELD = "held", "On hold"
    DONE = "done", "Done"
    VOID = "void", "Void"


OPEN_STATES = ("waiting", "ready", "running", "held")
IS_OPEN = Q(state__in=OPEN_STATES)


class TaskQuerySet(models.QuerySet):
    def open(self):
        return self.filter(IS_OPEN)

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
            models.UniqueConstraint(
                fields=["segment", "operation"], condition=~Q(segment=None), name="segment_task_once"
            ),
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
        ]

    def __str__(self) -> str:
        return f"{self.operation_id} {self.fitting_id}/{self.segment_id or '-'}"


class Scan(models.Model):
    """One scan as first delivered, refused ones too. `travelers.record` appends rows; they never change."""

    class Outcome(models.TextChoices):
        RECORDED = "recorded", "Recorded"
        REFUSED = "refused", "Refused"

    sequence = models.BigIntegerField(primary_key=True)
    scan_id = models.CharField(max_length=64)
    body_digest = models.CharField(max_length=64)
    code = models.CharField(max_length=80)
    action = models.CharField(max_length=20)
    count = models.PositiveIntegerField(null=True)
    badge = models.CharField(max_length=40, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    undoes = models.CharField(max_length=64, blank=True)
    station = models.CharField(max_length=20, blank=True)
    operations = models.CharField(max_length=200, blank=True)
    scanned_at = models.DateTimeField(null=True)
    received_at = models.DateTimeField()
    effective_at = models.DateTimeField()
    is_time_doubtful = models.BooleanField(default=False)
    outcome = models.CharField(max_length=10, choices=Outcome.choices)
    reason_code = models.CharField(max_length=30, blank=True)
    message = models.CharField(max_length=300)
    operation = models.CharField(max_length=20, blank=True)
    changed = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["scan_id"], name="scan_id_once"),
            models.CheckConstraint(
                condition=Q(outcome__in=["recorded", "refused"]), name="scan_outcome_known"
            ),
        ]
        indexes = [
            models.Index(fields=["code", "-sequence"], name="scan_by_code"),
        ]

    def __str__(self) -> str:
        return f"{self.sequence} {self.action} {self.code}"


class ScanTarget(models.Model):
    """A piece that a recorded scan was about, chosen when it was recorded. A scan of a lot has many.

    Read by fitting only: an index that nothing asks would cost every scan.
    """

    scan = models.ForeignKey(Scan, on_delete=models.PROTECT, related_name="targets", db_index=False)
    fitting = models.ForeignKey("fittings.Fitting", on_delete=models.PROTECT, related_name="scan_targets")
    segment = models.ForeignKey(
        "fittings.Segment",
        on_delete=models.PROTECT,
        related_name="scan_targets",
        null=True,
        blank=True,
        db_index=False,
    )

    def __str__(self) -> str:
        return f"{self.scan_id} on {self.fitting_id}"


class ScanMismatch(models.Model):
    """A delivery with a known id and another body. It changed nothing; the supervisor sees it."""

    scan_id = models.CharField(max_length=64)
    body = models.JSONField()
    station = models.CharField(max_length=20, blank=True)
    received_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["-received_at"], name="mismatch_newest_first")]

    def __str__(self) -> str:
        return self.scan_id
