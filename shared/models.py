"""Long work that goes on behind the screens, on the same database as everything else."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class Job(models.Model):
    """One piece of long work: what it is about, how far it is, and whether somebody wants it to stop.

    kind, subject  what to do and to which row (`cut_plan`, `17`); one open job for each at most
    asked          what was asked for beside the subject, as its kind says
    figures        the best so far, as its kind says; for screens
    heartbeat_at   moved by the worker; one that stands still was left by a dead worker and is taken up again
    """

    class State(models.TextChoices):
        QUEUED = "queued", "In the queue"
        RUNNING = "running", "Running"
        DONE = "done", "Done"
        FAILED = "failed", "Failed"
        CANCELLED = "cancelled", "Cancelled"

    kind = models.CharField(max_length=30)
    subject = models.CharField(max_length=40)
    state = models.CharField(max_length=10, choices=State.choices, default=State.QUEUED)
    share = models.FloatField(default=0)
    words = models.CharField(max_length=200, blank=True)
    asked = models.JSONField(default=dict)
    figures = models.JSONField(default=dict)
    wants_stop = models.BooleanField(default=False)
    attempts = models.PositiveSmallIntegerField(default=0)
    worker = models.CharField(max_length=80, blank=True)
    asked_by = models.CharField(max_length=150, blank=True)
    queued_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "subject"], condition=Q(state__in=["queued", "running"]), name="job_open_once"
            ),
        ]
        indexes = [
            models.Index(
                fields=["queued_at", "id"],
                condition=Q(state__in=["queued", "running"]),
                name="job_open_by_age",
            ),
            models.Index(fields=["kind", "subject", "id"], name="job_by_subject"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.subject}"
