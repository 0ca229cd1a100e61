"""Setting up the floor: stations and the tablets at them; and enrolling a tablet."""

from __future__ import annotations

from django import forms
from django.conf import settings
from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shared.problems import TooManyTries, WrongInput
from shared.roles import SUPERVISOR, role_required
from shared.units import LengthNotUnderstood, plain_number, read_length
from shopfloor import access
from shopfloor import stations as floor
from shopfloor.keys import TABLET_COOKIE
from shopfloor.tablets_seen import tablet_rows
from travelers.models import Operation

YEAR_S = 365 * 24 * 3600
CODE_RULE = r"^[A-Za-z0-9][A-Za-z0-9-]{0,19}$"


class LengthField(forms.CharField):
    """A length as people type it, kept in inches."""

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return None
        try:
            length = read_length(text)
        except LengthNotUnderstood as wrong:
            raise forms.ValidationError(wrong.sentence) from None
        if not 0 < length <= 1000:
            raise forms.ValidationError(f"Enter the {self.label.lower()}, more than 0 to 1000 in.")
        return length

    def prepare_value(self, value):
        return plain_number(value) if isinstance(value, float) else value


class StationForm(forms.Form):
    code = forms.RegexField(
        CODE_RULE,
        label="Code",
        max_length=20,
        help_text="As it stands on the bench, for example ROLL-2. It cannot be changed later.",
        error_messages={
            "required": "Enter the code.",
            "invalid": "Enter the code with letters, digits and dashes, at most 20.",
        },
    )
    name = forms.CharField(label="Name", max_length=60, error_messages={"required": "Enter the name."})
    operations = forms.MultipleChoiceField(
        label="What is done here",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose what is done at this station."},
    )
    one_scan_finishes = forms.BooleanField(
        label="One scan finishes",
        required=False,
        help_text="Off: the first scan of a piece starts it, the second finishes it. That measures the time it takes.",
    )
    gauge_heaviest = forms.IntegerField(label="Heaviest gauge", required=False, min_value=1, max_value=40)
    gauge_lightest = forms.IntegerField(label="Lightest gauge", required=False, min_value=1, max_value=40)
    diameter_least_in = LengthField(label="Least diameter (in)", required=False, max_length=40)
    diameter_most_in = LengthField(label="Greatest diameter (in)", required=False, max_length=40)
    position = forms.IntegerField(
        label="Place in lists", min_value=0, max_value=999, initial=0, help_text="Lower numbers come first."
    )
    is_active = forms.BooleanField(
        label="In use", required=False, initial=True, help_text="Off: its tablets cannot scan any more."
    )

    def __init__(self, *args, is_new: bool, **kwargs):
        super().__init__(*args, **kwargs)
        rows = Operation.objects.order_by("position").values_list("code", "name")
        self.fields["operations"].choices = list(rows)
        if not is_new:
            del self.fields["code"]

    def clean_code(self):
        return self.cleaned_data["code"].upper()


# -- stations ---------------------------------------------------------------


@role_required(SUPERVISOR)
@require_safe
def stations(request):
    now = timezone.now()
    rows = floor.station_list(now=now)
    tablets = tablet_rows(rows, now=now)
    return render(request, "shopfloor/stations.html", {"rows": rows, "tablets": tablets})


@role_required(SUPERVISOR)
@require_http_methods(["GET", "HEAD", "POST"])
def station_add(request):
    return _station_form(request, None)


@role_required(SUPERVISOR)
@require_http_methods(["GET", "HEAD", "POST"])
def station_edit(request, code):
    return _station_form(request, floor.station_get(code))


def _station_form(request, station):
    initial = (
        {name: getattr(station, name) for name in floor.FIELDS} if station else {"one_scan_finishes": True}
    )
    form = StationForm(request.POST or None, initial=initial, is_new=station is None)
    if request.method == "POST" and form.is_valid():
        try:
            saved = floor.station_save(
                code=station.code if station else None,
                data=form.cleaned_data,
                actor=request.actor,
                now=timezone.now(),
            )
        except WrongInput as wrong:
            for error in wrong.errors:
                form.add_error(error.field, error.message)
        else:
            messages.success(request, f"{saved.code} is saved.")
            return redirect("station_edit", saved.code)
    tablets = station.tablets.select_related("key").order_by("key__revoked_at", "name") if station else ()
    context = {"form": form, "station": station, "tablets": tablets}
    return render(request, "shopfloor/station_form.html", context, status=400 if form.errors else 200)


@role_required(SUPERVISOR)
@never_cache
@require_POST
def enrolment(request, code):
    """Makes a one-time code and shows it, this once."""
    station = floor.station_get(code)
    digits = access.enrolment_make(station=station, actor=request.actor, now=timezone.now())
    return render(
        request, "shopfloor/enrolment.html", {"station": station, "halves": (digits[:4], digits[4:])}
    )


@role_required(SUPERVISOR)
@require_POST
def tablet_revoke(request, pk):
    tablet = floor.tablet_revoke(tablet_id=pk, actor=request.actor, now=timezone.now())
    messages.success(request, f"{tablet.name} is revoked. It cannot scan until it is enrolled again.")
    return redirect("station_edit", tablet.station.code)


# -- enrolling a tablet -----------------------------------------------------


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def enrol(request):
    """On the tablet itself, without sign-in: the supervisor's code makes it its station's."""
    wrong, status, wait = "", 200, None
    if request.method == "POST":
        given = {"code": request.POST.get("code", "")[:40], "name": request.POST.get("name", "")[:60]}
        try:
            tablet, secret = access.tablet_enrol(now=timezone.now(), **given)
        except WrongInput as error:
            wrong, status = error.detail, 400
        except TooManyTries as closed:
            wrong, status, wait = closed.detail, closed.status, closed.retry_after
        else:
            return _enrolled(request, secret)
    response = render(
        request, "shopfloor/enrol.html", {"wrong": wrong, "digits": access.CODE_DIGITS}, status=status
    )
    if wait is not None:
        response["Retry-After"] = str(wait)
    return response


def _enrolled(request, secret):
    """A supervisor who signed in on the tablet is signed out there: from now on it is the station."""
    request.session.flush()
    response = redirect("station")
    response.set_cookie(
        TABLET_COOKIE, secret, max_age=YEAR_S, httponly=True, samesite="Lax", secure=settings.BEHIND_HTTPS
    )
    return response
