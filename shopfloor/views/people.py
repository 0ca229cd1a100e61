"""Users: who signs in with a password, by the office; and everyone's own password."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.core.paginator import Paginator
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shared.problems import Conflict, TooManyTries, WrongInput
from shared.roles import DISPLAY, OFFICE, SUPERVISOR, role_required
from shopfloor import people as accounts
from shopfloor.access import LONGEST_NAME, LONGEST_PASSWORD
from shopfloor.models import Person

ON_A_PAGE = 50
CHANGES_SHOWN = 20
WHAT_ROLES_DO = {
    OFFICE: "Office: orders, stock, papers, settings and users",
    SUPERVISOR: "Supervisor: orders too, and all of the floor: stations, badges, holds, what goes first",
    DISPLAY: "Display: looks at the board, nothing else",
}


def new_password_widget() -> forms.PasswordInput:
    return forms.PasswordInput(attrs={"autocomplete": "new-password"})


class PersonForm(forms.Form):
    username = forms.CharField(
        label="User name",
        max_length=LONGEST_NAME,
        help_text="What is typed to sign in. It cannot be changed later.",
        error_messages={"required": "Enter the user name."},
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    full_name = forms.CharField(
        label="Full name",
        max_length=accounts.LONGEST_FULL_NAME,
        error_messages={"required": "Enter the full name."},
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    role = forms.ChoiceField(
        label="Role",
        choices=list(WHAT_ROLES_DO.items()),
        widget=forms.RadioSelect,
        error_messages={"required": "Choose the role."},
    )
    password = forms.CharField(
        label="Password",
        required=False,
        strip=False,
        max_length=LONGEST_PASSWORD,
        help_text="At least 10 characters. Left empty, one is made and shown once.",
        widget=new_password_widget(),
    )

    def __init__(self, *args, is_new: bool, **kwargs):
        super().__init__(*args, **kwargs)
        if not is_new:
            del self.fields["username"], self.fields["password"]


class OwnPasswordForm(forms.Form):
    old = forms.CharField(
        label="Password of now",
        strip=False,
        max_length=LONGEST_PASSWORD,
        error_messages={"required": "Enter your password of now."},
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    new = forms.CharField(
        label="New password",
        strip=False,
        max_length=LONGEST_PASSWORD,
        help_text="At least 10 characters, and none that everyone knows.",
        error_messages={"required": "Enter the new password."},
        widget=new_password_widget(),
    )
    again = forms.CharField(
        label="New password once more",
        strip=False,
        max_length=LONGEST_PASSWORD,
        error_messages={"required": "Enter the new password once more."},
        widget=new_password_widget(),
    )

    def clean(self):
        typed = super().clean()
        if "new" in typed and "again" in typed and typed["new"] != typed["again"]:
            self.add_error("again", "This is not the same as the new password above.")
        return typed


@role_required(OFFICE)
@require_safe
def people(request):
    page = Paginator(accounts.people_list(), ON_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "shopfloor/people.html", {"page_obj": page, "changes": _changes()})


def _changes(username: str | None = None) -> list[dict]:
    return [
        {"change": change, "text": accounts.change_text(change)}
        for change in accounts.people_changes(username)[:CHANGES_SHOWN]
    ]


@role_required(OFFICE)
@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def person_new(request):
    role = request.GET.get("role", "")
    initial = {"role": role if role in Person.Role.values else OFFICE}
    form = PersonForm(request.POST or None, initial=initial, is_new=True)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        made = "" if typed["password"] else accounts.random_password()
        try:
            person = accounts.person_add(
                **typed | {"password": typed["password"] or made}, actor=request.actor, now=timezone.now()
            )
        except WrongInput as wrong:
            _show(form, wrong)
        else:
            if made:
                return render(request, "shopfloor/person_password.html", {"person": person, "password": made})
            messages.success(request, f"{person.username} can sign in now.")
            return redirect("people")
    return render(request, "shopfloor/person.html", {"form": form}, status=400 if form.errors else 200)


@role_required(OFFICE)
@require_http_methods(["GET", "HEAD", "POST"])
def person_edit(request, name):
    person = accounts.person_get(name)
    initial = {"full_name": person.get_full_name(), "role": person.role}
    form = PersonForm(request.POST or None, initial=initial, is_new=False)
    status = 200
    if request.method == "POST" and form.is_valid():
        status = _changed(request, form, name, form.cleaned_data)
        if not status:
            messages.success(request, f"{name} is saved.")
            return redirect("people")
    return _person_page(request, person, form, status=400 if form.errors and status == 200 else status)


@role_required(OFFICE)
@require_POST
def person_active(request, name):
    person = accounts.person_get(name)
    is_active = request.POST.get("is_active") == "yes"
    form = PersonForm({"full_name": str(person), "role": person.role}, is_new=False)
    form.is_valid()
    status = _changed(request, form, name, {"is_active": is_active})
    if status:
        return _person_page(request, person, form, status=status)
    words = "can sign in again" if is_active else "is closed and signed out everywhere"
    messages.success(request, f"{name} {words}.")
    return redirect("person", name)


def _changed(request, form, name, data) -> int:
    """0 where it was changed; else the status, with the form saying why not."""
    try:
        accounts.person_change(username=name, data=data, actor=request.actor, now=timezone.now())
    except WrongInput as wrong:
        _show(form, wrong)
        return wrong.status
    except Conflict as conflict:
        form.add_error(None, conflict.detail)
        return conflict.status
    return 0


def _person_page(request, person, form, *, status=200, wrong=()):
    context = {"person": person, "form": form, "changes": _changes(person.username), "wrong": wrong}
    return render(request, "shopfloor/person.html", context, status=status)


@role_required(OFFICE)
@never_cache
@sensitive_post_parameters("password")
@require_POST
def person_password(request, name):
    """Sets the typed password, or one that is made here and shown this once."""
    person, typed = accounts.person_get(name), request.POST.get("password", "")
    password = typed or accounts.random_password()
    try:
        accounts.person_set_password(
            username=name, password=password, actor=request.actor, now=timezone.now()
        )
    except WrongInput as wrong:
        initial = {"full_name": person.get_full_name(), "role": person.role}
        form = PersonForm(None, initial=initial, is_new=False)
        texts = [error.message for error in wrong.errors]
        return _person_page(request, person, form, status=400, wrong=texts)
    if not typed:
        return render(request, "shopfloor/person_password.html", {"person": person, "password": password})
    messages.success(request, f"{name} has another password, and is signed out everywhere.")
    return redirect("person", name)


@role_required(OFFICE, SUPERVISOR, DISPLAY)
@never_cache
@sensitive_post_parameters("old", "new", "again")
@require_http_methods(["GET", "HEAD", "POST"])
def own_password(request):
    form = OwnPasswordForm(request.POST or None)
    status, wait = 200, None
    if request.method == "POST":
        status = 400
        if form.is_valid():
            try:
                person = accounts.own_password_change(
                    username=request.actor.name,
                    old=form.cleaned_data["old"],
                    new=form.cleaned_data["new"],
                    actor=request.actor,
                    now=timezone.now(),
                )
            except WrongInput as wrong:
                _show(form, wrong)
            except TooManyTries as closed:
                form.add_error(None, closed.detail)
                status, wait = closed.status, closed.retry_after
            else:
                if request.user.is_authenticated:
                    update_session_auth_hash(request, person)
                messages.success(request, "Your password is changed. Everywhere else you are signed out.")
                return redirect("own_password")
    response = render(request, "shopfloor/own_password.html", {"form": form}, status=status)
    if wait is not None:
        response["Retry-After"] = str(wait)
    return response


def _show(form, wrong: WrongInput) -> None:
    for error in wrong.errors:
        form.add_error(error.field if error.field in form.fields else None, error.message)
