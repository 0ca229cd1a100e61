"""Two opposed bends of one radius with a straight between them: from any two of offset, angle and length to the third.

h is the true offset, L the overall length along the axis of end A, R the center-line radius, θ the turn of each bend,
s the straight between them: h = 2R (1 − cos θ) + s sin θ, L = 2R sin θ + s cos θ.
"""

import math
from collections.abc import Mapping

from .bend import shown
from .errors import CannotBeMade, FieldProblem, ParameterError
from .parameters import Param, range_text, with_unit

LONGEST_STRAIGHT = 480.0  # in; a bound of this program, no source
_AGREE = 0.001  # in
_ROUNDED = 1e-9  # in; a straight so little below zero is one of zero

_TWO = "give two of offset, angle and length."
OFFSET = Param("offset", "in", 0, 240, low_open=True, help=f"Sideways shift of the axis; {_TWO}")
TURN = Param("angle", "deg", 0, 90, low_open=True, help=f"Turn of each bend; {_TWO}")
LENGTH = Param("length", "in", 0, 240, low_open=True, help=f"From end A to end B along the axis; {_TWO}")


def overall_length(*, centerline_radius, angle, straight):
    """Length of an offset along the axis of end A: L = 2 R sin θ + s cos θ.

    centerline_radius  R [in], > 0
    angle              θ, turn of each bend [rad]
    straight           s between the bends [in], ≥ 0
    returns            [in]
    source             two tangent arcs; worked example in fixtures/authorities/offset.md

    >>> round(overall_length(centerline_radius=12, angle=math.radians(45), straight=9.85786), 4)
    23.9411
    """
    return 2 * centerline_radius * math.sin(angle) + straight * math.cos(angle)


def smallest_offset(*, centerline_radius, angle):
    """Offset of two opposed bends with no straight between them: 2 R (1 − cos θ).

    centerline_radius  R [in], > 0
    angle              θ, turn of each bend [rad]
    returns            [in]
    source             two tangent arcs; worked example in fixtures/authorities/offset.md

    >>> round(smallest_offset(centerline_radius=12, angle=math.radians(45)), 4)
    7.0294
    """
    return 4 * centerline_radius * math.sin(angle / 2) ** 2


def bends_between(*, true_offset, length, centerline_radius) -> tuple[float, float]:
    """Turn of each bend, and the straight between them, from the true offset and the overall length.

    L sin θ + (2R − h) cos θ = 2R;  s² = L² + h² − 4 R h;  θ = atan2(2R, s) − atan2(2R − h, L)

    true_offset        h [in], > 0
    length             L [in], > 0
    centerline_radius  R [in], > 0
    returns            (θ [rad], s [in]), θ over 90° where the duct would have to turn back; s is nan where no two
                       arcs of this radius fit
    source             inner tangent of two circles of radius R, whose centers are L apart along the axis and 2R − h
                       across it; fixtures/authorities/offset.md

    >>> angle, straight = bends_between(true_offset=14, length=23.9411, centerline_radius=12)
    >>> round(math.degrees(angle), 3), round(straight, 3)
    (45.0, 9.858)
    """
    square = length**2 + true_offset**2 - 4 * centerline_radius * true_offset
    if square < 0:
        if square < -1e-9 * length**2:
            return math.nan, math.nan
        square = 0.0
    straight = math.sqrt(square)
    turn = math.atan2(2 * centerline_radius, straight)
    return turn - math.atan2(2 * centerline_radius - true_offset, length), straight


def bends_from(values: Mapping, radius: float, unit: str = "in") -> tuple[float, float, float]:
    """True offset, turn of each bend and straight between them, from any two of offset, angle and length.

    values   with offset, angle, length (None where left out) and roll, lengths [in], angle [deg]
    radius   R, center-line radius [in]
    unit     unit of lengths in sentences, 'in' or 'mm'
    returns  (h [in], θ [rad], s [in])
    raises   ParameterError where too few are given or all three disagree; CannotBeMade where the bends do not fit
    source   module docstring; fixtures/authorities/offset.md

    >>> values = {'offset': 14.0, 'angle': 45.0, 'length': None, 'roll': 0.0}
    >>> [round(value, 4) for value in bends_from(values, 12.0)]
    [14.0, 0.7854, 9.8579]
    """
    missing = [param for param in (OFFSET, TURN, LENGTH) if values[param.name] is None]
    if len(missing) > 1:
        raise ParameterError([_missing(param, unit) for param in missing])
    if OFFSET in missing:
        return _from_length_and_angle(values, radius, unit)
    if TURN in missing:
        return _from_offset_and_length(values, radius, unit)
    true_offset, angle, straight = _from_offset_and_angle(values, radius, unit)
    length = overall_length(centerline_radius=radius, angle=angle, straight=straight)
    if values["length"] is not None and abs(length - values["length"]) > _AGREE:
        raise ParameterError([_disagreeing(length, values["length"], unit)])
    return true_offset, angle, straight


