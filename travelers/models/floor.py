"""Operations, operators, travelers."""

from __future__ import annotations

from django.db import models

from shared.words import ENGLISH, LANGUAGES


class Operation(models.Model):
    """A step of the work. The shop adds its own (inspect, leak test) as rows.

    `cap`: with so many pieces there, ready, in work or on hold, what feeds it is told to hold back; None is no cap.
    """

    class Level(models.TextChoices):
        SEGMENT = "segment", "Each segment"
        FITTING = "fitting", "The fitting"

    code = models.CharField(max_length=20, primary_key=True)
    name = models.CharField(max_length=40)
    level = models.CharField(max_length=10, choices=Level.choices)
    position = models.PositiveSmallIntegerField(unique=True)
    needs_own_scan = models.BooleanField(default=False)
    cap = models.PositiveIntegerField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


class Operator(models.Model):
    """A person on the floor, known by a badge. A badge says who; it is no secret and opens nothing by itself.

    `language` is what the tablets speak while the badge is in, and what its scans are answered in; `card_printed_at`
    when its card was printed last.
    """

    code = models.CharField(max_length=10, unique=True)
    name = models.CharField(max_length=80)
    is_active = models.BooleanField(default=True)
    language = models.CharField(max_length=2, choices=LANGUAGES, default=ENGLISH)
    card_printed_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


class Traveler(models.Model):
    """The sheet that goes with a lot of equal fittings, or with one: the numbers of its line from first to last.

    `void_at` where a change of the order put another in its place, or none; a number in between may have been taken
    out of the order.
    """

    code = models.CharField(max_length=10, unique=True)
    line = models.ForeignKey("fittings.OrderLine", on_delete=models.PROTECT, related_name="travelers")
    first_number = models.PositiveIntegerField()
    last_number = models.PositiveIntegerField()
    prints = models.PositiveIntegerField(default=0)
    printed_at = models.DateTimeField(null=True, blank=True)
    void_at = models.DateTimeField(null=True, blank=True)
    void_version = models.PositiveIntegerField(null=True, blank=True)
    replaced_by = models.ForeignKey(
        "self", on_delete=models.SET_NULL, related_name="replaces", null=True, blank=True
    )

    def __str__(self) -> str:
        return self.code
