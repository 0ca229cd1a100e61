"""The flow: figures from the record over a range of days, and each table as CSV."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fittings.views.not_loaded import says_when_not_loaded
from shared.roles import OFFICE, SUPERVISOR, role_required
from shopfloor.flow_form import FlowForm
from shopfloor.flow_page import flow_shown


@require_safe
@role_required(OFFICE, SUPERVISOR)
@says_when_not_loaded("Flow")
def flow(request):
    form = FlowForm(request.GET)
    asked = form.asked()
    context = {
        "form": form,
        "asked": asked,
        "page": flow_shown(asked, form.counted_in, asked_by=request.actor.name, now=timezone.now()),
        "query": request.GET.urlencode(),
    }
    return render(request, "shopfloor/flow.html", context, status=200 if form.is_valid() else 400)


@require_safe
@role_required(OFFICE, SUPERVISOR)
@says_when_not_loaded("Flow")
def flow_csv(request):
    """One table of the page, for the same question."""
    form = FlowForm(request.GET)
    what = request.GET.get("what", "output")[:20]
    text = flow_shown(form.asked(), form.counted_in, asked_by=request.actor.name, now=timezone.now()).csv(
        what
    )
    response = HttpResponse(text, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="flow-{what}.csv"'
    return response
