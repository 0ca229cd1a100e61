"""Any fitting as it is typed on the pattern desk: its fields, its drawings, its figures. Nothing is stored."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.utils.safestring import SafeString, mark_safe

from fittings.developing import development_answer
from fittings.drawing import fitting_scene, patterns
from fittings.drawing.svg import svg_text
from fittings.forms import (
    FIRST_GAUGE,
    FIRST_KIND,
    FIRST_MATERIAL,
    Choices,
    LineForm,
    choices_of,
    length_typed,
)
from fittings.geometry import KINDS, Development, Kind, Param
from fittings.geometry.parameters import range_text
from fittings.models import OrderLine
from fittings.preview import (
    Figure,
    LineDrawing,
    PatternDrawing,
    Preview,
    line_drawing,
    preview_of,
    shaded_view,
)
from fittings.tables import all_rows, versions_in_force
from shared.problems import FieldError, WrongInput
from shared.units import IN2_PER_FT2, MM_PER_IN, plain_number

NOT_HERE = ("quantity", "kind", "tag", "system", "traveler_per")
"""What a line of an order has and the desk does not ask."""
SAMPLE_SIZES = {
    "diameter": 14,
    "diameter_a": 16,
    "diameter_b": 12,
    "base_diameter": 10,
    "branch_diameter": 8,
    "angle": 90,
    "length": 24,
    "branch_length": 16,
    "main_length": 12,
    "offset": 10,
    "width": 20,
    "height": 14,
    "depth": 2,
}
"""What a kind is drawn with until sizes are typed, in inches and degrees; and where a kind asks for others."""
SAMPLE_OF = {
    "reducer": {"length": 12},
    "offset": {"offset": 10, "angle": 30},
    "square_to_round": {"length": 16},
    "wye": {"branch_diameter": 10, "branch_length": 20},
    "reducing_elbow": {"diameter_a": 14, "diameter_b": 10},
}


@dataclass(frozen=True)
class KindTile:
    """A kind to choose: its sample as a small line drawing, and its address."""

    title: str
    help: str
    icon: SafeString
    query: str
    is_current: bool


@dataclass(frozen=True)
class DeskPattern:
    pattern: PatternDrawing
    marks: str


class Desk:
    """The fitting that the desk is asked for, by the names of the line form: `diameter`, `end_a`, `allow_lap`."""

    def __init__(self, asked: Mapping[str, str], choices: Choices | None = None):
        self.choices = choices or choices_of(all_rows())
        kind = KINDS.get(asked.get("kind") or FIRST_KIND, KINDS[FIRST_KIND])
        self.form = LineForm(_filled(kind, asked, self.choices.unit), prefix="", choices=self.choices)
        developed = self.form.develop()
        self.development: Development | None = None if self.form.errors else developed
        _describe(self.form)

    @property
    def kind(self) -> Kind:
        return self.form.shape

    @cached_property
    def query(self) -> str:
        """The fitting as an address: what is blank is left out."""
        names = ["kind", *(name for name in self.form.fields if name not in NOT_HERE)]
        return urlencode({name: text for name in names if (text := self.form.typed(name))})

    @property
    def order_line(self) -> list[tuple[str, str]]:
        """The fields of a new order's first line with this fitting."""
        names = ["kind", *(name for name in self.form.fields if name not in NOT_HERE)]
        return [(f"line-0-{name}", text) for name in names if (text := self.form.typed(name))]

    def developed(self) -> Development:
        """The fitting. raises WrongInput naming every wrong field"""
        if self.development is None:
            found = [("", text) for text in self.form.non_field_errors()]
            found += [(field.name, text) for field in self.form for text in field.errors]
            raise WrongInput([FieldError(name, self.form.data.get(name), "", text) for name, text in found])
        return self.development

    # for the template

    @cached_property
    def tiles(self) -> list[KindTile]:
        """Every kind, drawn with the metal in force."""
        versions = versions_in_force()
        carried = {name: text for name in ("material", "gauge") if (text := self.form.typed(name))}
        return [
            KindTile(
                kind.title,
                kind.help,
                _sample_drawing(kind, versions).icon,
                urlencode({"kind": kind.name, **carried}),
                kind is self.kind,
            )
            for kind in KINDS.values()
        ]

    @property
    def metal_fields(self) -> list[forms.BoundField]:
        return self._shown(("material", "gauge"))

    @property
    def size_fields(self) -> list[forms.BoundField]:
        return self._shown(param.name for param in self.kind.params if not param.more)

    @property
    def end_fields(self) -> list[forms.BoundField]:
        return self._shown(name for name in self.form.fields if name.startswith("end_"))

    @property
    def more_fields(self) -> list[forms.BoundField]:
        """What is seldom given: the rest of the line form's fields."""
        first = {field.name for field in (*self.metal_fields, *self.size_fields, *self.end_fields)}
        own = [name for name in self.form.fields if name not in first and name not in NOT_HERE]
        return self._shown(name for name in own if not name.startswith("allow_"))

    @property
    def allowance_fields(self) -> list[forms.BoundField]:
        return self._shown(name for name in self.form.fields if name.startswith("allow_"))

    @property
    def has_more(self) -> bool:
        """Something is set, or wrong, among the fields that are folded away."""
        usual = {param.name: param.default for param in self.kind.params}
        return any(
            field.errors
            or (field.value() not in (None, "", False) and field.value() != usual.get(field.name))
            for field in (*self.more_fields, *self.allowance_fields)
        )

    def _shown(self, names: Iterable[str]) -> list[forms.BoundField]:
        echoes = self.form.echoes
        params = {param.name: param for param in self.kind.params}
        found = []
        for name in names:
            field = self.form[name]
            field.echo = echoes.get(name, "")
            field.hint = "" if name.startswith("end_") else self.form.fields[name].hint
            field.range = _range(params[name], self.choices.unit) if name in params else ""
            found.append(field)
        return found

    @property
    def wrong(self) -> list[tuple[str, str]]:
        """What is wrong beside its field, by the field's name."""
        return [(f.name, " ".join(f.errors)) for f in self.form if f.errors and f.name not in NOT_HERE]

    @property
    def wrong_at_all(self) -> list[str]:
        """What is wrong and has no field of its own here."""
        return [*self.form.non_field_errors(), *self.form.errors.get("kind", ())]

    @cached_property
    def shown(self) -> Mapping[str, Any]:
        return development_answer(self.developed(), "in")

    @cached_property
    def preview(self) -> Preview | None:
        if self.development is None:
            return None
        return preview_of(self.shown, quantity=None, unit=self.choices.unit, is_narrow=True)

    @property
    def side(self) -> SafeString:
        """The fitting from its side, low enough to stay in sight above its fields on a phone."""
        return mark_safe(svg_text(fitting_scene(self.shown, width=440, height=290, text_size=15)))

    @property
    def space(self) -> SafeString | str:
        """The fitting seen from a corner."""
        return shaded_view(self.shown)

    @property
    def figures(self) -> list[Figure]:
        """Areas and weight, then every dimension."""
        shown, unit = self.shown, self.choices.unit
        areas = (("Net area", shown["net_area"]), ("Cut area", shown["cut_area"]))
        own = [Figure(label, area_text(area, unit)) for label, area in areas]
        return [*self.preview.figures[:1], *own, *self.preview.figures[1:], *self.preview.others]

    @property
    def patterns(self) -> list[DeskPattern]:
        drawn = zip(self.preview.patterns, patterns(self.shown), strict=True)
        return [DeskPattern(pattern, marks_text(group.segment)) for pattern, group in drawn]


