"""The search of the office's pages: a page of what was found, and the first of it below the field while one types."""

from __future__ import annotations

from django.shortcuts import render
from django.views.decorators.http import require_safe

from shared.roles import OFFICE, SUPERVISOR, role_required
from shopfloor.find import FIRST, find


@require_safe
@role_required(OFFICE, SUPERVISOR)
def find_page(request):
    answer = find(request.GET.get("q", ""), actor=request.actor)
    return render(request, "shopfloor/find.html", {"answer": answer, "find_asked": answer.asked})


@require_safe
@role_required(OFFICE, SUPERVISOR)
def find_part(request):
    """The first eight, for the drop below the field."""
    answer = find(request.GET.get("q", ""), actor=request.actor, limit=FIRST)
    return render(request, "shopfloor/_find_first.html", {"answer": answer})
