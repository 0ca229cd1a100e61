"""Signing in and out, and the way from the front door to everyone's own page."""

from __future__ import annotations

from django import forms
from django.contrib.auth import login, logout
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme, urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shared.problems import TooManyTries, WrongInput
from shared.roles import DISPLAY, OFFICE, OPERATOR, SUPERVISOR
from shopfloor.access import LONGEST_NAME, LONGEST_PASSWORD, person_sign_in
from shopfloor.first_steps import is_closed_to_all

HOME_OF = {OFFICE: "orders", SUPERVISOR: "board", DISPLAY: "board", OPERATOR: "station"}
BACKEND = "django.contrib.auth.backends.ModelBackend"


class SignInForm(forms.Form):
    name = forms.CharField(
        label="User name",
        max_length=LONGEST_NAME,
        error_messages={"required": "Enter your user name."},
        widget=forms.TextInput(
            attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    password = forms.CharField(
        label="Password",
        strip=False,
        max_length=LONGEST_PASSWORD,
        error_messages={"required": "Enter your password."},
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )


@require_safe
def home(request):
    """Everyone to the page that they work on."""
    actor = request.actor
    if actor:
        return redirect(HOME_OF[actor.role])
    return redirect("first_steps" if is_closed_to_all() else "sign_in")


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request):
    onward = _onward(request)
    form = SignInForm(request.POST or None)
    status, wait = 200, None
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                person = person_sign_in(now=timezone.now(), **form.cleaned_data)
            except WrongInput as wrong:
                form.add_error(None, wrong.detail)
            except TooManyTries as closed:
                form.add_error(None, closed.detail)
                status, wait = closed.status, closed.retry_after
            else:
                login(request, person, backend=BACKEND)
                return redirect(onward or "home")
    response = render(
        request,
        "shopfloor/sign_in.html",
        {"form": form, "next": onward, "is_closed": is_closed_to_all()},
        status=status,
    )
    if wait is not None:
        response["Retry-After"] = str(wait)
    return response


@require_POST
def sign_out(request):
    logout(request)
    return redirect("sign_in")


@require_safe
def admin_sign_in(request):
    """The support pages have no door of their own, so that wrong tries are counted in one place."""
    return redirect(
        f"{reverse('sign_in')}?{urlencode({'next': request.GET.get('next') or reverse('admin:index')})}"
    )


def _onward(request) -> str:
    """Where to go after signing in: a path on this host, or nothing."""
    asked = request.POST.get("next") or request.GET.get("next") or ""
    hosts, secure = {request.get_host()}, request.is_secure()
    is_here = url_has_allowed_host_and_scheme(asked, allowed_hosts=hosts, require_https=secure)
    return asked if is_here and asked.startswith("/") else ""
