"""Customers: list, add, change, merge."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fittings import customer_merge as merging
from fittings import services
from fittings.customers import customer_history, customer_named, customer_names, customer_orders
from fittings.forms import CustomerForm
from fittings.models import Order
from fittings.selectors import customer_by_id, customers_found
from fittings.views.not_loaded import says_when_not_loaded
from shared.problems import Conflict, FieldError, WrongInput
from shared.roles import role_required

ON_A_PAGE = 50


@require_safe
@role_required("office", "supervisor")
@says_when_not_loaded("Customers")
def customer_list(request):
    q = request.GET.get("q", "").strip()[:120]
    page = Paginator(_with_counts(customers_found(q=q)), ON_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "fittings/customers.html", {"page_obj": page, "q": q})


def _with_counts(found):
    is_open = Q(orders__state__in=[Order.State.DRAFT, Order.State.RELEASED])
    return found.annotate(all_orders=Count("orders"), open_orders=Count("orders", filter=is_open))


@role_required("office", "supervisor")
def customer_new(request):
    return _customer_page(request, None)


@role_required("office", "supervisor")
def customer_edit(request, pk):
    return _customer_page(request, customer_by_id(pk))


def _customer_page(request, customer):
    fields = ("name", "contact", "address", "notes", "is_active")
    initial = {field: getattr(customer, field) for field in fields} if customer else {}
    form = CustomerForm(request.POST if request.method == "POST" else None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            saved = _save(request, customer, form.cleaned_data)
        except WrongInput as wrong:
            for error in wrong.errors:
                form.add_error(error.field if error.field in form.fields else None, error.message)
        else:
            messages.success(request, f"Customer {saved.name} is saved.")
            return redirect("customers")
    status = 400 if form.is_bound and form.errors else 200
    return render(
        request,
        "fittings/customer.html",
        {
            "form": form,
            "customer": customer,
            "orders": customer_orders(customer) if customer else (),
            "history": customer_history(customer) if customer else (),
        },
        status=status,
    )


def _save(request, customer, data):
    acting = {"data": data, "actor": request.actor, "now": timezone.now()}
    if customer is None:
        return services.customer_create(**acting)
    return services.customer_update(customer_id=customer.pk, **acting)


@role_required("office", "supervisor")
def customer_merge(request, pk):
    """Two customers beside each other, before they are made one."""
    stays = customer_by_id(pk)
    asked = request.POST if request.method == "POST" else request.GET
    context = {"customer": stays, "names": customer_names(), "other": asked.get("other", "").strip()[:120]}
    try:
        other = _other(context["other"]) if context["other"] else None
        if other is not None and request.method == "POST":
            merge = merging.customer_merge(
                stays=stays.pk,
                goes=other.pk,
                prices=asked.get("prices", ""),
                seen=asked.get("seen", "")[:64],
                actor=request.actor,
                now=timezone.now(),
            )
            messages.success(request, f"{merge.goes.customer.name} is merged into {stays.name}.")
            return redirect("customer_edit", stays.pk)
    except (WrongInput, Conflict) as problem:
        context["problem"], status = problem, problem.status
    else:
        status = 200
    if context["other"]:
        context["merge"] = _merge_shown(stays, context["other"])
    return render(request, "fittings/customer_merge.html", context, status=status)


def _other(name):
    other = customer_named(name)
    if other is None:
        message = f"There is no customer “{name}”. Choose one of the list."
        raise WrongInput([FieldError("other", name, "the name of a customer", message)])
    return other


def _merge_shown(stays, name):
    other = customer_named(name)
    if other is None or other.pk == stays.pk:
        return None
    return merging.merge_show(stays=stays.pk, goes=other.pk)
