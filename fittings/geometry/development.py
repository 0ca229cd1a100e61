"""What a developed fitting is: segments with their flat patterns, in inches."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from .errors import ParameterError
from .parameters import Param, checked
from .practice import Practice, Warned, exceeds_stock, unusual

CYLINDER, CONE, BRAKE, FLAT = "cylinder", "cone", "brake", "flat"
FORMS = (CYLINDER, CONE, BRAKE, FLAT)  # how a segment is formed


@dataclass(frozen=True)
class Sheet:
    """The metal: name, gauge, thickness [in], weight [lb/ft²], longest and widest stock [in] (None: any)."""

    material: str
    gauge: float | int
    thickness_in: float
    weight_lb_ft2: float
    longest_stock_in: float | None = None
    widest_stock_in: float | None = None

    def __post_init__(self):
        problems = []
        wanted = [Param("thickness_in", "in", 0, 1, low_open=True), Param("weight_lb_ft2", "", 0, 100)]
        for name in ("longest_stock_in", "widest_stock_in"):
            if getattr(self, name) is not None:
                wanted.append(Param(name, "in", 1, 12000))
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
    """A line to mark on the metal, shape (n, 2) [in].

    name   'throat', 'heel', 'side' from edge A to edge B; 'quarter' where a segment has no throat; 'bend' with the
           `angle` to brake there [rad]; others as their kind says
    at     its place round the segment, from 0 at the first end to 1 at the last: which plate gets it
    """

    name: str
    line: np.ndarray
    at: float = 0.5
    angle: float | None = None


@dataclass(frozen=True, eq=False)
class Plate:
    """One of the equal plates of a segment that exceeds the stock; x_from, x_to along the longer edge [in]."""

    number: int
    of: int
    x_from: float
    x_to: float
    start_angle: float  # rad, of its first end
    lap: float
    net_outline: np.ndarray
    cut_outline: np.ndarray
    holes: tuple[np.ndarray, ...]
    net_area: float
    cut_area: float
    weight: float
    blank: Blank
    marks: tuple[Mark, ...]


@dataclass(frozen=True, eq=False)
class Segment:
    """One segment and its flat pattern, seen on the face that becomes the outside [in, rad, in², lb].

    A cylinder has x along the circumference and y along the duct's axis from end A to end B, the lowest net point at
    y = 0; other forms lie flat with their middle ruling upright. `stretch_out` is the longer edge, `throat` and `heel`
    the elements at 0° and 180°; all three None where there is none. `cut_outline` and `blank` are those of the segment
    in one piece; `cut_area` is what is really cut, the sum over `plates` where there are any. `surface.to_space` takes
    flat points to the segment's own frame, `strips` are rows of points (two rows each) there for drawings; `frame`
    places that frame in the assembled fitting.
    """

    position: int
    role: str
    form: str
    pattern: str
    stretch_out: float | None
    throat: float | None
    heel: float | None
    lap: float
    net_outline: np.ndarray
    cut_outline: np.ndarray
    edge_a: np.ndarray
    edge_b: np.ndarray
    holes: tuple[np.ndarray, ...]
    start_angle: float
    seam_at: str
    seam_length: float
    net_area: float
    cut_area: float
    weight: float
    blank: Blank
    marks: tuple[Mark, ...]
    plates: tuple[Plate, ...]
    fits_stock: bool
    surface: object
    strips: tuple[tuple[np.ndarray, np.ndarray], ...]
    frame: np.ndarray


@dataclass(frozen=True)
class FreeEnd:
    """An end of the fitting that other duct meets: letter, title, inside size, segment, length of its edge [in].

    `diameter` is None at a rectangular end, which has `width` and `height`.
    """

    end: str
    title: str
    segment: int
    edge_length: float
    diameter: float | None = None
    width: float | None = None
    height: float | None = None


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
    joint_length: float
    free_ends: tuple[FreeEnd, ...]
    warnings: tuple[Warned, ...]
    dimension_units: Mapping[str, str] = field(default_factory=dict)


def assembled(
    kind: str,
    segments,
    *,
    dimensions,
    quantities: Mapping,
    free_ends,
    joint_length: float,
    sheet: Sheet,
    practice: Practice,
    unit: str,
    warnings=(),
) -> Development:
    """The development of a fitting from its segments: totals, and what is unusual about it.

    kind          name of the kind
    segments      its Segments in order of position
    dimensions    rows of (name, value, 'in', 'deg', 'count' or ''), inside dimensions unless the name says mean
    quantities    what the shop's usual ranges may speak of, by the names in practice.QUANTITIES [in, deg or none];
                  gauge and thickness are added here
    free_ends     its FreeEnds
    joint_length  of all joints between segments [in]
    sheet         the metal
    practice      the shop's usual ranges
    unit          unit of lengths in warnings, 'in' or 'mm'
    warnings      more Warned
    returns       Development [in, in², lb]
    source        sums

    >>> from fittings.geometry import Allowances, Practice, Sheet, develop
    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156)
    >>> elbow = develop('gored_elbow', {'diameter': 14, 'angle': 90, 'pieces': 5}, sheet=sheet,
    ...                 allowances=Allowances(), practice=Practice())
    >>> round(elbow.weight - sum(gore.weight for gore in elbow.segments), 9)
    0.0
    """
    segments = tuple(segments)
    quantities = {
        **quantities,
        "gauge": sheet.gauge if isinstance(sheet.gauge, int | float) else None,
        "thickness": sheet.thickness_in,
    }
    return Development(
        kind=kind,
        unit=unit,
        material=sheet.material,
        gauge=sheet.gauge,
        thickness=sheet.thickness_in,
        dimensions={name: value for name, value, _ in dimensions},
        dimension_units={name: quantity for name, _, quantity in dimensions},
        segments=segments,
        net_area=sum(segment.net_area for segment in segments),
        cut_area=sum(segment.cut_area for segment in segments),
        weight=sum(segment.weight for segment in segments),
        joint_length=joint_length,
        free_ends=tuple(free_ends),
        warnings=(
            *unusual(kind, quantities, practice.usual, unit),
            *warnings,
            *exceeds_stock(segments, sheet, unit),
        ),
    )
