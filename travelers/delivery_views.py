"""Pages of deliveries: put one together, show it to the customer on a tablet, take the signature."""

from __future__ import annotations

from collections.abc import Sequence

from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fittings.models import OrderLine
from fittings.preview import LineDrawing, line_drawing
from fittings.selectors import order_by_number
from shared.problems import Conflict, WrongInput
from shared.roles import OFFICE, OPERATOR, SUPERVISOR, role_required
from travelers import letters, shipping
from travelers.delivery_words import delivery_words
from travelers.documents.delivery_note import BOX

LATELY = 20
shippers = role_required(OFFICE, SUPERVISOR)
everybody = role_required(OFFICE, SUPERVISOR, OPERATOR)


def _reader(request) -> dict:
    """Where the page is read, and in what words."""
    is_tablet = request.actor.role == OPERATOR
    return {"place": "tablet" if is_tablet else "office", "words": delivery_words(is_tablet=is_tablet)}


@never_cache
@ensure_csrf_cookie
@require_safe
@everybody
def deliveries(request):
    """What waits to be received; in the office also what was received lately."""
    context = {"waiting": shipping.deliveries_open(), **_reader(request)}
    if request.actor.role != OPERATOR:
        context["lately"] = shipping.deliveries_received()[:LATELY]
    return render(request, "travelers/deliveries.html", context)


@never_cache
@ensure_csrf_cookie
@require_safe
@everybody
def delivery(request, pk):
    """One delivery as the customer reads it, and the box to sign in."""
    return _page(request, pk)


def _page(request, pk, problem=None, name=""):
    found = shipping.delivery_get(pk)
    context = {
        "delivery": found,
        "order": found.order,
        "note": letters.note_data(found) if not found.taken_back_at else None,
        **_reader(request),
        "problem": problem,
        "name": name,
        "box": BOX,
        "signature": letters.signature_path(found.strokes),
    }
    return render(request, "travelers/delivery.html", context, status=problem.status if problem else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@shippers
def delivery_new(request, number):
    """How many of each line leave."""
    order = order_by_number(number)
    typed = {
        key.removeprefix("line-"): value for key, value in request.POST.items() if key.startswith("line-")
    }
    problem = None
    if request.method == "POST":
        try:
            made = shipping.delivery_make(
                number=number,
                wanted=shipping.counts_read(typed),
                notes=request.POST.get("notes", ""),
                actor=request.actor,
                now=timezone.now(),
            )
            messages.success(request, f"Delivery {order.number}-{made.number} is ready to leave.")
            return redirect("delivery", made.pk)
        except (WrongInput, Conflict) as wrong:
            problem = wrong
    wrong = {error.field: error.message for error in problem.errors} if problem else {}
    going = shipping.lines_to_go(order)
    drawings = _drawings([line.pk for line in going])
    lines = [
        (
            line,
            drawings[line.pk],
            typed.get(str(line.line), str(line.ready)),
            wrong.get(f"line-{line.line}", ""),
        )
        for line in going
    ]
    context = {
        "order": order,
        "lines": lines,
        "problem": problem,
        "notes": request.POST.get("notes", ""),
        "ready": sum(line.ready for line in going),
    }
    return render(request, "travelers/delivery_new.html", context, status=problem.status if problem else 200)


def _drawings(line_ids: Sequence[int]) -> dict[int, LineDrawing]:
    """The fitting of each line, drawn and in words."""
    lines = OrderLine.objects.select_related("order").defer("development").filter(pk__in=line_ids)
    return {line.pk: line_drawing(line, line.tables_used) for line in lines}


@require_POST
@shippers
def delivery_on_paper(request, pk):
    """The customer signed the printed note: who it was."""
    name = request.POST.get("name", "")
    try:
        found = shipping.delivery_receive(pk=pk, name=name, actor=request.actor, now=timezone.now())
    except (WrongInput, Conflict) as problem:
        return _page(request, pk, problem, name)
    messages.success(
        request, f"Delivery {found.order.number}-{found.number} was received by {found.received_by}."
    )
    return redirect("order", found.order.number)


@require_POST
@shippers
def delivery_take_back(request, pk):
    try:
        found = shipping.delivery_take_back(pk=pk, actor=request.actor, now=timezone.now())
    except Conflict as problem:
        return _page(request, pk, problem)
    messages.success(request, f"Delivery {found.order.number}-{found.number} was taken back.")
    return redirect("order", found.order.number)
