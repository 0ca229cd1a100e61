"""What an order becomes: fittings and their segments."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fittings.models.orders import Order, OrderLine


class PieceState(models.TextChoices):
    OPEN = "open", "Open"
    DONE = "done", "Done"
    SCRAPPED = "scrapped", "Scrapped"
    VOID = "void", "Void"


class Fitting(models.Model):
    """One fitting to make. It keeps its traveler's code as text: travelers are of a higher package.

    `added_at` where a change brought it after its order's release. `taken_out_at` where a change took it out of its
    order, in the order's `taken_out_version`; `taken_out_as` says what becomes of its started work, and `replaced_by`
    is the fitting that is made in its place.
    """

    class TakenOut(models.TextChoices):
        SCRAP = "scrap", "Scrap what is begun"
        KEEP = "keep", "Keep what is begun"

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="fittings")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="fittings")
    number = models.PositiveIntegerField()
    code = models.CharField(max_length=10, unique=True)
    traveler_code = models.CharField(max_length=10, db_index=True)
    state = models.CharField(max_length=10, choices=PieceState.choices, default=PieceState.OPEN)
    done_at = models.DateTimeField(null=True, blank=True)
    added_at = models.DateTimeField(null=True, blank=True)
    taken_out_at = models.DateTimeField(null=True, blank=True)
    taken_out_as = models.CharField(max_length=10, choices=TakenOut.choices, blank=True)
    taken_out_version = models.PositiveIntegerField(null=True, blank=True)
    replaced_by = models.ForeignKey(
        "self", on_delete=models.SET_NULL, related_name="replaces", null=True, blank=True
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["line", "number"], name="fitting_number_once"),
            models.CheckConstraint(
                condition=Q(taken_out_at=None, taken_out_as="")
                | Q(taken_out_at__isnull=False, taken_out_as__in=["scrap", "keep"]),
                name="fitting_taken_out_as",
            ),
        ]
        indexes = [
            models.Index(fields=["done_at"], condition=Q(state="done"), name="fitting_done_by_day"),
            models.Index(fields=["order"], condition=Q(state="open"), name="fitting_open_by_order"),
            models.Index(
                fields=["taken_out_at"], condition=Q(taken_out_at__isnull=False), name="fitting_taken_out"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Segment(models.Model):
    """One piece of a fitting. A remade one is a new row of the next generation."""

    fitting = models.ForeignKey(Fitting, on_delete=models.PROTECT, related_name="segments")
    position = models.PositiveSmallIntegerField()
    generation = models.PositiveSmallIntegerField(default=1)
    role = models.CharField(max_length=20)
    pattern = models.CharField(max_length=20)
    code = models.CharField(max_length=10, unique=True)
    state = models.CharField(max_length=10, choices=PieceState.choices, default=PieceState.OPEN)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["fitting", "position", "generation"], name="segment_generation_once"
            )
        ]
        indexes = [
            models.Index(fields=["fitting"], condition=Q(state="scrapped"), name="segment_scrapped"),
        ]

    def __str__(self) -> str:
        return self.code
