"""Customers: list, add, change."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fittings import services
from fittings.customers import customer_orders
from fittings.forms import CustomerForm
from fittings.models import Order
from fittings.selectors import customer_by_id, customers_found
from fittings.views.not_loaded import says_when_not_loaded
from shared.problems import WrongInput
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
    fields = ("name", "contact", "notes", "is_active")
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
        {"form": form, "customer": customer, "orders": customer_orders(customer) if customer else ()},
        status=status,
    )


def _save(request, customer, data):
    acting = {"data": data, "actor": request.actor, "now": timezone.now()}
    if customer is None:
        return services.customer_create(**acting)
    return services.customer_update(customer_id=customer.pk, **acting)
