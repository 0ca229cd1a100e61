"""One order on its own page: what it is, how far, where each fitting sits; releasing and cancelling it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fittings.ends import ends_of
from fittings.forms import shop_unit
from fittings.models import Order, OrderLine, PieceState
from fittings.money import currency_sign, money_text
from fittings.order_list import order_mark
from fittings.preview import LineDrawing, line_drawing, weight_text
from fittings.selectors import order_by_number
from fittings.tables import versions_in_force
from shared.problems import Conflict, WrongInput
from shared.roles import SUPERVISOR, Actor, role_required
from travelers import amend_cancel, pins, release, release_job
from travelers import where as places
from travelers.cut_costs import line_material_cost
from travelers.forms import finishes_of
from travelers.kept_offers import kept_offers
from travelers.kept_page import pieces_of_stock
from travelers.models import Operation, PrintRun, Task, TaskState
from travelers.order_papers import order_papers
from travelers.release_kept import kept_ids_read

FITTINGS_ON_A_PAGE = 50
CHANGES_SHOWN = 20
PRINT_PAPERS = tuple((value, label.lower()) for value, label in PrintRun.Paper.choices)


@dataclass(frozen=True)
class Progress:
    """How far one operation of a line is: tasks done of all, and how many are on hold."""

    name: str
    done: int
    total: int
    held: int
    running: int

    @property
    def state(self) -> str:
        if self.held:
            return "held"
        if self.total and self.done == self.total:
            return "done"
        return "running" if self.running or self.done else "waiting"


@dataclass(frozen=True)
class LinePage:
    line: OrderLine
    drawing: LineDrawing
    progress: tuple[Progress, ...]
    done: int
    material: str = ""
    """What the metal of its fittings costs; blank where nothing of the order was cut by a plan."""

    @property
    def ends(self) -> str:
        """The finish of each free end: "A raw, B raw, C flange"."""
        finishes = finishes_of(self.line, [letter for letter, _ in ends_of(self.line.kind)])
        return ", ".join(f"{letter.upper()} {finish}" for letter, finish in finishes.items())


@dataclass(frozen=True)
class SystemSum:
    """What an order has of one floor or duct system; "" gathers the lines that name none."""

    name: str
    lines: int
    fittings: int
    weight: str


@dataclass(frozen=True)
class OrderPage:
    order: Order
    state: str
    word: str
    lines: tuple[LinePage, ...]
    makes: str
    cannot: tuple[str, ...]
    weight: str
    systems: tuple[SystemSum, ...] = ()
    """Blank where no line names one."""

    @property
    def has_material(self) -> bool:
        return any(line.material for line in self.lines)


def order_page(number: str, *, today: date) -> OrderPage:
    """Facts, lines and progress of an order. The same few queries, whatever its size."""
    order = order_by_number(number)
    versions = order.tables or versions_in_force()
    done = dict(
        order.fittings.filter(state=PieceState.DONE, taken_out_at=None)
        .values_list("line")
        .annotate(n=Count("pk"))
        if order.fittings_total
        else ()
    )
    progress = _progress(order) if order.fittings_total else {}
    material = _material(order) if order.fittings_total else {}
    stored = order.lines.defer("development").order_by("position")
    lines = tuple(
        LinePage(
            line,
            line_drawing(line, versions),
            progress.get(line.pk, ()),
            done.get(line.pk, 0),
            material.get(line.pk, ""),
        )
        for line in stored
    )
    cannot = tuple(
        f"Line {one.line.position} cannot be made as it stands." for one in lines if not one.drawing.pieces
    )
    state, word = order_mark(order, today=today)
    weight = sum(one.drawing.weight_lb * one.line.quantity for one in lines)
    return OrderPage(
        order,
        state,
        word,
        lines,
        release_sentence(lines),
        cannot,
        weight_text(weight, shop_unit()),
        system_sums(lines),
    )


def system_sums(lines: Sequence[LinePage]) -> tuple[SystemSum, ...]:
    """Lines, fittings and weight of each system in the order of the lines; the lines without one at the end."""
    of: dict[str, list[LinePage]] = defaultdict(list)
    for one in lines:
        of[one.line.system].append(one)
    if not any(of):
        return ()
    unit = shop_unit()
    return tuple(
        SystemSum(
            name,
            len(of[name]),
            sum(one.line.quantity for one in of[name]),
            weight_text(sum(one.drawing.weight_lb * one.line.quantity for one in of[name]), unit),
        )
        for name in sorted(of, key=lambda name: not name)
    )


def _material(order: Order) -> dict[int, str]:
    costs = line_material_cost(order)
    sign = currency_sign() if costs else ""
    return {line: money_text(cost, sign) for line, cost in costs.items()}


def release_sentence(lines: Sequence[LinePage]) -> str:
    """What releasing makes, in one sentence."""
    fittings = sum(one.line.quantity for one in lines)
    segments = sum(one.line.quantity * one.drawing.pieces for one in lines)
    travelers = sum(
        one.line.quantity if one.line.traveler_per == OrderLine.TravelerPer.FITTING else 1 for one in lines
    )
    return (
        f"Release makes {_count(fittings, 'fitting')} of {_count(segments, 'segment')} in all and "
        f"{_count(travelers, 'traveler')}, and freezes their sizes with today’s shop tables."
    )


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def _progress(order: Order) -> dict[int, tuple[Progress, ...]]:
    """By line: each operation in flow order. Two queries."""
    names = dict(Operation.objects.order_by("position").values_list("code", "name"))
    counts: dict[int, dict[str, dict[str, int]]] = defaultdict(lambda: defaultdict(dict))
    rows = (
        Task.objects.filter(fitting__order=order, fitting__taken_out_at=None)
        .exclude(state=TaskState.VOID)
        .values_list("fitting__line_id", "operation_id", "state")
        .annotate(n=Count("pk"))
        .order_by()
    )
    for line, operation, state, number in rows:
        counts[line][operation][state] = number
    return {
        line: tuple(_operation(names[code], found[code]) for code in names if code in found)
        for line, found in counts.items()
    }


def _operation(name: str, states: Mapping[str, int]) -> Progress:
    return Progress(
        name,
        done=states.get(TaskState.DONE, 0),
        total=sum(states.values()),
        held=states.get(TaskState.HELD, 0),
        running=states.get(TaskState.RUNNING, 0),
    )


def _fittings(order: Order, query: Mapping[str, str]) -> tuple[Any, list[dict[str, Any]]]:
    found = places.fitting_list({"order": order.number}).order_by("line__position", "number")
    page = Paginator(found, FITTINGS_ON_A_PAGE).get_page(query.get("page"))
    return page, places.fitting_rows(list(page.object_list))


# -- views ------------------------------------------------------------------


@require_safe
@role_required("office", "supervisor")
def order(request, number):
    return _render(request, number)


def _render(request, number, problem=None):
    page = order_page(number, today=timezone.localdate())
    context = {"page": page, "order": page.order, "problem": problem}
    if page.order.fittings_total:
        context["page_obj"], context["fittings"] = _fittings(page.order, request.GET)
        context["of_stock"] = pieces_of_stock(page.order)
    elif page.order.state == Order.State.DRAFT:
        context["release"] = release_job.release_progress(number, now=timezone.now())
        context["offers"] = kept_offers(page.order)
    context |= {"papers": order_papers(page.order), "print_papers": PRINT_PAPERS}
    context["changes"] = page.order.changes.order_by("-version")[:CHANGES_SHOWN]
    _add_pins(context, page.order, request.actor)
    return render(request, "travelers/order.html", context, status=problem.status if problem else 200)


def _add_pins(context: dict[str, Any], order: Order, actor: Actor) -> None:
    """What stands first now (None is the whole order), who may change it, and what happened."""
    found = pins.pins_of(order) if order.fittings_total else []
    is_out = order.state == Order.State.RELEASED
    standing = {pin.line.position if pin.line else None: pin for pin in found if pin.ended_at is None}
    context["pinned"] = standing if is_out else {}
    context["pin_of_order"] = context["pinned"].get(None)
    context["may_pin"] = is_out and actor.role == SUPERVISOR
    context["pins"] = found[:CHANGES_SHOWN]


@require_POST
@role_required("office", "supervisor")
def order_release(request, number):
    """At once, or by the worker where that takes a while; the page then says how far it is."""
    try:
        asked = {"number": number, "actor": request.actor, "now": timezone.now()}
        asked["use_kept"] = _kept_chosen(request.POST.getlist("use_kept"))
        if release_job.is_big(number) or release_job.is_under_way(number):
            release_job.release_request(**asked)
            return redirect("order", number)
        made = release.order_release(**asked)
    except (WrongInput, Conflict) as problem:
        return _render(request, number, problem)
    messages.success(request, f"Order {number} is on the floor: {_count(made.fittings_total, 'fitting')}.")
    return redirect("order", number)


def _kept_chosen(values: Sequence[str]) -> list[int]:
    """The ids of the kept pieces that are ticked: several a box. raises WrongInput"""
    texts = [one for value in values for one in value.split(",")]
    return kept_ids_read(
        [int(one) if one.isascii() and one.isdecimal() and len(one) < 19 else one for one in texts]
    )


@require_safe
@role_required("office", "supervisor")
def order_release_progress(request, number):
    """The part of the page that changes while the order is being released; at the end the whole page is asked for."""
    progress = release_job.release_progress(number, now=timezone.now())
    response = render(request, "travelers/_release_progress.html", {"progress": progress})
    if not progress.is_open:
        if progress.order.fittings_total:
            made = _count(progress.order.fittings_total, "fitting")
            messages.success(request, f"Order {number} is on the floor: {made}.")
        response["HX-Refresh"] = "true"
    return response


@require_POST
@role_required("office", "supervisor")
def order_cancel(request, number):
    started = request.POST.get("started", amend_cancel.AS_IT_IS)
    try:
        amend_cancel.order_cancel(number=number, started=started, actor=request.actor, now=timezone.now())
    except Conflict as problem:
        return _render(request, number, problem)
    messages.success(request, f"Order {number} is cancelled. What was scanned stays in the record.")
    return redirect("order", number)


@require_POST
@role_required("supervisor")
def order_pin(request, number):
    """Put the order, or the line that is named, first on the floor, or take that off again."""
    text = request.POST.get("line", "")
    line = int(text) if text.isdecimal() and len(text) < 10 else None
    what = f"Line {line} of order {number}" if line else f"Order {number}"
    try:
        if request.POST.get("pin") == "off":
            pins.pin_end(number=number, line=line, actor=request.actor, now=timezone.now())
            messages.success(request, f"{what} is no longer first.")
        else:
            pins.pin_set(number=number, line=line, actor=request.actor, now=timezone.now())
            messages.success(request, f"{what} is first on the floor now.")
    except (WrongInput, Conflict) as problem:
        return _render(request, number, problem)
    return redirect("order", number)
