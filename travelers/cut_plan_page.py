"""What the page of one cut plan shows. Only reads."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Count, Q

from fittings.cut_sheets import piece_label
from fittings.developing import sheet_for
from fittings.forms import length_typed, shop_unit
from fittings.models import CutPiece, CutPlan, CutSheet, OrderLine, StockItem
from fittings.money import currency_sign, money_text
from fittings.preview import weight_text
from fittings.tables import all_rows
from shared.jobs import OPEN, job_of
from shared.models import Job
from shared.problems import NotFound, WrongInput
from shared.units import IN2_PER_FT2, stock_text
from travelers.cut_forms import SEAMS, TURNS
from travelers.cut_list_page import (
    JOB,
    CutCount,
    cut_counts,
    job_subject,
    metal_text,
    percent,
    plan_mark,
)

UNPLACED_SHOWN = 200
NO_BOUND = 0.9995
"""A limit from here on says nothing."""
NOT_SAID = "It did not go on the sheets."


def plan_by_number(number: int) -> CutPlan:
    """raises  NotFound"""
    plan = CutPlan.objects.filter(number=number).first()
    if plan is None:
        raise NotFound(f"There is no cut plan {number}.")
    return plan


@dataclass(frozen=True)
class PlanProgress:
    """How far the search for a plan is. `before` counts the jobs that are taken up first."""

    plan: CutPlan
    job: Job | None
    before: int = 0
    waited_s: float = 0.0

    @property
    def is_open(self) -> bool:
        return self.plan.state == CutPlan.State.MAKING

    @property
    def is_running(self) -> bool:
        return self.job is not None and self.job.state == Job.State.RUNNING

    @property
    def is_comparing(self) -> bool:
        """The layout is made; what each rule costs is still being found."""
        return not self.is_open and self.job is not None

    @property
    def is_stopping(self) -> bool:
        return self.job is not None and self.job.wants_stop

    @property
    def per_cent(self) -> int:
        return round(100 * self.job.share) if self.job else 0

    @property
    def sheets(self) -> int | None:
        """Of the best so far; None before there is one."""
        return (self.job.figures.get("sheets") or None) if self.job else None

    @property
    def utilisation(self) -> str:
        return percent(self.job.figures.get("utilisation") if self.job and self.sheets else None)

    @property
    def waited_minutes(self) -> float:
        return self.waited_s / 60

    @property
    def is_slow(self) -> bool:
        """Nobody took it up for a while, and it is the next: perhaps no worker runs."""
        return not self.is_running and self.before == 0 and self.waited_s > 15


def plan_progress(number: int, *, now: datetime) -> PlanProgress:
    """raises  NotFound"""
    plan = plan_by_number(number)
    if plan.state not in (CutPlan.State.MAKING, CutPlan.State.MADE, CutPlan.State.SENT):
        return PlanProgress(plan, None)
    job = job_of(JOB, job_subject(plan))
    if plan.state != CutPlan.State.MAKING:
        return PlanProgress(plan, job if job is not None and job.state in OPEN else None)
    before, waited = 0, 0.0
    if job is not None and job.state == Job.State.QUEUED:
        before = Job.objects.filter(state__in=OPEN).filter(_is_before(job)).count()
        waited = (now - job.queued_at).total_seconds()
    return PlanProgress(plan, job, before, waited)


def _is_before(job: Job) -> Q:
    return Q(queued_at__lt=job.queued_at) | Q(queued_at=job.queued_at, pk__lt=job.pk)


class SheetWords:
    """What every screen says of a sheet."""

    sheet: CutSheet
    unit: str

    @property
    def size(self) -> str:
        """A coil by the length that is cut off it."""
        return stock_text(self.sheet.width_in, _taken_length(self.sheet), unit=self.unit)

    @property
    def used_length(self) -> str:
        return stock_text(self.sheet.used_length_in, unit=self.unit)

    @property
    def load_offset(self) -> str:
        """Where the sheet begins on the table; nothing for the first of a load."""
        offset = self.sheet.load_offset_in
        return stock_text(offset, unit=self.unit) if offset else ""

    @property
    def utilisation(self) -> str:
        return percent(sheet_share(self.sheet))

    @property
    def remnant(self) -> str:
        sides = (self.sheet.remnant_width_in, self.sheet.remnant_length_in)
        return stock_text(*sides, unit=self.unit) if all(sides) else ""

    @property
    def form(self) -> str:
        return self.sheet.get_form_display().lower()


@dataclass(frozen=True)
class SheetCard(SheetWords):
    """One sheet of a plan as a picture in the list."""

    sheet: CutSheet
    unit: str
    pieces: int
    late: int
    cut: CutCount
    off: int
    version: str

    @property
    def height(self) -> int:
        """Of the small picture, which is 320 wide."""
        long = _taken_length(self.sheet)
        return round(320 * self.sheet.width_in / long) if long else 160


@dataclass(frozen=True)
class Unplaced:
    """Equal pieces that did not go on, and why."""

    what: str
    order: str
    tag: str
    codes: tuple[str, ...]
    why: str


@dataclass(frozen=True)
class Metal:
    """Where the metal of a plan goes, in weights and money as texts."""

    taken: str
    parts: str
    remnants: str
    waste: str
    waste_share: str
    cost: str
    credit: str


@dataclass(frozen=True)
class PlanPage:
    plan: CutPlan
    unit: str
    state: str
    word: str
    progress: PlanProgress
    cut: CutCount
    pieces: int
    utilisation: str
    bound: str
    metal: Metal | None
    sheets: tuple[SheetCard, ...] = ()
    unplaced: tuple[Unplaced, ...] = ()
    unplaced_count: int = 0
    comparisons: tuple[str, ...] = ()
    comparisons_note: str = ""
    stock: tuple[str, ...] = field(default=())

    @property
    def title(self) -> str:
        return metal_text(self.plan.material, self.plan.gauge)

    @property
    def next_seed(self) -> int:
        """The same seed would give the same layout."""
        return self.plan.seed + 1

    @property
    def placed(self) -> int:
        return self.pieces - self.unplaced_count

    @property
    def turns(self) -> str:
        return dict(TURNS).get(self.plan.turns, self.plan.turns)

    @property
    def gap(self) -> str:
        return f"{length_typed(self.plan.gap_in, self.unit)} {self.unit}"

    @property
    def margin(self) -> str:
        return f"{length_typed(self.plan.margin_in, self.unit)} {self.unit}"

    @property
    def seams(self) -> str:
        return dict(SEAMS).get(self.plan.seams, self.plan.seams)

    @property
    def loads(self) -> int:
        return max((card.sheet.load for card in self.sheets), default=0)


def sheet_share(sheet: CutSheet) -> float:
    """Area of the parts over that of the sheet; of a coil, over the length cut off."""
    area = _taken_area(sheet)
    return sheet.parts_area / area if area else 0.0


def _taken_length(sheet: CutSheet) -> float:
    return sheet.used_length_in if sheet.form == StockItem.Form.COIL else sheet.length_in


def _taken_area(sheet: CutSheet) -> float:
    return sheet.width_in * _taken_length(sheet)


def _remnant_area(sheet: CutSheet) -> float:
    return (sheet.remnant_width_in or 0.0) * (sheet.remnant_length_in or 0.0)


def plan_page(number: int, *, today: date, now: datetime) -> PlanPage:
    """A plan with its sheets and what did not go on. The same few queries, whatever its size.

    raises  NotFound
    """
    progress = plan_progress(number, now=now)
    plan = progress.plan
    pieces = CutPiece.objects.filter(plan=plan).count()
    cut = cut_counts("plan", plan=plan).get(plan.pk, CutCount())
    state, word = plan_mark(plan, cut, progress.job)
    unit = shop_unit()
    sheets = list(plan.sheets.order_by("position"))
    unplaced, unplaced_count = _unplaced(plan) if plan.state != CutPlan.State.MAKING else ((), 0)
    return PlanPage(
        plan,
        unit,
        state,
        word,
        progress,
        cut,
        pieces,
        percent(plan.utilisation),
        percent(plan.bound) if plan.bound and plan.bound < NO_BOUND else "",
        _metal(plan, sheets, unit) if sheets else None,
        _cards(plan, sheets, unit, today),
        unplaced,
        unplaced_count,
        *_comparisons(plan),
        _stock_names(plan),
    )


def _cards(plan: CutPlan, sheets: Sequence[CutSheet], unit: str, today: date) -> tuple[SheetCard, ...]:
    if not sheets:
        return ()
    on = Q(is_live=True) | Q(off_at=None)
    rows = (
        CutPiece.objects.filter(plan=plan, sheet__isnull=False)
        .values_list("sheet")
        .annotate(
            n=Count("pk", filter=on),
            late=Count("pk", filter=on & Q(segment__fitting__order__due_on__lt=today)),
            off=Count("pk", filter=~on),
        )
        .order_by()
    )
    counts = {sheet: rest for sheet, *rest in rows}
    cut = cut_counts("sheet", plan=plan) if plan.state == CutPlan.State.SENT else {}
    found = []
    for sheet in sheets:
        pieces, late, off = counts.get(sheet.pk, (0, 0, 0))
        own = cut.get(sheet.pk, CutCount())
        is_late = late if not own.is_all else 0
        found.append(SheetCard(sheet, unit, pieces, is_late, own, off, f"{plan.version}-{own.done}-{off}"))
    return tuple(found)


def _metal(plan: CutPlan, sheets: Sequence[CutSheet], unit: str) -> Metal:
    sign = currency_sign()
    try:
        per_in2 = sheet_for(plan.material, plan.gauge, all_rows()).weight_lb_ft2 / IN2_PER_FT2
    except WrongInput:  # the metal was taken out of the shop's table since
        per_in2 = 0.0
    taken = sum(map(_taken_area, sheets))
    parts = sum(sheet.parts_area for sheet in sheets)
    kept = sum(map(_remnant_area, sheets))
    waste = max(0.0, taken - parts - kept)

    def weight(area: float) -> str:
        return weight_text(area * per_in2, unit, 0)

    credits = [sheet.remnant_credit for sheet in sheets if sheet.remnant_credit]
    return Metal(
        weight(taken),
        weight(parts),
        weight(kept) if kept else "",
        weight(waste),
        percent(waste / taken if taken else 0.0),
        money_text(plan.cost, sign),
        money_text(sum(credits, Decimal()), sign) if credits else "",
    )


def _unplaced(plan: CutPlan) -> tuple[tuple[Unplaced, ...], int]:
    """Pieces on no sheet, equal ones together. Two queries."""
    rows = list(
        CutPiece.objects.filter(plan=plan, sheet=None)
        .order_by("segment__fitting__order_id", "segment__fitting__line__position", "segment_id", "plate")
        .values_list("segment__fitting__line_id", "segment__position", "plate", "segment__code", "why")
    )
    lines = OrderLine.objects.select_related("order").in_bulk({row[0] for row in rows})
    groups: dict[tuple, list[str]] = defaultdict(list)
    for line_id, position, plate, code, why in rows:
        line = lines[line_id]
        segments = line.development["segments"]
        what = piece_label(segments, position)
        if plate:
            what += f", plate {plate} of {len(segments[position - 1].get('plates') or ())}"
        groups[what, line.order.number, line.tag, why or NOT_SAID].append(code)
    found = [Unplaced(*key[:3], tuple(codes), key[3]) for key, codes in groups.items()]
    return tuple(found[:UNPLACED_SHOWN]), len(rows)


@dataclass(frozen=True)
class PlanRules:
    """What each rule of a plan costs, in sentences; `progress` while that is still being found."""

    plan: CutPlan
    progress: PlanProgress
    comparisons: tuple[str, ...]
    comparisons_note: str


def plan_rules(number: int, *, now: datetime) -> PlanRules:
    """raises  NotFound"""
    progress = plan_progress(number, now=now)
    return PlanRules(progress.plan, progress, *_comparisons(progress.plan))


def _comparisons(plan: CutPlan) -> tuple[tuple[str, ...], str]:
    """A sentence for each rule, and what is to be said of all of them: the entries that name no rule."""
    said = [(bool(one.get("rule")), str(one.get("words", ""))) for one in plan.comparisons]
    rules = tuple(words for is_rule, words in said if is_rule)
    notes = " ".join(words for is_rule, words in said if not is_rule)
    return (rules, notes) if rules or not notes else ((notes,), "")


def _stock_names(plan: CutPlan) -> tuple[str, ...]:
    ids: Collection[int] = plan.stock_ids
    if not ids:
        return ()
    return tuple(StockItem.objects.filter(pk__in=ids).order_by("pk").values_list("name", flat=True))
