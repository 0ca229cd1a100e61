"""Questions to the simulation, and what it promised."""

from __future__ import annotations

from django.db import models


class Study(models.Model):
    """A question to the simulation, kept under its name: what is changed, and what came out.

    change  what was asked (`shopfloor.studies.ChangeAsked`), as plain values
    result  what was found (`shopfloor.studies`), None until it is made
    """

    class State(models.TextChoices):
        MAKING = "making", "Being made"
        MADE = "made", "Made"
        FAILED = "failed", "Not made"

    name = models.CharField(max_length=60)
    state = models.CharField(max_length=10, choices=State.choices, default=State.MAKING)
    change = models.JSONField(default=dict)
    days = models.PositiveSmallIntegerField()
    runs = models.PositiveSmallIntegerField()
    asked_by = models.CharField(max_length=150)
    asked_at = models.DateTimeField()
    result = models.JSONField(null=True)
    message = models.CharField(max_length=300, blank=True)

    class Meta:
        indexes = [models.Index(fields=["-asked_at"], name="studies_newest_first")]

    def __str__(self) -> str:
        return self.name


class Promise(models.Model):
    """When an order is expected to be finished, as the simulation said at a moment. Kept, to see how it came true.

    likely_at, sure_at  finished by then in half of the runs, in nine of ten; None until it is made
    """

    class State(models.TextChoices):
        MAKING = "making", "Being made"
        MADE = "made", "Made"
        FAILED = "failed", "Not made"

    order = models.ForeignKey("fittings.Order", on_delete=models.CASCADE, related_name="+")
    state = models.CharField(max_length=10, choices=State.choices, default=State.MAKING)
    is_quote = models.BooleanField(default=False)
    asked_by = models.CharField(max_length=150)
    asked_at = models.DateTimeField()
    likely_at = models.DateTimeField(null=True)
    sure_at = models.DateTimeField(null=True)
    runs = models.PositiveSmallIntegerField(default=0)
    message = models.CharField(max_length=300, blank=True)

    class Meta:
        indexes = [models.Index(fields=["order", "-asked_at"], name="promises_of_order")]

    def __str__(self) -> str:
        return f"{self.order_id} at {self.asked_at}"
