"""What is chosen for a new cut plan: read from the page, with defaults that make one press enough."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms

from fittings.cut_settings import FREE, HIGHEST, ORDERED, CutSettings
from fittings.cutting import ANY, HALF, LONG, NONE, NORMAL, QUICK
from fittings.due_date import date_text
from fittings.forms import length_typed
from fittings.models import StockItem
from shared.problems import Problem
from shared.units import LengthNotUnderstood, read_length

EFFORTS = (
    (QUICK, "Quick: some seconds. Good for a first look."),
    (NORMAL, "Normal: about a minute, for 500 pieces of many sizes too."),
    (LONG, "Long: several minutes. It may save another sheet, or none."),
)
SEAMS = (
    (ORDERED, "Where the order puts them"),
    (FREE, "At throat or heel of an elbow’s gores, as it packs best"),
)
TURNS = (
    (ANY, "Any way"),
    (HALF, "Along the grain only: as it lies, or half a turn"),
    (NONE, "Not at all"),
)
ANY_DATE = "any"
FIELD_OF = {
    "gap_in": "gap",
    "margin_in": "margin",
    "stock_ids": "stock",
    "rotations": "turns",
    "due": "due_to",
}
"""Fields of the service to those of the page, where they differ."""
LENGTHS = {
    "gap": ("Gap between pieces", "gap", "The kerf is part of it."),
    "margin": ("Margin at the sheet’s edges", "margin", "Left free all round."),
}
OF_SETTING = {"gap": "part_gap_in", "margin": "sheet_margin_in"}


@dataclass(frozen=True)
class OrderToCut:
    """An order's part in the work: its pieces that wait, and when it is due. `late_days` is 0 where it is not late."""

    number: str
    customer: str
    due: date | None
    late_days: int
    pieces: int
    fittings: int
    weight_lb: float


@dataclass(frozen=True)
class PlanChoices:
    """All that a plan of this metal can be made of, and the shop's usual settings."""

    material: str
    gauge: int
    orders: tuple[OrderToCut, ...]
    stock: tuple[StockItem, ...]
    settings: CutSettings
    unit: str
    today: date

    @property
    def dues(self) -> list[date]:
        return sorted({order.due for order in self.orders if order.due})

    @property
    def pieces(self) -> int:
        return sum(order.pieces for order in self.orders)

    @property
    def weight_lb(self) -> float:
        return sum(order.weight_lb for order in self.orders)


def _radio(label: str, choices: Iterable[tuple[str, str]]) -> forms.ChoiceField:
    titles = [title.partition(":")[0] for _, title in choices]
    told = {"required": f"Choose the {label.lower()}.", "invalid_choice": f"{label} can be {_or(titles)}."}
    return forms.ChoiceField(
        label=label, choices=list(choices), widget=forms.RadioSelect, error_messages=told
    )


def _or(words: Sequence[str]) -> str:
    words = [word[:1].lower() + word[1:] for word in words]
    return f"{', '.join(words[:-1])} or {words[-1]}"


