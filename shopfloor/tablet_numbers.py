"""The numbers of a piece that matter at the operation it is at here, from its frozen development, in words to read.

Everything is asked of the database before a word is said (`Facts`), since it is said once in each language.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fittings import tables
from fittings.drawing import fitting_text, patterns, positions_text, role_title
from shared.units import decimal_text, fraction_text, plain_number
from shared.words import mark, say, say_count
from travelers.forms import (
    SAME_IN,
    bends_of,
    form_of,
    has_throat,
    round_sizes,
    seam_place,
    side_lengths,
    sizes_at,
)
from travelers.gore_seams import GoreSeam, gore_seam
from travelers.routing import BRAKE, CONE, CYLINDER, FLAT
from travelers.sentences import piece_word
from travelers.sheets import CUT, sheet_of_piece, sheet_word
from travelers.station_work import PieceHere

Number = dict[str, str]

PLACES = {
    "throat": mark("throat"),
    "heel": mark("heel"),
    "side": mark("side"),
    "width side": mark("width side"),
    "height side": mark("height side"),
}
ASSEMBLE, ENDS = "assemble", "ends"


@dataclass(frozen=True)
class Facts:
    """What the database adds to a piece at its operation.

    sheet     (position, plan) of the sheet that a piece to be cut lies on
    gores     how the gores of a fitting to be assembled are joined
    finishes  rows of the table of end finishes, by name
    """

    sheet: tuple[int, int] | None = None
    gores: GoreSeam | None = None
    finishes: Mapping[str, Mapping[str, Any]] | None = None


def facts_of(here: PieceHere) -> Facts:
    return Facts(
        sheet=sheet_of_piece(here.code) if here.operation == CUT else None,
        gores=gore_seam(here.fitting_code) if here.operation == ASSEMBLE and _is_gored(here) else None,
        finishes={row["name"]: row for row in tables.rows("ends")} if here.operation == ENDS else None,
    )


def numbers_of(here: PieceHere, facts: Facts) -> list[Number]:
    """The numbers that matter at the operation that the piece is at here, in the language in use."""
    own = _NUMBERS.get(here.operation)
    return own(here, facts) if own else [_plain(say("Size"), fitting_text(here.development))]


# -- numbers and words ----------------------------------------------------------


def inches(value_in: float) -> str:
    return say("{size} in", size=fraction_text(value_in))


def box(wide_in: float, long_in: float) -> str:
    return say("{wide} × {long} in", wide=fraction_text(wide_in), long=fraction_text(long_in))


def _length(label: str, value_in: float | None) -> list[Number]:
    """A length as the tape is read, with the decimal beside it."""
    if value_in is None:
        return []
    return [{"label": label, "value": inches(value_in), "exact": decimal_text(value_in)}]


def _plain(label: str, value: str) -> Number:
    return {"label": label, "value": value, "exact": ""}


def _segment(here: PieceHere) -> Mapping[str, Any]:
    return here.development["segments"][(here.position or 1) - 1]


def _is_gored(here: PieceHere) -> bool:
    return piece_word(part["role"] for part in here.development["segments"]) == "gore"


def _place(place: str) -> str:
    return say(PLACES[place]) if place in PLACES else place


def _seam_at(part: Mapping[str, Any]) -> list[Number]:
    place = seam_place(part)
    return [_plain(say("Seam at"), _place(place))] if place else []


def _sizes(part: Mapping[str, Any], thickness: float) -> list[Number]:
    """A cylinder's inside diameter, or those of a cone's round edges."""
    at_a, at_b = round_sizes(part, thickness)
    if at_a is not None and at_a == at_b:
        return [_plain(say("Inside diameter"), inches(at_a))]
    known = ((say("Inside, edge A"), at_a), (say("Inside, edge B"), at_b))
    return [_plain(label, inches(size)) for label, size in known if size is not None]


def _elements(part: Mapping[str, Any]) -> list[Number]:
    """Throat and heel, and the sides where they stand apart; one length where all are equal: of a cone the slant."""
    throat, heel, sides = part.get("throat"), part.get("heel"), side_lengths(part)
    if throat is None or heel is None:
        return []
    every = (throat, heel, *sides)
    if max(every) - min(every) >= SAME_IN and not has_throat(part):
        return _length(say("Shortest"), min(every)) + _length(say("Longest"), max(every))
    if sides or abs(throat - heel) >= SAME_IN:
        at_sides = [number for side in sides for number in _length(say("Side"), side)]
        return _length(say("Throat"), throat) + _length(say("Heel"), heel) + at_sides
    return _length(say("Slant") if form_of(part) == CONE else say("Length"), throat)


def _end_sizes(here: PieceHere) -> list[Number]:
    """The inside sizes of the free ends: one number where all are equal."""
    free = here.development.get("free_ends")
    if free is None:
        sizes = sizes_at(here.development, None)
        return [_plain(say("Inside diameter"), inches(sizes[0]))] if sizes else []
    found = [(end["end"].upper(), _end_size(end)) for end in free]
    if len({size for _, size in found}) == 1 and free[0]["diameter"]:
        return [_plain(say("Inside diameter"), found[0][1])]
    return [_plain(say("Inside, end {end}", end=letter), size) for letter, size in found]


def _end_size(end: Mapping[str, Any]) -> str:
    return inches(end["diameter"]) if end["diameter"] else box(end["width"], end["height"])


# -- cutting ----------------------------------------------------------------------


def _cut(here: PieceHere, facts: Facts) -> list[Number]:
    part = _segment(here)
    blank = part["blank"]
    exact = f"{decimal_text(blank['width'])} × {decimal_text(blank['height'])}"
    same = next(one for one in patterns(here.development) if (here.position or 1) in one.positions)
    label = say("Blank")
    if same.count > 1:
        label = say("Blank, the same for {positions}", positions=positions_text(same.positions))
    found = [{"label": label, "value": box(blank["width"], blank["height"]), "exact": exact}]
    if facts.sheet:
        found.insert(0, _plain(say("Lies on"), sheet_word(*facts.sheet)))
    found += _length(say("Stretch-out"), part.get("stretch_out"))
    found += _elements(part)
    if part.get("holes"):
        found.append(_plain(say("Cut out"), say_count("{n} hole", "{n} holes", len(part["holes"]))))
    if bends_of(part):
        found.append(_plain(say("Mark"), say_count("{n} bend line", "{n} bend lines", len(bends_of(part)))))
    if part.get("plates"):
        text = say("{n}, each cut and labeled by itself", n=len(part["plates"]))
        found.append(_plain(say("Plates"), text))
    return found


# -- rolling ----------------------------------------------------------------------


def _roll(here: PieceHere, facts: Facts) -> list[Number]:
    """What the segment becomes: a cylinder's diameter, a cone's two and its slant, or the bends of a braked one.

    Every pattern is drawn as it is seen from outside, so the marked face is always the outer one.
    """
    part = _segment(here)
    form = form_of(part)
    if form == FLAT:
        return [_plain(say("Form"), say("flat: nothing to roll"))]
    outside = [_plain(say("Marked face"), say("outside"))]
    if form == BRAKE:
        return _bends(part) + outside + _seam_at(part)
    sizes = _sizes(part, float(here.development.get("thickness") or 0))
    if form == CONE:
        return [_plain(say("Form"), say("cone")), *sizes, *_elements(part), *outside, *_seam_at(part)]
    stretch_out = _length(say("Stretch-out"), part.get("stretch_out"))
    return sizes + stretch_out + outside + _throat_mark(part) + _seam_at(part)


def _throat_mark(part: Mapping[str, Any]) -> list[Number]:
    """How far the line of the throat is from the seam on the flat, without the lap; nothing where it has none."""
    if seam_place(part) == "throat":
        return [_plain(say("Throat mark"), say("at the seam"))]
    lines = [line["line"] for line in part.get("marks") or () if line["name"] == "throat"]
    if form_of(part) != CYLINDER or not lines:
        return []
    return _length(say("Throat mark from the seam"), lines[0][0][0])


def _bends(part: Mapping[str, Any]) -> list[Number]:
    """How many bends, and by how much: “16, each 5.6°” or “16, 2 to 12°”."""
    angles = [float(bend["angle"]) for bend in bends_of(part) if bend.get("angle") is not None]
    count = len(bends_of(part))
    if not angles:
        return [_plain(say("Bends"), str(count))]
    low, high = (plain_number(round(angle, 1), 1) for angle in (min(angles), max(angles)))
    if low == high:
        return [_plain(say("Bends"), say("{n}, each {angle}°", n=count, angle=low))]
    return [_plain(say("Bends"), say("{n}, {low} to {high}°", n=count, low=low, high=high))]


# -- seaming ----------------------------------------------------------------------


def _seam(here: PieceHere, facts: Facts) -> list[Number]:
    part = _segment(here)
    found = _length(say("Lap"), part.get("lap")) + _length(say("Seam length"), seam_length(part))
    found += _seam_at(part) + _throat_up(part)
    return found + _sizes(part, float(here.development.get("thickness") or 0))


def _throat_up(part: Mapping[str, Any]) -> list[Number]:
    """How the piece lies with its seam at the bottom of the machine: the throat up where the seam is at the heel."""
    words = {
        "heel": mark("up"),
        "throat": mark("down"),
        "side": mark("to the side"),
    }
    place = seam_place(part)
    if not has_throat(part) and place != "throat":
        return []
    return [_plain(say("Throat"), say(words[place]))] if place in words else []


def seam_length(part: Mapping[str, Any]) -> float | None:
    """The seam runs from edge A to edge B where the pattern begins [in]; None where there is none."""
    if part.get("seam_length") is not None:
        return part["seam_length"] or None
    if not part.get("edge_a") or not part.get("edge_b"):
        return None
    return math.dist(part["edge_a"][0], part["edge_b"][0])


# -- assembly -----------------------------------------------------------------------


def _assemble(here: PieceHere, facts: Facts) -> list[Number]:
    """A gored fitting's diameter stands in its name already; what its machine is set to comes here instead."""
    parts = here.development["segments"]
    if _is_gored(here):
        found = [_plain(say("Gores, A to B"), say("1–{n}, throat marks in line", n=len(parts)))]
    else:
        roles = ", ".join(f"{part['position']} {role_title(part['role']).lower()}" for part in parts)
        found = [_plain(say("Pieces"), roles)]
    sizes = here.development["dimensions"]
    if sizes.get("gore_angle"):
        found.append(_plain(say("Each gore"), f"{plain_number(float(sizes['gore_angle']), 2)}°"))
    if facts.gores:
        found += _gore_seam(facts.gores)
    seams = [_place(place) for place in map(seam_place, parts) if place]
    if seams:
        found.append(_plain(say("Seams at"), seams[0] if len(set(seams)) == 1 else ", ".join(seams)))
    return found if facts.gores else found + _end_sizes(here)


