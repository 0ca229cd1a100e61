"""The shop's operations: listed, added, changed. A new one takes effect with the next release, by the route table."""

from __future__ import annotations

import re

from django import forms
from django.contrib import messages
from django.db import IntegrityError, transaction
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from shared.problems import FieldError, WrongInput
from shared.roles import OFFICE, SUPERVISOR, Actor, role_required
from shared.turn import write_turn
from travelers.models import Operation
from travelers.pulse import pulse_beat

MOST_CAP = 5000
CODE = re.compile(r"[a-z][a-z0-9-]{0,19}")


def operation_save(
    *,
    code: str,
    name: str,
    level: str,
    position: int,
    needs_own_scan: bool,
    cap: int | None = None,
    actor: Actor,
    is_new: bool,
) -> Operation:
    """Add an operation, or change one. Its level stays: tasks stand on it.

    raises  WrongInput for a code or place in the flow that is taken
    """
    values = {"name": name, "position": position, "needs_own_scan": needs_own_scan, "cap": cap}
    try:
        with write_turn(), transaction.atomic():
            if is_new:
                operation = Operation.objects.create(code=code, level=level, **values)
            else:
                Operation.objects.filter(pk=code).update(**values)
                operation = Operation.objects.get(pk=code)
            pulse_beat()
    except IntegrityError:
        taken = Operation.objects.filter(pk=code).exists() and is_new
        field, value = ("code", code) if taken else ("position", position)
        message = f"The {field} {value} is taken by another operation. Choose another one."
        raise WrongInput([FieldError(field, value, "one that is free", message)]) from None
    return operation


class OperationForm(forms.Form):
    code = forms.CharField(
        label="Code",
        max_length=20,
        help_text="Small letters, digits and dashes, for example leak-test. It cannot be changed later.",
        error_messages={"required": "Enter the code."},
    )
    name = forms.CharField(label="Name", max_length=40, error_messages={"required": "Enter the name."})
    level = forms.ChoiceField(
        label="Done to",
        choices=Operation.Level.choices,
        error_messages={"required": "Choose what it is done to."},
    )
    position = forms.IntegerField(
        label="Place in the flow",
        min_value=1,
        max_value=9999,
        help_text="A number; the flow runs from small to large.",
        error_messages={
            "required": "Enter the place in the flow, 1 to 9999.",
            "invalid": "Enter the place in the flow, 1 to 9999.",
            "min_value": "Enter the place in the flow, 1 to 9999.",
            "max_value": "Enter the place in the flow, 1 to 9999.",
        },
    )
    needs_own_scan = forms.BooleanField(
        label="Needs its own scan",
        required=False,
        help_text="Later scans are refused until it was scanned itself.",
    )
    cap = forms.IntegerField(
        label="At most so many pieces here",
        required=False,
        min_value=1,
        max_value=MOST_CAP,
        help_text="With so many ready, in work or on hold, the tablets before it say to hold back. Empty: no cap.",
        error_messages=dict.fromkeys(
            ("invalid", "min_value", "max_value"), f"Enter the number of pieces, 1 to {MOST_CAP}, or nothing."
        ),
    )

    def clean_code(self):
        code = self.cleaned_data["code"].strip()
        if not CODE.fullmatch(code):
            raise forms.ValidationError("Enter the code with small letters, digits and dashes, at most 20.")
        return code


@role_required(OFFICE, SUPERVISOR)
@require_http_methods(["GET", "POST"])
def operations(request):
    """The operations in flow order, and a form for a new one."""
    form = OperationForm(request.POST or None)
    if request.method == "POST" and _saved(request, form, is_new=True):
        return redirect("operations")
    rows = Operation.objects.order_by("position", "code")
    status = 422 if form.errors else 200
    return render(request, "travelers/operations.html", {"rows": rows, "form": form}, status=status)


@role_required(OFFICE, SUPERVISOR)
@require_http_methods(["GET", "POST"])
def operation_edit(request, code: str):
    """Change one operation."""
    operation = get_object_or_404(Operation, pk=code)
    fixed = {"code": operation.code, "level": operation.level}
    now = {**fixed, "name": operation.name, "position": operation.position}
    now |= {"needs_own_scan": operation.needs_own_scan, "cap": operation.cap}
    form = (
        OperationForm({**request.POST.dict(), **fixed})
        if request.method == "POST"
        else OperationForm(initial=now)
    )
    for name in fixed:
        form.fields[name].disabled = True
        form.fields[name].initial = fixed[name]
    if request.method == "POST" and _saved(request, form, is_new=False):
        return redirect("operations")
    status = 422 if form.errors else 200
    return render(request, "travelers/operation.html", {"operation": operation, "form": form}, status=status)


def _saved(request, form: OperationForm, *, is_new: bool) -> bool:
    if not form.is_valid():
        return False
    try:
        operation = operation_save(**form.cleaned_data, actor=request.actor, is_new=is_new)
    except WrongInput as wrong:
        for error in wrong.errors:
            form.add_error(error.field, error.message)
        return False
    messages.success(request, f"Operation {operation.name} is kept. It counts from the next release on.")
    return True
