"""What the office types: the head of an order, its lines, customers. Read here, judged by the services."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms

from fittings.customers import LONGEST_ADDRESS, MOST_ADDRESS_LINES
from fittings.developing import develop_for, materials, params_typed
from fittings.due_date import DateNotUnderstood, date_text, read_date
from fittings.ends import LETTERS
from fittings.geometry import KINDS, Kind, Param
from fittings.models import OrderLine
from fittings.reading import QUANTITY
from fittings.tables import all_rows
from fittings.widgets import PlainCheck, PlainSelect, PlainText
from shared.problems import FieldError, WrongInput
from shared.units import (
    MM_PER_IN,
    LengthNotUnderstood,
    decimal_text,
    fraction_text,
    plain_number,
    read_length,
)

FIRST_KIND = "gored_elbow"
FIRST_MATERIAL = "galvanized"
FIRST_GAUGE = "24"
CARRIED = ("kind", "material", "gauge", "end_a", "end_b", "end_c", "system")
EXACT = 1e-4  # in; closer than this to a 32nd, the fraction is the value


@dataclass(frozen=True)
class Choices:
    """What a line can choose from: the shop's tables, and the unit that a bare number means."""

    tables: Mapping[str, Any]
    unit: str
    customers: tuple[str, ...] = ()

    @property
    def materials(self) -> list[tuple[str, str]]:
        return [(name, name.capitalize()) for name in materials(self.tables)]

    @property
    def ends(self) -> list[tuple[str, str]]:
        return [(row["name"], row["title"].partition(",")[0]) for row in self.tables["ends"]]

    @property
    def gore_classes(self) -> list[tuple[str, str]]:
        names = dict.fromkeys(row["gore_class"] for row in self.tables["gores"])
        return [("", "As the shop"), *((name, name.capitalize()) for name in names)]


def choices_of(tables: Mapping[str, Any], customers: Iterable[str] = ()) -> Choices:
    return Choices(tables, shop_unit(tables), tuple(customers))


def shop_unit(tables: Mapping[str, Any] | None = None) -> str:
    """The unit that the shop types lengths in: "in" or "mm"."""
    rows = (all_rows() if tables is None else tables).get("shop", ())
    unit = next((row["value"] for row in rows if row["key"] == "unit"), "in")
    return unit if unit in ("in", "mm") else "in"


# -- lengths ----------------------------------------------------------------


def length_typed(value_in: float, unit: str) -> str:
    """A stored length as someone would type it."""
    if unit == "mm":
        return plain_number(value_in * MM_PER_IN, 3)
    fraction = fraction_text(value_in)
    return fraction if abs(read_length(fraction) - value_in) < EXACT else plain_number(value_in, 4)


def length_echo(value_in: float, unit: str) -> str:
    """What was understood: “14 1/2 in = 14.500”; “≈” where the fraction is only the nearest 32nd."""
    fraction = fraction_text(value_in)
    is_exact = abs(read_length(fraction) - value_in) < EXACT
    if unit == "mm":
        return f"{plain_number(value_in * MM_PER_IN, 2)} mm {'=' if is_exact else '≈'} {fraction} in"
    decimal = decimal_text(value_in)
    return f"{fraction} in = {decimal}" if is_exact else f"{decimal} in ≈ {fraction}"


# -- a line -----------------------------------------------------------------


PLACEHOLDERS = {"pieces": "table", "radius_ratio": "1.5"}
PRESSURE_HINT = (
    "Negative below the room’s. Too light a gauge is warned about; local codes and the specification decide."
)


def _text(label: str, sort: str, *, hint: str = "", longest: int = 60, usual: str = "") -> forms.CharField:
    attrs = {"autocomplete": "off", "maxlength": longest, "spellcheck": "false"}
    attrs |= {"title": hint} if hint else {}
    attrs |= {"placeholder": usual} if usual else {}
    field = forms.CharField(label=label, required=False, widget=PlainText(attrs=attrs))
    field.sort = sort
    return field


def _pick(label: str, choices: Iterable[tuple[str, str]], *, hint: str = "") -> forms.CharField:
    widget = PlainSelect(choices=list(choices), attrs={"title": hint} if hint else {})
    field = forms.CharField(label=label, required=False, widget=widget)
    field.sort = "pick"
    return field


def param_label(param: Param, unit: str) -> str:
    words = {"in": f", {unit}", "deg": ", °"}
    title = re.sub(r" [abxy]$", lambda end: end[0].upper(), param.title)
    return title + words.get(param.unit, "")


def _default_typed(param: Param, unit: str) -> str:
    """What is taken where a number is left out, as someone would type it."""
    if param.default is None:
        return ""
    return length_typed(param.default, unit) if param.unit == "in" else plain_number(param.default)


