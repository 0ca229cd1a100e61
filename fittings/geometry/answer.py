"""A development in the shape of the HTTP contract: plain numbers, texts and lists."""

from dataclasses import dataclass

import numpy as np

from .development import Development
from .errors import ParameterError
from .parameters import MM_PER_IN, problem
from .rolling import placed_strips

KG_PER_LB = 0.45359237  # exact: international yard and pound agreement, 1959


def development_as_dict(dev: Development, unit: str | None = None) -> dict:
    """A development in the shape of the HTTP contract, rounded for display.

    Lengths and coordinates to four decimals, areas and weights to three; angles in degrees.

    dev      the Development
    unit     'in' (lengths [in], areas [in²], weights [lb]) or 'mm' ([mm], [mm²], [kg]); left out: as asked
    returns  dict of plain numbers, texts and lists
    source   the shape is that of the HTTP contract; 1 in = 25.4 mm and 1 lb = 0.45359237 kg exactly

    >>> from fittings.geometry import Allowances, Practice, Sheet, develop
    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156)
    >>> elbow = develop('gored_elbow', {'diameter': 14, 'angle': 90, 'pieces': 5},
    ...                 sheet=sheet, allowances=Allowances(), practice=Practice())
    >>> development_as_dict(elbow)['dimensions']['gore_angle'], development_as_dict(elbow, 'mm')['thickness']
    (22.5, 0.701)
    """
    unit = unit or dev.unit
    if unit not in ("in", "mm"):
        raise ParameterError([problem("unit", "Unit", unit, "“in” or “mm”")])
    length = MM_PER_IN if unit == "mm" else 1.0
    mass = KG_PER_LB if unit == "mm" else 1.0
    shown = _Shown(length, mass)
    done: dict[int, dict] = {}
    segments = []
    for segment in dev.segments:
        flat = done.get(id(segment.net_outline))
        if flat is None:
            flat = done[id(segment.net_outline)] = _pattern_as_dict(segment, shown)
        space = [[shown.space(row) for row in strip] for strip in placed_strips(segment)]
        segments.append({"position": segment.position, "role": segment.role, **flat, "space": space})
    dimensions = {}
    for name, value in dev.dimensions.items():
        quantity = dev.dimension_units.get(name, "")
        value = value * length if quantity == "in" else value
        dimensions[name] = int(value) if quantity == "count" else _round(value, 4)
    return {
        "kind": dev.kind,
        "unit": unit,
        "weight_unit": "kg" if unit == "mm" else "lb",
        "material": dev.material,
        "gauge": dev.gauge,
        "thickness": shown.length(dev.thickness),
        "dimensions": dimensions,
        "segments": segments,
        "net_area": shown.area(dev.net_area),
        "cut_area": shown.area(dev.cut_area),
        "weight": shown.weight(dev.weight),
        "joint_length": shown.length(dev.joint_length),
        "free_ends": [shown.free_end(end) for end in dev.free_ends],
        "warnings": [{"code": warned.code, "message": warned.message} for warned in dev.warnings],
    }


def _round(value, places):
    return round(float(value), places) + 0.0


@dataclass(frozen=True)
class _Shown:
    """Rounded figures in the unit asked for."""

    per_inch: float
    per_lb: float

    def length(self, value):
        return _round(value * self.per_inch, 4)

    def points(self, array):
        return (np.round(array * self.per_inch, 4) + 0.0).tolist()

    def maybe(self, value):
        return None if value is None else self.length(value)

    def space(self, array):
        return (np.round(array * self.per_inch, 3) + 0.0).tolist()

    def free_end(self, end):
        return {
            "end": end.end,
            "title": end.title,
            "shape": "rectangular" if end.diameter is None else "round",
            "diameter": self.maybe(end.diameter),
            "width": self.maybe(end.width),
            "height": self.maybe(end.height),
            "segment": end.segment,
            "edge_length": self.length(end.edge_length),
        }

    def mark(self, mark):
        angle = {} if mark.angle is None else {"angle": _round(np.degrees(mark.angle), 2)}
        return {"name": mark.name, "line": self.points(mark.line), **angle}

    def area(self, value):
        return _round(value * self.per_inch**2, 3)

    def weight(self, value):
        return _round(value * self.per_lb, 3)

    def flat(self, piece):
        """What a segment and a plate have in common."""
        return {
            "lap": self.length(piece.lap),
            "start_angle": _round(np.degrees(piece.start_angle) % 360.0, 4),
            "net_outline": self.points(piece.net_outline),
            "cut_outline": self.points(piece.cut_outline),
            "net_area": self.area(piece.net_area),
            "cut_area": self.area(piece.cut_area),
            "weight": self.weight(piece.weight),
            "blank": {"width": self.length(piece.blank.width), "height": self.length(piece.blank.height)},
            "holes": [self.points(hole) for hole in piece.holes],
            "marks": [self.mark(mark) for mark in piece.marks],
        }


def _pattern_as_dict(segment, shown):
    flat = {
        "pattern": segment.pattern,
        "form": segment.form,
        "seam_at": segment.seam_at,
        "stretch_out": shown.maybe(segment.stretch_out),
        "throat": shown.maybe(segment.throat),
        "heel": shown.maybe(segment.heel),
        "seam_length": shown.length(segment.seam_length),
        "edge_a": shown.points(segment.edge_a),
        "edge_b": shown.points(segment.edge_b),
        **shown.flat(segment),
    }
    if segment.plates:
        flat["plates"] = [
            {
                "number": plate.number,
                "of": plate.of,
                "x_range": [shown.length(plate.x_from), shown.length(plate.x_to)],
                **shown.flat(plate),
            }
            for plate in segment.plates
        ]
    return flat
