"""What a station's tablet shows: what is next, who may scan, the cautions, and the numbers of the piece at hand."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django.utils import timezone

from fittings import tables
from fittings.drawing import fitting_text, icon_svg, pattern_icon, role_title, svg_text
from fittings.models import OrderLine
from fittings.numbering import shop_mark
from shared.roles import Actor
from shared.units import decimal_text, fraction_text, plain_number
from shopfloor.models import Station
from travelers.forms import (
    SAME_IN,
    bends_of,
    counted,
    form_of,
    has_throat,
    round_sizes,
    seam_place,
    side_lengths,
    sizes_at,
)
from travelers.models import Operation, Operator, TaskState
from travelers.pulse import pulse_epoch
from travelers.routing import BRAKE, CONE, FLAT
from travelers.sentences import DONE_WORDS, piece_word
from travelers.station_work import Limits, PieceHere, QueueRow, piece_at, queue_at

SHOWN = 8
LOOKED_AT = 24
STATE_ORDER = {TaskState.RUNNING: 0, TaskState.READY: 1, TaskState.HELD: 2}

Number = dict[str, str]


# -- the queue ---------------------------------------------------------------


def station_data(actor: Actor) -> dict[str, Any]:
    """All that a tablet needs to go on alone: its station, the badges, the cautions, the queue."""
    station = Station.objects.get(code=actor.station)
    names = dict(Operation.objects.order_by("position").values_list("code", "name"))
    badges = Operator.objects.filter(is_active=True).order_by("name", "pk").values("code", "name")
    return {
        "station": station.code,
        "name": station.name,
        "operations": [
            {"code": code, "name": names.get(code, code), "done": DONE_WORDS.get(code, "done")}
            for code in station.operations
        ],
        "one_scan_finishes": station.one_scan_finishes,
        "mark": shop_mark(),
        "epoch": pulse_epoch(),
        "as_of": timezone.now().isoformat(),
        "badges": list(badges),
        "cautions": cautions_of(station.operations),
        "queue": queue_of(station),
    }


def queue_of(station: Station) -> list[dict[str, Any]]:
    """The pieces that are next at a station: running, then ready, then on hold; by due date within each."""
    limits = Limits(
        station.gauge_lightest, station.gauge_heaviest, station.diameter_least_in, station.diameter_most_in
    )
    rows = queue_at(station.operations, limits=limits, limit=LOOKED_AT)
    rows = sorted(rows, key=lambda row: STATE_ORDER.get(row.state, 1))[:SHOWN]
    lines = {row.line_id for row in rows}
    developments = dict(OrderLine.objects.filter(pk__in=lines).values_list("pk", "development"))
    icons: dict[tuple, str] = {}
    found = []
    for row in rows:
        key = (row.line_id, row.position)
        if key not in icons:
            icons[key] = icon_svg(developments[row.line_id], highlight=row.position)
        found.append(_queue_entry(row, developments[row.line_id], icons[key]))
    return found


def _queue_entry(row: QueueRow, development: Mapping[str, Any], icon: str) -> dict[str, Any]:
    days = (row.due - timezone.localdate()).days if row.due else None
    return {
        "code": row.code,
        "operation": row.operation,
        "state": row.state,
        "title": row.tag or f"Order {row.order}",
        "piece": piece_words(development, row.position, row.of, row.fitting),
        "size": size_words(row),
        "order": row.order,
        "due": due_words(row),
        "is_late": days is not None and days < 0,
        "why": why_words(row, days),
        "icon": icon,
    }


def piece_words(development: Mapping[str, Any], position: int | None, of: int, fitting: int) -> str:
    """“Gore 2 of 5”, or “Fitting 3” where the whole one is worked on."""
    if position is None:
        return f"Fitting {fitting}"
    word = piece_word(segment["role"] for segment in development["segments"])
    return f"{word.capitalize()} {position} of {of}"


def size_words(row: QueueRow) -> str:
    """“14 in, 24 ga”, of a cone “14 to 10 in, 24 ga”."""
    sizes = " to ".join(fraction_text(size) for size in row.sizes)
    return f"{sizes} in, {row.gauge} ga" if sizes else f"{row.gauge} ga"


def due_words(row: QueueRow | PieceHere) -> str:
    if row.due is None:
        return "No due date"
    return f"Due {row.due:%a} {row.due.day} {row.due:%b}"


def why_words(row: QueueRow, days: int | None) -> str:
    """Why this one is next, in words."""
    if row.state == TaskState.RUNNING:
        return "Started here"
    if row.state == TaskState.HELD:
        return f"On hold: {row.reason}" if row.reason else "On hold"
    if days is not None and days < 0:
        return f"Late {-days} day{'s' if days < -1 else ''}"
    if row.priority < 5:
        return f"Priority {row.priority}"
    if days is not None and days <= 1:
        return "Due today" if days == 0 else "Due tomorrow"
    return "Earliest due"


def cautions_of(
    operations: Sequence[str], method: str | None = None, material: str | None = None
) -> list[dict[str, str]]:
    """Bodily hazards of the operations, of any method or metal where none is given, the gravest first."""
    grave = {"DANGER": 0, "WARNING": 1, "CAUTION": 2}
    found: dict[tuple, dict[str, str]] = {}
    for row in tables.rows("cautions"):
        fits = row["operation"] in operations and (method is None or row["method"] in ("*", method))
        if fits and (material is None or row["material"] in ("*", material)):
            found.setdefault(
                (row["hazard"], row["text"]),
                {
                    "word": row["word"],
                    "hazard": row["hazard"][:1].upper() + row["hazard"][1:],
                    "text": row["text"],
                },
            )
    return sorted(found.values(), key=lambda row: grave[row["word"]])


# -- the piece at hand --------------------------------------------------------


def piece_data(code: str, actor: Actor) -> dict[str, Any]:
    """One piece as this station needs it: what it is, how far it is, and the numbers of this operation.

    raises  NotFound
    """
    here = piece_at(code, actor.operations)
    pieces = here.development["segments"]
    words = piece_words(here.development, here.position, len(pieces), here.fitting_number)
    if here.what == "lot":
        words = f"Lot of {here.quantity}"
    return {
        "code": here.code,
        "piece": words,
        "title": here.tag or f"Order {here.order}",
        "fitting": fitting_text(here.development),
        "metal": f"{here.gauge} ga {here.material}",
        "order": here.order,
        "customer": here.customer,
        "due": due_words(here),
        "operation": here.operation,
        "method": here.method,
        "state": here.task_state,
        "reason": here.reason,
        "where": here.where,
        "numbers": numbers_of(here),
        "kit": kit_of(here),
        "cautions": cautions_of(
            [here.operation] if here.operation else actor.operations, here.method or None, here.material
        ),
        "icon": icon_svg(here.development, highlight=here.position),
        "drawing": _pattern(here) if here.operation == "cut" else "",
    }


def numbers_of(here: PieceHere) -> list[Number]:
    """The numbers that matter at the operation that the piece is at here."""
    own = _NUMBERS.get(here.operation)
    return own(here) if own else [_plain("Size", fitting_text(here.development))]


def _pattern(here: PieceHere) -> str:
    """The flat pattern without its numbers, which stand beside it large enough to read."""
    return svg_text(pattern_icon(here.development, here.position or 1, width=540, height=96))


def _segment(here: PieceHere) -> Mapping[str, Any]:
    return here.development["segments"][(here.position or 1) - 1]


def _length(label: str, value_in: float | None) -> list[Number]:
    """A length as the tape is read, with the decimal beside it."""
    if value_in is None:
        return []
    return [{"label": label, "value": f"{fraction_text(value_in)} in", "exact": decimal_text(value_in)}]


def _plain(label: str, value: str) -> Number:
    return {"label": label, "value": value, "exact": ""}


def _round(value_in: float) -> str:
    return f"{fraction_text(value_in)} in"


def _seam_at(part: Mapping[str, Any]) -> list[Number]:
    place = seam_place(part)
    return [_plain("Seam at", place)] if place else []


def _sizes(part: Mapping[str, Any], thickness: float) -> list[Number]:
    """A cylinder's inside diameter, or those of a cone's round edges."""
    at_a, at_b = round_sizes(part, thickness)
    if at_a is not None and at_a == at_b:
        return [_plain("Inside diameter", _round(at_a))]
    known = (("Inside, edge A", at_a), ("Inside, edge B", at_b))
    return [_plain(label, _round(size)) for label, size in known if size is not None]


def _elements(part: Mapping[str, Any]) -> list[Number]:
    """Throat and heel, and the sides where they stand apart; one length where all are equal: of a cone the slant."""
    throat, heel, sides = part.get("throat"), part.get("heel"), side_lengths(part)
    if throat is None or heel is None:
        return []
    every = (throat, heel, *sides)
    if max(every) - min(every) >= SAME_IN and not has_throat(part):
        return _length("Shortest", min(every)) + _length("Longest", max(every))
    if sides or abs(throat - heel) >= SAME_IN:
        at_sides = [number for side in sides for number in _length("Side", side)]
        return _length("Throat", throat) + _length("Heel", heel) + at_sides
    return _length("Slant" if form_of(part) == CONE else "Length", throat)


def _end_sizes(here: PieceHere) -> list[Number]:
    """The inside sizes of the free ends: one number where all are equal."""
    free = here.development.get("free_ends")
    if free is None:
        sizes = sizes_at(here.development, None)
        return [_plain("Inside diameter", _round(sizes[0]))] if sizes else []
    found = [(end["end"].upper(), _end_size(end)) for end in free]
    if len({size for _, size in found}) == 1 and free[0]["diameter"]:
        return [_plain("Inside diameter", found[0][1])]
    return [_plain(f"Inside, end {letter}", size) for letter, size in found]


def _end_size(end: Mapping[str, Any]) -> str:
    if end["diameter"]:
        return _round(end["diameter"])
    return f"{fraction_text(end['width'])} × {fraction_text(end['height'])} in"


def _cut(here: PieceHere) -> list[Number]:
    part = _segment(here)
    blank = part["blank"]
    width, height = fraction_text(blank["width"]), fraction_text(blank["height"])
    exact = f"{decimal_text(blank['width'])} × {decimal_text(blank['height'])}"
    found = [{"label": "Blank", "value": f"{width} × {height} in", "exact": exact}]
    found += _length("Stretch-out", part.get("stretch_out"))
    found += _elements(part)
    if part.get("holes"):
        found.append(_plain("Cut out", counted(len(part["holes"]), "hole")))
    if bends_of(part):
        found.append(_plain("Mark", counted(len(bends_of(part)), "bend line")))
    if part.get("plates"):
        found.append(_plain("Plates", f"{len(part['plates'])}, each cut and labeled by itself"))
    return found


def _roll(here: PieceHere) -> list[Number]:
    """What the segment becomes: a cylinder's diameter, a cone's two and its slant, or the bends of a braked one."""
    part = _segment(here)
    form = form_of(part)
    if form == FLAT:
        return [_plain("Form", "flat: nothing to roll")]
    if form == BRAKE:
        return _bends(part) + _seam_at(part)
    sizes = _sizes(part, float(here.development.get("thickness") or 0))
    if form == CONE:
        return [_plain("Form", "cone"), *sizes, *_elements(part), *_seam_at(part)]
    return sizes + _length("Stretch-out", part.get("stretch_out")) + _seam_at(part)


def _bends(part: Mapping[str, Any]) -> list[Number]:
    """How many bends, and by how much: “16, each 5.6°” or “16, 2 to 12°”."""
    angles = [float(bend["angle"]) for bend in bends_of(part) if bend.get("angle") is not None]
    text = str(len(bends_of(part)))
    if angles:
        low, high = (plain_number(round(angle, 1), 1) for angle in (min(angles), max(angles)))
        text += f", each {low}°" if low == high else f", {low} to {high}°"
    return [_plain("Bends", text)]


def _seam(here: PieceHere) -> list[Number]:
    part = _segment(here)
    found = _length("Lap", part.get("lap")) + _length("Seam length", seam_length(part))
    return found + _seam_at(part) + _sizes(part, float(here.development.get("thickness") or 0))


def seam_length(part: Mapping[str, Any]) -> float | None:
    """The seam runs from edge A to edge B where the pattern begins [in]; None where there is none."""
    if part.get("seam_length") is not None:
        return part["seam_length"] or None
    if not part.get("edge_a") or not part.get("edge_b"):
        return None
    return math.dist(part["edge_a"][0], part["edge_b"][0])


def _assemble(here: PieceHere) -> list[Number]:
    parts = here.development["segments"]
    if piece_word(part["role"] for part in parts) == "gore":
        found = [_plain("Gores, A to B", str(len(parts)))]
    else:
        roles = ", ".join(f"{part['position']} {role_title(part['role']).lower()}" for part in parts)
        found = [_plain("Pieces", roles)]
    sizes = here.development["dimensions"]
    if sizes.get("gore_angle"):
        found.append(_plain("Each gore", f"{plain_number(float(sizes['gore_angle']), 2)}°"))
    seams = [place for place in map(seam_place, parts) if place]
    if seams:
        same = len(set(seams)) == 1
        found.append(_plain("Seams at", seams[0] if same else ", ".join(seams)))
    return found + _end_sizes(here)


def _ends(here: PieceHere) -> list[Number]:
    titles = {row["name"]: row["title"] for row in tables.rows("ends")}
    found = [
        _plain(f"End {letter.upper()}", titles.get(finish, finish))
        for letter, finish in here.finishes.items()
    ]
    return found + _end_sizes(here)


def _wrap(here: PieceHere) -> list[Number]:
    return [
        _plain("Tag", here.tag or "none"),
        _plain("Customer", here.customer),
        _plain("Of the line", f"{here.fitting_number} of {here.quantity}"),
        _plain("Weight", f"{here.development['weight']:.1f} lb"),
    ]


_NUMBERS: dict[str, Callable[[PieceHere], list[Number]]] = {
    "cut": _cut,
    "roll": _roll,
    "seam": _seam,
    "assemble": _assemble,
    "ends": _ends,
    "wrap": _wrap,
}


def kit_of(here: PieceHere) -> dict[str, Any] | None:
    """Of a fitting of several pieces: which of those worked on here are here, and where the others are."""
    if (
        here.position is not None
        or not here.kit
        or not here.operation
        or len(here.development["segments"]) < 2
    ):
        return None
    pieces = []
    for position, code, operation, state in here.kit:
        part = here.development["segments"][position - 1]
        is_here = state == "done" or operation == here.operation
        pieces.append(
            {
                "position": position,
                "code": code,
                "role": role_title(part["role"]),
                "is_here": is_here,
                "where": "" if is_here else f"{'on hold ' if state == 'held' else ''}at {operation}",
            }
        )
    count = sum(piece["is_here"] for piece in pieces)
    return {"pieces": pieces, "words": f"{count} of {len(pieces)} here", "is_short": count < len(pieces)}


__all__ = ["cautions_of", "piece_data", "queue_of", "station_data"]