def end_label(title: str) -> str:
    """What the finish of a free end is called: “End A”, “Branch end”.

    >>> end_label("Run end A"), end_label("Branch")
    ('Run end A', 'Branch end')
    """
    return title if {"end", "edge"} & set(title.lower().split()) else f"{title} end"


def within(title: str) -> str:
    """A title as it stands within a sentence: “run end A”."""
    return title[:1].lower() + title[1:]


def joint_edges(kind: Kind) -> str:
    """What the edges between the segments of a kind are called."""
    return "Gore edge" if kind.name.endswith("elbow") else "Joint edge"


def param_field(param: Param, choices: Choices) -> forms.Field:
    """A field for one parameter of a kind, as its schema describes it."""
    label = param_label(param, choices.unit)
    if param.unit == "bool":
        widget = PlainCheck(attrs={"title": param.help})
        field = forms.BooleanField(label=label, required=False, widget=widget)
        field.sort = "check"
        return field
    if param.name == "gore_class":
        return _pick(label, choices.gore_classes, hint=param.help)
    if param.choices:
        words = [(name, name.replace("_", " ").capitalize()) for name in param.choices]
        may_be_left_out = [("", "Left out")] if param.default is None and not param.required else []
        field = _pick(label, may_be_left_out + words, hint=param.help)
        field.initial = param.default
        return field
    usual = PLACEHOLDERS.get(param.name, _default_typed(param, choices.unit))
    sort = {"in": "length", "count": "count"}.get(param.unit, "number")
    return _text(label, sort, hint=param.help, usual=usual)