def area_text(area_in2: float, unit: str) -> str:
    """An area as the shop weighs sheet by: “9.83 sq ft (1,415 sq in)”; in a mm shop “0.913 m²”.

    >>> area_text(144, "in"), area_text(1550.0031, "mm")
    ('1.00 sq ft (144 sq in)', '1.000 m²')
    """
    if unit == "mm":
        return f"{area_in2 * (MM_PER_IN / 1000) ** 2:,.3f} m²"
    return f"{area_in2 / IN2_PER_FT2:,.2f} sq ft ({area_in2:,.0f} sq in)"


def marks_text(segment: Mapping[str, Any]) -> str:
    """The marks of a pattern in words: “heel, 2 × side, 12 × bend”."""
    counts = Counter(mark["name"].replace("_", " ") for mark in segment.get("marks") or ())
    return ", ".join(name if count == 1 else f"{count} × {name}" for name, count in counts.items())


# -- samples -----------------------------------------------------------------


def sample_params(kind: Kind) -> dict[str, Any]:
    """Sizes, in inches, with which a kind is drawn until some are typed."""
    own = SAMPLE_OF.get(kind.name, {})
    names = [param.name for param in kind.params if param.required or param.name in own]
    known = {**SAMPLE_SIZES, **own}
    return {name: known[name] for name in names if name in known}


def _sample_drawing(kind: Kind, versions: Mapping[str, int]) -> LineDrawing:
    line = OrderLine(
        kind=kind.name, material=FIRST_MATERIAL, gauge=int(FIRST_GAUGE), params=sample_params(kind)
    )
    return line_drawing(line, versions)


def _filled(kind: Kind, asked: Mapping[str, str], unit: str) -> dict[str, str]:
    """What was asked, and where it names no size of the kind, the kind's sample."""
    data = {"material": FIRST_MATERIAL, "gauge": FIRST_GAUGE, "end_a": "raw", "end_b": "raw"}
    data |= {param.name: str(param.default) for param in kind.params if param.choices and param.default}
    if not any(asked.get(param.name, "").strip() for param in kind.params if not param.more):
        units = {param.name: param.unit for param in kind.params}
        for name, value in sample_params(kind).items():
            is_length = units[name] == "in"
            data[name] = length_typed(value, unit) if is_length else plain_number(value)
    typed = {name: text for name, text in asked.items() if text or name not in data}
    return {"kind": kind.name, **data, **typed, "quantity": "1", "tag": "", "system": "", "traveler_per": ""}


# -- fields ------------------------------------------------------------------


def _describe(form: LineForm) -> None:
    """Say of each field what it is in words below it, not in a tooltip, and tell so to who cannot see it."""
    for name, field in form.fields.items():
        attrs = field.widget.attrs
        field.hint = attrs.pop("title", "")
        attrs["aria-describedby"] = f"id_{name}_hint id_{name}_error"
        if field.sort == "count":
            attrs["inputmode"] = "numeric"
        elif field.sort == "number":
            attrs["inputmode"] = "decimal"


def _range(param: Param, unit: str) -> str:
    if param.unit in ("choice", "bool") or (param.low is None and param.high is None):
        return ""
    return range_text(param.low, param.high, param.unit, unit, low_open=param.low_open)
