"""What bends have in common: the center-line radius, as a length or as a ratio to the diameter, and their seams."""

import math
from collections.abc import Mapping

from .errors import CannotBeMade, FieldProblem, ParameterError
from .parameters import MM_PER_IN, Param, number_text, range_text, with_unit

LARGEST_RATIO = 10.0
DEFAULT_RATIO = 1.5  # common practice, no source
SHORTEST_THROAT = 0.001  # in; less, and the two edges of a gore meet or cross
SEAM_ANGLES = {"throat": 0.0, "side": math.pi / 2, "heel": math.pi}

RADIUS = (
    Param("radius_ratio", "", 0.5, LARGEST_RATIO, help="Centerline radius over diameter; left out: 1.5."),
    Param("centerline_radius", "in", 0, 1200, low_open=True, help="Instead of the radius ratio."),
)
SEAMS = (
    Param(
        "seam_at",
        "choice",
        default="heel",
        choices=("throat", "heel", "side"),
        help="Where the seams lie.",
        more=True,
    ),
    Param(
        "stagger_seams",
        "bool",
        default=False,
        help="Turn the seam of every second segment by 180°.",
        more=True,
    ),
    Param("gore_class", "choice", default="standard", help="Class of the gore table.", more=True),
)


def radius_from(values: Mapping, unit: str = "in") -> tuple[float, str]:
    """The center-line radius of a bend, and the name of the parameter that it was given as.

    values   with diameter, centerline_radius [in] and radius_ratio, the last two None where left out
    unit     unit of lengths in sentences, 'in' or 'mm'
    returns  (radius [in], 'centerline_radius' or 'radius_ratio'); 1.5 diameters where neither is given
    raises   ParameterError where the two disagree by more than 0.001 in, or exceed ten diameters
    source   UFGS 15566A, 2.10.1 asks for 1.5; limits: fixtures/authorities/gored_elbow.md

    >>> radius_from({'diameter': 14.0, 'centerline_radius': None, 'radius_ratio': None})
    (21.0, 'radius_ratio')
    """
    diameter, radius, ratio = values["diameter"], values["centerline_radius"], values["radius_ratio"]
    given_as = "centerline_radius"
    if radius is None:
        given_as = "radius_ratio"
        ratio = DEFAULT_RATIO if ratio is None else ratio
        radius = ratio * diameter
    elif ratio is not None and abs(radius - ratio * diameter) > 0.001:
        limit = with_unit(ratio * diameter, "in", unit)
        sentence = (
            f"Centerline radius is {with_unit(radius, 'in', unit)}, but the radius ratio of "
            f"{number_text(ratio)} makes it {limit}; give only one of them."
        )
        raise ParameterError([FieldProblem(given_as, shown(radius, unit), limit, sentence)])
    if radius > LARGEST_RATIO * diameter * (1 + 1e-9):
        limit = range_text(diameter / 2, LARGEST_RATIO * diameter, "in", unit)
        sentence = (
            f"Centerline radius is {with_unit(radius, 'in', unit)}; for this diameter it can be {limit}."
        )
        raise ParameterError([FieldProblem(given_as, shown(radius, unit), limit, sentence)])
    return radius, given_as


def shown(length: float, unit: str = "in") -> float:
    """A length in the unit that it was asked in.

    length   [in]
    unit     'in' or 'mm'
    returns  [in or mm]
    source   1 in = 25.4 mm exactly: international yard and pound agreement, 1959

    >>> shown(2.0, 'mm')
    50.8
    """
    return length * (MM_PER_IN if unit == "mm" else 1.0)


def gores_must_not_cross(
    pieces: Mapping[str, float], *, radius: float, given_as: str, diameter: float, thickness: float, unit="in"
) -> None:
    """Refuse a bend whose gores have no metal left at the throat.

    pieces     name of a piece to its throat length on the mean surface [in]
    radius     R, center-line radius [in]
    given_as   'centerline_radius' or 'radius_ratio', the field to name
    diameter   inside diameter [in]
    thickness  of the metal [in]
    unit       unit of lengths in sentences, 'in' or 'mm'
    returns    None
    raises     CannotBeMade naming `given_as`
    source     limits: fixtures/authorities/gored_elbow.md

    >>> gores_must_not_cross({'end gore': 2.8}, radius=21, given_as='radius_ratio', diameter=14, thickness=0.03)
    """
    by_ratio = given_as == "radius_ratio"
    value = radius / diameter if by_ratio else shown(radius, unit)
    throat_radius = radius - diameter / 2
    if throat_radius < -1e-9:
        limit = "at least 0.5" if by_ratio else range_text(diameter / 2, None, "in", unit)
        sentence = (
            f"Throat radius is {with_unit(throat_radius, 'in', unit)}; it cannot be below zero: the centerline "
            f"radius must be {limit}."
        )
        raise CannotBeMade([FieldProblem(given_as, value, limit, sentence)])
    mean_radius = (diameter + thickness) / 2
    title = "The radius ratio" if by_ratio else "The centerline radius"
    for piece, length in pieces.items():
        if length < SHORTEST_THROAT:
            least = number_text(mean_radius / diameter) if by_ratio else with_unit(mean_radius, "in", unit)
            limit = f"more than {least}"
            sentence = (
                f"The edges of the {piece} meet or cross at the throat: its throat length on the mean "
                f"surface is {with_unit(length, 'in', unit)}. {title} must be {limit}; a larger angle or fewer pieces "
                "lengthen it too."
            )
            raise CannotBeMade([FieldProblem(given_as, value, limit, sentence)])
