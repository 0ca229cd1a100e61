"""What the supervisor should look at: refused and doubtful scans, differing repeats, missed scans, wrong sign-ins."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time

from django.db.models import Count, Q, QuerySet
from django.utils import timezone

from shopfloor.models import SignInMisses
from travelers.models import Operation, Operator, Scan, ScanMismatch, Task, TaskState

LOOKED_BACK = 20_000
MISMATCHES_SHOWN = 20
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


def doubtful_scans(*, now: datetime) -> QuerySet[Scan]:
    """Today's refused scans and those whose tablet's clock was far off, newest first.

    Looks only at the newest rows of the record, so that its cost does not grow with history.
    """
    newest = next(iter(Scan.objects.order_by("-sequence").values_list("sequence", flat=True)[:1]), 0)
    return (
        Scan.objects.filter(sequence__gt=newest - LOOKED_BACK, received_at__gte=day_start(now))
        .filter(Q(outcome=Scan.Outcome.REFUSED) | Q(is_time_doubtful=True))
        .order_by("-sequence")
    )


def badge_names(scans) -> dict[str, str]:
    """The names behind the badges of some scans. One query."""
    badges = {scan.badge for scan in scans if scan.badge}
    return dict(Operator.objects.filter(code__in=badges).values_list("code", "name"))


def mismatches(*, now: datetime) -> list[ScanMismatch]:
    """Today's deliveries of a known id with another body, newest first."""
    found = ScanMismatch.objects.filter(received_at__gte=day_start(now))
    return list(found.order_by("-received_at", "-pk")[:MISMATCHES_SHOWN])


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
