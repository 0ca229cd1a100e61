"""The page on which the shop is named: name, address, unit, currency, language of the tablets."""

from __future__ import annotations

from django import forms
from django.conf import settings
from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from shared.problems import Conflict, WrongInput
from shared.roles import OFFICE, SUPERVISOR, role_required
from shared.words import LANGUAGES
from travelers import shop_facts as facts


class ShopForm(forms.Form):
    name = forms.CharField(
        label="Name of the shop",
        max_length=facts.LONGEST_SHOP_NAME,
        error_messages={"required": "Enter the name of the shop."},
        widget=forms.TextInput(attrs={"autocomplete": "organization"}),
    )
    address = forms.CharField(
        label="Address on papers",
        required=False,
        max_length=facts.LONGEST_ADDRESS,
        help_text=f"At most {facts.MOST_ADDRESS_LINES} lines.",
        widget=forms.Textarea(attrs={"autocomplete": "off"}),
    )
    phone = forms.CharField(label="Telephone on papers", required=False, max_length=60)
    unit = forms.ChoiceField(
        label="Unit offered first",
        choices=[("in", "inches"), ("mm", "millimetres")],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose the unit."},
    )
    currency = forms.CharField(
        label="Currency sign",
        max_length=5,
        help_text="For example $ or CAD.",
        error_messages={"required": "Enter the currency sign."},
    )
    language = forms.ChoiceField(
        label="Language of the tablets",
        choices=LANGUAGES,
        widget=forms.RadioSelect,
        help_text="Where a badge does not say otherwise.",
        error_messages={"required": "Choose the language."},
    )
    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=1)


@role_required(OFFICE, SUPERVISOR)
@require_http_methods(["GET", "HEAD", "POST"])
def shop(request):
    values, version = facts.shop_facts()
    form = ShopForm(request.POST or None, initial=values | {"seen": version})
    status = 200
    if request.method == "POST":
        status = 400
        if form.is_valid():
            data = dict(form.cleaned_data)
            seen = data.pop("seen")
            try:
                is_changed = facts.shop_facts_change(
                    data=data, seen=seen, actor=request.actor, now=timezone.now()
                )
            except WrongInput as wrong:
                for error in wrong.errors:
                    form.add_error(error.field if error.field in form.fields else None, error.message)
            except Conflict as conflict:
                form.add_error(None, conflict.detail)
                status = conflict.status
            else:
                messages.success(request, "The shop is saved." if is_changed else "Nothing was changed.")
                return redirect("settings")
    context = {"form": form, "time_zone": settings.TIME_ZONE.replace("_", " ")}
    return render(request, "shopfloor/shop.html", context, status=status)
