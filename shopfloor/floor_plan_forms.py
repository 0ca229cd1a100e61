"""The forms of the floor plan: the room, what stands in a layout row by row, another layout to try."""

from __future__ import annotations

from collections.abc import Sequence

from django import forms
from django.forms import formset_factory

from shared.problems import Problem
from shared.units import LengthNotUnderstood
from shopfloor.floor_lengths import FloorUnit
from shopfloor.floor_plan import (
    CARRIED,
    COPY,
    LONGEST_CODE,
    LONGEST_NAME,
    SEARCH,
    USUAL_CLEARANCE,
    USUAL_SIZE,
)
from shopfloor.flow.layout import LINE, TWO_ROWS, U_SHAPE
from shopfloor.flow.room import AREA, STATION, Thing
from shopfloor.flow.travel import WALK_FT_PER_MIN
from shopfloor.models import FloorRoom, LayoutPlace

WAYS = (
    (SEARCH, "Stations change places, by a search"),
    (LINE, "One line from the rack to the door"),
    (U_SHAPE, "A U: up one side, back on the other"),
    (TWO_ROWS, "Two rows, to and fro between them"),
    (COPY, "A copy, to move things in"),
)
MORE_AREAS = 2
"""Empty rows for areas that are not there yet."""
LENGTHS = ("x", "y", "width", "depth", "clearance")


class LengthField(forms.CharField):
    """A length as people type it, kept in feet; a bare number is in the floor's unit."""

    def __init__(self, unit: FloorUnit, **kwargs):
        super().__init__(max_length=40, **kwargs)
        self.unit = unit

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return None
        try:
            return self.unit.read(text)
        except LengthNotUnderstood as wrong:
            raise forms.ValidationError(wrong.sentence) from None

    def prepare_value(self, value):
        return self.unit.typed(value) if isinstance(value, float) else value


class _Attaching(forms.Form):
    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.use_required_attribute = False

    def attach(self, problem: Problem) -> None:
        """The service's own refusals, at their fields where the form has them."""
        for error in problem.errors:
            self.add_error(error.field if error.field in self.fields else None, error.message)
        if not problem.errors:
            self.add_error(None, problem.detail)


class RoomForm(_Attaching):
    def __init__(self, data, unit: FloorUnit, room: FloorRoom | None):
        columns = {"width": "width_ft", "depth": "depth_ft", "walk": "walk_ft_per_min", "carried": "carried"}
        initial = {"walk": WALK_FT_PER_MIN}
        if room:
            initial = {name: getattr(room, column) for name, column in columns.items()}
        super().__init__(data, initial=initial)
        sign = unit.sign
        self.fields["width"] = LengthField(
            unit,
            label=f"Width of the room, {sign}",
            help_text="Along the upper wall of the plan.",
            error_messages={"required": "Enter the width of the room."},
        )
        self.fields["depth"] = LengthField(
            unit,
            label=f"Depth of the room, {sign}",
            error_messages={"required": "Enter the depth of the room."},
        )
        limit = f"Pieces carried at once can be {CARRIED[0]} to {CARRIED[1]}, or empty."
        self.fields["carried"] = forms.IntegerField(
            label="Pieces carried at once",
            required=False,
            min_value=CARRIED[0],
            max_value=CARRIED[1],
            help_text="By one person or on one cart. Empty: all of a line that go the same way on a day.",
            error_messages=dict.fromkeys(("invalid", "min_value", "max_value"), limit),
        )
        self.fields["walk"] = LengthField(
            unit,
            label=f"Walking speed, {sign} a minute",
            help_text=f"Usual is {unit.said(WALK_FT_PER_MIN)} a minute: 3.5 ft/s, as signals for walkers are set "
            "by the Manual on Uniform Traffic Control Devices (2009, 4E.06); from memory.",
            error_messages={"required": "Enter the walking speed."},
        )


class PlaceForm(_Attaching):
    """One row: a station, or an area with its name and kind. Without a position it is not on the plan."""

    def __init__(self, *args, unit: FloorUnit, **kwargs):
        super().__init__(*args, **kwargs)
        kind = self.data.get(self.add_prefix("kind")) if self.is_bound else self.initial.get("kind", AREA)
        self.is_station = kind == STATION
        hidden = forms.HiddenInput if self.is_station else None
        self.fields["code"] = forms.CharField(
            label="Name", max_length=LONGEST_CODE, required=False, widget=hidden
        )
        self.fields["kind"] = forms.ChoiceField(
            label="Kind",
            choices=[one for one in LayoutPlace.Kind.choices if self.is_station or one[0] != STATION],
            widget=hidden,
        )
        labels = ("From the left", "From the top", "Width", "Depth", "Free around")
        for name, label in zip(LENGTHS, labels, strict=True):
            self.fields[name] = LengthField(unit, label=label, required=False)
        self.fields["is_turned"] = forms.BooleanField(label="Turned", required=False)
        self.fields["is_fixed"] = forms.BooleanField(label="Fixed", required=False)

    @property
    def name(self) -> str:
        return f"{self['code'].value() or ''}"

    @property
    def lengths(self):
        return [self[name] for name in LENGTHS]

    @property
    def marks(self):
        return [self["is_turned"], self["is_fixed"]]

    def clean(self):
        read = super().clean()
        lacking = [name for name in ("x", "y") if read.get(name) is None and name not in self.errors]
        if len(lacking) == 1:
            label = self.fields[lacking[0]].label.lower()
            self.add_error(lacking[0], f"{self.name}: enter how far it is {label}, or neither of the two.")
        return read

    def thing(self) -> Thing | None:
        """What stands there; None where nothing does."""
        read = self.cleaned_data
        if read["x"] is None:
            return None
        wide, deep = USUAL_SIZE
        usual = {"width": wide, "depth": deep, "clearance": USUAL_CLEARANCE if self.is_station else 0.0}
        return Thing(**read | {name: read[name] if read[name] is not None else usual[name] for name in usual})


PlaceFormSet = formset_factory(PlaceForm, extra=0, max_num=200)


def place_forms(data, things: Sequence[Thing], stations: Sequence[str], unit: FloorUnit):
    """A row for everything on the plan, for every station in use, and a few for more areas."""
    there = {one.code for one in things}
    rows = [
        {name: getattr(one, name) for name in ("code", "kind", *LENGTHS, "is_turned", "is_fixed")}
        for one in things
    ]
    bench = {"kind": STATION, "width": USUAL_SIZE[0], "depth": USUAL_SIZE[1], "clearance": USUAL_CLEARANCE}
    rows += [bench | {"code": code} for code in stations if code not in there]
    rows.sort(key=lambda row: row["kind"] != STATION)
    rows += [{"kind": AREA}] * MORE_AREAS
    return PlaceFormSet(data, initial=rows, prefix="place", form_kwargs={"unit": unit})


class TryForm(_Attaching):
    name = forms.CharField(
        label="Name",
        max_length=LONGEST_NAME,
        help_text="As you will look for it, for example “Seamers by the rolls”.",
        error_messages={
            "required": "Enter a name.",
            "max_length": f"The name can have at most {LONGEST_NAME} characters.",
        },
    )
    way = forms.ChoiceField(
        label="How",
        choices=WAYS,
        initial=SEARCH,
        error_messages={"required": "Choose how.", "invalid_choice": "Choose one of these ways."},
    )
