"""What orders really cost, kept: a copy of what record, cut plans and prices say, made again by the worker."""

from __future__ import annotations

from decimal import Decimal

from django.db import models

MONEY = {"max_digits": 14, "decimal_places": 2, "default": Decimal("0.00")}
MINUTES = {"max_digits": 12, "decimal_places": 3, "default": Decimal("0.000")}


class OrderCost(models.Model):
    """An order whose costs are kept. `lines` has what each line came to, amounts as digits."""

    order = models.OneToOneField(
        "fittings.Order", on_delete=models.CASCADE, primary_key=True, related_name="kept_cost"
    )
    made_at = models.DateTimeField()
    lines = models.JSONField(default=list)

    def __str__(self) -> str:
        return f"order {self.order_id}"


class MonthCost(models.Model):
    """What an order's fittings that were finished in one month cost, and what they are sold for.

    `order_month` is the month in which the whole order was done or cancelled, None before. The amounts are of those
    `fittings` whose price and cost are known; `unknown` counts the others. `lost` is the part of the cost that went
    into fittings that were scrapped, cancelled or put into stock. `expected` is the cost expected at release, of
    fittings that are sold for `expected_price`; minutes and segments say what metal and labor are known by.
    """

    order = models.ForeignKey("fittings.Order", on_delete=models.CASCADE, related_name="month_costs")
    month = models.DateField()
    order_month = models.DateField(null=True, blank=True)
    fittings = models.PositiveIntegerField(default=0)
    unknown = models.PositiveIntegerField(default=0)
    price = models.DecimalField(**MONEY)
    metal = models.DecimalField(**MONEY)
    labor = models.DecimalField(**MONEY)
    overhead = models.DecimalField(**MONEY)
    lost = models.DecimalField(**MONEY)
    expected = models.DecimalField(**MONEY)
    expected_price = models.DecimalField(**MONEY)
    measured_minutes = models.DecimalField(**MINUTES)
    standard_minutes = models.DecimalField(**MINUTES)
    by_plan = models.PositiveIntegerField(default=0)
    by_area = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["order", "month"], name="month_cost_once")]
        indexes = [
            models.Index(fields=["month"], name="month_cost_by_month"),
            models.Index(fields=["order_month"], name="month_cost_by_order"),
        ]

    def __str__(self) -> str:
        return f"order {self.order_id} in {self.month:%Y-%m}"


class CostDue(models.Model):
    """An order whose costs are to be added up again, and since when."""

    order = models.OneToOneField(
        "fittings.Order", on_delete=models.CASCADE, primary_key=True, related_name="cost_due"
    )
    since = models.DateTimeField()

    def __str__(self) -> str:
        return f"order {self.order_id} since {self.since}"


class CostMark(models.Model):
    """The one row that says up to where it was looked what changed."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    target = models.BigIntegerField(default=0)
    looked_at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(id=1), name="cost_mark_is_one_row")]

    def __str__(self) -> str:
        return f"scans up to {self.target}"
