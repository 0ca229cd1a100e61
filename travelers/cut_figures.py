"""Utilisation, waste and scrap of the sheets that were sent to the floor: by plan, by metal, by month. Only reads.

A plan counts in the month in which it was sent, a scrapped segment in the month of its scan, by the shop's clock.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Q, Sum
from django.utils import timezone

from fittings.cutting.layout import PlacedSheet, stock_used
from fittings.cutting.work import Stock
from fittings.models import (
    CutPiece,
    CutPlan,
    CutSheet,
    Order,
    OrderChange,
    PieceState,
    Segment,
    StockItem,
)
from fittings.tables import rows
from shared.units import IN2_PER_FT2
from travelers.cut_costs import Amount, net_cost, segment_costs
from travelers.models import Scan, ScanTarget
from travelers.state import SCRAP, UNDO


@dataclass(frozen=True)
class Figures:
    """Of one plan or of many. Areas in in², weights in lb, money with all its digits.

    used_in2     stock used: the last sheet of each stock and every coil by the length used
    taken_in2    whole sheets taken, coils by the length used
    unpriced     plans of which a price is missing; their money is left out
    unweighed    plans whose metal the gauges table does not have; their weight is left out
    """

    plans: int = 0
    sheets: int = 0
    used_in2: float = 0.0
    parts_in2: float = 0.0
    taken_in2: float = 0.0
    remnants_in2: float = 0.0
    parts_lb: float = 0.0
    waste_lb: float = 0.0
    cost: Decimal = Decimal(0)
    credit: Decimal = Decimal(0)
    waste_cost: Decimal = Decimal(0)
    unpriced: int = 0
    unweighed: int = 0

    @property
    def utilisation(self) -> float | None:
        """Area of the pieces over stock used."""
        return self.parts_in2 / self.used_in2 if self.used_in2 else None

    @property
    def waste_in2(self) -> float:
        """What became neither a piece nor a remnant."""
        return self.taken_in2 - self.remnants_in2 - self.parts_in2

    @property
    def net(self) -> Decimal:
        return self.cost - self.credit

    @property
    def is_priced(self) -> bool:
        """Whether the price of any plan is known."""
        return self.unpriced < self.plans

    def __add__(self, other: Figures) -> Figures:
        names = self.__dataclass_fields__
        return Figures(**{name: getattr(self, name) + getattr(other, name) for name in names})


@dataclass(frozen=True)
class PlanFigures:
    number: int
    material: str
    gauge: int
    sent_at: datetime
    figures: Figures

    @property
    def metal(self) -> tuple[str, int]:
        return self.material, self.gauge

    @property
    def month(self) -> date:
        return month_of(self.sent_at)


def month_of(at: datetime) -> date:
    """The first day of a moment's month, in the shop's time zone."""
    return timezone.localtime(at).date().replace(day=1)


# -- plans -------------------------------------------------------------------


def plan_figures(*, since: datetime | None = None, metal: tuple[str, int] | None = None) -> list[PlanFigures]:
    """The plans sent to the floor from a moment on, the newest first. Four queries, whatever their number."""
    plans = CutPlan.objects.filter(state=CutPlan.State.SENT)
    if since is not None:
        plans = plans.filter(sent_at__gte=since)
    if metal is not None:
        plans = plans.filter(material=metal[0], gauge=metal[1])
    weights = {(row["material"], row["gauge"]): row["weight_lb_ft2"] for row in rows("gauges")}
    found = list(plans.order_by("-sent_at", "-pk").only("pk", "number", "material", "gauge", "sent_at"))
    chosen = plans.order_by().values("pk")
    by_plan: dict[int, list[CutSheet]] = defaultdict(list)
    for sheet in CutSheet.objects.filter(plan__in=chosen).order_by("plan_id", "position"):
        by_plan[sheet.plan_id].append(sheet)
    off = dict(
        CutPiece.objects.filter(sheet__plan__in=chosen, off_at__isnull=False)
        .order_by()
        .values_list("sheet_id")
        .annotate(area=Sum("area"))
    )
    return [
        PlanFigures(
            plan.number,
            plan.material,
            plan.gauge,
            plan.sent_at,
            _figures(by_plan[plan.pk], off, weights.get((plan.material, plan.gauge))),
        )
        for plan in found
    ]


def _figures(sheets: list[CutSheet], off: dict[int, float], weight_lb_ft2: float | None) -> Figures:
    """Of one plan. `off` is the area of the pieces that were taken off a sheet: they count as waste of it."""
    parts = {sheet.pk: max(0.0, sheet.parts_area - off.get(sheet.pk, 0.0)) for sheet in sheets}
    taken = {sheet.pk: sheet.taken_area for sheet in sheets}
    kept = {sheet.pk: sheet.remnant_area for sheet in sheets}
    waste = {pk: taken[pk] - kept[pk] - parts[pk] for pk in taken}
    pounds = (weight_lb_ft2 or 0) / IN2_PER_FT2
    is_priced = all(sheet.cost is not None for sheet in sheets)
    priced = sheets if is_priced else []
    return Figures(
        plans=1,
        sheets=len(sheets),
        used_in2=_used(sheets),
        parts_in2=sum(parts.values()),
        taken_in2=sum(taken.values()),
        remnants_in2=sum(kept.values()),
        parts_lb=sum(parts.values()) * pounds,
        waste_lb=sum(waste.values()) * pounds,
        cost=sum((sheet.cost for sheet in priced), Decimal(0)),
        credit=sum((sheet.remnant_credit or Decimal(0) for sheet in priced), Decimal(0)),
        waste_cost=sum(
            (_waste_cost(sheet, waste[sheet.pk], taken[sheet.pk] - kept[sheet.pk]) for sheet in priced),
            Decimal(0),
        ),
        unpriced=0 if is_priced else 1,
        unweighed=0 if weight_lb_ft2 is not None else 1,
    )


def _used(sheets: Iterable[CutSheet]) -> float:
    """The stock used, by the one rule that the nesting core has for it."""
    return stock_used(
        [
            PlacedSheet(
                Stock(
                    str(sheet.stock_id),
                    sheet.width_in,
                    sheet.length_in,
                    is_coil=sheet.form == StockItem.Form.COIL,
                ),
                (),
                sheet.used_length_in,
                sheet.parts_area,
            )
            for sheet in sheets
        ]
    )


def _waste_cost(sheet: CutSheet, waste: float, charged: float) -> Decimal:
    """The part of a sheet's net cost that its waste stands for: by area."""
    if charged <= 0:
        return Decimal(0)
    return net_cost(sheet.cost, sheet.remnant_credit) * Decimal(repr(waste / charged))


