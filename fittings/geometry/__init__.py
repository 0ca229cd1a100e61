"""Pure geometry of round sheet-metal fittings: parameters in, flat patterns out.

Inside this package every length is in inches and every angle in radians, unless a name ends in _deg; areas
are in², weights lb. Given diameters are inside diameters; developments lie on the mean surface, diameter plus
thickness. Curves are sampled so that no point of the true curve is farther than 0.005 in from the polyline.

The standard library, numpy and shapely; no framework, no database, no clock, no files.
"""

from collections.abc import Mapping

from . import (
    conical_tee,
    end_cap,
    gored_elbow,
    offset,
    pipe,
    reducer,
    reducing_elbow,
    saddle,
    square_to_round,
    tee,
    wye,
)
from .allowances import Allowances, allowances_from
from .answer import development_as_dict
from .development import Blank, Development, FreeEnd, Mark, Plate, Segment, Sheet
from .errors import CannotBeMade, FieldProblem, GeometryError, ParameterError
from .parameters import Kind, Param, cleaned, problem
from .practice import GoreRow, Practice, UsualRange, Warned, pieces_for
from .rolling import placed, placement, roll_up

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        gored_elbow.KIND,
        reducer.KIND,
        offset.KIND,
        end_cap.KIND,
        tee.KIND,
        saddle.KIND,
        square_to_round.KIND,
        pipe.KIND,
        conical_tee.KIND,
        wye.KIND,
        reducing_elbow.KIND,
    )
}

__all__ = [
    "KINDS",
    "Allowances",
    "Blank",
    "CannotBeMade",
    "Development",
    "FieldProblem",
    "FreeEnd",
    "GeometryError",
    "GoreRow",
    "Kind",
    "Mark",
    "Param",
    "ParameterError",
    "Plate",
    "Practice",
    "Segment",
    "Sheet",
    "UsualRange",
    "Warned",
    "allowances_from",
    "develop",
    "development_as_dict",
    "pieces_for",
    "placed",
    "placement",
    "roll_up",
]


def develop(
    kind: str, params: Mapping, *, sheet: Sheet, allowances: Allowances, practice: Practice, unit: str = "in"
) -> Development:
    """Flat patterns of one fitting.

    kind        a name in KINDS
    params      name to value, lengths in `unit` [in or mm], angles [deg]; None counts as left out
    sheet       the metal [in, lb/ft²]
    allowances  lap and edges [in]
    practice    the shop's gore table and usual ranges
    unit        unit of the lengths in params and in sentences, 'in' or 'mm'
    returns     Development, held in inches [in, in², lb]
    raises      ParameterError naming every wrong field at once; CannotBeMade where they do not go together
    source      fixtures/authorities/, a file for each kind

    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156)
    >>> elbow = develop('gored_elbow', {'diameter': 14, 'angle': 90, 'pieces': 5, 'radius_ratio': 1.5},
    ...                 sheet=sheet, allowances=Allowances(lap=0.5), practice=Practice())
    >>> round(elbow.segments[0].stretch_out, 2), elbow.dimensions['throat_radius']
    (44.07, 14.0)
    """
    if not isinstance(kind, str) or kind not in KINDS:
        raise ParameterError([problem("kind", "Kind", kind, ", ".join(KINDS))])
    found = KINDS[kind]
    values = cleaned(found, params, unit)
    return found.build(values, sheet=sheet, allowances=allowances, practice=practice, unit=unit)
