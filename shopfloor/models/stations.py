"""Stations, when they do not work, and the one-time codes by which tablets become theirs."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class Station(models.Model):
    """A bench or machine: the operations it does, within limits. Empty limits are none."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=60)
    position = models.PositiveSmallIntegerField(default=0)
    operations = models.JSONField(default=list)
    gauge_lightest = models.PositiveSmallIntegerField(null=True, blank=True)
    gauge_heaviest = models.PositiveSmallIntegerField(null=True, blank=True)
    diameter_least_in = models.FloatField(null=True, blank=True)
    diameter_most_in = models.FloatField(null=True, blank=True)
    one_scan_finishes = models.BooleanField(default=True)
    is_active = models.BooleanField(default=True)

    def __str__(self) -> str:
        return self.code


class EnrolmentCode(models.Model):
    """A one-time code by which a tablet becomes a station's, good for ten minutes."""

    digest = models.CharField(max_length=64, unique=True)
    station = models.ForeignKey(Station, on_delete=models.CASCADE)
    made_by = models.CharField(max_length=150)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"for {self.station_id}"


class Downtime(models.Model):
    """A station that does not work for a while. Told when it is so it lasts until somebody says that it runs again;
    planned ahead it lasts until its own end.

    until_at  when it is expected to run again; None where nobody knows
    """

    station = models.ForeignKey(Station, on_delete=models.CASCADE, related_name="downtimes")
    from_at = models.DateTimeField()
    until_at = models.DateTimeField(null=True, blank=True)
    is_planned = models.BooleanField(default=False)
    reason = models.CharField(max_length=200, blank=True)
    told_at = models.DateTimeField()
    told_by = models.CharField(max_length=150)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.CharField(max_length=150, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(until_at=None) | Q(until_at__gt=models.F("from_at")),
                name="downtime_ends_after_start",
            ),
            models.CheckConstraint(
                condition=Q(is_planned=False) | Q(until_at__isnull=False), name="planned_downtime_has_an_end"
            ),
            models.UniqueConstraint(
                fields=["station"], condition=Q(ended_at=None, is_planned=False), name="station_down_once"
            ),
        ]
        indexes = [
            models.Index(fields=["station", "from_at"], condition=Q(ended_at=None), name="downtime_open"),
        ]

    def __str__(self) -> str:
        return f"{self.station_id} from {self.from_at}"
