"""The floor plan: what is carried on it, moving things in it, tries of another layout."""

from __future__ import annotations

import re

from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shared.problems import Conflict, NotFound, WrongInput
from shared.roles import OFFICE, SUPERVISOR, role_required
from shopfloor import floor_plan as plans
from shopfloor import floor_plan_page as pages
from shopfloor.floor_lengths import floor_unit
from shopfloor.floor_plan_forms import RoomForm, TryForm, place_forms
from shopfloor.floor_travel import MOST_FITTINGS, USUAL_DAYS, made_lately
from shopfloor.working_time import shop_calendar

DAYS = (1, 5, 10, 20)
WIDE, HALF_WIDE, EDITOR_WIDE = 940.0, 700.0, 1340.0
lookers = role_required(OFFICE, SUPERVISOR)
supervisors = role_required(SUPERVISOR)


def _days(values) -> int:
    given = values.get("days", "")
    return int(given) if given in {f"{one}" for one in DAYS} else USUAL_DAYS


@require_safe
@lookers
def floor_plan(request):
    """The layout as it stands, and the tries beside it."""
    return _standing(request, TryForm())


def _standing(request, form, status=200):
    days = _days(request.GET)
    floor = pages.floor_read(days=days, now=timezone.now())
    if floor is None:
        return render(request, "shopfloor/floor_plan_none.html", {})
    context = _context(request, floor, floor.stands, form, days) | {
        "drawing": floor.drawing(floor.stands, WIDE),
        "others": [(one, pages.compared(floor, one)) for one in floor.reads[1:]],
    }
    return render(request, "shopfloor/floor_plan.html", context, status=status)


@require_safe
@lookers
def layout(request, pk):
    """A try, side by side with how it stands."""
    return _try(request, pk, TryForm())


def _try(request, pk, form, status=200):
    days = _days(request.GET)
    floor = pages.floor_read(days=days, now=timezone.now())
    read = floor and floor.read_of(pk)
    if read is None:
        raise NotFound(f"There is no layout {pk}.")
    if read is floor.stands:
        return redirect("floor_plan")
    context = _context(request, floor, read, form, days) | {
        "sides": [(one.layout.name, floor.drawing(one, HALF_WIDE)) for one in (floor.stands, read)],
        "compared": pages.compared(floor, read),
        "moved": pages.moved_said(floor, read),
        "unlike": sorted(set(floor.stands.travel.left_out) ^ set(read.travel.left_out)),
    }
    return render(request, "shopfloor/floor_layout.html", context, status=status)


def _context(request, floor, read, form, days):
    return {
        "floor": floor,
        "read": read,
        "layout": read.layout,
        "facts": pages.facts(floor, read),
        "longest": pages.longest(floor, read),
        "from_to": pages.from_to_table(read),
        "form": form,
        "days": days,
        "all_days": DAYS,
        "most_fittings": MOST_FITTINGS,
        "may_edit": request.actor.role == SUPERVISOR,
    }


@require_http_methods(["GET", "HEAD", "POST"])
@supervisors
def room(request):
    row = plans.room_get()
    form = RoomForm(request.POST if request.method == "POST" else None, floor_unit(), row)
    if request.method == "POST" and form.is_valid():
        try:
            plans.room_save(**form.cleaned_data, actor=request.actor, now=timezone.now())
        except WrongInput as wrong:
            form.attach(wrong)
        else:
            messages.success(request, "The room is saved.")
            return redirect("floor_plan")
    return render(
        request, "shopfloor/floor_room.html", {"form": form, "room": row}, status=400 if form.errors else 200
    )


@require_http_methods(["GET", "HEAD", "POST"])
@supervisors
def layout_edit(request, pk):
    row, unit = plans.layout_get(pk), floor_unit()
    things = plans.layout_things(row)
    rows = place_forms(
        request.POST if request.method == "POST" else None, things, plans.stations_in_use(), unit
    )
    status, stale = 200, ""
    if request.method == "POST" and rows.is_valid():
        placed = [(form, thing) for form in rows if (thing := form.thing())]
        things = [thing for _, thing in placed]
        edition = request.POST.get("edition", "")
        try:
            plans.layout_save(
                pk=pk,
                edition=int(edition) if edition.isdecimal() else -1,
                things=things,
                actor=request.actor,
                now=timezone.now(),
            )
        except WrongInput as wrong:
            _attach(placed, wrong)
        except Conflict as problem:
            status, stale = problem.status, problem.detail
        else:
            messages.success(request, f"{row.name} is saved.")
            return redirect("layout", pk)
    if rows.is_bound and rows.total_error_count():
        status = 400
    floor, read = pages.editor_read(row, things, now=timezone.now())
    context = {
        "layout": row,
        "rows": rows,
        "unit": unit,
        "stale": stale,
        "drawing": floor.drawing(read, EDITOR_WIDE),
        "carried": unit.whole(read.travel.feet),
        "days": USUAL_DAYS,
    }
    return render(request, "shopfloor/floor_plan_edit.html", context, status=status)


def _attach(placed, wrong: WrongInput) -> None:
    """The service's refusals at the rows that they are about."""
    for error in wrong.errors:
        found = re.fullmatch(r"places\[(\d+)\]\.(\w+)", error.field)
        form, field = (placed[int(found[1])][0], found[2]) if found else (placed[0][0], None)
        form.add_error(field if field in form.fields else None, error.message)


@require_POST
@supervisors
def layout_try(request, pk):
    form, now = TryForm(request.POST), timezone.now()
    status = 400
    if form.is_valid():
        lately = made_lately(shop_calendar(), days=_days(request.GET), now=now)
        try:
            made = plans.layout_try(pk=pk, **form.cleaned_data, lately=lately, actor=request.actor, now=now)
        except (WrongInput, Conflict) as problem:
            form.attach(problem)
            status = problem.status
        else:
            return redirect("layout", made.pk)
    shows = _standing if plans.layout_get(pk).is_standing else lambda *args: _try(args[0], pk, *args[1:])
    return shows(request, form, status)


@require_POST
@supervisors
def layout_remove(request, pk):
    name = plans.layout_remove(pk=pk, actor=request.actor, now=timezone.now())
    messages.success(request, f"{name} is removed.")
    return redirect("floor_plan")


@require_POST
@supervisors
def layout_stands(request, pk):
    plans.layout_stands(pk=pk, actor=request.actor, now=timezone.now())
    messages.success(request, "The floor stands like this now. How it stood is kept as a try.")
    return redirect("floor_plan")
