"""The shop's usual ranges and its gore table, as plain rows: what warns, and how many pieces an elbow has."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from .errors import CannotBeMade, FieldProblem
from .parameters import number_text, range_text, with_unit

_BESIDE_FLANGES = 0.25  # in of flat metal left between two flanges; common practice, no source

QUANTITIES = {
    "diameter": ("Diameter", "in"),
    "radius_ratio": ("Centerline radius over diameter", ""),
    "centerline_radius": ("Centerline radius", "in"),
    "throat_radius": ("Throat radius", "in"),
    "throat_radius_ratio": ("Throat radius over diameter", ""),
    "gore_angle": ("Gore angle", "deg"),
    "miter_angle": ("Miter angle", "deg"),
    "pieces": ("Number of pieces", "count"),
    "throat_length": ("Throat length", "in"),
    "heel_length": ("Heel length", "in"),
    "stretch_out": ("Stretch-out", "in"),
    "taper_angle": ("Taper of the steepest side", "deg"),
    "included_angle": ("Included angle", "deg"),
    "slope_angle": ("Slope of the steepest side", "deg"),
    "length": ("Length", "in"),
    "length_over_reduction": ("Length over the reduction of its steepest side", ""),
    "branch_angle": ("Branch angle", "deg"),
    "branch_ratio": ("Branch diameter over run diameter", ""),
    "offset_angle": ("Offset angle", "deg"),
    "straight_between": ("Straight between the bends", "in"),
    "depth": ("Depth", "in"),
    "bends": ("Bend lines", "count"),
    "gauge": ("Gauge", "count"),
    "thickness": ("Thickness", "in"),
}


@dataclass(frozen=True)
class GoreRow:
    """One row of the gore table: up to this angle, over and up to these diameters, so many pieces.

    A diameter bound of None is open. `source` names the printed table, or says that it is common practice.
    """

    angle_deg_max: float
    diameter_over_in: float | None
    diameter_to_in: float | None
    gore_class: str
    pieces: int
    source: str = ""


@dataclass(frozen=True)
class UsualRange:
    """The usual range of one quantity of one kind ('*': all); outside it a fitting is unusual, not refused.

    `low` and `high` are inclusive, None where open, in inches, degrees or plain numbers as `QUANTITIES` says;
    `reason` completes the warning.
    """

    kind: str
    quantity: str
    low: float | None
    high: float | None
    reason: str
    source: str = ""


@dataclass(frozen=True)
class Practice:
    """The rows of the shop's tables that the geometry reads."""

    gore_rows: Sequence[GoreRow] = ()
    usual: Sequence[UsualRange] = ()


@dataclass(frozen=True)
class Warned:
    """One warning: a stable code for programs, a sentence for people."""

    code: str
    message: str


def pieces_for(angle_deg: float, diameter_in: float, gore_class: str, rows: Sequence[GoreRow]) -> int:
    """Number of pieces of an elbow from the shop's gore table.

    The row with the smallest angle that is not below the asked one, among the rows of the class and diameter;
    the first of equal rows. Above the largest listed angle its gore angle is kept:
    pieces = 1 + ⌈angle / (angle of row / (pieces of row − 1))⌉

    angle_deg    angle of the elbow [deg], > 0
    diameter_in  inside diameter [in]; a row applies over its lower and up to its upper bound
    gore_class   class of the gore table, 'standard' for one
    rows         the table
    returns      pieces, ≥ 2
    raises       CannotBeMade naming `gore_class`, `diameter` or the missing table, if no row applies
    source       form of the table: UFGS 15801N, para 2.9.3 (pieces by angle and diameter);
                 keeping the gore angle beyond it: common practice, no source

    >>> rows = [GoreRow(45, None, 16, 'standard', 3), GoreRow(90, None, 16, 'standard', 5)]
    >>> [pieces_for(angle, 14, 'standard', rows) for angle in (60, 45, 180)]
    [5, 3, 9]
    """
    of_class = [row for row in rows if row.gore_class == gore_class]
    if not of_class:
        known = sorted({row.gore_class for row in rows})
        limit = ", ".join(known) if known else "pieces given outright: the gore table is empty"
        sentence = f"The gore table has no class “{gore_class}”; it can be {limit}."
        raise CannotBeMade([FieldProblem("gore_class", gore_class, limit, sentence)])
    fitting = [row for row in of_class if _covers(row, diameter_in)]
    if not fitting:
        bands = sorted({(row.diameter_over_in or 0.0, row.diameter_to_in or math.inf) for row in of_class})
        limit = "; ".join(f"over {number_text(low)} to {_upper_text(high)}" for low, high in bands)
        sentence = (
            f"The gore table has no row for a diameter of {number_text(diameter_in)} in; it covers {limit}. "
            "Give the number of pieces."
        )
        raise CannotBeMade([FieldProblem("diameter", diameter_in, limit, sentence)])
    enough = [row for row in fitting if row.angle_deg_max >= angle_deg - 1e-9]
    if enough:
        return min(enough, key=lambda row: row.angle_deg_max).pieces
    largest = max(fitting, key=lambda row: row.angle_deg_max)
    gore_angle = largest.angle_deg_max / (largest.pieces - 1)
    return 1 + math.ceil(angle_deg / gore_angle - 1e-9)