class LineForm(forms.Form):
    """One line. Its fields follow its kind; nothing typed is lost when the line is refused."""

    def __init__(self, data=None, *, prefix: str, choices: Choices, initial: Mapping[str, Any] | None = None):
        super().__init__(data, prefix=prefix, initial=dict(initial or {}))
        self.choices = choices
        self.use_required_attribute = False
        given = self.data.get(self.add_prefix("kind")) if self.is_bound else self.initial.get("kind")
        self.shape = KINDS.get(given or FIRST_KIND) or KINDS[FIRST_KIND]
        self.values: dict[str, Any] = {}
        self._lay_out()

    def _lay_out(self) -> None:
        choices, fields = self.choices, self.fields
        fields["quantity"] = _text("Quantity", "count", longest=7)
        kinds = [(kind.name, kind.title) for kind in KINDS.values()]
        fields["kind"] = _pick("Kind", kinds, hint=self.shape.help)
        fields["material"] = _pick("Material", choices.materials)
        fields["gauge"] = _text("Gauge", "count", longest=4)
        for param in self.shape.params:
            if not param.more:
                fields[param.name] = param_field(param, choices)
        titles = dict(self.shape.ends)
        for letter, title in titles.items():
            usual = [("", f"As {within(titles['b'])}")] if letter == "c" else []
            hint = "How it is finished: which allowance it takes, and how it meets the next piece."
            fields[f"end_{letter}"] = _pick(end_label(title), usual + choices.ends, hint=hint)
        fields["system"] = _text(
            "System", "text", longest=40, hint="The floor or the duct system that it is for."
        )
        fields["tag"] = _text("Tag", "text", hint="The mark that the drawing uses.")
        for param in self.shape.params:
            if param.more:
                fields[param.name] = param_field(param, choices)
        for letter, title in self.shape.meeting_ends:
            hint = "The finish of the end that it meets. Two that do not go together are warned about."
            fields[f"joins_{letter}"] = _pick(f"{title} joins", [("", "Not told"), *choices.ends], hint=hint)
        fields["pressure_class"] = _text("Pressure class, in. w.g.", "number", hint=PRESSURE_HINT, longest=8)
        fields["traveler_per"] = _pick("Traveler", OrderLine.TravelerPer.choices)
        for name, label in self.allowances.items():
            fields[f"allow_{name}"] = _text(f"{label}, {choices.unit}", "length")

    @property
    def allowances(self) -> dict[str, str]:
        """The allowances of the kind, by their names in a request, as people read them."""
        edge = joint_edges(self.shape)
        own = {"lap": "Seam lap", "edge_a": f"{edge} A", "edge_b": f"{edge} B"}
        return own | {f"end_{letter}": f"At {within(title)}" for letter, title in self.shape.ends}

    # for the template

    @property
    def must(self) -> str:
        """The fields that a line of this kind is not complete without, for the page's keyboard."""
        return " ".join(["quantity", *(param.name for param in self.shape.params if param.required), "tag"])

    def _bound(self, names: Iterable[str]) -> list[forms.BoundField]:
        found = [self[name] for name in names]
        for bound in found:
            bound.echo = self._echo(bound)
        return found

    def _echo(self, bound: forms.BoundField) -> str:
        text = str(bound.value() or "").strip()
        if bound.field.sort != "length" or not text:
            return ""
        try:
            return length_echo(read_length(text, unit=self.choices.unit), self.choices.unit)
        except LengthNotUnderstood:
            return ""

    @property
    def first_fields(self):
        return self._bound(("quantity", "kind", "material", "gauge"))

    @property
    def size_fields(self):
        return self._bound(param.name for param in self.shape.params if not param.more)

    @property
    def end_fields(self):
        return self._bound([f"end_{letter}" for letter, _ in self.shape.ends] + ["system", "tag"])

    @property
    def more_fields(self):
        own = [param.name for param in self.shape.params if param.more]
        joins = [f"joins_{letter}" for letter, _ in self.shape.meeting_ends]
        return self._bound([*own, *joins, "pressure_class", "traveler_per"])

    @property
    def allowance_fields(self):
        return self._bound(f"allow_{name}" for name in self.allowances)

    @property
    def has_more(self) -> bool:
        """Something is set, or wrong, among the fields that are folded away."""
        usual = {param.name: param.default for param in self.shape.params}
        usual["traveler_per"] = OrderLine.TravelerPer.LOT
        for bound in [*self.more_fields, *self.allowance_fields]:
            value = bound.value()
            if bound.errors or (value not in (None, "", False, "0") and value != usual.get(bound.name)):
                return True
        return False

    # reading and judging

    def typed(self, name: str) -> str:
        return str(self.data.get(self.add_prefix(name), "")).strip()

    @property
    def is_blank(self) -> bool:
        """Nothing but what a new line carries over."""
        sizes = [p.name for p in self.shape.params if not p.more and p.unit not in ("choice", "bool")]
        return not any(self.typed(name) for name in ("quantity", "tag", *sizes))

    def clean(self):
        self.values["quantity"] = self._quantity()
        gauge = self.typed("gauge")
        self.values["gauge"] = int(gauge) if gauge.isdecimal() and len(gauge) < 5 else gauge or None
        params = {}
        for param in self.shape.params:
            try:
                typed = {param.name: self.typed(param.name)}
                params.update(params_typed(self.shape.name, typed, self.choices.unit))
            except WrongInput as wrong:
                self.attach(wrong.errors)
        allowances = {}
        for name in self.allowances:
            text = self.typed(f"allow_{name}")
            if text:
                try:
                    allowances[name] = read_length(text, unit=self.choices.unit)
                except LengthNotUnderstood as wrong:
                    self.add_error(f"allow_{name}", wrong.sentence)
        self.values["params"], self.values["allowances"] = params, allowances or None
        self.values["pressure_class"] = self._pressure_class()
        return self.cleaned_data

    def _pressure_class(self) -> float | None:
        text = self.typed("pressure_class")
        try:
            return float(text.replace("\N{MINUS SIGN}", "-")) if text else None
        except ValueError:
            self.add_error("pressure_class", f"Pressure class is “{text[:20]}”; it can be a number, 2 or -1.")
            return None

    def _quantity(self) -> int | None:
        text, (low, high) = self.typed("quantity"), QUANTITY
        if text.isdecimal() and len(text) <= 9 and low <= int(text) <= high:
            return int(text)
        if text:
            limit = f"a whole number from {low} to {high}"
            self.add_error("quantity", f"Quantity is “{text[:20]}”; it can be {limit}.")
        else:
            self.add_error("quantity", f"Enter the quantity, {low} to {high}.")
        return None

    def develop(self):
        """The fitting as typed, or None; what is wrong stands beside its field."""
        self.is_valid()
        misread = set(self.errors) - {"quantity"}
        try:
            developed = develop_for(tables=self.choices.tables, unit=self.choices.unit, **self.asked())
        except WrongInput as wrong:
            self.attach(wrong.errors)
            return None
        return None if misread else developed

    def asked(self) -> dict[str, Any]:
        """The fitting as the services take it, lengths in the unit of the form."""
        lengths = {param.name for param in self.shape.params if param.unit == "in"}
        scale = MM_PER_IN if self.choices.unit == "mm" else 1
        params = self.values.get("params", {})
        edges = self.values.get("allowances")
        return {
            "kind": self.typed("kind") or self.shape.name,
            "material": self.typed("material"),
            "gauge": self.values.get("gauge"),
            "params": {name: value * scale if name in lengths else value for name, value in params.items()},
            **self._ends(),
            "pressure_class": self.values.get("pressure_class"),
            "allowances": {name: value * scale for name, value in edges.items()} if edges else None,
        }

    def _ends(self) -> dict[str, str]:
        """The finishes and neighbours of the ends that the kind has."""
        names = [f"end_{letter}" for letter, _ in self.shape.ends]
        names += [f"joins_{letter}" for letter, _ in self.shape.meeting_ends]
        return {name: self.typed(name) for name in names}

    def line(self) -> dict[str, Any]:
        """The line as the order's service takes it."""
        return {
            **self.asked(),
            "quantity": self.values.get("quantity"),
            "tag": self.typed("tag"),
            "system": self.typed("system"),
            "traveler_per": self.typed("traveler_per") or OrderLine.TravelerPer.LOT,
        }

    def attach(self, errors: Iterable[FieldError]) -> None:
        """Put errors under the names of a request (`params.diameter`) beside the fields, one a field."""
        for error in errors:
            head, _, rest = error.field.partition(".")
            name = {"params": rest, "allowances": f"allow_{rest}"}.get(head, head)
            if name not in self.fields:
                self.add_error(None, error.message)
            elif name not in self.errors:
                self.add_error(name, error.message)

    @property
    def echoes(self) -> dict[str, str]:
        """What was understood, by field, of every length that was typed."""
        return {bound.name: echo for bound in self if (echo := self._echo(bound))}


