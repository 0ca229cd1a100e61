"""What a station's tablet shows: what is next, who may scan, the cautions, and the numbers of the piece at hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.utils import timezone

from fittings import tables
from fittings.drawing import fitting_text, icon_svg, pattern_icon, role_title, svg_text
from fittings.numbering import shop_mark
from shared.problems import NotFound
from shared.roles import Actor
from shared.units import fraction_text
from shared.words import mark, say
from shopfloor.downtime import down_now
from shopfloor.downtime import words as words_of
from shopfloor.hold_back import Full, full_after
from shopfloor.models import Station
from shopfloor.tablet_numbers import facts_of, numbers_of
from shopfloor.tablet_sheets import day_words, metal_words, sheet_data, sheets_of
from travelers.forms import sizes_at
from travelers.languages import in_languages
from travelers.models import Operation, Operator
from travelers.next_piece import ON_HOLD, reason
from travelers.pulse import pulse_epoch
from travelers.reasons import Reasons, reasons_now
from travelers.sentences import (
    DONE_WORDS,
    fitting_said,
    not_ready,
    operation_word,
    part_said,
    piece_word,
    place_said,
)
from travelers.sheet_work import is_sheet
from travelers.sheets import CUT
from travelers.station_work import Limits, PieceHere, QueueRow, piece_at, queue_at

SHOWN = 8
AFTER_ASSEMBLY = ("ends", "wrap")


# -- the queue ---------------------------------------------------------------


def station_data(actor: Actor) -> dict[str, Any]:
    """All that a tablet needs to go on alone: its station, the badges, the cautions, the queue.

    Words stand in English, and under "in" in each other language: the tablet speaks that of the badge.
    """
    station = Station.objects.get(code=actor.station)
    cautions, reasons = tables.rows("cautions"), reasons_now()
    flow = list(Operation.objects.order_by("position"))
    names = {one.code: one.name for one in flow}
    badges = Operator.objects.filter(is_active=True).order_by("name", "pk").values("code", "name", "language")
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
        **in_languages(
            lambda: {
                "cautions": cautions_of(cautions, station.operations),
                "reasons": reasons.to_choose(),
            }
        ),
        **sheets_of(station.operations, limits_of(station)),
        "hold_back": [
            in_languages(lambda one=one: hold_back_words(one)) for one in full_after(station.operations, flow)
        ],
        "down": down_of(station),
        "queue": queue_of(station, reasons),
    }


def does_first(operations: Sequence[str]) -> bool:
    """Whether fittings begin at this station: it does what comes first in the flow."""
    return Operation.objects.order_by("position").values_list("code", flat=True).first() in operations


def does_last(operations: Sequence[str]) -> bool:
    """Whether fittings leave from this station: it does what comes last in the flow."""
    return Operation.objects.order_by("-position").values_list("code", flat=True).first() in operations


def down_of(station: Station) -> dict[str, Any] | None:
    """That the station is down, where somebody told it; from `back_at` on a tablet without the network says `late`."""
    now = timezone.now()
    found = down_now(now=now).get(station.code)
    if found is None:
        return None
    back_at = found.until_at
    late_at = max(now, back_at) if back_at else now
    said = in_languages(lambda: {"words": words_of(found, now=now), "late": words_of(found, now=late_at)})
    return {**said, "back_at": back_at.isoformat() if back_at else None}


def hold_back_words(one: Full) -> dict[str, str]:
    """What a station is told when the next operation is full."""
    words = say(
        "{operation} is full: {pieces} of {cap}. Hold back.",
        operation=operation_word(one.operation),
        pieces=one.pieces,
        cap=one.cap,
    )
    return {"words": words}


def limits_of(station: Station) -> Limits:
    return Limits(
        station.gauge_lightest, station.gauge_heaviest, station.diameter_least_in, station.diameter_most_in
    )


def queue_of(station: Station, reasons: Reasons) -> list[dict[str, Any]]:
    """The pieces that are next at a station, in the order of `travelers.next_piece`."""
    rows = queue_at(station.operations, limits=limits_of(station), station=station.code, limit=SHOWN)
    today = timezone.localdate()
    icons: dict[tuple, str] = {}
    found = []
    for row in rows:
        key = (row.line_id, row.position)
        if key not in icons:
            icons[key] = icon_svg(row.development, highlight=row.position)
        found.append(_queue_entry(row, icons[key], today, reasons))
    return found


def _queue_entry(row: QueueRow, icon: str, today: date, reasons: Reasons) -> dict[str, Any]:
    word = piece_word(segment["role"] for segment in row.development["segments"])
    why = reason(row.choice, today=today, word=word)

    def words() -> dict[str, str]:
        said = reason(row.choice, today=today, word=word).words
        return {
            "title": title_words(row),
            "piece": piece_words(row.development, row.position, row.of, row.fitting),
            "size": size_words(row),
            "due": day_words(row.due),
            "why": f"{said}: {reasons.said(row.reason)}" if why.code == ON_HOLD and row.reason else said,
        }

    return {
        "code": row.code,
        "operation": row.operation,
        "state": row.state,
        "order": row.order,
        "is_late": row.due is not None and row.due < today,
        "is_pinned": row.choice.is_pinned,
        "why_code": why.code,
        "why_number": why.number,
        "icon": icon,
        **in_languages(words),
    }


def title_words(row: QueueRow | PieceHere) -> str:
    return row.tag or say("Order {number}", number=row.order)


def piece_words(development: Mapping[str, Any], position: int | None, of: int, fitting: int) -> str:
    """“Gore 2 of 5”, or “Fitting 3” where the whole one is worked on."""
    if position is None:
        return fitting_said(fitting)
    word = piece_word(segment["role"] for segment in development["segments"])
    return part_said(word, position, of)


def size_words(row: QueueRow) -> str:
    """“14 in, 24 ga”, of a cone “14 to 10 in, 24 ga”."""
    sizes = [fraction_text(size) for size in row.sizes]
    if not sizes:
        return say("{gauge} ga", gauge=row.gauge)
    if len(sizes) == 1:
        return say("{size} in, {gauge} ga", size=sizes[0], gauge=row.gauge)
    return say("{size} to {other} in, {gauge} ga", size=sizes[0], other=sizes[-1], gauge=row.gauge)


def cautions_of(
    rows: Sequence[Mapping[str, Any]],
    operations: Sequence[str],
    method: str | None = None,
    material: str | None = None,
) -> list[dict[str, str]]:
    """Bodily hazards of the operations, of any method or metal where none is given, the gravest first.

    rows  of the table of cautions
    """
    grave = {"DANGER": 0, "WARNING": 1, "CAUTION": 2}
    found: dict[tuple, dict[str, str]] = {}
    for row in rows:
        fits = row["operation"] in operations and (method is None or row["method"] in ("*", method))
        if fits and (material is None or row["material"] in ("*", material)):
            found.setdefault(
                (row["hazard"], row["text"]),
                _caution(row),
            )
    return sorted(found.values(), key=lambda row: grave[row["grade"]])


def _caution(row: Mapping[str, Any]) -> dict[str, str]:
    """`grade` is the signal word as the table has it; `word` is how it is said."""
    word, hazard, text = (row[name] for name in ("word", "hazard", "text"))
    said = say(hazard)
    return {"grade": word, "word": say(word), "hazard": said[:1].upper() + said[1:], "text": say(text)}


# -- the piece at hand --------------------------------------------------------


def piece_data(code: str, actor: Actor) -> dict[str, Any]:
    """One piece as this station needs it: what it is, how far it is, and the numbers of this operation; or one sheet.

    raises  NotFound
    """
    cautions = tables.rows("cautions")
    try:
        here = piece_at(code, actor.operations)
    except NotFound:
        if not is_sheet(code):
            raise
        return sheet_data(code, actor.operations, lambda: cautions_of(cautions, [CUT]))
    facts = facts_of(here)
    limits = limits_of(Station.objects.get(code=actor.station))
    word = piece_word(segment["role"] for segment in here.development["segments"])
    operations = [here.operation] if here.operation else actor.operations

    def words() -> dict[str, Any]:
        return {
            "piece": _whole_words(here),
            "title": title_words(here),
            "fitting": fitting_text(here.development),
            "metal": metal_words(here.gauge, here.material),
            "due": day_words(here.due),
            "numbers": numbers_of(here, facts),
            "kit": kit_of(here),
            "not_ready": not_ready(here.operation, here.lacks, word),
            "beyond": limits.beyond(here.gauge, sizes_at(here.development, here.position)),
            "cautions": cautions_of(cautions, operations, here.method or None, here.material),
        }

    said = in_languages(words)
    for language, where in here.where_in.items():
        said["in"][language]["where"] = where
    return {
        "code": here.code,
        "order": here.order,
        "customer": here.customer,
        "operation": here.operation,
        "method": here.method,
        "state": here.task_state,
        "reason": here.reason,
        "where": here.where,
        "lot_left": here.lot_left,
        "icon": icon_svg(here.development, highlight=here.position),
        "drawing": _pattern(here) if here.operation == CUT else "",
        **said,
    }


def _whole_words(here: PieceHere) -> str:
    if here.what == "lot":
        return say("Lot of {n}", n=here.quantity)
    of = len(here.development["segments"])
    return piece_words(here.development, here.position, of, here.fitting_number)


def _pattern(here: PieceHere) -> str:
    """The flat pattern without its numbers, which stand beside it large enough to read."""
    return svg_text(pattern_icon(here.development, here.position or 1, width=540, height=96))


def kit_of(here: PieceHere) -> dict[str, Any] | None:
    """Of a fitting of several pieces: which of those worked on here are here, and where the others are.

    After the assembly it is told only where a piece is missing.
    """
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
        away = mark("on hold at {operation}") if state == "held" else mark("at {operation}")
        pieces.append(
            {
                "position": position,
                "code": code,
                "role": role_title(part["role"]),
                "is_here": is_here,
                "where": "" if is_here else say(away, operation=place_said(operation)),
            }
        )
    count = sum(piece["is_here"] for piece in pieces)
    if count == len(pieces) and here.operation in AFTER_ASSEMBLY:
        return None
    words = say("{n} of {of} here", n=count, of=len(pieces))
    return {"pieces": pieces, "words": words, "is_short": count < len(pieces)}


__all__ = ["cautions_of", "piece_data", "queue_of", "station_data"]
