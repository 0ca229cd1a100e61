"""The floor itself: people, stations and their limits, keys, tablets."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q


class Person(AbstractUser):
    """Someone who signs in with a password: office, supervisor, or a display. Operators have badges instead."""

    class Role(models.TextChoices):
        OFFICE = "office", "Office"
        SUPERVISOR = "supervisor", "Supervisor"
        DISPLAY = "display", "Display"

    role = models.CharField(max_length=12, choices=Role.choices, default=Role.OFFICE)

    def __str__(self) -> str:
        return self.get_full_name() or self.username


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


class Key(models.Model):
    """A key to the API, of a person or a station. Only its SHA-256 is kept."""

    digest = models.CharField(max_length=64, unique=True)
    person = models.ForeignKey(Person, on_delete=models.CASCADE, null=True, blank=True, related_name="keys")
    station = models.ForeignKey(Station, on_delete=models.CASCADE, null=True, blank=True, related_name="keys")
    label = models.CharField(max_length=80, blank=True)
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(person=None, station__isnull=False) | Q(person__isnull=False, station=None),
                name="key_has_one_holder",
            )
        ]

    def __str__(self) -> str:
        return self.label or self.digest[:8]


class Tablet(models.Model):
    """An enrolled tablet: its station and its key. Revoking it revokes the key."""

    name = models.CharField(max_length=60)
    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="tablets")
    key = models.OneToOneField(Key, on_delete=models.CASCADE, related_name="tablet")
    enrolled_at = models.DateTimeField()
    enrolled_by = models.CharField(max_length=150)

    def __str__(self) -> str:
        return self.name


class EnrolmentCode(models.Model):
    """A one-time code by which a tablet becomes a station's, good for ten minutes."""

    digest = models.CharField(max_length=64, unique=True)
    station = models.ForeignKey(Station, on_delete=models.CASCADE)
    made_by = models.CharField(max_length=150)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"for {self.station_id}"


class SignInMisses(models.Model):
    """Wrong sign-ins in a row of one account or one station, known or not, and until when it is closed."""

    subject = models.CharField(max_length=200, unique=True)
    misses = models.PositiveIntegerField(default=0)
    closed_until = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.subject