def line_initial(line: OrderLine, unit: str) -> dict[str, Any]:
    """A stored line as the form shows it."""
    lengths = {param.name for param in KINDS[line.kind].params if param.unit == "in"}
    shown = {
        name: length_typed(value, unit)
        if name in lengths
        else (plain_number(value) if isinstance(value, float) else value)
        for name, value in line.params.items()
    }
    for name, value in (line.allowances or {}).items():
        shown[f"allow_{name}"] = length_typed(value, unit)
    if line.pressure_class is not None:
        shown["pressure_class"] = plain_number(line.pressure_class)
    own = [f"{head}_{letter}" for head in ("end", "joins") for letter in LETTERS]
    own += ["quantity", "kind", "material", "gauge", "tag", "system", "traveler_per"]
    return {**shown, **{name: getattr(line, name) for name in own}}


# -- the head ---------------------------------------------------------------


class OrderForm(forms.Form):
    """The head of an order."""

    number = forms.CharField(
        label="Order number", required=False, max_length=30, help_text="Blank: the next one"
    )
    customer = forms.CharField(
        label="Customer", max_length=120, error_messages={"required": "Enter the customer."}
    )
    purchase_order = forms.CharField(label="Customer’s PO", required=False, max_length=60)
    due = forms.CharField(label="Due", required=False, max_length=40, help_text="17 Dec, or Thursday")
    priority = forms.CharField(label="Priority", required=False, max_length=3, help_text="1 first, 9 last")
    notes = forms.CharField(
        label="Notes", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 1})
    )

    def __init__(self, data=None, *, today: date, initial=None):
        super().__init__(data, initial=initial)
        self.today = today
        self.use_required_attribute = False
        self.fields["customer"].widget.attrs |= {"list": "customers", "autocomplete": "off"}
        for name in ("number", "due", "priority", "purchase_order"):
            self.fields[name].widget.attrs["autocomplete"] = "off"

    def clean_due(self) -> date | None:
        text = self.cleaned_data["due"].strip()
        try:
            return read_date(text, today=self.today) if text else None
        except DateNotUnderstood as wrong:
            raise forms.ValidationError(wrong.sentence) from None

    def clean_priority(self) -> int:
        text = self.cleaned_data["priority"].strip() or "5"
        if text not in tuple("123456789"):
            raise forms.ValidationError(f"Priority is “{text}”; it can be 1 to 9.")
        return int(text)

    @property
    def due_echo(self) -> str:
        try:
            return date_text(read_date(self["due"].value() or "", today=self.today))
        except DateNotUnderstood:
            return ""


class CustomerForm(forms.Form):
    name = forms.CharField(
        label="Name", max_length=120, error_messages={"required": "Enter the customer’s name."}
    )
    contact = forms.CharField(
        label="Contact", required=False, max_length=200, help_text="Who to call, and the number."
    )
    address = forms.CharField(
        label="Postal address",
        required=False,
        max_length=LONGEST_ADDRESS,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=f"Up to {MOST_ADDRESS_LINES} lines, as on an envelope. It stands on quotes, confirmations and what "
        "goes with the goods.",
    )
    notes = forms.CharField(
        label="Notes", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 4})
    )
    is_active = forms.BooleanField(label="Offered in new orders", required=False, initial=True)
    use_required_attribute = False
