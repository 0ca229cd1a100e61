"""Orders from a file: sending it, saying what its columns mean, mending its cells, bringing it in; and the way out."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fittings.api_intake import order_as, template_as
from fittings.customers import customer_names
from fittings.downloads import file_response
from fittings.forms import shop_unit
from fittings.intake import services
from fittings.intake.limits import MOST_PACKED
from fittings.intake.page import (
    asked_typed,
    columns_page,
    columns_posted,
    corrections,
    files_in,
    files_waiting,
    intake_page,
)
from fittings.views.not_loaded import says_when_not_loaded
from fittings.views.orders import order_address
from shared.problems import Conflict, FieldError, Problem, WrongInput
from shared.roles import role_required


@role_required("office", "supervisor")
@says_when_not_loaded("Import orders")
def orders_import(request):
    if request.method == "POST":
        return _sent(request)
    return _first(request)


def _first(request, problem=None):
    context = {
        "waiting": files_waiting(),
        "done": files_in(),
        "customers": customer_names(),
        "unit": request.POST.get("unit") or shop_unit(),
        "customer": request.POST.get("head-customer", ""),
        "problem": problem,
    }
    return render(request, "fittings/orders_import.html", context, status=problem.status if problem else 200)


def _sent(request):
    upload = request.FILES.get("file")
    try:
        if upload is None:
            message = "Choose a file first: CSV or XLSX."
            raise WrongInput([FieldError("file", None, "CSV or XLSX", message)])
        content = upload.read(MOST_PACKED + 1)
        row = services.intake_keep(
            content=content,
            name=upload.name,
            asked=asked_typed(request.POST),
            actor=request.actor,
            now=timezone.now(),
        )
    except Problem as problem:
        return _first(request, problem)
    is_open = row.found["open"] or row.found["lacks"] or not row.found["orders"]
    return redirect("intake_columns" if is_open else "intake", row.pk)


@role_required("office", "supervisor")
def intake(request, pk):
    row = services.intake_file(pk)
    if request.method != "POST":
        return _file_page(request, row)
    cells, left_out, shown = corrections(request.POST)
    typed = {
        "cells": cells,
        "left_out": left_out,
        "shown": shown,
        "actor": request.actor,
        "now": timezone.now(),
    }
    typed |= {"pk": pk, "asked": asked_typed(request.POST, services.intake_of(row).asked)}
    act = request.POST.get("act", "check")
    try:
        if act == "check":
            services.intake_correct(**typed)
            return redirect(_same_place(request, pk))
        orders = services.intake_put_in(again=act == "again", **typed)
    except WrongInput:
        return _file_page(request, services.intake_file(pk), status=400)
    except Conflict as conflict:
        return _file_page(request, services.intake_file(pk), conflict=conflict, status=409)
    said = services.orders_said([order.number for order in orders])
    messages.success(request, f"The file is in as {said}, {'a draft' if len(orders) == 1 else 'drafts'}.")
    return redirect(order_address(orders[0].number) if len(orders) == 1 else reverse("intake", args=[pk]))


def _same_place(request, pk) -> str:
    """The file's page where it was: all rows or the wrong ones, and which of them."""
    rows = "?rows=all" if request.GET.get("rows") == "all" else ""
    page = request.GET.get("page", "")
    if rows and page.isdecimal():
        rows += f"&page={page[:6]}"
    return reverse("intake", args=[pk]) + rows


def _file_page(request, row, *, conflict=None, status=200):
    shown = intake_page(
        row, page=request.GET.get("page"), rows=request.GET.get("rows", ""), today=timezone.localdate()
    )
    context = {"file": shown, "page_obj": shown.page, "conflict": conflict, "customers": customer_names()}
    return render(request, "fittings/intake.html", context, status=status)


@role_required("office", "supervisor")
def intake_columns(request, pk):
    row = services.intake_file(pk)
    if request.method != "POST":
        return _columns(request, row)
    said, asked = columns_posted(row, request.POST)
    try:
        row = services.intake_match(pk=pk, said=said, asked=asked, actor=request.actor, now=timezone.now())
    except WrongInput as problem:
        return _columns(request, row, problem)
    if row.found["open"] or row.found["lacks"]:
        return _columns(request, row, status=400)
    return redirect("intake", pk)


def _columns(request, row, problem=None, status=200):
    context = {"shown": columns_page(row), "problem": problem}
    lacks = [
        one for one in row.found.get("wrong", []) if one["column"] is None and one["name"] and one["row"]
    ]
    context["lacks"] = lacks
    return render(
        request, "fittings/intake_columns.html", context, status=problem.status if problem else status
    )


@require_POST
@role_required("office", "supervisor")
def intake_drop(request, pk):
    services.intake_drop(pk=pk, actor=request.actor)
    messages.success(request, "The file is gone from here. Nothing was made of it.")
    return redirect("orders_import")


@require_safe
@role_required("office", "supervisor")
def import_template(request, form):
    return file_response(template_as(form))


@require_safe
@role_required("office", "supervisor")
def order_lines_file(request, number, form):
    return file_response(order_as(number, form))