def _gore_seam(gores: GoreSeam) -> list[Number]:
    found = _length(say("Standing seam"), gores.height_in) if gores.height_in else []
    if gores.gap_in == 0:
        found.append(_plain(say("Gap"), say("none, butted")))
    elif gores.gap_in is not None:
        found += _length(say("Gap"), gores.gap_in)
    return found


# -- ends and wrapping ----------------------------------------------------------------


def _ends(here: PieceHere, facts: Facts) -> list[Number]:
    finishes = facts.finishes or {}
    found = []
    for letter, finish in here.finishes.items():
        title = finishes[finish]["title"] if finish in finishes else finish
        found.append(_plain(say("End {end}", end=letter.upper()), say(title)))
    inside = [
        letter.upper()
        for letter, finish in here.finishes.items()
        if finishes.get(finish, {}).get("goes") == "inside"
    ]
    found.append(_plain(say("Goes inside"), ", ".join(inside) or say("none")))
    return found + _end_sizes(here)


def _wrap(here: PieceHere, facts: Facts) -> list[Number]:
    found = [
        _plain(say("Tag"), here.tag or say("none")),
        _plain(say("Goes to"), here.customer),
        _plain(say("Order"), here.order),
    ]
    if here.purchase_order:
        found.append(_plain(say("Purchase order"), here.purchase_order))
    count = say("{number} of {count}", number=here.fitting_number, count=here.quantity)
    if here.what == "lot":
        count = say_count("{n} fitting", "{n} fittings", here.quantity)
    weight = say("{weight} lb", weight=f"{here.development['weight']:.1f}")
    return [*found, _plain(say("Count"), count), _plain(say("Weight, each"), weight)]


_NUMBERS: dict[str, Callable[[PieceHere, Facts], list[Number]]] = {
    CUT: _cut,
    "roll": _roll,
    "seam": _seam,
    ASSEMBLE: _assemble,
    ENDS: _ends,
    "wrap": _wrap,
}


__all__ = ["Facts", "Number", "box", "facts_of", "inches", "numbers_of", "seam_length"]
