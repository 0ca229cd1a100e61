"""The station's tablet page. Scanning happens in the browser; everything that it sends goes to the API."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_safe

from shared.roles import OPERATOR, actor_of
from shopfloor.page_words import page_words
from shopfloor.presence import page_version
from shopfloor.tablet import does_first, does_last, station_data
from shopfloor.tablet_shelf import worker_text
from travelers.languages import shop_language


@never_cache
@ensure_csrf_cookie
@require_safe
def station(request):
    """For an enrolled tablet; a browser that is none, and where nobody is signed in, is shown how to become one."""
    if request.actor is None:
        return redirect("enrol")
    actor = actor_of(request, OPERATOR)
    context = {
        "station": station_data(actor),
        "version": page_version(),
        "words": page_words(),
        "language": shop_language(),
        "begins": does_first(actor.operations),
        "ships": does_last(actor.operations),
    }
    response = render(request, "shopfloor/station.html", context)
    response.allows_wasm = True
    return response


@require_safe
def worker(request):
    """The service worker, at an address below the page that it serves: a worker reaches no farther than its own."""
    return HttpResponse(worker_text(), content_type="text/javascript", headers={"Cache-Control": "no-cache"})
