"""What the flow is asked for: a range of days, of what, by what. Of the page and of the API."""

from __future__ import annotations

from datetime import timedelta

from django import forms
from django.utils import timezone

from fittings.geometry import KINDS
from shared.units import LengthNotUnderstood, read_length
from shopfloor.flow_figures import BY, STEP, UNITS, Asked
from travelers.models import Operation

OWN = "own"
PERIODS = (
    ("7", "Last week"),
    ("28", "Last four weeks"),
    ("91", "Last quarter"),
    ("365", "Last year"),
    (OWN, "Own dates"),
)
USUAL = {"period": "28", "by": STEP, "unit": UNITS[0][0]}
MOST_DAYS = 800


def _pick(label: str, choices, *, none: str = ""):
    given = [("", none), *choices] if none else choices
    limit = f"it can be {', '.join(value for value, _ in choices)}."
    return forms.ChoiceField(
        label=label,
        choices=given,
        required=not none,
        error_messages={
            "invalid_choice": f"{label} is %(value)s; {limit}",
            "required": f"{label} is missing; {limit}",
        },
    )


def _date(label: str):
    return forms.DateField(
        label=label,
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": f"{label} can be a date such as 2026-03-14."},
    )


class FlowForm(forms.Form):
    """What is looked at. Left out, it is the last four weeks of whole fittings, by day."""

    period = _pick("Time", PERIODS)
    first = _date("From")
    last = _date("To")
    operation = forms.ChoiceField(label="Of", required=False)
    by = _pick("By", BY)
    unit = _pick("Counted in", UNITS)
    order = forms.CharField(label="Order", max_length=30, required=False)
    kind = _pick("Kind", [(name, kind.title) for name, kind in KINDS.items()], none="All")
    gauge = forms.IntegerField(
        label="Gauge",
        min_value=1,
        max_value=40,
        required=False,
        error_messages=dict.fromkeys(("invalid", "min_value", "max_value"), "Gauge can be 1 to 40."),
    )
    size = forms.CharField(label="Largest diameter", max_length=20, required=False)

    def __init__(self, query):
        given = {name: value for name, value in query.items() if value}
        own = {"period": OWN} if "first" in given or "last" in given else {}
        super().__init__(USUAL | own | given)
        self.use_required_attribute = False
        operations = Operation.objects.order_by("position").values_list("code", "name")
        self.fields["operation"].choices = [("", "Whole fittings"), *operations]
        self.fields["operation"].error_messages["invalid_choice"] = "Of can be an operation of the list."
        self.today = timezone.localdate()

    def clean_size(self):
        text = self.cleaned_data["size"]
        if not text:
            return None
        try:
            return read_length(text)
        except LengthNotUnderstood:
            raise forms.ValidationError("Largest diameter can be a length such as 14 or 14 1/2.") from None

    def clean(self):
        read = self.cleaned_data
        if read.get("period") != OWN:
            return
        for name in ("first", "last"):
            if name in read and read[name] is None:
                self.add_error(name, f"{self.fields[name].label} needs a date for own dates.")
        first, last = read.get("first"), read.get("last")
        if last and last > self.today:
            self.add_error("last", f"To is {last}; it can be {self.today} at the latest.")
        if first and last and not 0 <= (last - first).days < MOST_DAYS:
            limit = f"{last - timedelta(days=MOST_DAYS - 1)} to {last}"
            self.add_error("first", f"From is {first}; it can be {limit}.")

    def asked(self) -> Asked:
        """What was asked for; where it was wrong, the usual."""
        if not self.is_valid():
            return Asked(self.today - timedelta(days=int(USUAL["period"]) - 1), self.today)
        read = self.cleaned_data
        first, last = read["first"], read["last"]
        if read["period"] != OWN:
            first, last = self.today - timedelta(days=int(read["period"]) - 1), self.today
        return Asked(
            first,
            last,
            read["by"],
            read["operation"],
            read["order"].strip(),
            read["kind"],
            read["gauge"],
            read["size"],
        )

    @property
    def counted_in(self) -> str:
        return self.cleaned_data.get("unit") or USUAL["unit"]
