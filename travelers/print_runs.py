"""Papers of large orders made in the background: asked for, made by the worker, kept for a day, fetched.

The file is kept in the database in parts: a worker on another machine has no folder in common with the server, and no
write is long. What was printed before the asking (reprints) is counted when it is asked for, once, whatever happens to
the worker. How a handler is written: `shared.jobs`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from fittings.models import Order
from shared.jobs import Run, Work, job_cancel, job_enqueue, job_of
from shared.models import Job
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.turn import write_turn
from travelers import papers
from travelers.models import PrintPart, PrintRun

PRINT = "papers"
KEPT_FOR = timedelta(days=1)
KEPT_MOST = 20
PART_BYTES = 512 * 1024
LARGE = 200
"""From so many fittings on an order's page prints in the background."""
STORING = 0.97  # of the work is done when the file is laid down


@dataclass(frozen=True)
class PrintState:
    """A run as pages and programs see it. `state` is the job's; done with `is_gone`: the file was pruned."""

    run: PrintRun
    state: str
    share: float
    words: str

    @property
    def is_open(self) -> bool:
        return self.state in (Job.State.QUEUED, Job.State.RUNNING)

    @property
    def is_made(self) -> bool:
        return self.run.made_at is not None

    @property
    def percent(self) -> int:
        return 100 if self.is_made else min(99, round(100 * self.share))

    @property
    def file_name(self) -> str:
        return f"{self.run.paper}-{self.run.order.number}.pdf"


def print_ask(
    *, number: str, paper: str, options: Mapping[str, str] | None = None, actor: Actor, now: datetime
) -> PrintRun:
    """Ask for papers of a released order; the same that is still being made is given instead of another.

    raises  NotFound; Conflict for a draft; WrongInput for another paper, or for labels that cannot be printed so
    """
    if paper not in PrintRun.Paper.values:
        limit = " or ".join(PrintRun.Paper.values)
        message = f"“{paper[:30]}” cannot be printed in the background; {limit} can."
        raise WrongInput([FieldError("paper", paper[:30], limit, message)])
    order = papers.released_order(number)
    kept = {}
    if paper == PrintRun.Paper.LABELS:
        kept = {name: str(value) for name, value in (options or {}).items() if name in papers.LABEL_OPTIONS}
        papers.labels_check(kept)
    with write_turn(), transaction.atomic():
        order = Order.objects.select_for_update(of=("self",)).get(pk=order.pk)
        for run in order.print_runs.filter(paper=paper, made_at=None, options=kept).order_by("-pk"):
            if print_state(run).is_open:
                return run
        run = PrintRun.objects.create(
            order=order, paper=paper, options=kept, asked_at=now, asked_by=actor.name
        )
        if paper == PrintRun.Paper.TRAVELERS:
            papers.travelers_counted(order, now=now)
        job_enqueue(kind=PRINT, subject=str(run.pk), asked_by=actor.name, now=now)
    runs_prune(now=now)
    return run


def print_stop(*, run: PrintRun, now: datetime) -> None:
    """It is not wanted any more. Made already: the file stays until it is pruned."""
    job_cancel(kind=PRINT, subject=str(run.pk), now=now)


def run_get(number: str, pk: int) -> PrintRun:
    """raises NotFound"""
    run = PrintRun.objects.select_related("order__customer").filter(pk=pk, order__number=number).first()
    if run is None:
        raise NotFound(
            f"There is no such print of order {number[:30]}. It is kept for a day; print it again."
        )
    return run


def print_state(run: PrintRun) -> PrintState:
    job = job_of(PRINT, str(run.pk))
    if job is None:
        return PrintState(run, Job.State.CANCELLED, 0.0, "")
    return PrintState(run, job.state, job.share, job.words)


def runs_of(order: Order) -> list[PrintState]:
    """The newest prints of an order. A query each, and there are few."""
    return [print_state(run) for run in order.print_runs.select_related("order").order_by("-pk")[:3]]


def run_file(run: PrintRun) -> bytes:
    """The file that was made. raises Conflict where it is not made yet, or failed"""
    state = print_state(run)
    if not state.is_made:
        raise Conflict(
            f"The {run.paper} of order {run.order.number} are being made: {state.percent} %."
            if state.is_open
            else f"The {run.paper} of order {run.order.number} were not made. {state.words}".strip(),
            retry_after=2 if state.is_open else None,
        )
    parts = run.parts.order_by("number").values_list("content", flat=True)
    content = b"".join(bytes(part) for part in parts)
    if len(content) != run.size:
        raise NotFound("The file is no longer kept. Print it again.")
    return content


def run_answer(run: PrintRun) -> dict[str, Any]:
    state = print_state(run)
    return {
        "id": run.pk,
        "order": run.order.number,
        "paper": run.paper,
        "state": state.state,
        "share": 1.0 if state.is_made else state.share,
        "words": state.words,
        "asked_at": run.asked_at,
        "asked_by": run.asked_by,
        "made_at": run.made_at,
        "bytes": run.size,
    }


def is_large(order: Order) -> bool:
    """Whether the order's page prints its papers in the background."""
    return order.fittings_total >= LARGE


def runs_prune(*, now: datetime) -> int:
    """Files older than a day go, and of the others all but the newest; how many went."""
    gone = 0
    newest = list(PrintRun.objects.order_by("-pk").values_list("pk", flat=True)[:KEPT_MOST])
    old = PrintRun.objects.exclude(pk__in=newest) | PrintRun.objects.filter(asked_at__lt=now - KEPT_FOR)
    for run in old.distinct():
        if print_state(run).is_open:
            continue
        for pk in run.parts.values_list("pk", flat=True):
            with write_turn():
                PrintPart.objects.filter(pk=pk).delete()
        with write_turn():
            run.delete()
        gone += 1
    return gone


# -- the worker's part --------------------------------------------------------------


def print_make(run: Run) -> None:
    """Draws the papers and lays them down part by part; done in one transaction with the job."""
    asked = PrintRun.objects.select_related("order__customer").filter(pk=run.subject).first()
    if asked is None:
        return
    with write_turn():
        asked.parts.all().delete()  # of an attempt that broke off
    run.tell(0.01, "Reading the order")

    def told(done: int, of: int) -> None:
        run.tell(STORING * done / of, f"{done:,} of {of:,} {asked.paper}")

    if asked.paper == PrintRun.Paper.TRAVELERS:
        content = papers.travelers_content(asked.order, now=asked.asked_at, told=told)
    else:
        content = papers.labels_content(asked.order, asked.options, told=told)
    for number, start in enumerate(range(0, len(content), PART_BYTES)):
        run.tell(STORING, "Keeping the file")
        with write_turn():
            PrintPart.objects.create(run=asked, number=number, content=content[start : start + PART_BYTES])
    with write_turn(), transaction.atomic():
        PrintRun.objects.filter(pk=asked.pk).update(size=len(content), made_at=run.now())
        run.finish(f"{len(content) / 1024 / 1024:.1f} MiB")


PRINT_WORK = Work(print_make)

__all__ = ["PRINT", "PRINT_WORK", "is_large", "print_ask", "print_state", "run_answer", "run_file", "runs_of"]
