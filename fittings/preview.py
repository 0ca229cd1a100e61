"""A line as it is typed, drawn and in figures; and the small drawings of stored lines. Nothing is stored."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from django.utils.safestring import SafeString, mark_safe

from fittings.developing import develop_for
from fittings.drawing import fitting_svg, fitting_text, icon_svg, pattern_svg, patterns, role_title
from fittings.forms import LineForm
from fittings.geometry import Development, development_as_dict
from fittings.models import OrderLine
from fittings.tables import all_rows
from shared.problems import WrongInput
from shared.units import KG_PER_LB, MM_PER_IN, both_texts, plain_number

KEY_DIMENSIONS = ("pieces", "miter_angle", "gore_angle")


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
class Preview:
    title: str
    drawing: SafeString
    figures: tuple[Figure, ...]
    patterns: tuple[PatternDrawing, ...]
    weights: tuple[Figure, ...]
    warnings: tuple[str, ...]


def line_preview(form: LineForm) -> Preview | None:
    """The fitting of a line form, or None where it cannot be developed; the form then says why."""
    dev = form.develop()
    return preview_of(dev, quantity=form.values.get("quantity"), unit=form.choices.unit) if dev else None


def preview_of(dev: Development, *, quantity: int | None, unit: str) -> Preview:
    shown = development_as_dict(dev, "in")
    return Preview(
        title=fitting_text(shown),
        drawing=mark_safe(fitting_svg(shown)),
        figures=tuple(_dimension_figures(dev, unit)),
        patterns=tuple(_pattern_drawings(shown, unit)),
        weights=tuple(_weights(dev, quantity, unit)),
        warnings=tuple(warned.message for warned in dev.warnings),
    )


def length_text(value_in: float, unit: str) -> str:
    """Hand and machine: “44 1/16 in (44.070)”; in a mm shop “1119.4 mm”."""
    return f"{plain_number(value_in * MM_PER_IN, 1)} mm" if unit == "mm" else both_texts(value_in)


def _dimension_figures(dev: Development, unit: str) -> Iterable[Figure]:
    ordered = sorted(dev.dimensions, key=lambda name: name not in KEY_DIMENSIONS)
    for name in ordered:
        value, sort = dev.dimensions[name], dev.dimension_units.get(name, "")
        if value is None or (name.startswith(("collar", "offset")) and not value):
            continue
        if sort == "in":
            text = length_text(value, unit)
        else:
            text = plain_number(value, 3) + ("°" if sort == "deg" else "")
        yield Figure(name.replace("_", " ").capitalize(), text)


def _pattern_drawings(shown: Mapping[str, Any], unit: str) -> Iterable[PatternDrawing]:
    for group in patterns(shown):
        segment = group.segment
        figures = [
            Figure(label, length_text(segment[name], unit))
            for name, label in (("stretch_out", "Stretch-out"), ("throat", "Throat"), ("heel", "Heel"))
            if segment.get(name) is not None
        ]
        blank = segment["blank"]
        size = f"{length_text(blank['width'], unit)} × {length_text(blank['height'], unit)}"
        figures.append(Figure("Blank", size))
        if segment.get("plates"):
            figures.append(Figure("Plates", f"{len(segment['plates'])}, longer than the longest stock"))
        yield PatternDrawing(
            group.count,
            role_title(segment["role"]),
            mark_safe(pattern_svg(shown, group.positions[0])),
            tuple(figures),
        )


def _weights(dev: Development, quantity: int | None, unit: str) -> Iterable[Figure]:
    factor, name = (KG_PER_LB, "kg") if unit == "mm" else (1.0, "lb")
    yield Figure("Weight, each", f"{dev.weight * factor:.2f} {name}")
    if quantity:
        yield Figure(f"Weight, × {quantity}", f"{dev.weight * factor * quantity:.1f} {name}")


# -- stored lines -----------------------------------------------------------

READ_TABLES = ("gauges", "gores", "allowances", "ends", "usual", "stock", "shop")


@dataclass(frozen=True)
class LineDrawing:
    icon: SafeString
    text: str


def line_drawing(line: OrderLine, versions: Mapping[str, int]) -> LineDrawing:
    """The small drawing of a stored line and what it is in words.

    versions  of the shop's tables: those that the order was released with, or those in force

    Drawn from the line's own dimensions and kept in memory by content, so that a list never loads frozen patterns.
    """
    asked = {
        "kind": line.kind,
        "material": line.material,
        "gauge": line.gauge,
        "params": line.params,
        "end_a": line.end_a,
        "end_b": line.end_b,
    }
    read = {name: versions[name] for name in READ_TABLES if name in versions}
    return _drawn(json.dumps([asked, read], sort_keys=True))


@lru_cache(maxsize=4096)
def _drawn(words: str) -> LineDrawing:
    asked, versions = json.loads(words)
    try:
        shown = development_as_dict(develop_for(tables=all_rows(versions), **asked), "in")
    except WrongInput:
        return LineDrawing(mark_safe(""), asked["kind"].replace("_", " ").capitalize())
    return LineDrawing(mark_safe(icon_svg(shown)), fitting_text(shown))
