"""The append-only scan record, and the row that orders it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


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
    number = models.PositiveIntegerField(null=True)
    """The tablet's own running number, where it gave one. Not part of what the scan says."""

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["scan_id"], name="scan_id_once"),
            models.CheckConstraint(
                condition=Q(outcome__in=["recorded", "refused"]), name="scan_outcome_known"
            ),
        ]
        indexes = [
            models.Index(fields=["code", "-sequence"], name="scan_by_code"),
            models.Index(
                fields=["received_at"], condition=Q(is_time_doubtful=True), name="scan_clock_doubtful"
            ),
            models.Index(fields=["received_at"], condition=Q(action="resume"), name="scan_resumed"),
            models.Index(fields=["received_at"], condition=Q(outcome="refused"), name="scan_refused"),
        ]

    def __str__(self) -> str:
        return f"{self.sequence} {self.action} {self.code}"


class ScanTarget(models.Model):
    """A piece that a recorded scan was about, chosen when it was recorded. A scan of a lot or of a sheet has many.

    plate, plates  where the sheet carried a single plate of the segment: its number, and of how many; 0 otherwise

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
    plate = models.PositiveSmallIntegerField(default=0, db_default=0)
    plates = models.PositiveSmallIntegerField(default=0, db_default=0)

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
