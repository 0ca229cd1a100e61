"""The page of all settings."""

from __future__ import annotations

from django.shortcuts import render
from django.views.decorators.http import require_safe

from shared.roles import OFFICE, SUPERVISOR, role_required
from shopfloor.settings_hub import settings_groups


@role_required(OFFICE, SUPERVISOR)
@require_safe
def settings_page(request):
    return render(request, "shopfloor/settings.html", {"groups": settings_groups(request.actor)})
