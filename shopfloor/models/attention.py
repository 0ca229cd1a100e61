"""What needed eyes: gaps in the numbers of scans, notes that settle things."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from shopfloor.models.keys import Key


class NumberSeries(models.Model):
    """The running numbers of one tablet's store, as far as they have come. A store that was emptied begins another."""

    name = models.CharField(max_length=80, unique=True)
    key = models.ForeignKey(Key, on_delete=models.SET_NULL, null=True, related_name="series")
    station = models.CharField(max_length=20)
    highest = models.PositiveIntegerField(default=0)
    highest_scan = models.CharField(max_length=64, blank=True)
    began_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.station} to {self.highest}"


class NumberGap(models.Model):
    """Numbers of a series that have not come though later ones have; closed when the last of them comes.

    first, last  as the gap was noticed; `last` null: the store was emptied, and nobody knows how many were on it
    missing      the ranges that have still not come, [[first, last], ...]
    before, after  the ids of the scans on either side
    """

    series = models.ForeignKey(NumberSeries, on_delete=models.CASCADE, related_name="gaps")
    first = models.PositiveIntegerField()
    last = models.PositiveIntegerField(null=True)
    missing = models.JSONField(default=list)
    before = models.CharField(max_length=64, blank=True)
    after = models.CharField(max_length=64, blank=True)
    noticed_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [
            models.Index(fields=["noticed_at"], condition=Q(closed_at=None), name="number_gap_open"),
            models.Index(
                fields=["-closed_at"], condition=Q(closed_at__isnull=False), name="number_gap_closed"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.first} to {self.last or 'unknown'}"


class Settlement(models.Model):
    """A supervisor's note that settles one thing that needed eyes. Rows are added and never change.

    kind, item, since  what it settles: `shopfloor.needs_eyes` says which row an item is; since when it is so tells one
                       hold of a piece from the next
    what, code         how it was listed then, and the code to look it up by
    """

    class Kind(models.TextChoices):
        IMPLIED = "implied", "Missed scan"
        CLOCK = "clock", "Clock off"
        SAME_ID = "same_id", "Same id, other scan"
        GAP = "gap", "Gap"
        HOLD = "hold", "On hold"
        LEFT = "left", "Left unfinished"

    kind = models.CharField(max_length=10, choices=Kind.choices)
    item = models.BigIntegerField()
    since = models.DateTimeField()
    what = models.CharField(max_length=200)
    code = models.CharField(max_length=80, blank=True)
    by = models.CharField(max_length=150)
    at = models.DateTimeField()
    text = models.CharField(max_length=500)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "item", "since"], name="settled_once")]
        indexes = [models.Index(fields=["-at"], name="settled_newest_first")]

    def __str__(self) -> str:
        return f"{self.kind} {self.item}"
