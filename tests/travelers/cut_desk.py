"""The office at the form that asks for a cut plan."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from fittings.models import StockItem
from tests.travelers import cut_floor

NEW = "/cut-plans/new/?material=galvanized&gauge=24"
USUAL = {
    "due_to": "any",
    "effort": "quick",
    "seams": "ordered",
    "turns": "any",
    "gap": "1/8",
    "margin": "1/4",
}


def day(days: int) -> str:
    return (timezone.localdate() + timedelta(days=days)).isoformat()


def two_orders():
    """One late by two days with 8 gores, one due in five days with 12; and a size to cut from."""
    late = cut_floor.released(day(-2), quantity=2, pieces=4)
    later = cut_floor.released(day(5), quantity=3, pieces=4)
    return late, later, cut_floor.stock()


def press(client, *orders, **changes):
    """What the form sends with these orders ticked and all stock."""
    stock = list(map(str, StockItem.objects.values_list("pk", flat=True)))
    data = USUAL | {"orders": [order.number for order in orders], "stock": stock} | changes
    return client.post(NEW, data)
