"""The page of utilisation, waste and scrap, and the same figures as CSV."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.core.paginator import Page, Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fittings.forms import shop_unit
from fittings.money import NOT_KNOWN, cents, currency_sign, money_text
from fittings.preview import weight_text
from fittings.views.not_loaded import says_when_not_loaded
from shared.problems import NotFound
from shared.roles import OFFICE, SUPERVISOR, role_required
from shared.sheets import csv_text
from shared.units import MM_PER_IN
from travelers.cut_figures import (
    Figures,
    PlanFigures,
    Scrap,
    grouped,
    month_of,
    plan_figures,
    scrap_figures,
    total,
)

PLANS_ON_A_PAGE = 50
PERIODS = (
    ("1", "This month"),
    ("3", "Three months"),
    ("12", "Twelve months"),
    ("all", "All"),
)
USUAL_PERIOD = "12"
NO_REASON = "no reason given"
MM2_PER_M2 = 1e6


@dataclass(frozen=True)
class Row:
    """Figures as texts. `bar` is the utilisation from 0 to 100; `key` names the row: a plan, a metal, a month."""

    key: Any
    name: str
    figures: Figures
    bar: str
    utilisation: str
    parts: str
    waste: str
    waste_area: str
    waste_cost: str
    net: str
    credit: str
    cost_note: str
    at: datetime | None = None
    metal: str = ""


@dataclass(frozen=True)
class ScrapRow:
    """`bar`: the share of the dearest row's cost, from 0 to 100."""

    scrap: Scrap
    month: str
    reason: str
    cost: str
    cost_note: str
    bar: str


@dataclass(frozen=True)
class FiguresPage:
    period: str
    whole: Row
    months: tuple[Row, ...]
    metals: tuple[Row, ...]
    plans: tuple[Row, ...]
    page: Page
    scrap: tuple[ScrapRow, ...]
    scrapped: int
    scrap_cost: str
    scrap_note: str


def period_start(period: str, now: datetime) -> datetime | None:
    """The first moment of a period that ends with the running month, by the shop's clock; None for all."""
    if period == "all":
        return None
    day = month_of(now)
    for _ in range(int(period) - 1):
        day = (day - timedelta(days=1)).replace(day=1)
    return timezone.make_aware(datetime(day.year, day.month, 1))


def period_asked(text: str | None) -> str:
    return text if text in dict(PERIODS) else USUAL_PERIOD


def figures_page(query: Mapping[str, str], *, now: datetime) -> FiguresPage:
    period = period_asked(query.get("months"))
    since = period_start(period, now)
    plans = plan_figures(since=since)
    texts = _Texts(shop_unit(), currency_sign())
    page = Paginator(plans, PLANS_ON_A_PAGE).get_page(query.get("page"))
    scrap = scrap_figures(since=since)
    return FiguresPage(
        period,
        texts.row("", "All", total(plans)),
        tuple(texts.row(key, _month(key), found) for key, found in grouped(plans, _by_month).items()),
        tuple(texts.row(key, _metal(key), found) for key, found in _by_metal(plans)),
        tuple(texts.plan(one) for one in page.object_list),
        page,
        texts.scrap_rows(scrap),
        sum(one.segments for one in scrap),
        texts.sum([one.amount for one in scrap]),
        _unknown(sum(one.unpriced for one in scrap)) if any(one.amount is not None for one in scrap) else "",
    )


def _by_month(plan: PlanFigures) -> date:
    return plan.month


def _by_metal(plans: Iterable[PlanFigures]) -> list[tuple[tuple[str, int], Figures]]:
    return sorted(grouped(plans, lambda plan: plan.metal).items())


def _month(month: date) -> str:
    return f"{month:%B %Y}"


def _metal(metal: tuple[str, int]) -> str:
    return f"{metal[1]} ga {metal[0]}"


def _unknown(segments: int) -> str:
    return f"without {segments} of unknown cost" if segments else ""


