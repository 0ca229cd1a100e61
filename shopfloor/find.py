"""Whatever somebody in the office looks for, by one field: codes, orders, what their lines are, names. Only reads.

By indexes, and the short lists of customers, stations, badges and stock: it does not grow with the number of fittings.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any
from urllib.parse import quote, urlencode

from django.db.models import QuerySet
from django.urls import reverse

from fittings.drawing.facts import KIND_TITLES
from fittings.forms import shop_unit
from fittings.models import Customer, CutPlan, CutSheet, Fitting, Order, OrderLine, Segment, StockItem
from fittings.search import NEWEST, Meant, is_named, lines_found, words_meant
from fittings.search_words import MAIN_SIZES, Asked, words_asked
from shared.codes import CodeNotUnderstood, grouped, read_code
from shared.roles import OFFICE, SUPERVISOR, Actor
from shared.texts import search_text
from shared.units import MM_PER_IN, decimal_text, fraction_text
from shopfloor.models import Station
from travelers.models import Operator, Traveler

FIRST, MOST = 8, 60
OPEN_STATES = (Order.State.DRAFT, Order.State.RELEASED)
FEW = 5


@dataclass(frozen=True)
class Hit:
    """One thing that was found. `kind` says what it is; `url` is its page, empty where the role has none."""

    kind: str
    title: str
    text: str = ""
    state: str = ""
    url: str = ""
    code: str = ""
    order: str = ""
    line: int | None = None


@dataclass(frozen=True)
class Answer:
    """What a search found, the nearest first, and the words that are nowhere: it was searched without these."""

    asked: str
    hits: tuple[Hit, ...] = ()
    unknown: tuple[str, ...] = ()
    more: bool = False

    @property
    def sentence(self) -> str:
        """What was not understood; empty where all was."""
        if not self.unknown:
            return ""
        words = ", ".join(f"“{word}”" for word in self.unknown)
        verb = "stands" if len(self.unknown) == 1 else "stand"
        rest = " This is what the other words find." if self.hits else ""
        return f"{words} {verb} nowhere in orders, customers, stock or codes.{rest}"


@dataclass
class _Finding:
    actor: Actor
    unit: str
    hits: list[Hit] = field(default_factory=list)
    seen: set[tuple[str, str]] = field(default_factory=set)

    def add(self, hit: Hit) -> None:
        if (hit.kind, hit.title) not in self.seen:
            self.seen.add((hit.kind, hit.title))
            self.hits.append(hit)

    def page(self, name: str, *args: Any, only: str = "") -> str:
        """An address, where the role may open it."""
        return reverse(name, args=args) if not only or self.actor.role == only else ""


def find(q: str, *, actor: Actor, limit: int = MOST) -> Answer:
    """Everything that a text stands for: exact codes and numbers first, then open work before done, the newest first.

    q  the first 80 characters count; lengths without a unit are in the shop's
    """
    text = search_text(q)
    finding = _Finding(actor, shop_unit())
    asked = words_asked(text, unit=finding.unit)
    if not text:
        return Answer(text)
    _codes(finding, text)
    _numbers(finding, text, asked)
    meant = words_meant(asked)
    near = [
        partial(_customers, finding, asked),
        partial(_stations, finding, asked),
        partial(_operators, finding, asked),
        partial(_stock, finding, asked),
    ]
    for look in near:
        look()
    unknown: tuple[str, ...] = ()
    if not finding.hits and meant:
        unknown = tuple(one.asked.typed for one in meant if not one.is_known)
        meant = [one for one in meant if one.is_known]
    _lines(finding, meant, limit + 1)
    hits = finding.hits
    return Answer(text, tuple(hits[:limit]), unknown, more=len(hits) > limit)


# -- exactly ---------------------------------------------------------------------


def _codes(finding: _Finding, text: str) -> None:
    """The one piece, paper, sheet or badge that has this code."""
    try:
        code = read_code(text)
    except CodeNotUnderstood:
        return
    looks: tuple[tuple[QuerySet, Callable[[Any], Hit]], ...] = (
        (Fitting.objects.select_related("order__customer", "line"), partial(_fitting, finding)),
        (
            Segment.objects.select_related("fitting__order__customer", "fitting__line"),
            partial(_segment, finding),
        ),
        (Traveler.objects.select_related("line__order__customer"), partial(_traveler, finding)),
        (CutSheet.objects.select_related("plan"), partial(_sheet, finding)),
        (StockItem.objects.all(), partial(_stock_item, finding)),
        (Operator.objects.all(), partial(_operator, finding)),
    )
    for rows, hit in looks:
        found = rows.filter(code=code).first()
        if found is not None:
            finding.add(hit(found))


def _where(code: str) -> str:
    return f"{reverse('where')}?{urlencode({'q': code})}"


def _fitting(finding: _Finding, one: Fitting) -> Hit:
    text = f"{line_text(one.line, finding.unit)} · order {one.order.number}, {one.order.customer.name}"
    return Hit(
        "fitting", f"Fitting {grouped(one.code)}", text, one.state, _where(one.code), one.code,
        one.order.number, one.line.position,
    )  # fmt: skip


def _segment(finding: _Finding, one: Segment) -> Hit:
    line, order = one.fitting.line, one.fitting.order
    text = f"Piece {one.position} of {line_text(line, finding.unit)} · order {order.number}, {order.customer.name}"
    title = f"Segment {grouped(one.code)}"
    return Hit("segment", title, text, one.state, _where(one.code), one.code, order.number, line.position)


def _traveler(finding: _Finding, one: Traveler) -> Hit:
    line, order = one.line, one.line.order
    text = f"{line_text(line, finding.unit)} · order {order.number}, {order.customer.name}"
    title = f"Traveler {grouped(one.code)}"
    return Hit(
        "traveler", title, text, str(order.state), _where(one.code), one.code, order.number, line.position
    )


def _sheet(finding: _Finding, one: CutSheet) -> Hit:
    text = f"Sheet {one.position} of cut plan {one.plan.number}, {one.stock_name}"
    return Hit("sheet", f"Sheet {grouped(one.code)}", text, "", finding.page("cut_sheet", one.pk), one.code)


def _stock_item(finding: _Finding, one: StockItem) -> Hit:
    text = f"{one.gauge} ga {one.material}, {_size(one.width_in, finding.unit)} × {_size(one.length_in, finding.unit)}"
    state = "" if one.is_active else "void"
    title = f"{one.get_form_display()} {grouped(one.code) if one.code else one.name}"
    return Hit("stock", title, text, state, finding.page("stock_edit", one.pk), one.code)


def _operator(finding: _Finding, one: Operator) -> Hit:
    state = "" if one.is_active else "void"
    url = finding.page("operators", only=SUPERVISOR)
    return Hit("operator", one.name, f"Badge {grouped(one.code)}", state, url, one.code)


def _numbers(finding: _Finding, text: str, asked: Sequence[Asked]) -> None:
    """The order of exactly this number, or the plan; said with the word before it, or without."""
    words = text.split()
    named = words[0].casefold() if len(words) > 1 else ""
    number = " ".join(words[1:]) if named in ("order", "plan", "po") else text
    if named != "plan":
        alike = {number, number.upper(), number.lower()}
        for order in Order.objects.select_related("customer").filter(number__in=alike).order_by("pk"):
            finding.add(_order(finding, order))
    if number.isascii() and number.isdigit() and len(number) < 9 and named != "order":
        for plan in CutPlan.objects.filter(number=int(number)):
            text = f"{plan.gauge} ga {plan.material}, {plan.get_state_display().lower()}"
            finding.add(
                Hit("cut_plan", f"Cut plan {plan.number}", text, "", finding.page("cut_plan", plan.number))
            )


# -- by names ----------------------------------------------------------------------


def _customers(finding: _Finding, asked: Sequence[Asked]) -> None:
    if not asked or not all(one.text for one in asked):
        return
    found = [
        one
        for one in Customer.objects.order_by("name", "pk")
        if all(is_named(one.name, word.text) for word in asked)
    ]
    for one in found[:FEW]:
        url = finding.page("customer_edit", one.pk, only=OFFICE)
        finding.add(Hit("customer", one.name, one.contact, "" if one.is_active else "void", url))


def _stations(finding: _Finding, asked: Sequence[Asked]) -> None:
    for one in Station.objects.order_by("position", "code"):
        if _has_all(f"{one.code} {one.name}", asked):
            url = finding.page("station_edit", one.code, only=SUPERVISOR)
            finding.add(Hit("station", f"Station {one.code}", one.name, "", url))


def _operators(finding: _Finding, asked: Sequence[Asked]) -> None:
    found = [one for one in Operator.objects.order_by("name", "pk") if _has_all(one.name, asked)]
    for one in found[:FEW]:
        finding.add(_operator(finding, one))


def _stock(finding: _Finding, asked: Sequence[Asked]) -> None:
    """Sizes and coils by name, metal and gauge; a word must be one of a name's, so that "14" alone finds none."""
    if not any(one.text and not one.text.isdigit() for one in asked):
        return
    found = [
        one
        for one in StockItem.objects.filter(is_active=True).order_by("material", "gauge", "pk")
        if _has_all(f"{one.form} {one.name} {one.material} {one.code}", asked, {f"@g{one.gauge}"})
    ]
    for one in found[:FEW]:
        finding.add(_stock_item(finding, one))


