"""Fittings that are on a delivery, for the scans that would take something of them back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db.models import QuerySet

from fittings.models import Fitting, PieceState
from shared.words import say
from travelers.models import DeliveredFitting
from travelers.pieces import Loaded


def left_said(fittings: Sequence[Loaded], at: datetime) -> str:
    """What is to know of the first of these that was on a delivery at that time; blank where none was.

    A scan of an earlier time that comes late is a fact of the floor: it counts, and what it undoes needs eyes.
    """
    rows = DeliveredFitting.objects.filter(fitting__in=[one.id for one in fittings], delivery__made_at__lt=at)
    row = rows.order_by("fitting").values_list("delivery__order__number", "delivery__number").first()
    if row is None:
        return ""
    return say(
        "It is on delivery {delivery}. The office takes that back first.", delivery=f"{row[0]}-{row[1]}"
    )


def left_unfinished() -> QuerySet[Fitting]:
    """Fittings on a delivery that are not finished: a late scan undid work of them, or scrapped a piece."""
    return Fitting.objects.filter(state=PieceState.OPEN, delivered__isnull=False)
