"""What is next at each station, on paper: for a day without power. In the shop's language, in the tablet's order."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime

from django.utils import timezone

from shared.problems import NotFound
from shared.words import say
from shopfloor.models import Station
from shopfloor.stations import station_get
from shopfloor.tablet import limits_of, piece_words, size_words, title_words
from shopfloor.tablet_numbers import facts_of, numbers_of
from shopfloor.tablet_sheets import day_words, metal_words, pieces_words
from shopfloor.tablet_sheets import size_words as sheet_size
from travelers.documents.station_sheet import StationPiece, StationSheet, station_sheets_pdf
from travelers.languages import shop_language, speaking
from travelers.letterhead import shop_head
from travelers.models import Operation
from travelers.next_piece import reason
from travelers.papers import printed_text
from travelers.sentences import operation_word, piece_word
from travelers.sheet_work import sheets_at
from travelers.station_work import QueueRow, piece_at, queue_at

PIECES, SHEETS = 40, 20
"""On a station's sheet at most: some five pages, more than a day's work of most stations."""


def station_sheets(*, code: str = "", now: datetime) -> bytes:
    """The sheets of one station, or of all that are in use, as one PDF.

    raises  NotFound for a station that there is not, or where none is in use
    """
    in_use = Station.objects.filter(is_active=True).order_by("position", "code")
    stations = [station_get(code)] if code else list(in_use)
    if not stations:
        raise NotFound("No station is in use. Add one first.")
    language = shop_language()
    with speaking(language):
        sheets = [_sheet(station) for station in stations]
        return station_sheets_pdf(
            sheets, shop=shop_head(), printed_at_text=printed_text(now), language=language
        )


def _sheet(station: Station) -> StationSheet:
    limits = limits_of(station)
    today = timezone.localdate()
    names = dict(Operation.objects.values_list("code", "name"))
    plans, total = sheets_at(station.operations, limits=limits, limit=SHEETS)
    rows = queue_at(station.operations, limits=limits, station=station.code, limit=PIECES + 1)
    return StationSheet(
        station=station.code,
        name=station.name,
        operations=", ".join(say(names.get(code, code)) for code in station.operations),
        pieces=(*(_plan_sheet(row, today) for row in plans), *_pieces(rows[:PIECES], station, today)),
        more=max(0, total - len(plans)) + (1 if len(rows) > PIECES else 0),
    )


def _plan_sheet(row, today: date) -> StationPiece:
    sheet = row.sheet
    return StationPiece(
        code=sheet.code,
        title=say("Sheet {position} of {of}", position=sheet.position, of=row.of),
        piece=say("{pieces}, load {load}", pieces=pieces_words(row), load=sheet.load),
        size=f"{sheet_size(sheet)}, {metal_words(sheet.plan.gauge, sheet.plan.material)}",
        due=day_words(row.due),
        why=reason(row.choice, today=today).words,
    )


def _pieces(rows: Iterable[QueueRow], station: Station, today: date) -> list[StationPiece]:
    """Equal pieces of a line have equal numbers, which are worked out once."""
    known: dict[tuple, tuple[tuple[str, str], ...]] = {}
    found = []
    for row in rows:
        key = (row.line_id, row.position, row.operation)
        if key not in known:
            here = piece_at(row.code, station.operations)
            known[key] = tuple((one["label"], one["value"]) for one in numbers_of(here, facts_of(here)))
        word = piece_word(segment["role"] for segment in row.development["segments"])
        found.append(
            StationPiece(
                code=row.code,
                title=title_words(row),
                piece=f"{piece_words(row.development, row.position, row.of, row.fitting)}, {row.order}/{row.line}",
                size=size_words(row),
                due=day_words(row.due),
                why=reason(row.choice, today=today, word=word).words,
                operation=operation_word(row.operation) if len(station.operations) > 1 else "",
                numbers=known[key],
            )
        )
    return found


__all__ = ["station_sheets"]
