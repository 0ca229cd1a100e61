"""What a developed fitting is: segments with their flat patterns, in inches, and its form for the API."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from .allowances import cut_outline
from .curves import part_of_edge
from .errors import CannotBeMade, FieldProblem, ParameterError
from .outline import closed_between, extent, signed_area
from .parameters import MM_PER_IN, Param, checked, number_text, problem
from .practice import Warned

KG_PER_LB = 0.45359237  # exact: international yard and pound agreement, 1959
SQ_IN_PER_SQ_FT = 144.0


@dataclass(frozen=True)
class Sheet:
    """The metal: name, gauge, thickness [in], weight [lb/ft²], longest stock to cut from [in] (None: any)."""

    material: str
    gauge: float | int
    thickness_in: float
    weight_lb_ft2: float
    longest_stock_in: float | None = None

    def __post_init__(self):
        problems = []
        wanted = [Param("thickness_in", "in", 0, 1, low_open=True), Param("weight_lb_ft2", "", 0, 100)]
        if self.longest_stock_in is not None:
            wanted.append(Param("longest_stock_in", "in", 1, 12000))
        for param in wanted:
            try:
                checked(param, getattr(self, param.name), prefix="sheet.")
            except ParameterError as error:
                problems.extend(error.problems)
        if problems:
            raise ParameterError(problems)


@dataclass(frozen=True)
class Blank:
    """The box round a cut outline [in]."""

    width: float
    height: float


@dataclass(frozen=True, eq=False)
class Mark:
    """A line to mark on the metal: 'throat', 'heel' or 'side', from edge A to edge B, shape (2, 2) [in]."""

    name: str
    line: np.ndarray


@dataclass(frozen=True, eq=False)
class Plate:
    """One of the equal plates of a segment longer than the stock; x begins at 0 at its own first end."""

    number: int
    of: int
    x_from: float
    x_to: float
    start_angle: float  # rad, of its x = 0
    lap: float
    net_outline: np.ndarray
    cut_outline: np.ndarray
    net_area: float
    cut_area: float
    weight: float
    blank: Blank
    marks: tuple[Mark, ...]


@dataclass(frozen=True, eq=False)
class Segment:
    """One segment and its flat pattern, seen on the face that becomes the outside [in, rad, in², lb].

    x along the circumference, y along the duct's axis from end A to end B, the lowest net point at y = 0.
    `cut_outline` and `blank` are those of the segment in one piece; `cut_area` is what is really cut, the sum
    over `plates` where there are any. `frame` places the segment's own frame in the assembled fitting.
    """

    position: int
    role: str
    pattern: str
    stretch_out: float
    throat: float
    heel: float
    lap: float
    net_outline: np.ndarray
    cut_outline: np.ndarray
    edge_a: np.ndarray
    edge_b: np.ndarray
    start_angle: float
    seam_at: str
    net_area: float
    cut_area: float
    weight: float
    blank: Blank
    marks: tuple[Mark, ...]
    plates: tuple[Plate, ...]
    roll_radius: float
    frame: np.ndarray


@dataclass(frozen=True, eq=False)
class Development:
    """A developed fitting in inches, degrees (dimensions only), in² and lb; `unit` is the one asked in."""

    kind: str
    unit: str
    material: str
    gauge: float | int
    thickness: float
    dimensions: Mapping[str, float]
    segments: tuple[Segment, ...]
    net_area: float
    cut_area: float
    weight: float
    warnings: tuple[Warned, ...]
    dimension_units: Mapping[str, str] = field(default_factory=dict)


def _fixed(points):
    array = np.array(points, dtype=float)
    array.setflags(write=False)
    return array


def pattern_key(net_outline, cut_outline_, sheet: Sheet) -> str:
    """Short key shared by equal patterns of one metal.

    net_outline, cut_outline_  outlines, shape (n, 2) [in], compared to 0.001 in
    sheet                      material and gauge
    returns                    the first 8 hexadecimal digits of a SHA-256
    source                     FIPS 180-4 (the digest); 8 digits are a house choice

    >>> square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
    >>> key = pattern_key(square, square, Sheet('galvanized', 24, 0.0276, 1.156))
    >>> key == pattern_key(square + 1e-7, square, Sheet('galvanized', 24, 0.0276, 1.156)), len(key)
    (True, 8)
    """
    digest = hashlib.sha256(f"{sheet.material}|{number_text(sheet.gauge)}".encode())
    for outline in (net_outline, cut_outline_):
        digest.update(b"|" + (np.round(outline * 1000.0) + 0.0).astype("<i8").tobytes())
    return digest.hexdigest()[:8]


def plate_count(stretch_out: float, lap: float, longest_stock: float | None) -> int:
    """Fewest equal plates so that each, with its lap, is no longer than the longest stock.

    stretch_out    of the whole segment [in]
    lap            of each plate [in]
    longest_stock  [in], None for no limit
    returns        plates, ≥ 1
    raises         CannotBeMade if the lap alone is as long as the stock
    source         definition; the rule of fewest equal plates is a house rule

    >>> plate_count(188.5, 0.5, 120.0), plate_count(119.5, 0.5, 120.0), plate_count(500.0, 0.5, None)
    (2, 1, 1)
    """
    if longest_stock is None:
        return 1
    room = longest_stock - lap
    if room <= 0:
        limit = f"less than {number_text(longest_stock)} in"
        sentence = f"Lap is {number_text(lap)} in; it must be {limit}, the longest stock."
        raise CannotBeMade([FieldProblem("allowances.lap", lap, limit, sentence)])
    return max(1, int(np.ceil(stretch_out / room - 1e-9)))


def segment_pattern(edge_a, edge_b, *, start_angle, sheet: Sheet, lap, width_a, width_b, marks_at) -> dict:
    """Flat pattern of a rolled segment between two edges: outlines, areas, weight, blank, marks, plates.

    edge_a, edge_b    net edges in increasing x from 0, shape (n, 2) [in]
    start_angle       of x = 0 round the duct from the throat [rad]
    sheet             the metal
    lap               [in], ≥ 0
    width_a, width_b  edge allowances [in], ≥ 0
    marks_at          pairs of a name and a position x [in]
    returns           the fields of a Segment that follow from its edges [in, in², lb]
    source            areas: Gauss's formula; weight = area / 144 × weight per square foot

    >>> edge_a, edge_b = np.array([[0, 0], [12, 0]], float), np.array([[0, 12], [12, 12]], float)
    >>> flat = segment_pattern(edge_a, edge_b, start_angle=0.0, sheet=Sheet('galvanized', 24, 0.0276, 1.156),
    ...                        lap=0, width_a=0, width_b=0, marks_at=[])
    >>> flat['net_area'], flat['weight']
    (144.0, 1.156)
    """
    whole = _flat(edge_a, edge_b, edge_a, edge_b, sheet, lap, width_a, width_b, marks_at)
    stretch_out = float(edge_a[-1, 0])
    count = plate_count(stretch_out, lap, sheet.longest_stock_in)
    plates = []
    if count > 1:
        bounds = [stretch_out * k / count for k in range(count + 1)]
        parts = [
            tuple(part_of_edge(edge, *pair) for edge in (edge_a, edge_b))
            for pair in zip(bounds[:-1], bounds[1:], strict=True)
        ]
        for k, (part_a, part_b) in enumerate(parts):
            x_from, x_to = bounds[k], bounds[k + 1]
            here = [(name, x - x_from) for name, x in marks_at if x_from + 1e-6 < x < x_to - 1e-6]
            flat = _flat(part_a, part_b, *parts[(k + 1) % count], sheet, lap, width_a, width_b, here)
            angle = start_angle + 2 * np.pi * k / count
            plates.append(
                Plate(number=k + 1, of=count, x_from=x_from, x_to=x_to, start_angle=angle, lap=lap, **flat)
            )
        whole["cut_area"] = sum(plate.cut_area for plate in plates)
    pattern = pattern_key(whole["net_outline"], whole["cut_outline"], sheet)
    return dict(
        whole,
        edge_a=_fixed(edge_a),
        edge_b=_fixed(edge_b),
        stretch_out=stretch_out,
        start_angle=start_angle,
        lap=lap,
        plates=tuple(plates),
        pattern=pattern,
    )


def _flat(edge_a, edge_b, next_a, next_b, sheet, lap, width_a, width_b, marks_at):
    net = closed_between(edge_a, edge_b)
    cut = cut_outline(edge_a, edge_b, lap=lap, width_a=width_a, width_b=width_b, next_a=next_a, next_b=next_b)
    net_area = signed_area(net)
    marks = tuple(
        Mark(name, _fixed([[x, np.interp(x, *edge_a.T)], [x, np.interp(x, *edge_b.T)]]))
        for name, x in marks_at
    )
    return {
        "net_outline": _fixed(net),
        "cut_outline": _fixed(cut),
        "net_area": net_area,
        "cut_area": signed_area(cut),
        "weight": net_area / SQ_IN_PER_SQ_FT * sheet.weight_lb_ft2,
        "blank": Blank(*extent(cut)),
        "marks": marks,
    }


def development_as_dict(dev: Development, unit: str | None = None) -> dict:
    """A development in the shape of the HTTP contract, rounded for display.

    Lengths and coordinates to four decimals, areas and weights to three; angles in degrees.

    dev      the Development
    unit     'in' (lengths [in], areas [in²], weights [lb]) or 'mm' ([mm], [mm²], [kg]); left out: as asked
    returns  dict of plain numbers, texts and lists
    source   the shape is that of the HTTP contract; 1 in = 25.4 mm and 1 lb = 0.45359237 kg exactly

    >>> from fittings.geometry import Allowances, Practice, develop
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
        segments.append({"position": segment.position, "role": segment.role, **flat})
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
            "marks": [{"name": mark.name, "line": self.points(mark.line)} for mark in piece.marks],
        }


def _pattern_as_dict(segment, shown):
    flat = {
        "pattern": segment.pattern,
        "seam_at": segment.seam_at,
        "stretch_out": shown.length(segment.stretch_out),
        "throat": shown.length(segment.throat),
        "heel": shown.length(segment.heel),
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
