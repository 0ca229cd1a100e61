"""What the page of order entry asks for while one types: pasted cells, favourites, and what is typed kept."""

import json

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST, require_safe

from fittings.favourites import (
    favourite_by_id,
    favourite_keep,
    favourite_remove,
    favourites_found,
    line_of,
    offered,
)
from fittings.forms import LineForm, shop_unit
from fittings.order_entry import entry_choices
from fittings.pasted import pasted
from fittings.preview import line_drawing
from fittings.tables import versions_in_force
from fittings.typed_orders import typed_end, typed_keep
from fittings.views.not_loaded import says_when_not_loaded
from shared.problems import FieldError, WrongInput
from shared.roles import role_required

ON_A_PAGE = 50


@require_POST
@role_required("office", "supervisor")
def order_pasted(request):
    """The lines that cells from a spreadsheet fill, as JSON."""
    found = pasted(
        request.POST.get("text", ""),
        kind=request.POST.get("kind", ""),
        column=request.POST.get("column", ""),
        choices=entry_choices(),
    )
    return JsonResponse({"lines": found.lines, "left": found.left, "has_heads": found.has_heads})


@require_POST
@role_required("office", "supervisor")
def order_typed(request):
    """Keep what is typed: JSON with `page`, `token`, `revision` and `fields`, pairs of name and text."""
    body = _body(request)
    revision = body.get("revision")
    kept = typed_keep(
        page=str(body.get("page") or ""),
        token=body.get("token"),
        revision=revision if isinstance(revision, int) and not isinstance(revision, bool) else 0,
        fields=body.get("fields"),
        actor=request.actor,
        now=timezone.now(),
    )
    return JsonResponse({"revision": kept.revision, "kept_at": f"{timezone.localtime(kept.kept_at):%H:%M}"})


def _body(request) -> dict:
    try:
        body = json.loads(request.body)
    except ValueError:
        body = None
    if not isinstance(body, dict):
        raise WrongInput([FieldError("body", None, "a JSON object", "The body is not a JSON object.")])
    return body


@require_POST
@role_required("office", "supervisor")
def order_typed_drop(request):
    """Throw away what was typed and not saved."""
    typed_end(token=request.POST.get("token", ""), actor=request.actor, now=timezone.now())
    messages.success(request, "What was typed is thrown away.")
    back = request.POST.get("back", "")
    is_ours = url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()})
    return redirect(back if is_ours else reverse("order_new"))


# -- favourites --------------------------------------------------------------


@require_safe
@role_required("office", "supervisor")
def order_favourites(request):
    """The favourites that entry offers for a customer, as JSON."""
    return JsonResponse({"favourites": offered(request.GET.get("customer", ""), shop_unit())})


@require_POST
@role_required("office", "supervisor")
def order_favourite_keep(request):
    """Keep the line that is sent as a favourite, under `name`, for `customer` or for all."""
    form = LineForm(request.POST, prefix="line", choices=entry_choices())
    form.develop()
    for name, texts in form.errors.items():
        if name != "quantity":
            raise WrongInput([FieldError(name, form.typed(name), "what can be made", texts[0])])
    data = {
        "name": request.POST.get("name", ""),
        "customer": request.POST.get("customer", ""),
        "unit": form.choices.unit,
        "line": {name: value for name, value in form.line().items() if name != "quantity"},
    }
    kept = favourite_keep(data=data, actor=request.actor, now=timezone.now())
    return JsonResponse({"name": kept.name, "customer": kept.customer.name if kept.customer else ""})


@require_safe
@role_required("office", "supervisor")
@says_when_not_loaded("Favourites")
def favourites(request):
    q = request.GET.get("q", "").strip()[:120]
    page = Paginator(favourites_found(q=q), ON_A_PAGE).get_page(request.GET.get("page"))
    versions = versions_in_force()
    rows = [(row, line_drawing(line_of(row), versions)) for row in page]
    return render(request, "fittings/favourites.html", {"page_obj": page, "rows": rows, "q": q})


@require_POST
@role_required("office", "supervisor")
def favourite_drop(request, pk):
    name = favourite_by_id(pk).name
    favourite_remove(favourite_id=pk, actor=request.actor, now=timezone.now())
    messages.success(
        request, f"“{name}” is no longer a favourite. Orders that were made with it stay as they are."
    )
    return redirect("favourites")
