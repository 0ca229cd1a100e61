"""Customers, the names that they had, and what was changed of them."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower


class Customer(models.Model):
    name = models.CharField(max_length=120, unique=True)
    contact = models.CharField(max_length=200, blank=True)
    address = models.CharField(max_length=200, blank=True, default="")
    notes = models.TextField(blank=True)
    is_active = models.BooleanField(default=True)

    def __str__(self) -> str:
        return self.name


class FormerName(models.Model):
    """A name by which a customer was known: renamed since, or of one that was merged into it. It still finds it."""

    customer = models.ForeignKey(Customer, on_delete=models.CASCADE, related_name="former_names")
    name = models.CharField(max_length=120)

    class Meta:
        constraints = [models.UniqueConstraint(Lower("name"), name="former_name_once")]

    def __str__(self) -> str:
        return self.name


class CustomerChange(models.Model):
    """What was changed of a customer: each field with its text before and after."""

    customer = models.ForeignKey(Customer, on_delete=models.CASCADE, related_name="changes")
    fields = models.JSONField(default=dict)
    made_by = models.CharField(max_length=150)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.customer_id} at {self.made_at}"
