"""The pages of cut plans: what waits, asking for a plan, one plan, one sheet, and what is taken away from them."""

from __future__ import annotations

from functools import wraps

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import condition, require_http_methods, require_POST, require_safe

from fittings.money import currency_sign
from fittings.preview import weight_text
from fittings.stock_page import stock_row
from fittings.views.not_loaded import says_when_not_loaded
from shared.problems import Conflict, WrongInput
from shared.roles import OFFICE, SUPERVISOR, role_required
from travelers import cut_list_page, cut_papers, cut_plan_page, cut_plans, cut_sheet_page
from travelers.cut_forms import EFFORTS, PlanForm
from travelers.where import code_read

PLANS_ON_A_PAGE = 25
planners = role_required(OFFICE, SUPERVISOR)
EFFORT_TITLES = tuple((value, text.partition(":")[0]) for value, text in EFFORTS)


# -- the list, and asking for a plan -----------------------------------------------


@require_safe
@planners
@says_when_not_loaded("Cut plans")
def cut_plans_list(request):
    page = Paginator(cut_list_page.plans_newest_first(), PLANS_ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "waiting": cut_list_page.waiting_work(today=timezone.localdate()),
        "page_obj": page,
        "rows": cut_list_page.plan_rows(page),
    }
    return render(request, "travelers/cut_plans.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@planners
def cut_plan_new(request):
    """The choices of a plan for one metal; which metal, where only an order is named."""
    material, gauge = request.GET.get("material", "")[:40], request.GET.get("gauge", "")
    order = request.GET.get("order", "").strip()[:30]
    if not material:
        return _which_metal(request, order) if order else redirect("cut_plans")
    number = int(gauge) if gauge.isdecimal() and len(gauge) < 5 else gauge[:20]
    choices = cut_list_page.plan_choices(material, number, today=timezone.localdate())
    if request.method != "POST":
        return _new_page(request, PlanForm(choices=choices, order=order))
    form = PlanForm(request.POST, choices=choices)
    if not form.is_valid():
        return _new_page(request, form, status=400)
    try:
        plan = cut_plans.plan_request(**form.asked(), actor=request.actor, now=timezone.now())
    except (WrongInput, Conflict) as problem:
        form.attach(problem)
        return _new_page(request, form, status=problem.status)
    return redirect("cut_plan", plan.number)


def _which_metal(request, order):
    metals = cut_list_page.metals_of_order(order, today=timezone.localdate())
    if len(metals) == 1:
        return redirect(metals[0].address(order))
    return render(request, "travelers/cut_plan_metals.html", {"number": order, "metals": metals})


def _new_page(request, form, status=200):
    choices, sign = form.choices, currency_sign()
    context = {
        "form": form,
        "choices": choices,
        "metal": cut_list_page.metal_text(choices.material, choices.gauge),
        "weight": weight_text(choices.weight_lb, choices.unit, 0),
        "stock": [(stock_row(item, choices.unit, sign), is_ticked) for item, is_ticked in form.stock],
    }
    return render(request, "travelers/cut_plan_new.html", context, status=status)


# -- one plan -----------------------------------------------------------------


@require_safe
@planners
def cut_plan(request, number):
    return _plan_page(request, number)


def _plan_page(request, number, problem=None):
    page = cut_plan_page.plan_page(number, today=timezone.localdate(), now=timezone.now())
    context = {"page": page, "plan": page.plan, "problem": problem, "efforts": EFFORT_TITLES}
    return render(request, "travelers/cut_plan.html", context, status=problem.status if problem else 200)


@require_safe
@planners
def cut_plan_progress(request, number):
    """The part of the page that changes while the plan is made; once it is made, the whole page is asked for."""
    progress = cut_plan_page.plan_progress(number, now=timezone.now())
    response = render(request, "travelers/_cut_progress.html", {"progress": progress})
    if not progress.is_open:
        response["HX-Refresh"] = "true"
    return response


@require_safe
@planners
def cut_plan_comparisons(request, number):
    """What each rule costs, as far as it is known."""
    page = cut_plan_page.plan_rules(number, now=timezone.now())
    return render(request, "travelers/_cut_comparisons.html", {"page": page, "plan": page.plan})


def says_on_the_plan(act):
    """What cannot be done is said on the plan's own page, which shows how it stands now."""

    @wraps(act)
    def guarded(request, number):
        try:
            return act(request, number)
        except (WrongInput, Conflict) as problem:
            return _plan_page(request, number, problem)

    return require_POST(planners(guarded))


@says_on_the_plan
def cut_plan_stop(request, number):
    cut_plans.plan_stop(number=number, actor=request.actor, now=timezone.now())
    return redirect("cut_plan", number)


@says_on_the_plan
def cut_plan_again(request, number):
    changes = {"effort": request.POST.get("effort") or None, "seed": _whole(request.POST.get("seed"))}
    made = cut_plans.plan_again(number=number, actor=request.actor, now=timezone.now(), **changes)
    messages.success(
        request, f"Cut plan {made.number} is being made of the pieces of plan {number} that wait."
    )
    return redirect("cut_plan", made.number)


@says_on_the_plan
def cut_plan_drop(request, number):
    cut_plans.plan_drop(number=number, actor=request.actor, now=timezone.now())
    messages.success(request, f"Cut plan {number} is dropped. Its pieces wait to be cut again.")
    return redirect("cut_plans")


@says_on_the_plan
def cut_plan_send(request, number):
    version = _whole(request.POST.get("version"))
    cut_plans.plan_send(number=number, actor=request.actor, now=timezone.now(), version=version)
    messages.success(request, f"Cut plan {number} is on the floor. Print its sheets for the table.")
    return redirect("cut_plan", number)


def _whole(text) -> int | None:
    return int(text) if text and text.isdecimal() and len(text) < 10 else None


# -- one sheet ----------------------------------------------------------------


@require_safe
@planners
def cut_sheet(request, pk):
    return _sheet_page(request, pk, _piece_asked(request.GET))


def _sheet_page(request, pk, piece, problem=None, reason=""):
    page = cut_sheet_page.sheet_page(pk, piece=piece)
    errors = problem.errors if problem else ()
    context = {
        "page": page,
        "sheet": page.sheet,
        "plan": page.plan,
        "problem": problem,
        "reason": reason,
        "reason_wrong": next((error.message for error in errors if error.field == "reason"), ""),
    }
    return render(request, "travelers/cut_sheet.html", context, status=problem.status if problem else 200)


@require_POST
@planners
def cut_piece_off(request, pk):
    """Take one piece off the sheet: it waits to be cut again."""
    piece, reason = _piece_asked(request.POST), request.POST.get("reason", "")
    try:
        cut_plans.piece_take_off(
            sheet_code=cut_sheet_page.code_of_sent(pk),
            segment_code=piece,
            reason=reason,
            actor=request.actor,
            now=timezone.now(),
        )
    except (WrongInput, Conflict) as problem:
        return _sheet_page(request, pk, piece, problem, reason)
    messages.success(request, f"{piece} is taken off the sheet. It waits to be cut again.")
    return redirect("cut_sheet", pk)


# -- taken away ---------------------------------------------------------------


def _tag(request, pk):
    return cut_sheet_page.picture_tag(
        pk, small=bool(request.GET.get("small")), piece=_piece_asked(request.GET)
    )


def _piece_asked(query) -> str:
    """The code of a piece as somebody may have typed it into the address."""
    return code_read(query.get("piece", "")) if query.get("piece") else ""


@require_safe
@planners
@condition(etag_func=_tag)
def cut_sheet_svg(request, pk):
    """The picture alone; with `small` its outlines, for lists. A list's address names its version: it can be kept."""
    text = cut_papers.sheet_svg_text(
        pk, small=bool(request.GET.get("small")), highlight=_piece_asked(request.GET) or None
    )
    response = HttpResponse(text, content_type="image/svg+xml")
    response["Cache-Control"] = "private, max-age=86400" if request.GET.get("v") else "private, no-cache"
    return response


@require_safe
@planners
def cut_sheet_pdf(request, pk):
    return _file(cut_papers.sheet_pdf(pk, now=timezone.now()))


@require_safe
@planners
def cut_sheet_dxf(request, pk):
    return _file(cut_papers.sheet_dxf_file(pk, unit=request.GET.get("unit", "in")))


@require_safe
@planners
def cut_plan_dxf(request, number):
    return _file(cut_papers.plan_dxf_zip(number, unit=request.GET.get("unit", "in")))


@require_safe
@planners
def cut_plan_pdf(request, number):
    return _file(cut_papers.plan_pdf(number, now=timezone.now()))


def _file(made):
    response = HttpResponse(made.content, content_type=made.media_type)
    kind = "inline" if made.media_type == "application/pdf" else "attachment"
    response["Content-Disposition"] = f'{kind}; filename="{made.name}"'
    return response
