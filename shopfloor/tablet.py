"""What a station's tablet shows: what is next, who may scan, the cautions, and the numbers of the piece at hand."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django.utils import timezone

from fittings import tables
from fittings.drawing import fitting_text, icon_svg, pattern_icon, role_title, seam_text, svg_text
from fittings.models import OrderLine
from fittings.numbering import shop_mark
from shared.roles import Actor
from shared.units import decimal_text, fraction_text, plain_number
from shopfloor.models import Station
from travelers.models import Operation, Operator, TaskState
from travelers.pulse import pulse_epoch
from travelers.sentences import DONE_WORDS
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
        "size": f"{fraction_text(row.size_in)} in, {row.gauge} ga" if row.size_in else f"{row.gauge} ga",
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
    role = development["segments"][position - 1]["role"]
    return f"{'Gore' if 'gore' in role else 'Piece'} {position} of {of}"


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


def _diameter(here: PieceHere) -> list[Number]:
    sizes = here.development["dimensions"]
    for names in (("diameter",), ("diameter_a", "diameter_b")):
        if all(name in sizes for name in names):
            text = " to ".join(f"{fraction_text(float(sizes[name]))}" for name in names)
            return [_plain("Inside diameter", f"{text} in")]
    return []


def _cut(here: PieceHere) -> list[Number]:
    part = _segment(here)
    blank = part["blank"]
    width, height = fraction_text(blank["width"]), fraction_text(blank["height"])
    exact = f"{decimal_text(blank['width'])} × {decimal_text(blank['height'])}"
    found = [{"label": "Blank", "value": f"{width} × {height} in", "exact": exact}]
    found += _length("Stretch-out", part.get("stretch_out"))
    found += _length("Throat", part.get("throat"))
    found += _length("Heel", part.get("heel"))
    if part.get("plates"):
        found.append(_plain("Plates", f"{len(part['plates'])}, each cut and labeled by itself"))
    return found


def _roll(here: PieceHere) -> list[Number]:
    part = _segment(here)
    found = _diameter(here) + _length("Stretch-out", part.get("stretch_out"))
    seam = seam_text(part)
    return found + ([_plain("Seam at", seam)] if seam else [])


def _seam(here: PieceHere) -> list[Number]:
    part = _segment(here)
    found = _length("Lap", part.get("lap")) + _length("Seam length", seam_length(part))
    seam = seam_text(part)
    return found + ([_plain("Seam at", seam)] if seam else []) + _diameter(here)


def seam_length(part: Mapping[str, Any]) -> float | None:
    """From edge A to edge B where the pattern begins: the seam runs along it [in]."""
    if not part.get("edge_a") or not part.get("edge_b"):
        return None
    return math.dist(part["edge_a"][0], part["edge_b"][0])


def _assemble(here: PieceHere) -> list[Number]:
    parts = here.development["segments"]
    found = [_plain("Pieces, A to B", str(len(parts)))]
    sizes = here.development["dimensions"]
    if sizes.get("gore_angle"):
        found.append(_plain("Each gore", f"{plain_number(float(sizes['gore_angle']), 2)}°"))
    seams = [seam_text(part) for part in parts]
    if any(seams):
        same = len(set(seams)) == 1
        found.append(_plain("Seams at", seams[0] if same else ", ".join(seams)))
    return found + _diameter(here)


def _ends(here: PieceHere) -> list[Number]:
    titles = {row["name"]: row["title"] for row in tables.rows("ends")}
    return [
        _plain("End A", titles.get(here.end_a, here.end_a)),
        _plain("End B", titles.get(here.end_b, here.end_b)),
        *_diameter(here),
    ]


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
    """At an operation on the whole fitting: which of its pieces are here, and where the others are."""
    if here.position is not None or not here.kit or not here.operation:
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
