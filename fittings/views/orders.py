"""Orders: the list, typing one in, changing a draft, the preview of a line."""

from urllib.parse import quote

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fittings.due_date import DateNotUnderstood, date_text, read_date
from fittings.forms import LineForm, shop_unit
from fittings.models import Order
from fittings.order_entry import OrderEntry, entry_choices
from fittings.order_list import STATES, order_line_get, order_list, order_rows
from fittings.preview import line_preview, line_shown, preview_of, shaded_view
from fittings.selectors import order_by_number
from fittings.tables import versions_in_force
from fittings.typed_orders import typed_fields, typed_offers
from fittings.views.not_loaded import says_when_not_loaded
from shared.problems import Conflict
from shared.roles import role_required

ON_A_PAGE = 25


def order_address(number: str) -> str:
    """An order's own page lies below the list's address."""
    return f"{reverse('orders')}{quote(number)}/"


@require_safe
@role_required("office", "supervisor")
@says_when_not_loaded("Orders")
def orders(request):
    q, state = request.GET.get("q", "").strip()[:120], request.GET.get("state", "")
    today = timezone.localdate()
    page = Paginator(order_list(q=q, state=state, today=today), ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page_obj": page,
        "rows": order_rows(page, today=today),
        "q": q,
        "state": state,
        "states": STATES,
    }
    return render(request, "fittings/orders.html", context)


@role_required("office", "supervisor")
def order_new(request):
    """A new order; `?copy=` names one whose customer and lines it begins with."""
    copied = request.GET.get("copy", "")
    return _entry_page(request, None, like=order_by_number(copied) if copied else None)


@role_required("office", "supervisor")
def order_edit(request, number):
    order = order_by_number(number)
    if order.state not in (Order.State.DRAFT, Order.State.RELEASED):
        raise Conflict(
            f"Order {number} is {order.get_state_display().lower()}. It cannot be changed any more."
        )
    return _entry_page(request, order)


def _entry_page(request, order, like=None):
    choices, today = entry_choices(), timezone.localdate()
    if request.method != "POST":
        typed = typed_fields(request.GET.get("typed", ""), request.actor)
        if typed is None:
            return _entry(request, OrderEntry(choices, today=today, order=order, like=like))
        data, revision = typed
        entry = OrderEntry.typed(data, choices, today=today, order=order, is_judged=False)
        entry.token, entry.revision = request.GET["typed"], revision
        return _entry(request, entry)
    act, _, prefix = request.POST.get("act", "save").partition(":")
    entry = OrderEntry.typed(request.POST, choices, today=today, order=order, is_judged=act == "save")
    if act == "save":
        return _save(request, entry)
    if act == "add":
        entry.add_line()
    elif act == "remove":
        entry.remove_line(prefix)
    return _entry(request, entry)


def _save(request, entry):
    saved = entry.save(actor=request.actor, now=timezone.now())
    if saved is None:
        return _entry(request, entry, status=409 if entry.conflict else 400)
    messages.success(request, f"Order {saved.number} is saved.")
    return redirect(order_address(saved.number))


def _entry(request, entry, status=200):
    context = {"entry": entry, "problems": entry.problems if status != 200 else []}
    context["back"] = order_address(entry.order.number) if entry.order else reverse("orders")
    offers = typed_offers(entry.order.number if entry.order else "", request.actor)
    context["offers"] = [offer for offer in offers if offer.token != entry.token]
    return render(request, "fittings/order_entry.html", context, status=status)


@require_safe
@role_required("office", "supervisor")
def order_line(request, number, position):
    """One line, drawn: the frozen development where the order is released."""
    line = order_line_get(number, position)
    versions = line.tables_used or versions_in_force()
    shown = line_shown(line, versions)
    preview = preview_of(shown, quantity=line.quantity, unit=shop_unit())
    context = {"line": line, "order": line.order, "preview": preview, "shaded": shaded_view(shown)}
    context["back"] = order_address(number)
    return render(request, "fittings/order_line.html", context)


@require_POST
@role_required("office", "supervisor")
def order_preview(request):
    """One line as it is typed, drawn: an HTML fragment, and what was understood of each length."""
    choices = entry_choices()
    form = LineForm(request.POST, prefix="line", choices=choices)
    context = {"form": form, "preview": line_preview(form), "due": _due(request)}
    context["wrong"] = [
        (field.html_name, text)
        for field in form
        for text in field.errors
        if field.name != "quantity" or field.value()
    ]
    return render(request, "fittings/_preview.html", context)


def _due(request) -> str:
    try:
        return date_text(read_date(request.POST.get("due", ""), today=timezone.localdate()))
    except DateNotUnderstood:
        return ""
