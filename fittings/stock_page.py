"""The stock as its pages show it: by metal, with sizes, counts, costs, and where remnants come from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django import forms
from django.core.paginator import Page, Paginator

from fittings.developing import materials
from fittings.forms import FIRST_GAUGE, FIRST_MATERIAL, length_typed, shop_unit
from fittings.models import StockItem
from fittings.money import currency_sign, money_text
from fittings.stock import COIL, REMNANT, SHEET, stock_listed
from fittings.stock_reading import NAME_LENGTH, NOTE_LENGTH
from fittings.tables import all_rows, rows
from shared.problems import WrongInput
from shared.units import stock_text

ON_A_PAGE = 200
RETIRED = "retired"
FORMS = (("", "All"), (SHEET, "Sheets"), (COIL, "Coils"), (REMNANT, "Remnants"))
FIRST_METAL = {"material": FIRST_MATERIAL, "gauge": FIRST_GAUGE}
SHOWN = (("", "In use"), (RETIRED, "Retired and used up"))


@dataclass(frozen=True)
class StockRow:
    """One item. `state` and `word` are a remnant's mark; `count` is what stands in the small form."""

    item: StockItem
    size: str
    count: str
    cost: str
    state: str
    word: str

    @property
    def is_counted(self) -> bool:
        return self.item.form == SHEET


@dataclass(frozen=True)
class Metal:
    material: str
    gauge: int
    rows: tuple[StockRow, ...]

    @property
    def sizes(self) -> int:
        return sum(row.item.form != REMNANT for row in self.rows)

    @property
    def remnants(self) -> int:
        return sum(row.item.form == REMNANT for row in self.rows)


@dataclass(frozen=True)
class StockPage:
    page: Page
    metals: tuple[Metal, ...]
    materials: tuple[str, ...]
    asked: Mapping[str, str]
    wrong: str = ""

    @property
    def is_filtered(self) -> bool:
        return any(self.asked.values())


def stock_page(query: Mapping[str, str]) -> StockPage:
    """The items that a filter finds. A filter that cannot be read finds nothing and says why."""
    asked = {name: query.get(name, "").strip()[:40] for name in ("material", "gauge", "form", "shown")}
    wrong = ""
    try:
        found = stock_listed(
            material=asked["material"],
            gauge=asked["gauge"],
            form=asked["form"],
            is_retired=asked["shown"] == RETIRED,
        )
    except WrongInput as error:
        found, wrong = StockItem.objects.none().order_by("pk"), error.detail
    page = Paginator(found, ON_A_PAGE).get_page(query.get("page"))
    known = tuple(sorted(set(StockItem.objects.values_list("material", flat=True).distinct())))
    return StockPage(page, tuple(_metals(page.object_list)), known, asked, wrong)


def _metals(items: Iterable[StockItem]) -> Iterable[Metal]:
    unit, sign = shop_unit(), currency_sign()
    for (material, gauge), group in groupby(items, key=lambda item: (item.material, item.gauge)):
        yield Metal(material, gauge, tuple(stock_row(item, unit, sign) for item in group))


def stock_row(item: StockItem, unit: str, sign: str) -> StockRow:
    state, word = _mark(item)
    each = {SHEET: "a sheet", COIL: "a foot"}.get(item.form, "")
    cost = money_text(item.cost_each, sign)
    return StockRow(
        item,
        size_text(item, unit),
        "" if item.count is None else str(item.count),
        f"{cost} {each}".strip() if item.cost_each is not None else cost,
        state,
        word,
    )


def size_text(item: StockItem, unit: str) -> str:
    """ "60 × 120 in"; a coil by its width and the length that is cut off it."""
    if item.form == COIL:
        width, length = stock_text(item.width_in, unit=unit), stock_text(item.length_in, unit=unit)
        return f"{width} wide, cut to {length}"
    return stock_text(item.width_in, item.length_in, unit=unit)


def _mark(item: StockItem) -> tuple[str, str]:
    """The state of what is not counted: a remnant's, and that of a retired item."""
    if not item.is_active:
        used = item.form == REMNANT and item.count == 0
        return "void", "Used" if used else "Retired"
    if item.form != REMNANT:
        return "", ""
    if item.count == 0:
        return "waiting", "Waits for its sheet"
    return "ready", "On hand"


