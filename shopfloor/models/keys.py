"""Keys to the API, and the tablets that hold one."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from shopfloor.models.people import Person
from shopfloor.models.programs import Program
from shopfloor.models.stations import Station


class Key(models.Model):
    """A key to the API, of a person, a station or a program. Only its SHA-256 is kept."""

    digest = models.CharField(max_length=64, unique=True)
    person = models.ForeignKey(Person, on_delete=models.CASCADE, null=True, blank=True, related_name="keys")
    station = models.ForeignKey(Station, on_delete=models.CASCADE, null=True, blank=True, related_name="keys")
    program = models.ForeignKey(Program, on_delete=models.CASCADE, null=True, blank=True, related_name="keys")
    label = models.CharField(max_length=80, blank=True)
    expires_at = models.DateTimeField(null=True, blank=True)
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(person=None, station__isnull=False, program=None)
                | Q(person__isnull=False, station=None, program=None)
                | Q(person=None, station=None, program__isnull=False),
                name="key_has_one_holder",
            )
        ]

    def __str__(self) -> str:
        return self.label or self.digest[:8]


class Tablet(models.Model):
    """An enrolled tablet: its station and its key. Revoking it revokes the key.

    What it told of itself last is `shopfloor.presence`'s: null or empty where it did not tell.
    """

    name = models.CharField(max_length=60)
    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="tablets")
    key = models.OneToOneField(Key, on_delete=models.CASCADE, related_name="tablet")
    enrolled_at = models.DateTimeField()
    enrolled_by = models.CharField(max_length=150)
    seen_at = models.DateTimeField(null=True, blank=True)
    version = models.CharField(max_length=40, blank=True)
    battery = models.PositiveSmallIntegerField(null=True, blank=True)
    is_charging = models.BooleanField(null=True, blank=True)
    unsent = models.PositiveIntegerField(null=True, blank=True)
    oldest_unsent_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name
