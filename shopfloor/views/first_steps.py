"""The first steps: the one door of an empty shop, then the guide to a working one."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.contrib.auth import login
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from shared.problems import Conflict, TooManyTries, WrongInput
from shared.roles import OFFICE, SUPERVISOR, role_required
from shopfloor import first_steps as steps
from shopfloor.access import LONGEST_NAME, LONGEST_PASSWORD
from shopfloor.people import LONGEST_FULL_NAME
from shopfloor.views.people import new_password_widget
from shopfloor.views.sign_in import BACKEND


class OpenForm(forms.Form):
    code = forms.CharField(
        label="Code",
        max_length=40,
        help_text="As “manage.py up” printed it: three groups of four.",
        error_messages={"required": "Enter the code."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    full_name = forms.CharField(
        label="Your full name",
        max_length=LONGEST_FULL_NAME,
        error_messages={"required": "Enter your full name."},
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    username = forms.CharField(
        label="User name",
        max_length=LONGEST_NAME,
        help_text="What you type to sign in: small letters and digits.",
        error_messages={"required": "Enter a user name."},
        widget=forms.TextInput(
            attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    password = forms.CharField(
        label="Password",
        strip=False,
        max_length=LONGEST_PASSWORD,
        help_text="At least 10 characters, and none that everyone knows.",
        error_messages={"required": "Enter a password."},
        widget=new_password_widget(),
    )
    again = forms.CharField(
        label="Password once more",
        strip=False,
        max_length=LONGEST_PASSWORD,
        error_messages={"required": "Enter the password once more."},
        widget=new_password_widget(),
    )

    def clean(self):
        typed = super().clean()
        if "password" in typed and "again" in typed and typed["password"] != typed["again"]:
            self.add_error("again", "This is not the same as the password above.")
        return typed


@never_cache
@sensitive_post_parameters("password", "again", "code")
@require_http_methods(["GET", "HEAD", "POST"])
def first_steps(request):
    """While nobody can sign in, the door that a code opens; from then on the guide, for those who set the shop up."""
    return _door(request) if steps.is_closed_to_all() else _guide(request)


def _door(request):
    form = OpenForm(request.POST or None, initial={"code": request.GET.get("code", "")[:40]})
    status, wait = 200, None
    if request.method == "POST":
        status = 400
        if form.is_valid():
            typed = {name: form.cleaned_data[name] for name in ("code", "username", "full_name", "password")}
            try:
                person = steps.shop_open(**typed, now=timezone.now())
            except WrongInput as wrong:
                for error in wrong.errors:
                    form.add_error(error.field, error.message)
            except Conflict as conflict:
                form.add_error(None, conflict.detail)
                status = conflict.status
            except TooManyTries as closed:
                form.add_error(None, closed.detail)
                status, wait = closed.status, closed.retry_after
            else:
                login(request, person, backend=BACKEND)
                return redirect("first_steps")
    response = render(request, "shopfloor/first_steps_door.html", {"form": form}, status=status)
    if wait is not None:
        response["Retry-After"] = str(wait)
    return response


@role_required(OFFICE, SUPERVISOR)
def _guide(request):
    if request.method == "POST":
        is_away = request.POST.get("put_away") != "no"
        steps.guide_put_away(is_away=is_away, actor=request.actor, now=timezone.now())
        words = (
            "The first steps are put away. They stay below Settings."
            if is_away
            else "You are reminded again."
        )
        messages.success(request, words)
        return redirect("settings" if is_away else "first_steps")
    return render(request, "shopfloor/first_steps.html", {"guide": steps.guide(request.actor)})


@role_required(SUPERVISOR)
@require_POST
def stations_add(request):
    """A station for each operation that none does yet."""
    made = steps.usual_stations_add(actor=request.actor, now=timezone.now())
    codes = ", ".join(one.code for one in made)
    messages.success(request, f"Added {codes}." if made else "Every operation has its station already.")
    return redirect("first_steps")
