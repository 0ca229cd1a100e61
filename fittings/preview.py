"""A line as it is typed, drawn and in figures; and the small drawings of stored lines. Nothing is stored."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from django.utils.safestring import SafeString, mark_safe

from fittings.developing import develop_for, development_answer, words_of
from fittings.drawing import (
    fitting_svg,
    fitting_text,
    icon_svg,
    pattern_svg,
    patterns,
    role_title,
    space_svg,
)
from fittings.forms import LineForm
from fittings.models import OrderLine
from fittings.tables import all_rows
from shared.problems import WrongInput
from shared.units import KG_PER_LB, MM_PER_IN, both_texts, plain_number

KEY_DIMENSIONS = ("pieces", "miter_angle")


@dataclass(frozen=True)
class Figure:
    label: str
    text: str


@dataclass(frozen=True)
class PatternDrawing:
    """Equal patterns: drawn once, with how many there are and the figures to check it by."""

    count: int
    role: str
    drawing: SafeString
    figures: tuple[Figure, ...]


@dataclass(frozen=True)
class ShownEnd:
    """A free end as it is finished, in texts."""

    title: str
    finish: str
    figures: tuple[Figure, ...]
    note: str


@dataclass(frozen=True)
class Preview:
    title: str
    drawing: SafeString
    figures: tuple[Figure, ...]
    patterns: tuple[PatternDrawing, ...]
    others: tuple[Figure, ...]
    warnings: tuple[str, ...]
    ends: tuple[ShownEnd, ...]


def line_preview(form: LineForm) -> Preview | None:
    """The fitting of a line form, or None where it cannot be developed; the form then says why."""
    dev = form.develop()
    if dev is None:
        return None
    return preview_of(
        development_answer(dev, "in"),
        quantity=form.values.get("quantity"),
        unit=form.choices.unit,
        is_narrow=True,
    )


def preview_of(
    shown: Mapping[str, Any], *, quantity: int | None, unit: str, is_narrow: bool = False
) -> Preview:
    """A development in inches, drawn and in figures: what decides first, the patterns, then all other dimensions."""
    sizes = {name: value for name, value in shown["dimensions"].items() if value is not None}
    first = [name for name in KEY_DIMENSIONS if name in sizes]
    rest = [name for name, value in sizes.items() if name not in first and not _is_unused(name, value)]
    return Preview(
        title=fitting_text(shown),
        drawing=mark_safe(fitting_svg(shown)),
        figures=(*_weights(shown, quantity, unit), *_dimension_figures(sizes, first, unit)),
        patterns=tuple(_pattern_drawings(shown, unit, is_narrow)),
        others=tuple(_dimension_figures(sizes, rest, unit)),
        warnings=tuple(warned["message"] for warned in shown["warnings"]),
        ends=tuple(_shown_end(end, unit) for end in shown.get("ends", ())),
    )


def shaded_view(shown: Mapping[str, Any]) -> SafeString | str:
    """The fitting seen from a corner; nothing for one that was frozen before it was kept in space."""
    has_space = all(segment.get("space") for segment in shown["segments"])
    return mark_safe(space_svg(shown)) if has_space else ""


def length_text(value_in: float, unit: str) -> str:
    """Hand and machine: “44 1/16 in (44.070)”; in a mm shop “1119.4 mm”."""
    return f"{plain_number(value_in * MM_PER_IN, 1)} mm" if unit == "mm" else both_texts(value_in)


END_LENGTHS = {"inside": "Goes inside by", "outside": "Length", "face": "Upstand", "plain": "Length"}


def _shown_end(end: Mapping[str, Any], unit: str) -> ShownEnd:
    rows = (
        ("Outside diameter", end["outside_diameter"]),
        ("Inside diameter", end["inside_diameter"]),
        ("Girth", end["girth"]),
        (END_LENGTHS[end["goes"]], end["length"]),
    )
    figures = [Figure(label, length_text(value, unit)) for label, value in rows if value]
    if end["joins"]:
        verdict = {True: "", False: ": does not go together", None: ": not in the table of pairs"}[
            end["fits"]
        ]
        figures.append(Figure("Joins", end["joins"] + verdict))
    return ShownEnd(end["title"], end["finish"], tuple(figures), end["note"])


COUNTS = ("pieces", "segments", "bends", "bends_per_corner")


def _is_unused(name: str, value: float) -> bool:
    return not value and name.startswith(("collar", "offset", "branch_offset"))


def _dimension_figures(sizes: Mapping[str, float], names: Iterable[str], unit: str) -> Iterable[Figure]:
    for name in names:
        value = sizes[name]
        if name.endswith("angle"):
            text = plain_number(value, 3) + "°"
        elif name in COUNTS or name.endswith("ratio"):
            text = plain_number(value, 3)
        else:
            text = length_text(value, unit)
        yield Figure(dimension_title(name), text)


def dimension_title(name: str) -> str:
    """A dimension's name as people read it: “Collar A”.

    >>> dimension_title("collar_a"), dimension_title("end_a_to_hole")
    ('Collar A', 'End A to hole')
    """
    words = name.replace("_", " ").capitalize()
    return re.sub(r" [abcxy]\b", lambda letter: letter[0].upper(), words)


def _pattern_drawings(shown: Mapping[str, Any], unit: str, is_narrow: bool) -> Iterable[PatternDrawing]:
    for group in patterns(shown):
        segment = group.segment
        figures = [
            Figure(label, length_text(segment[name], unit))
            for name, label in (("stretch_out", "Stretch-out"), ("throat", "Throat"), ("heel", "Heel"))
            if segment.get(name) is not None
        ]
        for side, label in (("width", "Blank length"), ("height", "Blank width")):
            figures.append(Figure(label, length_text(segment["blank"][side], unit)))
        if segment.get("plates"):
            figures.append(Figure("Plates", f"{len(segment['plates'])}: longer than the stock"))
        yield PatternDrawing(
            group.count,
            role_title(segment["role"]),
            mark_safe(pattern_svg(shown, group.positions[0], is_narrow=is_narrow)),
            tuple(figures),
        )


def weight_text(weight_lb: float, unit: str, places: int = 1) -> str:
    """A weight in the shop's units: “1,243.8 lb”, in a mm shop “564.2 kg”."""
    factor, name = (KG_PER_LB, "kg") if unit == "mm" else (1.0, "lb")
    return f"{weight_lb * factor:,.{places}f} {name}"