# -- forms -------------------------------------------------------------------


def _text(
    label: str, *, help_text: str = "", longest: int = 40, needed: str = "", **attrs: Any
) -> forms.CharField:
    return forms.CharField(
        label=label,
        required=bool(needed),
        max_length=longest,
        help_text=help_text,
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false", **attrs}),
        error_messages={"required": needed},
    )


class StockForm(forms.Form):
    """Texts only: what they say is judged by the services."""

    use_required_attribute = False

    width = _text("Width", needed="Enter the width.")
    length = _text(
        "Length", help_text="Along the table. Of a coil: its longest cut.", needed="Enter the length."
    )
    count = _text("Count on hand", help_text="Blank: not counted.", inputmode="numeric")
    cost_each = _text(
        "Cost",
        help_text="Of a sheet or remnant; of one foot of a coil. Blank: not known.",
        inputmode="decimal",
    )
    name = _text("Name", help_text="Blank: made from the size.", longest=NAME_LENGTH)
    note = _text("Note", longest=NOTE_LENGTH)

    def __init__(self, data=None, *, item: StockItem | None = None, initial: Mapping[str, Any] | None = None):
        self.unit = shop_unit()
        super().__init__(data, initial=self._of(item) if item else dict(initial or {}))
        for name in ("width", "length"):
            self.fields[name].label += f", {self.unit}"
        if item is not None and item.form == COIL:
            del self.fields["count"]
        elif item is not None and item.form == REMNANT:
            self.fields["count"].help_text = "1, or 0 until its sheet is cut."
            del self.fields["name"]
        self.fields["cost_each"].label += f", {currency_sign()}"

    def _of(self, item: StockItem) -> dict[str, str]:
        sides = {name: length_typed(getattr(item, f"{name}_in"), self.unit) for name in ("width", "length")}
        return {
            **sides,
            "count": "" if item.count is None else str(item.count),
            "cost_each": "" if item.cost_each is None else f"{item.cost_each:.2f}",
            "name": item.name,
            "note": item.note,
        }

    def clean_cost_each(self) -> str:
        return self.cleaned_data["cost_each"].strip().removeprefix(currency_sign()).strip()

    def values(self) -> dict[str, Any]:
        """What was changed, for the services: what was not touched keeps its full precision, and a name its size."""
        changed = {name: text for name, text in self.cleaned_data.items() if text != self.initial.get(name)}
        return {**changed, "unit": self.unit}

    def attach(self, wrong: WrongInput) -> None:
        for error in wrong.errors:
            self.add_error(error.field if error.field in self.fields else None, error.message)


class NewStockForm(StockForm):
    field_order = ("form", "material", "gauge", "width", "length", "count", "cost_each", "name", "note")

    form = forms.ChoiceField(
        label="Form", choices=[(SHEET, "Sheet"), (COIL, "Coil"), (REMNANT, "Remnant")], initial=SHEET
    )
    material = forms.ChoiceField(label="Material")
    gauge = _text("Gauge", needed="Enter the gauge.", inputmode="numeric")

    def __init__(self, data=None, *, initial: Mapping[str, Any] | None = None):
        super().__init__(data, initial=FIRST_METAL | dict(initial or {}))
        self.fields["material"].choices = _materials()

    def values(self) -> dict[str, Any]:
        return {**self.cleaned_data, "unit": self.unit}


class UsualForm(forms.Form):
    """A metal whose usual sizes are to be added."""

    use_required_attribute = False

    material = forms.ChoiceField(label="Material")
    gauge = _text("Gauge", needed="Enter the gauge.", inputmode="numeric")

    def __init__(self, data=None, *, initial: Mapping[str, Any] | None = None):
        super().__init__(data, initial=FIRST_METAL | dict(initial or {}), auto_id="usual_%s")
        self.fields["material"].choices = _materials()

    attach = StockForm.attach


def _materials() -> list[tuple[str, str]]:
    return [(name, name.capitalize()) for name in materials(all_rows())]


def usual_sizes() -> str:
    """The names of the shop's usual sizes, as a button says them."""
    return ", ".join(row["name"] for row in rows("stock"))