def _has_all(name: str, asked: Sequence[Asked], sizes: set[str] = frozenset()) -> bool:
    return bool(asked) and all(
        (one.text and is_named(name, one.text)) or not sizes.isdisjoint(one.exact) for one in asked
    )


# -- by what lines are ---------------------------------------------------------------


def _lines(finding: _Finding, meant: Sequence[Meant], limit: int) -> None:
    """Orders by the words of their lines and of their customers: open ones before done ones, the newest first."""
    newest = lines_found(meant, limit=NEWEST)
    ranked = _ranked(newest)
    if len(newest) == NEWEST and sum(state in OPEN_STATES for *_, state in ranked.values()) < limit:
        ranked = _ranked({*newest, *lines_found(meant, open_only=True, limit=limit)})
    shown = dict(list(ranked.items())[:limit])
    lines = OrderLine.objects.select_related("order__customer").defer("development")
    found = lines.in_bulk([pk for pk, *_ in shown.values()])
    for pk, alike, _ in shown.values():
        finding.add(_order(finding, found[pk].order, found[pk], alike))


def _ranked(lines: Iterable[int]) -> dict[int, tuple[int, int, str]]:
    """By order, in the order of the answer: its first line, how many of its lines were found, its state."""
    rows = OrderLine.objects.filter(pk__in=lines).order_by("position", "pk")
    found: dict[int, tuple[int, int, str]] = {}
    for pk, order, state in rows.values_list("pk", "order_id", "order__state"):
        first, alike, _ = found.get(order, (pk, 0, state))
        found[order] = (first, alike + 1, state)
    return dict(sorted(found.items(), key=lambda one: (one[1][2] not in OPEN_STATES, -one[0])))


