"""Files of orders that came in, and what their columns were said to mean."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fittings.models.customers import Customer


class IntakeFile(models.Model):
    """A file as it was read. What is not brought in goes after 30 days; of what is, only the grid goes.

    pages      the sheets as grids, with what was corrected (`fittings.intake.grid.Page.kept`)
    asked      what is said beside the file: the order's head, what holds for all lines, the unit
    said       what its columns were said to mean: a head's words to a column's name
    found      what the last look at it found (`fittings.intake.services`)
    customer   of whom it is as typed beside it, in small letters; blank where the file says it
    digest     of what the file said as it came; `digest_in` as it was brought in, corrected
    copy       how often the same was brought in before, by choice
    """

    name = models.CharField(max_length=200)
    pages = models.JSONField(default=list)
    has_comma = models.BooleanField(default=False)
    notes = models.JSONField(default=list)
    asked = models.JSONField(default=dict)
    said = models.JSONField(default=dict)
    found = models.JSONField(default=dict)
    customer = models.CharField(max_length=120, blank=True)
    digest = models.CharField(max_length=64)
    digest_in = models.CharField(max_length=64, blank=True)
    copy = models.PositiveIntegerField(default=0)
    orders = models.JSONField(default=list)
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150)
    imported_at = models.DateTimeField(null=True, blank=True)
    imported_by = models.CharField(max_length=150, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["digest", "customer", "copy"],
                condition=Q(imported_at__isnull=False),
                name="file_in_once",
            ),
        ]
        indexes = [
            models.Index(fields=["made_at"], name="intake_file_by_age"),
            models.Index(fields=["digest_in"], condition=~Q(digest_in=""), name="intake_file_by_content"),
        ]

    def __str__(self) -> str:
        return self.name


class ColumnMatch(models.Model):
    """What a head was said to mean in a customer's files; without a customer in those of nobody named.

    head    its words as `fittings.intake.matching.head_words` spells them
    column  a column's name, blank where it is left out
    """

    customer = models.ForeignKey(
        Customer, on_delete=models.CASCADE, related_name="column_matches", null=True, blank=True
    )
    head = models.CharField(max_length=120)
    column = models.CharField(max_length=60, blank=True)
    said_at = models.DateTimeField()
    said_by = models.CharField(max_length=150)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["customer", "head"], name="column_match_once"),
            models.UniqueConstraint(
                fields=["head"], condition=Q(customer=None), name="column_match_of_nobody_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.head} means {self.column or 'nothing'}"