def _weights(shown: Mapping[str, Any], quantity: int | None, unit: str) -> Iterable[Figure]:
    yield Figure("Weight, each", weight_text(shown["weight"], unit, 2))
    if quantity:
        yield Figure(f"Weight, × {quantity}", weight_text(shown["weight"] * quantity, unit))


# -- stored lines -----------------------------------------------------------

DRAWN_BY = ("kind", "material", "gauge", "params")
READ_TABLES = ("gauges", "gores", "allowances", "ends", "usual", "stock", "shop")


@dataclass(frozen=True)
class LineDrawing:
    """A stored line as a list shows it. `pieces` is how many segments one fitting has, 0 where it cannot be made."""

    icon: SafeString
    text: str
    pieces: int = 0
    weight_lb: float = 0.0


def line_drawing(line: OrderLine, versions: Mapping[str, int]) -> LineDrawing:
    """The small drawing of a stored line and what it is in words.

    versions  of the shop's tables: those that the order was released with, or those in force

    Drawn from the line's own dimensions and kept in memory by content, so that a list never loads frozen patterns.
    """
    read = {name: versions[name] for name in READ_TABLES if name in versions}
    asked = {name: getattr(line, name) for name in DRAWN_BY}
    return _drawn(json.dumps([asked, read], sort_keys=True))


def line_shown(line: OrderLine, versions: Mapping[str, int]) -> Mapping[str, Any]:
    """The development of a stored line in inches: the frozen one, or for a draft what the tables make of it today.

    raises  WrongInput where a draft's line cannot be made any more
    """
    if line.development:
        return line.development
    return development_answer(develop_for(tables=all_rows(versions), **words_of(line)), "in")


@lru_cache(maxsize=4096)
def _drawn(words: str) -> LineDrawing:
    asked, versions = json.loads(words)
    try:
        shown = development_answer(develop_for(tables=all_rows(versions), **asked), "in")
    except WrongInput:
        return LineDrawing(mark_safe(""), asked["kind"].replace("_", " ").capitalize())
    return LineDrawing(
        mark_safe(icon_svg(shown)), fitting_text(shown), len(shown["segments"]), shown["weight"]
    )
