"""Changing a released order: typed, shown, made."""

from __future__ import annotations

from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone

from fittings.models import Order
from fittings.selectors import order_by_number
from shared.roles import role_required
from travelers.amend_kept import change_offers
from travelers.amend_page import STARTED_WORDS, ChangeEntry, meaning_pages


@role_required("office", "supervisor")
def order_change(request, number):
    order = order_by_number(number)
    if order.state != Order.State.RELEASED:
        how = "A draft is edited on its own page." if order.state == Order.State.DRAFT else ""
        word = order.get_state_display().lower()
        messages.error(request, f"Order {order.number} is {word}. {how or 'It cannot be changed any more.'}")
        return redirect("order", order.number)
    if request.method != "POST":
        return _page(request, ChangeEntry(order))
    act, _, prefix = request.POST.get("act", "show").partition(":")
    is_judged = act in ("show", "make")
    entry = ChangeEntry(order, request.POST, is_judged=is_judged)
    now = timezone.now()
    if act == "add":
        entry.add_line()
    elif act == "remove":
        entry.remove_line(prefix)
    elif act == "make":
        if entry.make(seen=request.POST.get("seen", "")[:64], actor=request.actor, now=now):
            messages.success(request, f"Order {order.number} is changed. Print its papers again.")
            return redirect("order", order.number)
        return _page(request, entry, 409 if entry.shown else 400)
    elif act == "show":
        return _page(request, entry, 200 if entry.show(now=now) else 400)
    return _page(request, entry)


def _page(request, entry: ChangeEntry, status: int = 200):
    context = {
        "entry": entry,
        "order": entry.order,
        "problems": entry.problems,
        "meaning": meaning_pages(entry.shown) if entry.shown else [],
        "started_words": STARTED_WORDS,
        "offers": change_offers(entry.shown) if entry.shown else [],
    }
    return render(request, "travelers/order_change.html", context, status=status)
