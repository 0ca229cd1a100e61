"""The station's tablet page. Scanning happens in the browser; everything that it sends goes to the API."""

from __future__ import annotations

from django.contrib.staticfiles import finders
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_safe

from shared.roles import OPERATOR, actor_of
from shopfloor.tablet import station_data

HOLD_REASONS = (
    "Wrong gauge or size",
    "Damaged",
    "Does not fit",
    "Drawing unclear",
    "Machine or tool down",
    "Material missing",
)


@never_cache
@ensure_csrf_cookie
@require_safe
def station(request):
    """For an enrolled tablet; a browser that is none, and where nobody is signed in, is shown how to become one."""
    if request.actor is None:
        return redirect("enrol")
    actor = actor_of(request, OPERATOR)
    context = {"station": station_data(actor), "reasons": HOLD_REASONS}
    response = render(request, "shopfloor/station.html", context)
    response.allows_wasm = True
    return response


@require_safe
def worker(request):
    """The service worker, at an address below the page that it serves: a worker reaches no farther than its own."""
    with open(finders.find("shopfloor/sw.js"), encoding="utf-8") as file:
        text = file.read()
    return HttpResponse(text, content_type="text/javascript", headers={"Cache-Control": "no-cache"})
