"""When an order will be finished: the part of its page that says so, and the button that asks."""

from __future__ import annotations

from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fittings.models import Order
from fittings.selectors import order_by_number
from shared.jobs import job_of
from shared.problems import Conflict
from shared.roles import OFFICE, SUPERVISOR, role_required
from shopfloor import order_promises
from shopfloor.models import Promise
from shopfloor.order_promises import PROMISE

askers = role_required(OFFICE, SUPERVISOR)


@require_safe
@askers
def order_promise(request, number):
    return _part(request, order_by_number(number))


@require_POST
@askers
def promise_ask(request, number):
    order = order_by_number(number)
    problem = None
    try:
        order_promises.promise_request(number=number, actor=request.actor, now=timezone.now())
    except Conflict as refused:
        problem = refused
    if not request.headers.get("HX-Request"):
        return redirect("order", order.number)
    return _part(request, order, problem)


def _part(request, order, problem=None):
    promise = order_promises.promise_of(order)
    is_making = promise is not None and promise.state == Promise.State.MAKING
    context = {
        "order": order,
        "promise": promise,
        "problem": problem,
        "may_ask": order.state in (Order.State.DRAFT, Order.State.RELEASED) and not is_making,
        "job": job_of(PROMISE, order.number) if is_making else None,
        "is_late": bool(
            promise
            and promise.sure_at
            and order.due_on
            and timezone.localtime(promise.sure_at).date() > order.due_on
        ),
        "came_true": order_promises.came_true(now=timezone.now()),
    }
    return render(request, "shopfloor/_order_promise.html", context)
