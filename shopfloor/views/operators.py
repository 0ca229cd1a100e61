"""Operators and their badges, as the supervisor sets them up, and the badges as printed cards."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shared.problems import NotFound, WrongInput
from shared.roles import SUPERVISOR, role_required
from shared.words import LANGUAGES
from shopfloor import operators as crew
from travelers.badge_cards import badge_cards
from travelers.languages import shop_language
from travelers.models import Operator

ON_A_PAGE = 50


@role_required(SUPERVISOR)
@require_http_methods(["GET", "HEAD", "POST"])
def operators(request):
    wrong, name = "", request.POST.get("name", "")
    language = request.POST.get("language") or shop_language()
    if request.method == "POST":
        try:
            added = crew.operator_add(name=name, language=language, actor=request.actor, now=timezone.now())
        except WrongInput as error:
            wrong = error.detail
        else:
            messages.success(request, f"{added.name} has badge {added.code}.")
            return redirect("operators")
    page = Paginator(crew.operator_list(), ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page_obj": page,
        "wrong": wrong,
        "name": name,
        "language": language,
        "languages": LANGUAGES,
        "no_card": Operator.objects.filter(is_active=True, card_printed_at=None).values_list(
            "code", flat=True
        ),
    }
    return render(request, "shopfloor/operators.html", context, status=400 if wrong else 200)


@role_required(SUPERVISOR)
@require_safe
def badges(request):
    """Cards of everyone in use, or of those that are chosen."""
    content = badge_cards(codes=request.GET.getlist("code"), actor=request.actor, now=timezone.now())
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="badges.pdf"'
    return response


@role_required(SUPERVISOR)
@require_POST
def operator_active(request, pk):
    on = request.POST.get("is_active") == "yes"
    operator = _changed(request, pk, {"is_active": on})
    messages.success(request, f"{operator.name}'s badge is {'in use again' if on else 'out of use'}.")
    return redirect("operators")


@role_required(SUPERVISOR)
@require_POST
def operator_language(request, pk):
    operator = _changed(request, pk, {"language": request.POST.get("language", "")})
    messages.success(request, f"The tablets speak {operator.get_language_display()} to {operator.name}.")
    return redirect("operators")


@role_required(SUPERVISOR)
@require_POST
def operator_name(request, pk):
    operator = _changed(request, pk, {"name": request.POST.get("name", "")})
    messages.success(request, f"Badge {operator.code} is {operator.name}'s.")
    return redirect("operators")


def _changed(request, pk: int, data: dict) -> Operator:
    operator = Operator.objects.filter(pk=pk).first()
    if operator is None:
        raise NotFound("There is no such operator.")
    return crew.operator_change(code=operator.code, data=data, actor=request.actor, now=timezone.now())