def _covers(row, diameter):
    over = row.diameter_over_in is None or diameter > row.diameter_over_in + 1e-9
    return over and (row.diameter_to_in is None or diameter <= row.diameter_to_in + 1e-9)


def _upper_text(high):
    return "any" if math.isinf(high) else f"{number_text(high)} in"


def unusual(
    kind: str, quantities: Mapping[str, float], usual: Sequence[UsualRange], unit: str = "in"
) -> tuple:
    """Warnings for the quantities of a fitting that lie outside the shop's usual ranges.

    kind        name of the kind
    quantities  name, as in QUANTITIES, to value [in, deg or none]; rows about others are passed over
    usual       the shop's rows
    unit        unit of lengths in the sentences, 'in' or 'mm'
    returns     tuple of Warned, in the order of the rows; the code is the quantity and _low or _high
    source      the rows name theirs

    >>> rows = [UsualRange('*', 'diameter', 4, 60, 'Machines close 4 to 60 in.')]
    >>> unusual('gored_elbow', {'diameter': 72.0}, rows)[0].message
    'Diameter is 72 in; usual is 4 to 60 in. Machines close 4 to 60 in.'
    """
    found = []
    for row in usual:
        value = quantities.get(row.quantity)
        if row.kind not in (kind, "*") or value is None or (row.low is None and row.high is None):
            continue
        too_low = row.low is not None and value < row.low - 1e-9
        too_high = row.high is not None and value > row.high + 1e-9
        if too_low or too_high:
            title, quantity = QUANTITIES.get(row.quantity, (row.quantity.replace("_", " ").capitalize(), ""))
            usual_text = range_text(row.low, row.high, quantity, unit)
            value_text = with_unit(round(value, 2), quantity, unit)
            message = f"{title} is {value_text}; usual is {usual_text}. {row.reason}".strip()
            found.append(Warned(f"{row.quantity}_{'low' if too_low else 'high'}", message))
    return tuple(found)


def short_throat(throat: float, width_a: float, width_b: float, unit: str = "in") -> tuple:
    """Warning that a gore is too short at the throat for its two flanges to be pressed.

    throat            throat length of the gore [in]
    width_a, width_b  its edge allowances [in]
    unit              unit of lengths in the sentence, 'in' or 'mm'
    returns           tuple of one Warned, or empty; never warns where an edge has no flange
    source            common practice, no source: both flanges and 1/4 in of flat between them

    >>> short_throat(0.8, 0.25, 0.375)[0].code, short_throat(2.0, 0.25, 0.375)
    ('throat_too_short_to_flange', ())
    """
    least = width_a + width_b + _BESIDE_FLANGES
    if width_a <= 0 or width_b <= 0 or throat >= least:
        return ()
    message = (
        f"Throat length of a middle gore is {with_unit(throat, 'in', unit)}; to press both flanges it is "
        f"usually {range_text(least, None, 'in', unit)}. Fewer pieces or a larger radius make it longer."
    )
    return (Warned("throat_too_short_to_flange", message),)


def exceeds_stock(segments, sheet, unit: str = "in") -> tuple:
    """Warning that a segment, however it is divided into plates, cannot be laid on the shop's stock.

    segments  Segments, with `fits_stock`, `role` and `blank` [in]
    sheet     the metal, with longest and widest stock [in]
    unit      unit of lengths in the sentence, 'in' or 'mm'
    returns   tuple of one Warned, or empty
    source    definition

    >>> from types import SimpleNamespace
    >>> one = SimpleNamespace(fits_stock=True)
    >>> exceeds_stock([one], sheet=None)
    ()
    """
    for segment in segments:
        if not segment.fits_stock:
            blank = " × ".join(
                with_unit(side, "in", unit) for side in (segment.blank.width, segment.blank.height)
            )
            stock = " × ".join(
                with_unit(side, "in", unit)
                for side in (sheet.widest_stock_in, sheet.longest_stock_in)
                if side is not None
            )
            name = segment.role.replace("_", " ")
            message = (
                f"The {name} takes a blank of {blank}; plates of it are still larger than the largest stock, "
                f"{stock}. Make it shorter, or order stock for it."
            )
            return (Warned("exceeds_stock", message),)
    return ()
