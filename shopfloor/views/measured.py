"""Measured times: beside the standard times, and taken over."""

from __future__ import annotations

from datetime import datetime

from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_POST, require_safe

from shared.problems import Conflict, WrongInput
from shared.roles import OFFICE, SUPERVISOR, role_required
from shopfloor.measured_adoption import times_adopt
from shopfloor.measured_page import measured_page


@require_safe
@role_required(OFFICE, SUPERVISOR)
def measured_times(request):
    return _page(request)


@require_POST
@role_required(OFFICE)
def measured_adopt(request):
    """Each chosen row is `way`: the operation's code, a space, the method."""
    now = timezone.now()
    ways = [(code, method) for code, _, method in (one.partition(" ") for one in request.POST.getlist("way"))]
    try:
        version = times_adopt(
            ways=ways, seen=_seen(request), until=_until(request) or now, actor=request.actor, now=now
        )
    except (WrongInput, Conflict) as problem:
        return _page(request, problem)
    count = f"{len(ways)} measured time{'' if len(ways) == 1 else 's'}"
    messages.success(request, f"{count} adopted: version {version.number} of the standard times is in force.")
    return redirect("measured_times")


def _seen(request) -> int:
    text = request.POST.get("seen", "")
    return int(text) if text.isdecimal() and 0 < len(text) < 9 else 1


def _until(request) -> datetime | None:
    try:
        found = parse_datetime(request.POST.get("until", ""))
    except ValueError:
        return None
    return found if found and timezone.is_aware(found) else None


def _page(request, problem=None):
    page = measured_page(operation=request.GET.get("operation", ""), now=timezone.now())
    sentences = [error.message for error in getattr(problem, "errors", ()) or ()] if problem else []
    context = {
        "page": page,
        "problems": sentences or ([problem.detail] if problem else []),
        "may_adopt": request.actor.role == OFFICE and page.has_proposals,
    }
    return render(
        request, "shopfloor/measured_times.html", context, status=problem.status if problem else 200
    )
