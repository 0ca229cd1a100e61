"""The parameter schema of a kind of fitting, and the one place where given values are checked against it.

Forms, the HTTP API and its schema read the same `Kind` and `Param` rows, so a range is written once.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from numbers import Real

from .errors import FieldProblem, ParameterError

MM_PER_IN = 25.4  # exact: international inch, 1959
UNITS = ("in", "mm")
_LONGEST_TEXT = 60


@dataclass(frozen=True)
class Param:
    """One parameter; `unit`, of its range too, is 'in', 'deg', '' (a ratio), 'count', 'choice' or 'bool'.

    `low_open` leaves the lower bound itself out. Unless `required` it may be left out, and is then `default`.
    A 'choice' without `choices` takes any short text (its values live in the shop's tables). `more` is for what is
    seldom given: forms fold it away.
    """

    name: str
    unit: str
    low: float | None = None
    high: float | None = None
    low_open: bool = False
    default: object = None
    choices: tuple[str, ...] = ()
    help: str = ""
    required: bool = False
    more: bool = False

    @property
    def title(self) -> str:
        return self.name.replace("_", " ").capitalize()


@dataclass(frozen=True)
class Kind:
    """A kind of fitting: its name in the API, its title, its parameters, the function that develops it.

    `help` says in one sentence what it is; `ends` are the letters and titles of its free ends. Those in `lies_on` are
    finished like others but lie on another piece: no duct's end meets them.
    """

    name: str
    title: str
    params: tuple[Param, ...]
    build: Callable
    help: str = ""
    ends: tuple[tuple[str, str], ...] = (("a", "End A"), ("b", "End B"))
    lies_on: tuple[str, ...] = ()

    @property
    def meeting_ends(self) -> tuple[tuple[str, str], ...]:
        """Letters and titles of the ends that other duct meets."""
        return tuple(end for end in self.ends if end[0] not in self.lies_on)


def built(spec_from: Callable, develop_spec: Callable, *needs: str) -> Callable:
    """The function of a kind that goes from the checked values of its parameters to a development.

    spec_from     values and `unit`, and what it `needs`, to a spec; refuses what cannot be made
    develop_spec  the spec with sheet, allowances, practice and unit to a Development [in, in², lb]
    needs         what spec_from reads besides: 'practice' (the shop's tables), 'thickness' of the metal [in]
    returns       build(values, *, sheet, allowances, practice, unit='in')
    source        house rule; no outside source

    >>> from types import SimpleNamespace
    >>> build = built(lambda values, *, thickness, unit: (values, thickness), lambda spec, **_: spec, 'thickness')
    >>> build({'diameter': 14}, sheet=SimpleNamespace(thickness_in=0.03), allowances=None, practice=None)
    ({'diameter': 14}, 0.03)
    """

    def build(values, *, sheet, allowances, practice, unit="in"):
        known = {"practice": practice, "thickness": sheet.thickness_in}
        spec = spec_from(values, unit=unit, **{name: known[name] for name in needs})
        return develop_spec(spec, sheet=sheet, allowances=allowances, practice=practice, unit=unit)

    return build


def number_text(value: float) -> str:
    """Shortest plain text of a number for a sentence: at most four decimals and no exponent.

    value    any finite number [in, deg or a plain count]
    returns  text
    source   house rule; no outside source

    >>> number_text(14.0), number_text(0.12345), number_text(1e9)
    ('14', '0.1235', '1000000000')
    """
    text = f"{float(value):.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def with_unit(value: float, quantity: str, unit: str = "in") -> str:
    """A quantity as text with its unit, lengths turned from inches into `unit`.

    value     the quantity [in for a length, deg for an angle, else a plain number]
    quantity  'in', 'deg', 'count' or ''
    unit      unit to show lengths in, 'in' or 'mm'
    returns   text
    source    1 in = 25.4 mm exactly: international yard and pound agreement, 1959

    >>> with_unit(2.0, 'in', 'mm'), with_unit(22.5, 'deg'), with_unit(5, 'count')
    ('50.8 mm', '22.5°', '5')
    """
    if quantity == "in":
        return f"{number_text(value * (MM_PER_IN if unit == 'mm' else 1.0))} {unit}"
    return number_text(value) + ("°" if quantity == "deg" else "")


def range_text(low, high, quantity: str, unit: str = "in", *, low_open: bool = False) -> str:
    """A range as text, in the unit that the reader uses.

    low, high  the bounds, None where open [in for a length, deg for an angle, else a plain number]
    quantity   'in', 'deg', 'count' or ''
    unit       unit to show lengths in, 'in' or 'mm'
    low_open   the lower bound itself is left out
    returns    text
    source     house rule; no outside source

    >>> range_text(2, 60, 'count'), range_text(0, 180, 'deg', low_open=True)
    ('2 to 60', 'more than 0° and at most 180°')
    >>> range_text(None, 60, 'in'), range_text(1, None, 'in', 'mm')
    ('at most 60 in', 'at least 25.4 mm')
    """
    if low is None:
        return f"at most {with_unit(high, quantity, unit)}"
    if high is None:
        return f"at least {with_unit(low, quantity, unit)}"
    if low_open:
        return f"more than {with_unit(low, quantity, unit)} and at most {with_unit(high, quantity, unit)}"
    bare_low = with_unit(low, quantity, unit)
    if quantity == "in":
        bare_low = bare_low.rsplit(" ", 1)[0]
    return f"{bare_low} to {with_unit(high, quantity, unit)}"


def _plain(value):
    """The value as JSON can carry it: what is not finite or is very long becomes text."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, Real | Decimal):
        try:
            number = float(value)
        except (OverflowError, ValueError):
            return "a number with hundreds of digits"
        if not math.isfinite(number):
            return str(number)
        return int(value) if isinstance(value, int) else number
    return str(value)[:_LONGEST_TEXT]


def as_number(value) -> float | None:
    """The value as a float, or None if it is no finite number (a bool or a text is none).

    value    anything; a number keeps its unit [in, deg or none]
    returns  float, or None
    source   house rule; no outside source

    >>> as_number(14), as_number('14'), as_number(True), as_number(float('nan'))
    (14.0, None, None, None)
    """
    if isinstance(value, bool) or not isinstance(value, Real | Decimal):
        return None
    try:
        number = float(value)
    except (OverflowError, ValueError):
        return None
    return number if math.isfinite(number) else None


def problem(field: str, title: str, value, limit: str) -> FieldProblem:
    """A problem with the usual sentence: what the value is and what it can be.

    field    name of the field
    title    the name as a person reads it
    value    the value given [in, deg or none, as `limit` says]
    limit    the allowed range as text, with its unit
    returns  FieldProblem
    source   RFC 9457 errors carry field, value and range; wording is a house rule

    >>> problem('pieces', 'Pieces', 61, '2 to 60').sentence
    'Pieces is 61; it can be 2 to 60.'
    """
    plain = _plain(value)
    shown = (
        number_text(plain) if isinstance(plain, int | float) and not isinstance(plain, bool) else f"“{plain}”"
    )
    unit = next((word for word in UNITS if limit.endswith(" " + word)), "")
    shown += " " + unit if unit and not shown.startswith("“") else ""
    shown += "°" if limit.endswith("°") and not shown.startswith("“") else ""
    return FieldProblem(field, plain, limit, f"{title} is {shown}; it can be {limit}.")


def checked(param: Param, value, unit: str = "in", *, prefix: str = ""):
    """One given value checked against its parameter and turned into inches.

    param    the Param
    value    as given: a length in `unit` [in or mm], an angle [deg], a count, a choice, a bool
    unit     unit of lengths, 'in' or 'mm'
    prefix   put before the field's name, for values inside another object
    returns  the value, a length in inches [in]
    raises   ParameterError with one problem
    source   ranges are the fields of `Param`

    >>> checked(Param('diameter', 'in', 1, 120), 254, 'mm')
    10.0
    >>> checked(Param('pieces', 'count', 2, 60), 61)
    Traceback (most recent call last):
    fittings.geometry.errors.ParameterError: Pieces is 61; it can be 2 to 60.
    """
    field = prefix + param.name
    if param.unit == "bool":
        if isinstance(value, bool):
            return value
        raise ParameterError([problem(field, param.title, value, "true or false")])
    if param.unit == "choice":
        if (
            isinstance(value, str)
            and 0 < len(value) <= _LONGEST_TEXT
            and (not param.choices or value in param.choices)
        ):
            return value
        limit = ", ".join(param.choices) if param.choices else f"a text of 1 to {_LONGEST_TEXT} characters"
        raise ParameterError([problem(field, param.title, value, limit)])
    limit = range_text(param.low, param.high, param.unit, unit, low_open=param.low_open)
    number = as_number(value)
    if number is None:
        raise ParameterError([problem(field, param.title, value, limit)])
    if param.unit == "in" and unit == "mm":
        number /= MM_PER_IN
    slack = 1e-9 * max(1.0, abs(number))  # a bound written in mm must not fail by a rounded bit
    too_low = param.low is not None and (
        number <= param.low if param.low_open else number < param.low - slack
    )
    too_high = param.high is not None and number > param.high + slack
    broken_count = param.unit == "count" and number != int(number)
    if too_low or too_high or broken_count:
        if broken_count:
            limit = "a whole number, " + limit
        raise ParameterError([problem(field, param.title, value, limit)])
    return int(number) if param.unit == "count" else number


def cleaned(kind: Kind, params: Mapping, unit: str = "in") -> dict:
    """All given values of a kind checked, defaults filled in, lengths in inches.

    kind     the Kind
    params   name to value, lengths in `unit` [in or mm], angles [deg]; None counts as left out
    unit     'in' or 'mm'
    returns  dict with every parameter of the kind, lengths [in]
    raises   ParameterError naming every wrong, unknown or missing field at once
    source   ranges are those of the kind's `params`

    >>> kind = Kind('pipe', 'Pipe', (Param('diameter', 'in', 1, 120, required=True),), build=None)
    >>> cleaned(kind, {'diameter': 14})
    {'diameter': 14.0}
    >>> [wrong.field for wrong in _problems_of(kind, {'lenght': 3})]
    ['lenght', 'diameter']
    """
    if unit not in UNITS:
        raise ParameterError([problem("unit", "Unit", unit, "“in” or “mm”")])
    if not isinstance(params, Mapping):
        raise ParameterError([problem("params", "Params", params, "an object of names and values")])
    known = {param.name: param for param in kind.params}
    problems = []
    for name, value in params.items():
        if name not in known:
            shown = str(name)[:_LONGEST_TEXT]
            sentence = f"“{shown}” is not a parameter of {kind.name}; it takes {', '.join(known)}."
            problems.append(FieldProblem(shown, _plain(value), ", ".join(known), sentence))
    values = {}
    for name, param in known.items():
        given = params.get(name)
        if given is None:
            if param.required:
                limit = range_text(param.low, param.high, param.unit, unit, low_open=param.low_open)
                sentence = f"{param.title} is missing; it can be {limit}."
                problems.append(FieldProblem(name, None, limit, sentence))
            values[name] = param.default
            continue
        try:
            values[name] = checked(param, given, unit)
        except ParameterError as error:
            problems.extend(error.problems)
    if problems:
        raise ParameterError(problems)
    return values


def _problems_of(kind, params, unit="in"):
    try:
        cleaned(kind, params, unit)
    except ParameterError as error:
        return error.problems
    return ()
