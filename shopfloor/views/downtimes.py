"""When a station does not work: told, planned, ended by the supervisor."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from shared.problems import Problem
from shared.roles import SUPERVISOR, role_required
from shopfloor import downtime
from shopfloor import stations as floor
from travelers.reasons import DOWN, reasons_now

MOMENT = "%Y-%m-%dT%H:%M"


class Moment(forms.DateTimeField):
    """A moment by the shop's own clock."""

    widget = forms.DateTimeInput(format=MOMENT, attrs={"type": "datetime-local"})
    input_formats = (MOMENT, "%Y-%m-%d %H:%M")
    default_error_messages = {"invalid": "Enter a day and a time, as 2026-03-04 13:30."}


class DowntimeForm(forms.Form):
    reason = forms.CharField(label="Reason", required=False, max_length=downtime.LONGEST_REASON)
    from_at = Moment(
        label="From",
        required=False,
        help_text="Empty: from now on. Later: planned.",
        input_formats=Moment.input_formats,
    )
    until_at = Moment(
        label="Until about",
        required=False,
        help_text="Empty: nobody knows yet.",
        input_formats=Moment.input_formats,
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.reasons = [row["reason"] for row in reasons_now().to_choose()[DOWN]]
        if self.reasons:
            self.fields["reason"].widget.attrs["list"] = "down-reasons"


@role_required(SUPERVISOR)
@require_http_methods(["GET", "HEAD", "POST"])
def station_down(request, code):
    station, now = floor.station_get(code), timezone.now()
    form = DowntimeForm(request.POST if request.method == "POST" else None)
    status = 200
    if form.is_bound and form.is_valid():
        try:
            told = downtime.downtime_tell(station=code, actor=request.actor, now=now, **form.cleaned_data)
        except Problem as problem:
            for error in problem.errors:
                form.add_error(error.field if error.field in form.fields else None, error.message)
            if not problem.errors:
                form.add_error(None, problem.detail)
            status = problem.status
        else:
            messages.success(request, f"{code}: {downtime.words(told, now=now)}")
            return redirect("station_down", code)
    open_ = [
        (one, downtime.words(one, now=now))
        for one in downtime.downtimes_open(now=now).filter(station=station)
    ]
    context = {"station": station, "form": form, "open": open_, "now": now}
    context["lately"] = downtime.downtimes_lately(station, now=now)
    return render(
        request,
        "shopfloor/station_down.html",
        context,
        status=status if status != 200 or not form.errors else 400,
    )


@role_required(SUPERVISOR)
@require_POST
def downtime_end(request, pk):
    ended = downtime.downtime_end(pk=pk, actor=request.actor, now=timezone.now())
    is_ahead = ended.ended_at < ended.from_at
    messages.success(
        request, f"{ended.station.code} {'is not taken down then' if is_ahead else 'runs again'}."
    )
    return redirect("station_down", ended.station.code)
