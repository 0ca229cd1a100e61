"""Pieces placed on sheets: plans, their sheets, what lies on each."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from fittings.models.pieces import Segment
from fittings.models.stock import StockItem


class CutPlan(models.Model):
    """Pieces of one material and gauge placed on sheets: a proposal until it is sent to the floor, all or nothing.

    A plan holds its pieces from the moment it is asked for, so that nobody plans them a second time.
    """

    class State(models.TextChoices):
        MAKING = "making", "Being made"
        MADE = "made", "Made"
        SENT = "sent", "Sent to the floor"
        DROPPED = "dropped", "Dropped"
        FAILED = "failed", "Failed"

    number = models.PositiveIntegerField(unique=True)
    material = models.CharField(max_length=30)
    gauge = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.MAKING)
    version = models.PositiveIntegerField(default=1)
    effort = models.CharField(max_length=10)
    seed = models.PositiveIntegerField(default=1)
    gap_in = models.FloatField()
    margin_in = models.FloatField()
    turns = models.CharField(max_length=10)
    seams = models.CharField(max_length=10)
    due_to = models.DateField(null=True, blank=True)
    stock_ids = models.JSONField(default=list)
    utilisation = models.FloatField(null=True, blank=True)
    bound = models.FloatField(null=True, blank=True)
    parts_area = models.FloatField(default=0)
    stock_area = models.FloatField(default=0)
    cost = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    comparisons = models.JSONField(default=list)
    message = models.CharField(max_length=300, blank=True)
    made_by = models.CharField(max_length=150)
    asked_at = models.DateTimeField()
    made_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    sent_by = models.CharField(max_length=150, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["making", "made", "sent", "dropped", "failed"]),
                name="cut_plan_state_known",
            ),
        ]
        indexes = [models.Index(fields=["sent_at"], condition=Q(state="sent"), name="cut_plan_sent_by_day")]

    def __str__(self) -> str:
        return f"cut plan {self.number}"


class CutSheet(models.Model):
    """One sheet of a plan, or one length of coil. Its code is given out when the plan is sent.

    `load` counts the loads of the table, `load_offset_in` is where the sheet begins on the table.
    """

    plan = models.ForeignKey(CutPlan, on_delete=models.CASCADE, related_name="sheets")
    position = models.PositiveIntegerField()
    code = models.CharField(max_length=10, blank=True)
    stock = models.ForeignKey(StockItem, on_delete=models.PROTECT, related_name="cut_sheets")
    stock_name = models.CharField(max_length=40)
    form = models.CharField(max_length=10, choices=StockItem.Form.choices)
    width_in = models.FloatField()
    length_in = models.FloatField()
    used_length_in = models.FloatField()
    parts_area = models.FloatField(default=0)
    remnant_width_in = models.FloatField(null=True, blank=True)
    remnant_length_in = models.FloatField(null=True, blank=True)
    cost = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    remnant_credit = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    load = models.PositiveIntegerField(default=1)
    load_offset_in = models.FloatField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["plan", "position"], name="cut_sheet_position_once"),
            models.UniqueConstraint(fields=["code"], condition=~Q(code=""), name="cut_sheet_code_once"),
        ]

    def __str__(self) -> str:
        return self.code or f"sheet {self.position} of plan {self.plan_id}"

    @property
    def taken_length_in(self) -> float:
        """What it takes of its stock: the whole sheet; of a coil what is cut off."""
        return self.used_length_in if self.form == StockItem.Form.COIL else self.length_in

    @property
    def taken_area(self) -> float:
        return self.width_in * self.taken_length_in

    @property
    def remnant_area(self) -> float:
        return (self.remnant_width_in or 0.0) * (self.remnant_length_in or 0.0)

    @property
    def utilisation(self) -> float:
        """Area of the parts over that of what is taken."""
        return self.parts_area / self.taken_area if self.taken_area else 0.0


class CutPiece(models.Model):
    """A segment, or one plate of it, in a plan: where it lies, or why it did not go on.

    plate     0 for the whole segment, else the plate's number from 1
    seam_at   where the plan put the seam, blank where it is as ordered
    x, y, rotation  as `fittings.cutting.Placement` says; None while the plan is being made
    feed      its number on the sheet, the front of the table first
    is_live   while the plan holds it: a segment's plate is on one live plan at most
    """

    plan = models.ForeignKey(CutPlan, on_delete=models.CASCADE, related_name="pieces")
    sheet = models.ForeignKey(
        CutSheet, on_delete=models.CASCADE, related_name="pieces", null=True, blank=True
    )
    segment = models.ForeignKey(Segment, on_delete=models.PROTECT, related_name="cut_pieces")
    plate = models.PositiveSmallIntegerField(default=0)
    pattern = models.CharField(max_length=30)
    seam_at = models.CharField(max_length=10, blank=True)
    x = models.FloatField(null=True, blank=True)
    y = models.FloatField(null=True, blank=True)
    rotation = models.FloatField(null=True, blank=True)
    area = models.FloatField(default=0)
    feed = models.PositiveIntegerField(default=0)
    why = models.CharField(max_length=300, blank=True)
    is_live = models.BooleanField(default=True)
    off_reason = models.CharField(max_length=200, blank=True)
    off_at = models.DateTimeField(null=True, blank=True)
    off_by = models.CharField(max_length=150, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["segment", "plate"], condition=Q(is_live=True), name="piece_on_one_live_plan"
            ),
            models.CheckConstraint(
                condition=Q(sheet=None) | Q(x__isnull=False, y__isnull=False, rotation__isnull=False),
                name="placed_piece_has_a_place",
            ),
        ]
        indexes = [
            models.Index(fields=["sheet"], condition=Q(off_at__isnull=False), name="piece_off_by_sheet"),
        ]

    def __str__(self) -> str:
        return f"{self.segment_id}/{self.plate} on {self.sheet_id or 'no sheet'}"
