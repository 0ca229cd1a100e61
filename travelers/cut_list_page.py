"""What the list of cut plans shows, and the page that asks for one: the work that waits, the plans. Only reads."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, Q, QuerySet
from django.urls import reverse
from django.utils.http import urlencode

from fittings.cut_settings import cut_settings
from fittings.developing import sheet_for
from fittings.forms import shop_unit
from fittings.models import CutPiece, CutPlan, CutSheet, Order
from fittings.preview import weight_text
from fittings.stock import stock_for
from fittings.tables import all_rows
from shared.jobs import OPEN
from shared.models import Job
from travelers.cut_forms import OrderToCut, PlanChoices
from travelers.cut_work import CUT, NO_DATE, CutWork, PieceToCut, cut_work, pieces_to_cut
from travelers.models import Task, TaskState
from travelers.pieces import plates_cut

JOB = "cut_plan"
IS_CUT = Q(segment__tasks__operation=CUT, segment__tasks__state=TaskState.DONE)


def metal_text(material: str, gauge: int) -> str:
    return f"{gauge} ga {material}"


def percent(share: float | None, places: int = 1) -> str:
    """ "84.2 %"; a dash where it is not known."""
    return "—" if share is None else f"{100 * share:.{places}f} %"


# -- work that waits ----------------------------------------------------------


@dataclass(frozen=True)
class WaitingWork:
    """Work of one metal that waits for a plan, as the list shows it."""

    work: CutWork
    weight: str

    @property
    def metal(self) -> str:
        return metal_text(self.work.material, self.work.gauge)


def waiting_work(*, today: date) -> list[WaitingWork]:
    unit = shop_unit()
    return [WaitingWork(work, weight_text(work.weight_lb, unit, 0)) for work in cut_work(today=today)]


@dataclass(frozen=True)
class MetalOfOrder:
    """The pieces of one order that wait, of one metal."""

    material: str
    gauge: int
    pieces: int

    @property
    def metal(self) -> str:
        return metal_text(self.material, self.gauge)

    def address(self, order: str) -> str:
        query = {"material": self.material, "gauge": self.gauge, "order": order}
        return f"{reverse('cut_plan_new')}?{urlencode(query)}"


def metals_of_order(number: str, *, today: date) -> list[MetalOfOrder]:
    """In which metals an order has pieces that wait to be cut."""
    found = []
    for work in cut_work(today=today):
        pieces = len(pieces_to_cut(material=work.material, gauge=work.gauge, orders=[number]))
        if pieces:
            found.append(MetalOfOrder(work.material, work.gauge, pieces))
    return found


def plan_choices(material: str, gauge: int, *, today: date) -> PlanChoices:
    """What a plan of this metal can be made of.

    raises  WrongInput naming `material` or `gauge` that the shop does not have
    """
    sheet_for(material, gauge, all_rows())
    return PlanChoices(
        material,
        gauge,
        tuple(_orders_of(pieces_to_cut(material=material, gauge=gauge), today)),
        tuple(stock_for(material, gauge)),
        cut_settings(),
        shop_unit(),
        today,
    )


def _orders_of(pieces: Iterable[PieceToCut], today: date) -> list[OrderToCut]:
    """By order, the earliest date first. One query, for the customers."""
    by_order: dict[str, list[PieceToCut]] = defaultdict(list)
    for piece in pieces:
        by_order[piece.order].append(piece)
    names = dict(Order.objects.filter(number__in=by_order).values_list("number", "customer__name"))
    found = []
    for number, own in by_order.items():
        due = own[0].due
        late = max(0, (today - due).days) if due else 0
        fittings = len({piece.fitting_code for piece in own})
        weight = sum(piece.weight_lb for piece in own)
        found.append(OrderToCut(number, names[number], due, late, len(own), fittings, weight))
    return sorted(found, key=lambda order: (order.due or NO_DATE, order.number))


# -- the list of plans --------------------------------------------------------


@dataclass(frozen=True)
class PlanRow:
    """One plan in the list. `state` is the mark that it carries, `word` its words."""

    plan: CutPlan
    state: str
    word: str
    pieces: int
    sheets: int
    utilisation: str

    @property
    def metal(self) -> str:
        return metal_text(self.plan.material, self.plan.gauge)


@dataclass(frozen=True)
class CutCount:
    """Pieces on sheets, and how many of them are cut."""

    total: int = 0
    done: int = 0

    @property
    def is_all(self) -> bool:
        return 0 < self.total == self.done

    @property
    def words(self) -> str:
        return f"Cut {self.done} of {self.total}"


def plans_newest_first() -> QuerySet[CutPlan]:
    return CutPlan.objects.order_by("-number")


def plan_rows(plans: Iterable[CutPlan]) -> list[PlanRow]:
    """A page of plans as the list shows them. Four queries, whatever their number."""
    plans = list(plans)
    ids = [plan.pk for plan in plans]
    sheets = dict(CutSheet.objects.filter(plan__in=ids).values_list("plan").annotate(n=Count("pk")))
    pieces = dict(CutPiece.objects.filter(plan__in=ids).values_list("plan").annotate(n=Count("pk")))
    cut = cut_counts("plan", plan__in=[plan.pk for plan in plans if plan.state == CutPlan.State.SENT])
    jobs = _open_jobs(plan for plan in plans if plan.state == CutPlan.State.MAKING)
    return [
        PlanRow(
            plan,
            *plan_mark(plan, cut.get(plan.pk, CutCount()), jobs.get(job_subject(plan))),
            pieces.get(plan.pk, 0),
            sheets.get(plan.pk, 0),
            percent(plan.utilisation),
        )
        for plan in plans
    ]


def job_subject(plan: CutPlan) -> str:
    return str(plan.number)


def _open_jobs(plans: Iterable[CutPlan]) -> dict[str, Job]:
    subjects = [job_subject(plan) for plan in plans]
    if not subjects:
        return {}
    return {job.subject: job for job in Job.objects.filter(kind=JOB, subject__in=subjects, state__in=OPEN)}


def cut_counts(by: str, **which: Any) -> dict[int, CutCount]:
    """By plan or sheet: its pieces that are still on it, and how many of those are cut. Two queries.

    A plate that was finished with its sheet counts before its segment is finished; those are asked of the record.
    """
    on = CutPiece.objects.filter(**which, sheet__isnull=False, is_live=True)
    rows = (
        on.values_list(by)
        .annotate(total=Count("pk", distinct=True), done=Count("pk", filter=IS_CUT, distinct=True))
        .order_by()
    )
    counts = {key: [total, done] for key, total, done in rows}
    plates = list(on.filter(plate__gt=0).values_list(by, "segment_id", "segment__fitting_id", "plate"))
    if plates:
        own = Task.objects.filter(segment__in={segment for _, segment, _, _ in plates}, operation=CUT)
        begun = set(own.exclude(state=TaskState.DONE).values_list("segment", flat=True))
        cut = plates_cut(sorted({fitting for _, segment, fitting, _ in plates if segment in begun}))
        for key, segment, _, plate in plates:
            counts[key][1] += segment in begun and plate in cut.get(segment, ())
    return {key: CutCount(*count) for key, count in counts.items()}


def plan_mark(plan: CutPlan, cut: CutCount, job: Job | None = None) -> tuple[str, str]:
    """The state mark of a plan and its words."""
    match plan.state:
        case CutPlan.State.MAKING:
            if job is not None and job.state == Job.State.RUNNING:
                return "running", f"Being made, {100 * job.share:.0f} %"
            return "waiting", "In the queue"
        case CutPlan.State.MADE:
            return "ready", "Made, not sent"
        case CutPlan.State.SENT:
            if cut.is_all:
                return "done", "Cut"
            return ("running", cut.words) if cut.done else ("released", "Sent")
        case CutPlan.State.DROPPED:
            return "cancelled", "Dropped"
    return "refused", "Not made"
