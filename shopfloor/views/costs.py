"""Costs: of a month, of an order; prices by hand; quotes. The office's alone."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fittings.selectors import order_by_number
from fittings.views.not_loaded import says_when_not_loaded
from shared import sheets
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import OFFICE, role_required
from shopfloor import cost_page, month_costs
from travelers import prices, quotes

office = role_required(OFFICE)


@require_safe
@office
@says_when_not_loaded("Costs")
def month(request):
    page = cost_page.month_page(request.GET, today=timezone.localdate())
    return render(request, "shopfloor/costs.html", {"costs": page, "page_obj": page.page})


@require_safe
@office
def month_sheet(request, form):
    """The whole month as CSV or XLSX."""
    if form not in sheets.MEDIA_TYPES:
        raise NotFound(f"There is no such file of costs. There are {', '.join(sheets.MEDIA_TYPES)}.")
    today = timezone.localdate()
    by = month_costs.one_of(request.GET.get("by"), month_costs.BY, "by")
    count = month_costs.one_of(request.GET.get("count"), month_costs.COUNTS, "count")
    found = month_costs.month_costs(month_costs.month_read(request.GET.get("month"), today), count=count)
    sheet = cost_page.month_sheet(found, by)
    content = sheets.csv_bytes(sheet) if form == sheets.CSV else sheets.xlsx_bytes([sheet])
    response = HttpResponse(content, content_type=sheets.MEDIA_TYPES[form])
    name = f"costs-{found.month:%Y-%m}-by-{by}.{form}"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@require_safe
@office
def order_costs(request, number):
    return _order(request, number)


@require_safe
@office
def order_costs_part(request, number):
    """What the order's own page shows of it."""
    page = cost_page.order_cost_page(order_by_number(number), today=timezone.localdate(), is_whole=False)
    return render(request, "shopfloor/_order_costs.html", {"order": page.order, "costs": page})


def _order(request, number, problem=None):
    page = cost_page.order_cost_page(order_by_number(number), today=timezone.localdate())
    context = {"order": page.order, "costs": page, "problem": problem, "typed": request.POST}
    return render(request, "shopfloor/order_costs.html", context, status=problem.status if problem else 200)


@require_POST
@office
def price_set(request, number):
    line = _whole(request.POST.get("line", ""))
    is_list = request.POST.get("price") == "list"
    try:
        if line is None:
            raise _wrong("line", request.POST.get("line", ""), "the number of a line")
        unit_price = None if is_list else prices.price_read(request.POST.get("unit_price"))
        if unit_price is None and not is_list:
            raise _wrong("unit_price", "", "an amount such as 48.50")
        prices.price_set(
            number=number,
            line=line,
            unit_price=unit_price,
            reason=request.POST.get("reason", ""),
            actor=request.actor,
            now=timezone.now(),
        )
    except (WrongInput, Conflict) as problem:
        return _order(request, number, problem)
    if is_list:
        messages.success(request, f"The price of line {line} goes by the price list again.")
    else:
        messages.success(request, f"The price of line {line} is set.")
    return redirect("order_costs", number)


@require_POST
@office
def quote_make(request, number):
    text = request.POST.get("days", "").strip()
    try:
        made = quotes.quote_make(
            number=number,
            days=_whole(text) if text.isdecimal() else text or None,
            note=request.POST.get("note", ""),
            actor=request.actor,
            now=timezone.now(),
        )
    except (WrongInput, Conflict) as problem:
        return _order(request, number, problem)
    messages.success(request, f"Quote {made.number} is made, with its prices frozen.")
    return redirect("order_costs", number)


@require_POST
@office
def quote_mark(request, quote):
    order = quotes.quote_of(quote).order
    try:
        made = quotes.quote_mark(
            number=quote, state=request.POST.get("state", ""), actor=request.actor, now=timezone.now()
        )
    except (WrongInput, Conflict) as problem:
        return _order(request, order.number, problem)
    messages.success(request, f"Quote {quote} is {made.get_state_display().lower()}.")
    return redirect("order_costs", order.number)


def _whole(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) < 10 else None


def _wrong(field: str, value: str, limit: str) -> WrongInput:
    name = field.replace("unit_", "").capitalize()
    given = f"“{value[:40]}”" if value else "empty"
    return WrongInput([FieldError(field, value[:40], limit, f"{name} is {given}; it can be {limit}.")])
