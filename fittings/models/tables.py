"""The shop's versioned tables, and the series that codes are given out from."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class TableVersion(models.Model):
    """One version of one shop table, whole. Versions are never changed; the newest number is in force.

    `rows` is a list of objects whose columns `fittings.tables` describes; each row names its source.
    """

    table = models.CharField(max_length=40)
    number = models.PositiveIntegerField()
    rows = models.JSONField(default=list)
    note = models.CharField(max_length=300, blank=True)
    made_by = models.CharField(max_length=150)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["table", "number"], name="table_version_once")]

    def __str__(self) -> str:
        return f"{self.table} version {self.number}"


class CodeSeries(models.Model):
    """The one row from which codes are given out: the shop's mark and the next free number."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    mark = models.CharField(max_length=2)
    next_number = models.BigIntegerField(default=0)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="code_series_is_one_row")]

    def __str__(self) -> str:
        return f"{self.mark} next {self.next_number}"
