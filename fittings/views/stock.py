"""The stock on hand: list with quick counts, add, change, retire."""

from django.contrib import messages
from django.http import QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_POST, require_safe

from fittings import stock as services
from fittings.forms import shop_unit
from fittings.money import currency_sign
from fittings.stock_page import (
    FORMS,
    SHOWN,
    NewStockForm,
    StockForm,
    UsualForm,
    stock_page,
    stock_row,
    usual_sizes,
)
from fittings.views.not_loaded import says_when_not_loaded
from shared.problems import Conflict, WrongInput
from shared.roles import role_required


@require_safe
@role_required("office", "supervisor")
@says_when_not_loaded("Stock")
def stock(request):
    return _list(request, request.GET)


def _list(request, query, problem=None, typed=None):
    page = stock_page(query)
    context = {
        "stock": page,
        "page_obj": page.page,
        "forms": FORMS,
        "shown": SHOWN,
        "query": query.urlencode(),
        "problem": problem,
        "typed": typed,
    }
    return render(request, "fittings/stock.html", context, status=problem.status if problem else 200)


@role_required("office", "supervisor")
def stock_new(request):
    form = NewStockForm(request.POST if request.method == "POST" else None, initial=_metal(request.GET))
    if request.method == "POST" and form.is_valid():
        try:
            made = services.stock_create(values=form.values(), actor=request.actor, now=timezone.now())
        except WrongInput as wrong:
            form.attach(wrong)
        else:
            messages.success(request, f"{made} is in the stock.")
            return redirect(_listed(made.material, made.gauge))
    return _new(request, form, UsualForm(initial=_metal(request.GET)), form)


@require_POST
@role_required("office", "supervisor")
def stock_usual(request):
    form = UsualForm(request.POST)
    if form.is_valid():
        try:
            made = services.stock_add_usual(values=form.cleaned_data, actor=request.actor, now=timezone.now())
        except WrongInput as wrong:
            form.attach(wrong)
        else:
            names = ", ".join(item.name for item in made)
            told = f"Added: {names}." if made else "This metal had all usual sizes already."
            messages.success(request, told)
            return redirect(_listed(**form.cleaned_data))
    return _new(request, NewStockForm(initial=_metal(request.POST)), form, form)


def _metal(query) -> dict[str, str]:
    return {name: query[name][:40] for name in ("material", "gauge") if query.get(name)}


def _listed(material, gauge) -> str:
    return f"{reverse('stock')}?{urlencode({'material': material, 'gauge': gauge})}"


def _new(request, new, usual, bound):
    context = {"new": new, "usual": usual, "form": bound, "sizes": usual_sizes()}
    return render(request, "fittings/stock_new.html", context, status=400 if bound.is_bound else 200)


@role_required("office", "supervisor")
def stock_edit(request, pk):
    item = services.stock_by_id(pk)
    form = StockForm(request.POST if request.method == "POST" else None, item=item)
    conflict = None
    if request.method == "POST" and form.is_valid():
        try:
            saved = _change(request, pk, form.values())
        except WrongInput as wrong:
            form.attach(wrong)
        except Conflict as problem:
            conflict = problem
        else:
            messages.success(request, f"{saved} is saved.")
            return redirect("stock")
    context = {
        "item": item,
        "form": form,
        "row": stock_row(item, shop_unit(), currency_sign()),
        "version": request.POST.get("version", item.version),
        "conflict": conflict,
    }
    status = 409 if conflict else 400 if form.is_bound and form.errors else 200
    return render(request, "fittings/stock_item.html", context, status=status)


@require_POST
@role_required("office", "supervisor")
def stock_count(request, pk):
    count = request.POST.get("count", "")[:40]
    try:
        item = _change(request, pk, {"count": count})
    except (WrongInput, Conflict) as problem:
        return _list(request, _back(request), problem, {"pk": pk, "count": count})
    messages.success(request, f"{item}: {'not counted' if item.count is None else item.count} on hand.")
    return _to_list(request)


@require_POST
@role_required("office", "supervisor")
def stock_retire(request, pk):
    try:
        item = services.stock_retire(
            pk=pk, actor=request.actor, now=timezone.now(), version=_version(request)
        )
    except Conflict as problem:
        return _list(request, _back(request), problem)
    messages.success(request, f"{item} is retired. It is found under Retired and used up.")
    return _to_list(request)


@require_POST
@role_required("office", "supervisor")
def stock_bring_back(request, pk):
    try:
        item = _change(request, pk, {"is_active": True})
    except (WrongInput, Conflict) as problem:
        return _list(request, _back(request), problem)
    messages.success(request, f"{item} is in use again.")
    return redirect(_listed(item.material, item.gauge))


def _change(request, pk, values):
    values = {**values, "version": _version(request)}
    return services.stock_change(pk=pk, values=values, actor=request.actor, now=timezone.now())


def _version(request) -> int:
    text = request.POST.get("version", "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 9 else 0


def _back(request) -> QueryDict:
    """The filter that the list was shown with."""
    return QueryDict(request.POST.get("back", "")[:300])


def _to_list(request):
    back = _back(request).urlencode()
    return redirect(f"{reverse('stock')}?{back}" if back else "stock")
