"""Which end goes inside which: the sizes of a free end as it is finished, and whether it meets its neighbour.

The rows come from the shop's tables. A plain end is a tube of the inside diameter D and thickness t; its girth
is measured on the mean surface, π(D + t). An end that goes inside the next piece is drawn in: its girth is
smaller by so many thicknesses, and its diameter by a clearance besides.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from .development import FreeEnd

INSIDE, OUTSIDE, FACE, PLAIN = "inside", "outside", "face", "plain"
GOES = (INSIDE, OUTSIDE, FACE, PLAIN)
WAYS = {
    INSIDE: "goes inside the next piece",
    OUTSIDE: "goes over the next piece",
    FACE: "meets the next piece face to face",
    PLAIN: "takes a male end",
}


@dataclass(frozen=True)
class EndRow:
    """One row of the shop's ends table: a finish, and what it makes of a plain end.

    `goes` is one of GOES; `deduct_t` is how many thicknesses the girth is smaller than the plain end's;
    `clear_in` how much the diameter is smaller besides [in]; `length_in` the insertion length, or the upstand
    of a flange or ring [in].
    """

    name: str
    title: str
    goes: str = PLAIN
    deduct_t: float = 0.0
    clear_in: float = 0.0
    length_in: float = 0.0


@dataclass(frozen=True)
class PairRow:
    """One row of the shop's pairs table: two ways that ends go, over a range of gauges, and whether they join."""

    this: str
    other: str
    gauge_from: int
    gauge_to: int
    fits: bool
    how: str
    source: str = ""


@dataclass(frozen=True)
class FittedEnd:
    """A free end as it is finished [in], and whether it meets its neighbour: `fits` is None where not told."""

    end: str
    title: str
    finish: str
    goes: str
    inside_diameter: float | None
    outside_diameter: float | None
    girth: float | None
    length: float
    joins: str = ""
    fits: bool | None = None
    note: str = ""


def end_sizes(diameter: float, thickness: float, row: EndRow) -> tuple[float, float, float]:
    """Inside diameter, outside diameter and girth of a round end as it is finished.

    g = π(D + t) − n·t − π·c, inside g/π − t, outside g/π + t; a flange or ring stands out by its upstand:
    outside D + 2t + 2u

    diameter   D, inside diameter of the free end [in], > 0
    thickness  t [in], > 0
    row        its finish: n = deduct_t, c = clear_in [in], u = length_in [in] where it goes face to face
    returns    (inside, outside, girth on the mean surface) [in]
    source     E. M. Longfield, Sheet Metal Drafting (1921), p. 60: small end girth = big end girth − 7 t;
               with n = 2π the outside of the small end equals the inside of the big one

    >>> slip = EndRow('slip', 'Drawn in', 'inside', deduct_t=7)
    >>> plain, small = (end_sizes(14.0, 0.028125, row)[2] for row in (EndRow('raw', 'Raw'), slip))
    >>> round(plain - small, 6)
    0.196875
    """
    girth = math.pi * (diameter + thickness) - row.deduct_t * thickness - math.pi * row.clear_in
    inside, outside = girth / math.pi - thickness, girth / math.pi + thickness
    if row.goes == FACE:
        outside += 2 * row.length_in
    return inside, outside, girth


def pair_problem(this: str, other: str, gauge: int, pairs: Sequence[PairRow]) -> tuple[bool | None, str]:
    """Whether two ends go together, and how they are joined or why they do not; the first row that applies.

    this, other  how the two ends go, of GOES; their order does not matter
    gauge        of the fitting [1: a gauge number, not a length]
    pairs        the shop's rows
    returns      (True, how they are joined), (False, the reason), or (None, that no row says)
    source       the rows name theirs

    >>> rows = [PairRow('inside', 'inside', 1, 40, False, 'Both are male.')]
    >>> pair_problem('inside', 'inside', 24, rows)
    (False, 'Both are male.')
    >>> pair_problem('inside', 'plain', 24, rows)[0] is None
    True
    """
    for row in pairs:
        if {row.this, row.other} == {this, other} and row.gauge_from <= gauge <= row.gauge_to:
            return row.fits, row.how
    return None, f"The table of pairs has no row for {this} with {other} at {gauge} gauge."


def fitted_end(
    free: FreeEnd,
    row: EndRow,
    *,
    thickness: float,
    gauge: int,
    joins: EndRow | None = None,
    pairs: Sequence[PairRow] = (),
) -> FittedEnd:
    """A free end as it is finished, and whether it meets its neighbour.

    free       the end before it is finished [in]
    row        its finish
    thickness  [in]
    gauge      of the fitting [1: a gauge number, not a length]
    joins      the finish of the neighbour's end, None where it was not told
    pairs      the shop's table of pairs
    returns    FittedEnd [in]; a rectangular end has no diameters and keeps its own girth
    source     `end_sizes` and `pair_problem`

    >>> free = FreeEnd('a', 'End A', segment=1, edge_length=44.069, diameter=14.0)
    >>> round(fitted_end(free, EndRow('raw', 'Raw'), thickness=0.0276, gauge=24).girth, 3)
    44.069
    """
    inside = outside = None
    girth = free.edge_length
    if free.diameter is not None:
        inside, outside, girth = end_sizes(free.diameter, thickness, row)
    fits, note = (None, "") if joins is None else pair_problem(row.goes, joins.goes, gauge, pairs)
    return FittedEnd(
        free.end,
        free.title,
        row.name,
        row.goes,
        inside,
        outside,
        girth,
        row.length_in,
        "" if joins is None else joins.name,
        fits,
        note,
    )


def misfit_sentence(fitted: FittedEnd, row: EndRow, joins: EndRow) -> str:
    """The warning about an end that does not go with its neighbour's.

    fitted   the end [in], with `fits` False
    row      its finish
    joins    the neighbour's
    returns  two sentences: what meets what, and the reason with what usually goes together
    source   the reason is that of the shop's table of pairs, which names its source

    >>> end = FittedEnd('a', 'End A', 'crimp', 'inside', 13.9, 14.0, 43.8, 1.5, 'crimp', False, 'Both are male.')
    >>> crimp = EndRow('crimp', 'Crimped', 'inside')
    >>> misfit_sentence(end, crimp, crimp)
    'End A (crimped) goes inside the next piece, and so does the end that it joins (crimped). Both are male.'
    """

    def said(of: EndRow) -> str:
        title = of.title.partition(",")[0]
        return title[:1].lower() + title[1:]

    other = f"the end that it joins ({said(joins)})"
    second = f", and so does {other}" if row.goes == joins.goes else f"; {other} {WAYS[joins.goes]}"
    return f"{fitted.title} ({said(row)}) {WAYS[row.goes]}{second}. {fitted.note}"


def ends_as_list(ends: Sequence[FittedEnd], per_inch: float = 1.0) -> list[Mapping]:
    """The finished ends in the shape of the HTTP contract.

    ends      in the order of the fitting [in]
    per_inch  1 for inches, 25.4 for millimetres [mm]
    returns   list of dicts, lengths to four decimals, None where there is none
    source    1 in = 25.4 mm exactly: international yard and pound agreement, 1959

    >>> end = FittedEnd('a', 'End A', 'raw', 'plain', 10.0, 10.1, 31.5, 0.0)
    >>> ends_as_list([end], 25.4)[0]['inside_diameter']
    254.0
    """
    lengths = ("inside_diameter", "outside_diameter", "girth", "length")

    def shown(name, value):
        return round(value * per_inch, 4) if name in lengths and value is not None else value

    return [{name: shown(name, value) for name, value in vars(end).items()} for end in ends]
