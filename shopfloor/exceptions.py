"""What went otherwise than usual today, for the supervisor to know: refused scans, missed scans, wrong sign-ins.

What is to be settled is in `shopfloor.needs_eyes`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time

from django.db.models import BooleanField, Count, QuerySet
from django.db.models.expressions import RawSQL
from django.utils import timezone

from shopfloor.models import SignInMisses
from travelers.models import Operation, Scan, Task, TaskState

MISSES_SHOWN = 20


@dataclass(frozen=True)
class Missed:
    """An operation and how many of its tasks were taken as done today because a later one was scanned."""

    code: str
    name: str
    count: int


def day_start(now: datetime) -> datetime:
    """Midnight of the shop's own day."""
    local = timezone.localtime(now)
    return timezone.make_aware(datetime.combine(local.date(), time.min))


def refused_today(*, now: datetime) -> QuerySet[Scan]:
    """Today's refused scans, newest first. From their own index, word for word: history costs nothing."""
    is_refused = RawSQL("travelers_scan.outcome = 'refused'", (), BooleanField())
    return Scan.objects.filter(is_refused, received_at__gte=day_start(now)).order_by(
        "-received_at", "-sequence"
    )


def missed_today(*, now: datetime) -> list[Missed]:
    """Per operation, in flow order: tasks implied by a later scan today. Two queries."""
    operations = list(Operation.objects.order_by("position").values_list("code", "name"))
    rows = (
        Task.objects.filter(
            operation_id__in=[code for code, _ in operations],
            state=TaskState.DONE,
            finished_at__gte=day_start(now),
            is_implied=True,
        )
        .values_list("operation_id")
        .annotate(count=Count("pk"))
        .order_by()
    )
    counts = dict(rows)
    return [Missed(code, name, counts.get(code, 0)) for code, name in operations]


def wrong_sign_ins() -> list[SignInMisses]:
    """Accounts and stations with wrong tries since their last right one, the latest first."""
    return list(SignInMisses.objects.filter(misses__gt=0).order_by("-closed_until", "pk")[:MISSES_SHOWN])
