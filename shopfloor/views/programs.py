"""Other systems: the programs that hold keys, and the webhooks that are told of events."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from fittings.due_date import DateNotUnderstood, read_date
from fittings.events import KINDS
from shared.problems import WrongInput
from shared.roles import OFFICE, role_required
from shopfloor.models import Webhook
from shopfloor.outward import programs as program_services
from shopfloor.outward import webhooks as webhook_services
from shopfloor.outward.reaching import LONGEST_ADDRESS
from shopfloor.scopes import SCOPES

LATEST_SENT = 50


class ProgramForm(forms.Form):
    name = forms.CharField(label="Name", max_length=60, help_text="What talks to the shop: “Accounting”.")
    scopes = forms.MultipleChoiceField(
        label="What it may do",
        choices=[(scope, f"{words} ({scope})") for scope, words in SCOPES.items()],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose at least one scope: a key without any opens nothing."},
    )
    expires = forms.CharField(
        label="Last day of the key", required=False, max_length=40, help_text="Empty: no end. As 31 Dec 2027."
    )

    def clean_expires(self):
        text = self.cleaned_data["expires"]
        try:
            return read_date(text, today=timezone.localdate()) if text else None
        except DateNotUnderstood as wrong:
            raise forms.ValidationError(str(wrong)) from None


class WebhookForm(forms.Form):
    name = forms.CharField(label="Name", max_length=60)
    address = forms.CharField(
        label="Address",
        max_length=LONGEST_ADDRESS,
        help_text="Of the other system, as https://example.com/heard",
    )
    kinds = forms.MultipleChoiceField(
        label="Events that it is told of",
        required=False,
        help_text="None chosen: all of them.",
        choices=[(kind, f"{kind}: {words}") for kind, words in KINDS.items()],
        widget=forms.CheckboxSelectMultiple,
    )


def _attach(form: forms.Form, wrong: WrongInput) -> None:
    for error in wrong.errors:
        form.add_error(error.field if error.field in form.fields else None, error.message)


# -- programs ----------------------------------------------------------------


@role_required(OFFICE)
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def programs(request):
    """The programs; a new one's key is shown in the answer, this once."""
    form = ProgramForm(request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        try:
            program, secret = program_services.program_add(
                data=form.cleaned_data, actor=request.actor, now=timezone.now()
            )
        except WrongInput as wrong:
            _attach(form, wrong)
        else:
            return _key_shown(request, program, secret)
    context = {"form": form, "rows": program_services.program_rows(), "scopes": SCOPES, "now": timezone.now()}
    context["webhooks"] = Webhook.objects.count()
    return render(request, "shopfloor/programs.html", context, status=400 if form.errors else 200)


@role_required(OFFICE)
@require_POST
def program_change(request, pk):
    is_active = request.POST.get("is_active") == "yes"
    program = program_services.program_change(
        pk=pk, data={"is_active": is_active}, actor=request.actor, now=timezone.now()
    )
    messages.success(request, f"{program.name} {'may come in again' if is_active else 'is shut out'}.")
    return redirect("programs")


@role_required(OFFICE)
@never_cache
@require_POST
def program_key(request, pk):
    program, secret = program_services.program_new_key(pk=pk, actor=request.actor, now=timezone.now())
    return _key_shown(request, program, secret)


def _key_shown(request, program, secret):
    context = {"title": f"Key of {program.name}", "secret": secret, "back": "programs"}
    context["use"] = "Send it with every request:"
    context["line"] = f"Authorization: Token {secret}"
    return render(request, "shopfloor/secret.html", context)


# -- webhooks ----------------------------------------------------------------


@role_required(OFFICE)
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def webhooks(request):
    """The webhooks; a new one's secret is shown in the answer."""
    form = WebhookForm(request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        try:
            webhook = webhook_services.webhook_add(
                data=form.cleaned_data, actor=request.actor, now=timezone.now()
            )
        except WrongInput as wrong:
            _attach(form, wrong)
        else:
            return _secret_shown(request, webhook)
    rows = [(one, *webhook_services.webhook_state(one)) for one in Webhook.objects.order_by("name", "pk")]
    context = {"form": form, "rows": rows}
    return render(request, "shopfloor/webhooks.html", context, status=400 if form.errors else 200)


@role_required(OFFICE)
@require_http_methods(["GET", "HEAD", "POST"])
def webhook(request, pk):
    found = webhook_services.webhook_get(pk)
    if request.method == "POST":
        form = WebhookForm(request.POST)
        if form.is_valid():
            data = form.cleaned_data | {"is_active": request.POST.get("is_active") == "yes"}
            try:
                webhook_services.webhook_change(pk=pk, data=data, actor=request.actor, now=timezone.now())
            except WrongInput as wrong:
                _attach(form, wrong)
            else:
                messages.success(request, f"{data['name']} is saved.")
                return redirect("webhook", pk)
    else:
        form = WebhookForm(initial={"name": found.name, "address": found.address, "kinds": found.kinds})
    state, words = webhook_services.webhook_state(found)
    context = {"webhook": found, "form": form, "state": state, "words": words}
    context["sent"] = found.sent.order_by("-pk")[:LATEST_SENT]
    return render(request, "shopfloor/webhook.html", context, status=400 if form.errors else 200)


@role_required(OFFICE)
@require_POST
def webhook_go_on(request, pk):
    leaves_out = request.POST.get("leaves_out") == "yes"
    found = webhook_services.webhook_go_on(
        pk=pk, leaves_out=leaves_out, actor=request.actor, now=timezone.now()
    )
    what = "goes on with the event after it" if leaves_out else "is tried again at once"
    messages.success(request, f"{found.name} {what}.")
    return redirect("webhook", pk)


@role_required(OFFICE)
@never_cache
@require_POST
def webhook_secret(request, pk):
    return _secret_shown(
        request, webhook_services.webhook_new_secret(pk=pk, actor=request.actor, now=timezone.now())
    )


@role_required(OFFICE)
@require_POST
def webhook_trial(request, pk):
    found = webhook_services.webhook_try(pk=pk, actor=request.actor, now=timezone.now())
    messages.success(request, f"A trial message goes to {found.name}. Load this page again in a moment.")
    return redirect("webhook", pk)


@role_required(OFFICE)
@require_POST
def webhook_remove(request, pk):
    name = webhook_services.webhook_remove(pk=pk, actor=request.actor, now=timezone.now())
    messages.success(request, f"{name} is taken away.")
    return redirect("webhooks")


def _secret_shown(request, webhook):
    context = {"title": f"Secret of {webhook.name}", "secret": webhook.secret, "back": "webhooks"}
    context["use"] = "The other system checks each message with it:"
    context["line"] = webhook.secret
    return render(request, "shopfloor/secret.html", context)
