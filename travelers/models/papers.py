"""Papers: the shop's logo, what left the door with whose signature, and papers printed in the background."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class Letterhead(models.Model):
    """The one row of the shop's logo, a PNG as it was read and written again; without a row there is none."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    logo = models.BinaryField()
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    changed_at = models.DateTimeField()
    changed_by = models.CharField(max_length=150)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="letterhead_is_one_row")]

    def __str__(self) -> str:
        return f"logo {self.width} × {self.height}"


class Delivery(models.Model):
    """Finished fittings of an order that leave together. It is received once, or taken back before.

    number    of the order's deliveries, from 1; a number is never given twice
    strokes   the signature: lists of [x, y] in a box of 1000 by 400, y downwards; empty where it was signed on paper
    station   where it was signed, blank in the office
    """

    order = models.ForeignKey("fittings.Order", on_delete=models.PROTECT, related_name="deliveries")
    number = models.PositiveIntegerField()
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)
    notes = models.CharField(max_length=400, blank=True)
    received_at = models.DateTimeField(null=True, blank=True)
    received_by = models.CharField(max_length=80, blank=True)
    handed_over_by = models.CharField(max_length=150, blank=True)
    station = models.CharField(max_length=20, blank=True)
    strokes = models.JSONField(default=list)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.CharField(max_length=150, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["order", "number"], name="delivery_number_once"),
            models.CheckConstraint(
                condition=Q(received_at=None) | Q(taken_back_at=None), name="delivery_received_or_taken_back"
            ),
        ]
        indexes = [
            models.Index(
                fields=["made_at"],
                condition=Q(received_at=None, taken_back_at=None),
                name="delivery_open_by_age",
            ),
            models.Index(
                fields=["-received_at", "-id"],
                condition=Q(received_at__isnull=False),
                name="delivery_received_newest",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order_id}-{self.number}"

    @property
    def is_open(self) -> bool:
        return self.received_at is None and self.taken_back_at is None


class DeliveredFitting(models.Model):
    """A fitting on a delivery. It leaves once; of a delivery that was taken back there is no row any more."""

    delivery = models.ForeignKey(Delivery, on_delete=models.PROTECT, related_name="fittings")
    fitting = models.OneToOneField("fittings.Fitting", on_delete=models.PROTECT, related_name="delivered")

    def __str__(self) -> str:
        return f"{self.fitting_id} on {self.delivery_id}"


class PrintRun(models.Model):
    """Papers of an order that the worker makes; the job says how far it is, the parts hold the file once it is made."""

    class Paper(models.TextChoices):
        TRAVELERS = "travelers", "Travelers"
        LABELS = "labels", "Labels"

    order = models.ForeignKey("fittings.Order", on_delete=models.CASCADE, related_name="print_runs")
    paper = models.CharField(max_length=20, choices=Paper.choices)
    options = models.JSONField(default=dict)
    asked_at = models.DateTimeField()
    asked_by = models.CharField(max_length=150)
    size = models.PositiveIntegerField(null=True, blank=True)
    made_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["asked_at"], name="print_run_by_age")]

    def __str__(self) -> str:
        return f"{self.paper} {self.pk}"


class PrintPart(models.Model):
    """A piece of a file that was made, so that no write is long."""

    run = models.ForeignKey(PrintRun, on_delete=models.CASCADE, related_name="parts")
    number = models.PositiveIntegerField()
    content = models.BinaryField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["run", "number"], name="print_part_once")]

    def __str__(self) -> str:
        return f"part {self.number} of {self.run_id}"
