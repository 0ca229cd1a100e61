"""Other systems: programs that hold keys of their own, and webhooks that tell them of events."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class Program(models.Model):
    """Another system that talks to the API with its own key. `scopes` is what it may do (`shopfloor.scopes`)."""

    name = models.CharField(max_length=60, unique=True)
    scopes = models.JSONField(default=list)
    is_active = models.BooleanField(default=True)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)
    seen_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return self.name


class Webhook(models.Model):
    """An address that is told of events, one after the other in the order of the feed.

    reached   the number of the last event that it took, or that was left out
    tries     how often the next one was tried in vain; `next_at` is when it is tried again
    taken_to  until when the process that sends keeps it for itself
    trial_at  when somebody asked for a trial that has not been sent
    stopped   why it is not told any more until somebody lets it go on; blank while it is told
    """

    name = models.CharField(max_length=60, unique=True)
    address = models.CharField(max_length=500)
    kinds = models.JSONField(default=list)
    secret = models.CharField(max_length=100)
    is_active = models.BooleanField(default=True)
    reached = models.BigIntegerField()
    tries = models.PositiveIntegerField(default=0)
    next_at = models.DateTimeField(null=True)
    taken_to = models.DateTimeField(null=True)
    trial_at = models.DateTimeField(null=True)
    stopped = models.CharField(max_length=200, blank=True)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)

    def __str__(self) -> str:
        return self.name


class WebhookTry(models.Model):
    """One message sent to a webhook, and what it answered. The newest of each are kept.

    event   its number in the feed; None for a trial
    status  of the answer; None where none came
    """

    webhook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="sent")
    event = models.BigIntegerField(null=True)
    kind = models.CharField(max_length=30)
    at = models.DateTimeField()
    status = models.PositiveSmallIntegerField(null=True)
    words = models.CharField(max_length=200, blank=True)
    is_taken = models.BooleanField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(is_taken=False) | Q(status__isnull=False), name="taken_try_has_an_answer"
            )
        ]
        indexes = [models.Index(fields=["webhook", "-id"], name="webhook_tries_newest_first")]

    def __str__(self) -> str:
        return f"{self.kind} to {self.webhook_id} at {self.at}"
