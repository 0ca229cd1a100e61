"""The supervisor's page of what did not go as usual today."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from shared.roles import SUPERVISOR, role_required
from shopfloor import exceptions as found

ON_A_PAGE = 50


@role_required(SUPERVISOR)
@require_safe
def exceptions(request):
    now = timezone.now()
    page = Paginator(found.doubtful_scans(now=now), ON_A_PAGE).get_page(request.GET.get("page"))
    scans = list(page.object_list)
    names = found.badge_names(scans)
    missed = found.missed_today(now=now)
    context = {
        "page_obj": page,
        "scans": [(scan, names.get(scan.badge, scan.badge)) for scan in scans],
        "mismatches": found.mismatches(now=now),
        "missed": missed,
        "missed_total": sum(one.count for one in missed),
        "sign_ins": found.wrong_sign_ins(),
        "now": now,
    }
    return render(request, "shopfloor/exceptions.html", context)
