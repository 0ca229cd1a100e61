"""The supervisor's page of exceptions: looked at, and settled with a note."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from shared.problems import WrongInput
from shared.roles import SUPERVISOR, role_required
from shopfloor import needs_eyes
from shopfloor.exceptions_page import exceptions_page


class NoteForm(forms.Form):
    text = forms.CharField(
        label="Note",
        widget=forms.Textarea(attrs={"rows": 2, "maxlength": needs_eyes.LONGEST_NOTE}),
        help_text="What was found or done. It stays with your name and the time; the record is not changed.",
    )


@role_required(SUPERVISOR)
@require_http_methods(["GET", "HEAD", "POST"])
def exceptions(request):
    if request.method == "POST":
        return _settle(request)
    return _page(request, NoteForm(), request.GET.get("show", ""))


def _settle(request):
    kind, keys = request.POST.get("kind", ""), request.POST.getlist("item")
    text = request.POST.get("text", "")
    try:
        count = needs_eyes.settle(kind=kind, keys=keys, text=text, actor=request.actor, now=timezone.now())
    except WrongInput as wrong:
        form = NoteForm(request.POST)
        form.is_valid()
        form.errors.clear()  # the service judges
        for error in wrong.errors:
            form.add_error("text" if error.field == "text" else None, error.message)
        return _page(request, form, kind or request.GET.get("show", ""), ticked=set(keys))
    messages.success(request, f"{count} settled with your note.")
    return redirect(f"{reverse('exceptions')}?show={kind if kind in needs_eyes.KINDS else ''}")


def _page(request, form, asked, ticked=frozenset()):
    page = exceptions_page(asked=asked, page=request.GET.get("page"), now=timezone.now())
    context = {**page, "form": form, "ticked": ticked}
    return render(request, "shopfloor/exceptions.html", context, status=400 if form.errors else 200)