def _order(finding: _Finding, order: Order, line: OrderLine | None = None, alike: int = 1) -> Hit:
    text = order.customer.name + (f", {order.purchase_order}" if order.purchase_order else "")
    if line is not None:
        text += f" · line {line.position}: {line_text(line, finding.unit)}"
        text += f" and {alike - 1} more" if alike > 1 else ""
    url = f"{reverse('orders')}{quote(order.number, safe='')}/"
    position = line.position if line else None
    return Hit("order", f"Order {order.number}", text, str(order.state), url, "", order.number, position)


def line_text(line: OrderLine, unit: str) -> str:
    """A line in short words, from what was typed: "Gored elbow 14 in, 90°, 24 ga galvanized, AHU-3"."""
    params = line.params or {}
    sizes = [
        params[name] for name in MAIN_SIZES if isinstance(params.get(name), int | float) and params[name]
    ]
    title = str(KIND_TITLES.get(line.kind, line.kind.replace("_", " ")))
    parts = [
        f"{title} {' × '.join(_size(size, unit, bare=True) for size in sizes)} {unit}" if sizes else title
    ]
    if params.get("angle"):
        parts.append(f"{params['angle']:g}°")
    parts.append(f"{line.gauge} ga {line.material}")
    return ", ".join([*parts, *([line.tag] if line.tag else [])])


def _size(inches: float, unit: str, *, bare: bool = False) -> str:
    text = decimal_text(inches * MM_PER_IN, 0) if unit == "mm" else fraction_text(inches)
    return text if bare else f"{text} {unit}"