class _Texts:
    """Figures in the shop's units and its currency."""

    def __init__(self, unit: str, sign: str):
        self.unit = unit
        self.sign = sign

    def row(self, key: Any, name: str, found: Figures, **more: Any) -> Row:
        used = found.utilisation
        money = [
            amount if found.is_priced else None for amount in (found.waste_cost, found.net, found.credit)
        ]
        waste_cost, net, credit = (money_text(amount, self.sign) for amount in money)
        missing = found.unpriced if found.is_priced else 0
        return Row(
            key,
            name,
            found,
            f"{100 * min(used or 0, 1):.1f}",
            "—" if used is None else f"{100 * used:.1f} %",
            self._weight(found.parts_lb, found),
            self._weight(found.waste_lb, found),
            self._area(found.waste_in2),
            waste_cost,
            net,
            credit,
            f"without {missing} plan{'' if missing == 1 else 's'} of unknown price" if missing else "",
            **more,
        )

    def plan(self, one: PlanFigures) -> Row:
        return self.row(
            one.number, f"Plan {one.number}", one.figures, at=one.sent_at, metal=_metal(one.metal)
        )

    def _weight(self, weight_lb: float, found: Figures) -> str:
        return (
            NOT_KNOWN
            if found.plans and found.unweighed == found.plans
            else weight_text(weight_lb, self.unit, 1)
        )

    def _area(self, area_in2: float) -> str:
        if self.unit == "mm":
            return f"{area_in2 * MM_PER_IN**2 / MM2_PER_M2:,.2f} m²"
        return f"{area_in2:,.0f} in²"

    def sum(self, amounts: Sequence[Decimal | None]) -> str:
        """The sum of what is known."""
        known = [amount for amount in amounts if amount is not None]
        return money_text(sum(known, Decimal(0)) if known or not amounts else None, self.sign)

    def scrap_rows(self, scrap: Sequence[Scrap]) -> tuple[ScrapRow, ...]:
        most = max((one.cost for one in scrap), default=Decimal(0)) or Decimal(1)
        return tuple(
            ScrapRow(
                one,
                _month(one.month),
                one.reason or NO_REASON,
                money_text(one.amount, self.sign),
                _unknown(one.unpriced) if one.amount is not None else "",
                f"{100 * one.cost / most:.1f}",
            )
            for one in scrap
        )


# -- CSV ---------------------------------------------------------------------

LISTED = (
    "plans",
    "sheets",
    "utilisation",
    "stock_used_in2",
    "pieces_in2",
    "taken_in2",
    "remnants_in2",
    "waste_in2",
    "pieces_lb",
    "waste_lb",
    "cost",
    "remnant_credit",
    "net_cost",
    "waste_cost",
    "plans_without_price",
)


def _numbers(found: Figures) -> list[Any]:
    """Numbers as numbers; what is not known stays empty."""
    money = [found.cost, found.credit, found.net, found.waste_cost]
    weights = [round(found.parts_lb, 3), round(found.waste_lb, 3)]
    return [
        found.plans,
        found.sheets,
        None if found.utilisation is None else round(found.utilisation, 4),
        *(round(area, 2) for area in (found.used_in2, found.parts_in2, found.taken_in2)),
        *(round(area, 2) for area in (found.remnants_in2, found.waste_in2)),
        *(None if found.plans and found.unweighed == found.plans else weight for weight in weights),
        *(cents(amount) if found.is_priced else None for amount in money),
        found.unpriced,
    ]


def _plans_csv(since: datetime | None) -> Iterable[Sequence[Any]]:
    yield ("plan", "material", "gauge", "sent_at", *LISTED)
    for one in plan_figures(since=since):
        sent = timezone.localtime(one.sent_at).isoformat(timespec="seconds")
        yield (one.number, one.material, one.gauge, sent, *_numbers(one.figures))


def _metals_csv(since: datetime | None) -> Iterable[Sequence[Any]]:
    yield ("material", "gauge", *LISTED)
    for metal, found in _by_metal(plan_figures(since=since)):
        yield (*metal, *_numbers(found))


def _months_csv(since: datetime | None) -> Iterable[Sequence[Any]]:
    yield ("month", *LISTED)
    for month, found in grouped(plan_figures(since=since), _by_month).items():
        yield (f"{month:%Y-%m}", *_numbers(found))


def _scrap_csv(since: datetime | None) -> Iterable[Sequence[Any]]:
    yield ("month", "reason", "segments", "cost", "segments_without_cost")
    for one in scrap_figures(since=since):
        yield (f"{one.month:%Y-%m}", one.reason, one.segments, one.amount, one.unpriced)


FILES: Mapping[str, Callable[[datetime | None], Iterable[Sequence[Any]]]] = {
    "plans": _plans_csv,
    "metals": _metals_csv,
    "months": _months_csv,
    "scrap": _scrap_csv,
}


def figures_csv(what: str, since: datetime | None) -> str:
    """One table of the page, whole. raises NotFound for a table that there is not"""
    if what not in FILES:
        raise NotFound(f"There is no such file of figures. There are {', '.join(FILES)}.")
    return csv_text(FILES[what](since))


# -- views -------------------------------------------------------------------


@require_safe
@role_required(OFFICE, SUPERVISOR)
@says_when_not_loaded("Utilisation and waste")
def cut_figures(request):
    page = figures_page(request.GET, now=timezone.now())
    context = {"figures": page, "page_obj": page.page, "periods": PERIODS}
    return render(request, "travelers/cut_figures.html", context)


@require_safe
@role_required(OFFICE, SUPERVISOR)
def cut_figures_csv(request):
    what = request.GET.get("what", "plans")[:20]
    period = period_asked(request.GET.get("months"))
    text = figures_csv(what, period_start(period, timezone.now()))
    response = HttpResponse(text, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="cutting-{what}.csv"'
    return response
