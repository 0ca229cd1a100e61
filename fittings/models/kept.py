"""Finished fittings and segments that belong to no order and lie in the shop, to be used again."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fittings.models.pieces import Fitting, Segment

IS_KEPT = Q(used_at=None, ended_at=None)


class KeptPiece(models.Model):
    """A whole finished fitting, or one segment of a fitting that is not made any more, as it lies in the shop.

    segment       None where the whole fitting is kept
    facts         digest of all that another piece must equal to be the same one (`travelers.kept_facts`)
    used_for      the fitting of another order that it became (part of), and as which segment
    ended_why     it is neither here nor used: scrapped or lost

    It is kept from `kept_at` until it is used or ended, and no longer: the row then tells what became of it.
    """

    class Why(models.TextChoices):
        SURPLUS = "surplus", "Surplus"
        RETURNED = "returned", "Came back"
        CANCELLED = "cancelled", "Order or line cancelled"
        CHANGED = "changed", "Order changed"

    class Ended(models.TextChoices):
        SCRAPPED = "scrapped", "Scrapped"
        LOST = "lost", "Not found"

    fitting = models.ForeignKey(Fitting, on_delete=models.PROTECT, related_name="kept")
    segment = models.ForeignKey(Segment, on_delete=models.PROTECT, related_name="kept", null=True, blank=True)
    facts = models.CharField(max_length=64)
    place = models.CharField(max_length=60, blank=True)
    why = models.CharField(max_length=10, choices=Why.choices)
    note = models.CharField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)
    kept_at = models.DateTimeField()
    kept_by = models.CharField(max_length=150)
    used_at = models.DateTimeField(null=True, blank=True)
    used_by = models.CharField(max_length=150, blank=True)
    used_for = models.ForeignKey(
        Fitting, on_delete=models.PROTECT, related_name="made_of", null=True, blank=True
    )
    used_segment = models.ForeignKey(
        Segment, on_delete=models.PROTECT, related_name="made_of", null=True, blank=True
    )
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.CharField(max_length=150, blank=True)
    ended_why = models.CharField(max_length=10, choices=Ended.choices, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["fitting"], condition=IS_KEPT & Q(segment=None), name="fitting_kept_once"
            ),
            models.UniqueConstraint(fields=["segment"], condition=IS_KEPT, name="segment_kept_once"),
            models.CheckConstraint(
                condition=Q(used_at=None) | Q(ended_at=None), name="kept_used_or_ended_not_both"
            ),
            models.CheckConstraint(
                condition=Q(used_at=None, used_for=None) | Q(used_at__isnull=False, used_for__isnull=False),
                name="kept_used_for_a_fitting",
            ),
        ]
        indexes = [
            models.Index(fields=["facts"], condition=IS_KEPT, name="kept_by_facts"),
            models.Index(fields=["-kept_at", "-id"], name="kept_newest_first"),
        ]

    def __str__(self) -> str:
        return (self.segment or self.fitting).code