def _missing(param, unit):
    limit = range_text(param.low, param.high, param.unit, unit, low_open=True)
    return FieldProblem(param.name, None, limit, f"{param.title} is missing; {_TWO} It can be {limit}.")


def _disagreeing(made, length, unit):
    limit = with_unit(made, "in", unit)
    sentence = (
        f"Length is {with_unit(length, 'in', unit)}, but offset and angle make it {limit}; leave out the length, "
        "or another of the three."
    )
    return FieldProblem("length", shown(length, unit), limit, sentence)


def _must_fit(field, value, least, sentence, unit):
    limit = range_text(least, None, "in", unit)
    return CannotBeMade([FieldProblem(field, shown(value, unit), limit, f"{sentence} It must be {limit}.")])


def _straight(value, field, given, quantity, unit):
    """The straight between the bends, zero where it is rounded below, refused where it is out of all proportion."""
    if value > LONGEST_STRAIGHT:
        most = range_text(None, LONGEST_STRAIGHT, "in", unit)
        limit = f"such that the straight between the bends is {most}"
        sentence = (
            f"{field.capitalize()} is {with_unit(given, quantity, unit)}, and the straight between the bends "
            f"{with_unit(value, 'in', unit)}; it can be {limit}."
        )
        shown_value = shown(given, unit) if quantity == "in" else given
        raise CannotBeMade([FieldProblem(field, shown_value, limit, sentence)])
    return max(value, 0.0)


def _from_offset_and_angle(values, radius, unit):
    """s = (h − 2R (1 − cos θ)) / sin θ"""
    angle, roll = math.radians(values["angle"]), values["roll"]
    true_offset = math.hypot(values["offset"], roll)
    least = smallest_offset(centerline_radius=radius, angle=angle)
    straight = (true_offset - least) / math.sin(angle)
    if straight < -_ROUNDED:
        sentence = (
            f"Offset is {with_unit(values['offset'], 'in', unit)}; two bends of {with_unit(values['angle'], 'deg')} "
            f"with a centerline radius of {with_unit(radius, 'in', unit)} already shift by "
            f"{with_unit(least, 'in', unit)}. Use a smaller angle or radius."
        )
        raise _must_fit("offset", values["offset"], math.sqrt(max(least**2 - roll**2, 0.0)), sentence, unit)
    return true_offset, angle, _straight(straight, "angle", values["angle"], "deg", unit)


def _from_offset_and_length(values, radius, unit):
    """See bends_between."""
    length, true_offset = values["length"], math.hypot(values["offset"], values["roll"])
    angle, straight = bends_between(true_offset=true_offset, length=length, centerline_radius=radius)
    if not angle <= math.pi / 2 + 1e-9:
        square = true_offset * (4 * radius - true_offset)
        least = math.sqrt(square) if true_offset < 2 * radius else 2 * radius
        sentence = (
            f"Length is {with_unit(length, 'in', unit)}; two bends with a centerline radius of "
            f"{with_unit(radius, 'in', unit)} that shift by {with_unit(true_offset, 'in', unit)} are longer."
        )
        raise _must_fit("length", length, least, sentence, unit)
    return true_offset, min(angle, math.pi / 2), _straight(straight, "offset", values["offset"], "in", unit)


def _from_length_and_angle(values, radius, unit):
    """s = (L − 2R sin θ) / cos θ"""
    length, roll, angle = values["length"], values["roll"], math.radians(values["angle"])
    if math.cos(angle) < 1e-9:
        limit = range_text(OFFSET.low, OFFSET.high, "in", unit, low_open=True)
        turn = with_unit(values["angle"], "deg")
        sentence = f"Offset is missing; with bends of {turn} the length does not tell it. It can be {limit}."
        raise ParameterError([FieldProblem("offset", None, limit, sentence)])
    least = 2 * radius * math.sin(angle)
    straight = (length - least) / math.cos(angle)
    if straight < -_ROUNDED:
        sentence = (
            f"Length is {with_unit(length, 'in', unit)}; two bends of {with_unit(values['angle'], 'deg')} with a "
            f"centerline radius of {with_unit(radius, 'in', unit)} are longer."
        )
        raise _must_fit("length", length, least, sentence, unit)
    straight = _straight(straight, "angle", values["angle"], "deg", unit)
    true_offset = smallest_offset(centerline_radius=radius, angle=angle) + straight * math.sin(angle)
    if roll > true_offset:
        limit = range_text(None, true_offset, "in", unit)
        sentence = (
            f"Roll is {with_unit(roll, 'in', unit)}; length and angle make a true offset of "
            f"{with_unit(true_offset, 'in', unit)}, and the roll can be {limit}."
        )
        raise CannotBeMade([FieldProblem("roll", shown(roll, unit), limit, sentence)])
    return true_offset, angle, straight
