"""Metal to cut from."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class StockItem(models.Model):
    """Metal to cut from: a sheet size, a coil, or one remnant of an earlier plan.

    `count` is what is on hand, None where it is not counted. A coil's `length_in` is the longest piece to cut off it.
    `cost_each` is of one sheet or remnant, and of one foot of a coil. A remnant waits with count 0 until its sheet
    is cut.
    """

    class Form(models.TextChoices):
        SHEET = "sheet", "Sheet"
        COIL = "coil", "Coil"
        REMNANT = "remnant", "Remnant"

    name = models.CharField(max_length=40)
    form = models.CharField(max_length=10, choices=Form.choices)
    material = models.CharField(max_length=30)
    gauge = models.PositiveSmallIntegerField()
    width_in = models.FloatField()
    length_in = models.FloatField()
    count = models.PositiveIntegerField(null=True, blank=True)
    cost_each = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    code = models.CharField(max_length=10, blank=True)
    made_from = models.ForeignKey(
        "CutSheet", on_delete=models.PROTECT, related_name="remnants", null=True, blank=True
    )
    note = models.CharField(max_length=200, blank=True)
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)
    changed_at = models.DateTimeField()
    changed_by = models.CharField(max_length=150)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["name", "material", "gauge"],
                condition=Q(is_active=True) & ~Q(form="remnant"),
                name="stock_size_once",
            ),
            models.UniqueConstraint(fields=["code"], condition=~Q(code=""), name="stock_code_once"),
            models.CheckConstraint(condition=Q(width_in__gt=0, length_in__gt=0), name="stock_has_a_size"),
        ]
        indexes = [
            models.Index(fields=["material", "gauge"], condition=Q(is_active=True), name="stock_by_metal"),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.material} {self.gauge} ga"