class PlanForm(forms.Form):
    """The choices of one plan. Ticked orders that are due later than `due_to` are left out."""

    due_to = forms.ChoiceField(label="Due up to", error_messages={"required": "Choose a date, or any date."})
    effort = _radio("Effort", EFFORTS)
    seams = _radio("Seams of elbow gores", SEAMS)
    turns = _radio("Turning on the sheet", TURNS)
    gap = forms.CharField(max_length=40)
    margin = forms.CharField(max_length=40)

    def __init__(self, data=None, *, choices: PlanChoices, order: str = ""):
        settings, unit = choices.settings, choices.unit
        usual = {
            "due_to": ANY_DATE,
            "effort": settings.cut_effort,
            "seams": settings.seams,
            "turns": settings.turns,
            "gap": length_typed(settings.part_gap_in, unit),
            "margin": length_typed(settings.sheet_margin_in, unit),
        }
        super().__init__(data, initial=usual)
        self.use_required_attribute = False
        self.choices, self.order = choices, order
        dues = [(f"{on}", self._due(on)) for on in self._dues()]
        self.fields["due_to"].choices = [(ANY_DATE, "Any date"), *dues]
        self.fields["due_to"].error_messages["invalid_choice"] = "Choose a date from the list."
        for name, (label, title, hint) in LENGTHS.items():
            field, limit = self.fields[name], self._limit(name)
            field.label, field.help_text = f"{label} ({unit})", f"{hint} {limit[:1].upper()}{limit[1:]}."
            field.error_messages["required"] = f"Enter the {title}, {limit}."
            field.widget.attrs = {"autocomplete": "off", "spellcheck": "false"}

    def _limit(self, name: str) -> str:
        return f"0 to {length_typed(HIGHEST[OF_SETTING[name]], self.choices.unit)} {self.choices.unit}"

    def _dues(self) -> list[date]:
        """The dates of the work that waits, and the one that was chosen while it still waited."""
        try:
            chosen = {date.fromisoformat(self.data.get("due_to", ""))}
        except ValueError:
            chosen = set()
        return sorted({*self.choices.dues, *chosen})

    def _due(self, on: date) -> str:
        late = ", late" if on < self.choices.today else ""
        return f"{date_text(on, today=self.choices.today)}{late}"

    # for the template

    @property
    def orders(self) -> list[tuple[OrderToCut, bool]]:
        """Each order that can be chosen, and whether it is ticked."""
        if self.is_bound:
            ticked = set(self.data.getlist("orders"))
            return [(order, order.number in ticked) for order in self.choices.orders]
        return [(order, self.order in ("", order.number)) for order in self.choices.orders]

    @property
    def stock(self) -> list[tuple[StockItem, bool]]:
        ticked = set(self.data.getlist("stock")) if self.is_bound else None
        return [(item, ticked is None or str(item.pk) in ticked) for item in self.choices.stock]

    @property
    def chosen(self) -> list[OrderToCut]:
        return [order for order, is_ticked in self.orders if is_ticked]

    @property
    def more(self) -> list[forms.BoundField]:
        return [self[name] for name in ("seams", "turns", "gap", "margin")]

    @property
    def has_more(self) -> bool:
        """Something is other than usual, or wrong, among what is folded away."""
        return any(field.errors or str(field.value()) != str(field.initial) for field in self.more)

    @property
    def errors_of_orders(self) -> list[str]:
        return self.errors.get("orders", [])

    @property
    def errors_of_stock(self) -> list[str]:
        return self.errors.get("stock", [])

    # reading

    def clean_gap(self) -> float | None:
        return self._length("gap")

    def clean_margin(self) -> float | None:
        return self._length("margin")

    def _length(self, name: str) -> float | None:
        typed = self.cleaned_data[name]
        try:
            value = read_length(typed, unit=self.choices.unit)
        except LengthNotUnderstood as wrong:
            raise forms.ValidationError(wrong.sentence) from None
        if not 0 <= value <= HIGHEST[OF_SETTING[name]]:
            title = LENGTHS[name][1].capitalize()
            raise forms.ValidationError(f"{title} is {typed.strip()}; it can be {self._limit(name)}.")
        return value

    def clean(self) -> Mapping[str, Any]:
        told = self.cleaned_data
        due_to = None if told.get("due_to", ANY_DATE) == ANY_DATE else date.fromisoformat(told["due_to"])
        orders = [
            order.number for order in self.chosen if due_to is None or (order.due and order.due <= due_to)
        ]
        stock = [item.pk for item, is_ticked in self.stock if is_ticked]
        if "due_to" not in self.errors:
            self._say_what_is_missing(orders, due_to)
        if not stock:
            self._add("stock", "Tick at least one size to cut from.")
        is_all = due_to is None and len(orders) == len(self.choices.orders) > 0
        told["due_to"], told["orders"] = due_to, [] if is_all else orders or self.gone
        told["stock"] = None if len(stock) == len(self.choices.stock) else stock
        return told

    @property
    def gone(self) -> list[str]:
        """Ticked orders of which nothing waits any more."""
        known = {order.number for order in self.choices.orders}
        return [one for one in dict.fromkeys(self.data.getlist("orders")) if one not in known]

    def _say_what_is_missing(self, orders: Sequence[str], due_to: date | None) -> None:
        """Where nothing is left of all that was ticked, the service says which plan has it."""
        if self.gone and self.chosen:
            named = ", ".join(number[:30] for number in self.gone[:5])
            which = f"order{'s' if len(self.gone) > 1 else ''} {named}"
            self._add("orders", f"No piece of {which} waits any more. See what is ticked, and press again.")
        elif not self.chosen and not self.gone:
            self._add("orders", "Tick at least one order.")
        elif self.chosen and not orders:
            when = date_text(due_to, today=self.choices.today) if due_to else ""
            self._add(
                "orders", f"No ticked order is due up to {when}. Tick another one, or choose a later date."
            )

    def asked(self) -> dict[str, Any]:
        """What the service is asked for. Of a valid form."""
        told = self.cleaned_data
        return {
            "material": self.choices.material,
            "gauge": self.choices.gauge,
            "orders": told["orders"],
            "due_to": told["due_to"],
            "stock_ids": told["stock"],
            "effort": told["effort"],
            "seams": told["seams"],
            "turns": told["turns"],
            "gap_in": told["gap"],
            "margin_in": told["margin"],
        }

    def attach(self, problem: Problem) -> None:
        """What the service refused, each sentence at its field."""
        for error in problem.errors:
            name = FIELD_OF.get(error.field, error.field).partition("[")[0]
            self._add(name if name in (*self.fields, "orders", "stock") else None, error.message)
        if not problem.errors:
            self._add(None, problem.detail)

    def _add(self, name: str | None, sentence: str) -> None:
        if name in self.fields or name is None:
            self.add_error(name, sentence)
        else:
            self._errors.setdefault(name, self.error_class()).append(sentence)
