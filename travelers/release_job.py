"""A big release in the background: asked for on the order's page, made by the worker, told of meanwhile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Count, Q, Sum

from fittings.models import Order, OrderLine
from shared.jobs import OPEN, Run, job_enqueue, job_of
from shared.models import Job
from shared.problems import Conflict, NotFound
from shared.roles import OFFICE, Actor
from shared.turn import write_turn
from travelers.release import MOST_TRIES, release_check, release_ready, release_write

RELEASE = "release"
"""The kind of the job; its subject is the order's number."""
USE_KEPT = "use_kept"
"""Among what is asked: the ids of the kept pieces to use."""
BIG_FITTINGS, BIG_LINES = 500, 100
"""More than so many fittings or lines are released in the background."""
SLOW_SECONDS = 15


def is_big(number: str) -> bool:
    """Whether the order's release takes longer than a press of a button should."""
    found = OrderLine.objects.filter(order__number=number).aggregate(
        lines=Count("pk"), pieces=Sum("quantity")
    )
    return found["lines"] > BIG_LINES or (found["pieces"] or 0) > BIG_FITTINGS


def release_request(*, number: str, actor: Actor, now: datetime, use_kept: Sequence[int] = ()) -> Job:
    """Ask the worker to release the order, with these kept pieces in it.

    raises  NotFound; Conflict where it is no draft, or its release is under way; WrongInput where it has no lines
    """
    release_check(number)
    if is_under_way(number):
        raise Conflict(f"The release of order {number} is under way. Its page says how far it is.")
    asked = {USE_KEPT: list(use_kept)} if use_kept else {}
    return job_enqueue(kind=RELEASE, subject=number, asked=asked, asked_by=actor.name, now=now)


def is_under_way(number: str) -> bool:
    return Job.objects.filter(kind=RELEASE, subject=number, state__in=OPEN).exists()


def release_make(run: Run) -> None:
    """Release the order that is the job's subject; its rows and the job's end are one transaction.

    raises  Problem where it cannot be released: nothing is written; JobLost
    """
    actor, kept = Actor(run.job.asked_by, OFFICE), run.job.asked.get(USE_KEPT, [])
    for is_last in [False] * (MOST_TRIES - 1) + [True]:
        ready = release_ready(run.subject, run.tell)
        with write_turn(), transaction.atomic():
            order = release_write(ready, actor=actor, now=run.now(), is_last=is_last, use_kept=kept)
            if order is not None:
                run.finish(f"{order.fittings_total:,} fittings are on the floor.")
                return
    raise Conflict(f"Order {run.subject} was being changed. Nothing was released; release it again.")


@dataclass(frozen=True)
class ReleaseProgress:
    """How far the release of an order is; without a job there is none to tell of."""

    order: Order
    job: Job | None
    before: int = 0
    waited_s: float = 0.0

    @property
    def is_open(self) -> bool:
        return self.job is not None and self.job.state in OPEN

    @property
    def is_running(self) -> bool:
        return self.job is not None and self.job.state == Job.State.RUNNING

    @property
    def failed(self) -> str:
        """Why the last try came to nothing, as long as the order is as it was then."""
        has_failed = self.job is not None and self.job.state == Job.State.FAILED
        return self.job.words if has_failed and self.order.state == Order.State.DRAFT else ""

    @property
    def per_cent(self) -> int:
        return round(100 * self.job.share) if self.job else 0

    @property
    def waited_minutes(self) -> float:
        return self.waited_s / 60

    @property
    def is_slow(self) -> bool:
        """Nobody took it up for a while, and it is the next: perhaps no worker runs."""
        return not self.is_running and self.before == 0 and self.waited_s > SLOW_SECONDS


def release_progress(number: str, *, now: datetime) -> ReleaseProgress:
    """raises  NotFound"""
    order = Order.objects.filter(number=number).first()
    if order is None:
        raise NotFound(f"There is no order {number[:30]}.")
    job = job_of(RELEASE, number) if order.state == Order.State.DRAFT else None
    before, waited = 0, 0.0
    if job is not None and job.state == Job.State.QUEUED:
        earlier = Q(queued_at__lt=job.queued_at) | Q(queued_at=job.queued_at, pk__lt=job.pk)
        before = Job.objects.filter(earlier, state__in=OPEN).count()
        waited = (now - job.queued_at).total_seconds()
    if job is not None and job.state == Job.State.FAILED and _changed_since(order, job):
        job = None
    return ReleaseProgress(order, job, before, waited)


def _changed_since(order: Order, job: Job) -> bool:
    return order.changes.filter(made_at__gt=job.ended_at).exists()