def total(plans: Iterable[PlanFigures]) -> Figures:
    return sum((one.figures for one in plans), Figures())


def grouped(plans: Iterable[PlanFigures], key: Callable[[PlanFigures], Hashable]) -> dict[Hashable, Figures]:
    """The figures of plans by what `key` says of them, in the order in which that first comes."""
    found: dict[Hashable, Figures] = {}
    for one in plans:
        name = key(one)
        found[name] = found.get(name, Figures()) + one.figures
    return found


# -- scrap -------------------------------------------------------------------


@dataclass(frozen=True)
class Scrap:
    """Segments that were scrapped for one reason in one month. `unpriced`: those whose cost is not known."""

    month: date
    reason: str
    segments: int = 0
    cost: Decimal = Decimal("0.00")
    unpriced: int = 0

    @property
    def amount(self) -> Amount:
        return None if self.unpriced == self.segments else self.cost


def scrap_figures(*, since: datetime | None = None) -> list[Scrap]:
    """Scrapped segments by month, the newest first, and by reason, the dearest first.

    Each costs its share of the sheet that it was cut from.
    """
    scrapped = _scrapped(since)
    costs = segment_costs(Segment.objects.filter(pk__in=[segment for segment, _, _ in scrapped]))
    found: dict[tuple[date, str], Scrap] = {}
    for segment, at, reason in scrapped:
        key = month_of(at), reason
        so_far = found.get(key, Scrap(*key))
        cost = costs.get(segment)
        found[key] = Scrap(
            *key,
            segments=so_far.segments + 1,
            cost=so_far.cost + (cost or 0),
            unpriced=so_far.unpriced + (cost is None),
        )
    return sorted(found.values(), key=lambda one: (-one.month.toordinal(), -one.cost, one.reason))


def _scrapped(since: datetime | None) -> list[tuple[int, datetime, str]]:
    """Scrapped segments with the time and the reason of the scan that scrapped each. Three queries.

    A scan of a fitting's or a lot's own code scraps the segments that it has then: of one position the earliest that
    comes after its predecessor was scrapped. Nothing is scrapped in an order that had ended, but by a change of it.
    """
    segments = Segment.objects.filter(state=PieceState.SCRAPPED)
    if since is not None:
        changed = OrderChange.objects.filter(made_at__gte=since).values("order_id")
        orders = Order.objects.filter(
            Q(ended_at=None) | Q(ended_at__gte=since) | Q(pk__in=changed), released_at__isnull=False
        )
        segments = segments.filter(fitting__order__in=orders)
    targets = ScanTarget.objects.filter(fitting__in=segments.values("fitting_id"))
    recorded = targets.filter(scan__outcome=Scan.Outcome.RECORDED)
    undone = set(recorded.filter(scan__action=UNDO).values_list("scan__undoes", flat=True))
    scans: dict[int, list[tuple]] = defaultdict(list)
    for fitting, segment, scan_id, at, reason in (
        recorded.filter(scan__action=SCRAP)
        .order_by("scan__effective_at", "scan_id")
        .values_list("fitting_id", "segment_id", "scan__scan_id", "scan__effective_at", "scan__reason")
    ):
        if scan_id not in undone:
            scans[fitting].append((segment, at, reason))
    found, before = [], {}
    for pk, fitting, position in segments.order_by("fitting_id", "position", "generation").values_list(
        "pk", "fitting_id", "position"
    ):
        earlier = before.get((fitting, position))
        mine = next(
            (
                (at, reason)
                for segment, at, reason in scans[fitting]
                if segment in (pk, None) and (earlier is None or at > earlier)
            ),
            None,
        )
        if mine is None:
            continue
        before[fitting, position] = mine[0]
        if since is None or mine[0] >= since:
            found.append((pk, *mine))
    return found
