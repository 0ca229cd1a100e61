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
from django.views.decorators.http import require_POST

from fittings.ends import ends_of
from fittings.forms import shop_unit
from fittings.models import Order, OrderLine, PieceState
from fittings.order_list import order_mark
from fittings.preview import LineDrawing, line_drawing, weight_text
from fittings.selectors import order_by_number
from fittings.tables import versions_in_force
from shared.problems import Conflict, WrongInput
from shared.roles import role_required
from travelers import release
from travelers import where as places
from travelers.forms import finishes_of
from travelers.models import Operation, Task, TaskState

FITTINGS_ON_A_PAGE = 50
CHANGES_SHOWN = 20


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

    @property
    def ends(self) -> str:
        """The finish of each free end: "A raw, B raw, C flange"."""
        finishes = finishes_of(self.line, [letter for letter, _ in ends_of(self.line.kind)])
        return ", ".join(f"{letter.upper()} {finish}" for letter, finish in finishes.items())


@dataclass(frozen=True)
class OrderPage:
    order: Order
    state: str
    word: str
    lines: tuple[LinePage, ...]
    makes: str
    cannot: tuple[str, ...]
    weight: str


def order_page(number: str, *, today: date) -> OrderPage:
    """Facts, lines and progress of an order. The same few queries, whatever its size."""
    order = order_by_number(number)
    versions = order.tables or versions_in_force()
    done = dict(
        order.fittings.filter(state=PieceState.DONE).values_list("line").annotate(n=Count("pk"))
        if order.fittings_total
        else ()
    )
    progress = _progress(order) if order.fittings_total else {}
    stored = order.lines.defer("development").order_by("position")
    lines = tuple(
        LinePage(line, line_drawing(line, versions), progress.get(line.pk, ()), done.get(line.pk, 0))
        for line in stored
    )
    cannot = tuple(
        f"Line {one.line.position} cannot be made as it stands." for one in lines if not one.drawing.pieces
    )
    state, word = order_mark(order, today=today)
    weight = sum(one.drawing.weight_lb * one.line.quantity for one in lines)
    return OrderPage(
        order, state, word, lines, release_sentence(lines), cannot, weight_text(weight, shop_unit())
    )


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
        Task.objects.filter(fitting__order=order)
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


@role_required("office", "supervisor")
def order(request, number):
    return _render(request, number)


def _render(request, number, problem=None):
    page = order_page(number, today=timezone.localdate())
    context = {"page": page, "order": page.order, "problem": problem}
    if page.order.fittings_total:
        context["page_obj"], context["fittings"] = _fittings(page.order, request.GET)
    context["changes"] = page.order.changes.order_by("-version")[:CHANGES_SHOWN]
    return render(request, "travelers/order.html", context, status=problem.status if problem else 200)


@require_POST
@role_required("office", "supervisor")
def order_release(request, number):
    try:
        made = release.order_release(number=number, actor=request.actor, now=timezone.now())
    except (WrongInput, Conflict) as problem:
        return _render(request, number, problem)
    messages.success(request, f"Order {number} is on the floor: {_count(made.fittings_total, 'fitting')}.")
    return redirect("order", number)


@require_POST
@role_required("office", "supervisor")
def order_cancel(request, number):
    try:
        release.order_cancel(number=number, actor=request.actor, now=timezone.now())
    except Conflict as problem:
        return _render(request, number, problem)
    messages.success(request, f"Order {number} is cancelled. What was scanned stays in the record.")
    return redirect("order", number)
