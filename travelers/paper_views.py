"""Pages of papers: the letterhead, and prints that are made in the background."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shared.problems import Conflict, NotFound, TooLarge, WrongInput
from shared.roles import OFFICE, SUPERVISOR, role_required
from travelers import letterhead as heads
from travelers import letters, papers, print_runs
from travelers.api import pdf_response

printers = role_required(OFFICE, SUPERVISOR)


# -- letterhead -------------------------------------------------------------


class LogoForm(forms.Form):
    logo = forms.FileField(
        label="Picture",
        help_text="A PNG or JPEG of at most 1 MiB. Dark on white or clear prints best; 600 px wide is enough.",
        error_messages={
            "required": "Choose a PNG or JPEG picture.",
            "empty": "The file is empty. Choose a PNG or JPEG picture.",
            "missing": "Choose a PNG or JPEG picture.",
            "invalid": "Choose a PNG or JPEG picture.",
        },
        widget=forms.ClearableFileInput(attrs={"accept": "image/png,image/jpeg"}),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@printers
def letterhead(request):
    """What stands above the papers, and another logo."""
    form = LogoForm(request.POST or None, request.FILES or None) if request.method == "POST" else LogoForm()
    if request.method == "POST" and form.is_valid():
        try:
            heads.logo_keep(content=form.cleaned_data["logo"].read(), actor=request.actor, now=timezone.now())
            messages.success(request, "The logo stands on every paper from now on.")
            return redirect("letterhead")
        except (WrongInput, TooLarge) as problem:
            form.add_error("logo", problem.detail)
    context = {"form": form, "shop": heads.shop_head(), "logo": heads.letterhead_now()}
    return render(request, "travelers/letterhead.html", context, status=422 if form.errors else 200)


@require_POST
@printers
def letterhead_remove(request):
    heads.logo_remove(actor=request.actor, now=timezone.now())
    messages.success(request, "Papers begin with the shop's name alone.")
    return redirect("letterhead")


@require_safe
@printers
def letterhead_logo(request):
    row = heads.letterhead_now()
    if row is None:
        raise NotFound("There is no logo.")
    return HttpResponse(bytes(row.logo), content_type="image/png", headers={"Cache-Control": "no-cache"})


@require_safe
@printers
def letterhead_sample(request):
    return pdf_response(letters.letterhead_sample(now=timezone.now()), "letterhead.pdf")


# -- prints -----------------------------------------------------------------


@require_POST
@printers
def print_ask(request, number):
    """Travelers or labels of an order in the background."""
    options = {name: request.POST[name] for name in papers.LABEL_OPTIONS if request.POST.get(name)}
    try:
        run = print_runs.print_ask(
            number=number,
            paper=request.POST.get("paper", ""),
            options=options,
            actor=request.actor,
            now=timezone.now(),
        )
    except (WrongInput, Conflict) as problem:
        messages.error(request, problem.detail)
        return redirect("order", number)
    return redirect("print_run", number, run.pk)


@require_safe
@printers
def print_run(request, number, pk):
    state = print_runs.print_state(print_runs.run_get(number, pk))
    return render(request, "travelers/print_run.html", {"state": state, "order": state.run.order})


@require_safe
@printers
def print_progress(request, number, pk):
    """The part of the page that changes; once the file is there, the whole page is asked for."""
    state = print_runs.print_state(print_runs.run_get(number, pk))
    response = render(request, "travelers/_print_progress.html", {"state": state})
    if not state.is_open:
        response["HX-Refresh"] = "true"
    return response


@require_POST
@printers
def print_stop(request, number, pk):
    print_runs.print_stop(run=print_runs.run_get(number, pk), now=timezone.now())
    messages.success(request, "The print was stopped.")
    return redirect("order", number)
