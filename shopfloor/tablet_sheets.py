"""The sheets of cut plans on a station's tablet: what is next to cut, and the sheet at hand with what lies on it."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from django.utils import timezone

from fittings.cut_sheets import sheet_contents
from fittings.drawing.cut_sheet import sheet_svg
from fittings.models import CutSheet, StockItem
from shared.units import decimal_text, fraction_text
from shared.words import day_said, mark, say, say_count
from shopfloor.tablet_numbers import box, inches
from travelers.languages import in_languages
from travelers.models import TaskState
from travelers.next_piece import reason
from travelers.sheet_work import PieceOnSheet, SheetAt, SheetRow, sheet_at, sheets_at
from travelers.sheets import CUT, sheet_word
from travelers.station_work import Limits

SHOWN = 8
SMALL, WIDE, LARGE = 120.0, 540.0, 1100.0
"""Widths of the pictures: in the list, beside the numbers, and alone."""
STATE_WORDS = {
    TaskState.DONE: mark("Cut"),
    TaskState.HELD: mark("On hold"),
    TaskState.RUNNING: mark("Started"),
    TaskState.READY: mark("To cut"),
    TaskState.WAITING: mark("Not ready yet"),
    TaskState.VOID: mark("Not to cut"),
}

Number = dict[str, str]


# -- the list ------------------------------------------------------------------


def sheets_of(operations: Sequence[str], limits: Limits) -> dict[str, Any]:
    """The sheets that are next, as the tablet lists them, and how many more there are."""
    found, total = sheets_at(operations, limits=limits, limit=SHOWN)
    today = timezone.localdate()
    entries = [_entry(row, picture, today) for row, picture in zip(found, _pictures.of(found), strict=True)]
    return {"sheets": entries, "sheets_more": total - len(entries)}


def _entry(row: SheetRow, picture: str, today: date) -> dict[str, Any]:
    sheet = row.sheet
    why = reason(row.choice, today=today)
    return {
        "kind": "sheet",
        "code": sheet.code,
        "operation": CUT,
        "state": str(row.state),
        "is_late": row.due is not None and row.due < today,
        "is_pinned": row.is_pinned,
        "why_code": why.code,
        "why_number": why.number,
        "icon": picture,
        **in_languages(lambda: _entry_words(row, today)),
    }


def _entry_words(row: SheetRow, today: date) -> dict[str, str]:
    sheet = row.sheet
    return {
        **_names(row),
        "piece": say("{pieces}, load {load}", pieces=pieces_words(row), load=sheet.load),
        "size": f"{size_words(sheet)}, {metal_words(sheet.plan.gauge, sheet.plan.material)}",
        "due": day_words(row.due),
        "why": reason(row.choice, today=today).words,
    }


def _names(row: SheetRow) -> dict[str, str]:
    sheet = row.sheet
    return {
        "name": sheet_word(sheet.position, sheet.plan.number),
        "title": say("Sheet {position} of {of}", position=sheet.position, of=row.of),
        "order": say("plan {number}", number=sheet.plan.number),
    }


class _Pictures:
    """The small pictures of sheets, in memory: each is drawn once, and again where a piece was taken off."""

    MOST = 400

    def __init__(self):
        self._drawn: OrderedDict[tuple[str, int], str] = OrderedDict()

    def of(self, found: Sequence[SheetRow]) -> list[str]:
        keys = [(row.sheet.code, row.live) for row in found]
        known = {key: self._drawn[key] for key in keys if key in self._drawn}
        lacking = [(key, row.sheet) for key, row in zip(keys, found, strict=True) if key not in known]
        contents = sheet_contents([sheet for _, sheet in lacking])
        for (key, _), content in zip(lacking, contents, strict=True):
            known[key] = self._drawn[key] = sheet_svg(content.drawing, small=True, width=SMALL)
        while len(self._drawn) > self.MOST:
            self._drawn.popitem(last=False)
        return [known[key] for key in keys]


_pictures = _Pictures()


def pieces_words(row: SheetRow) -> str:
    """“41 pieces”, or how many of them are left."""
    if row.open < row.live:
        return say("{n} of {of} pieces left", n=row.open, of=row.live)
    return say_count("{n} piece", "{n} pieces", row.open)


def size_words(sheet: CutSheet) -> str:
    """“60 × 120 in”; of a coil by the length to cut off."""
    return box(sheet.width_in, sheet.taken_length_in)


METALS = {
    "galvanized": mark("galvanized"),
    "stainless": mark("stainless"),
    "aluminum": mark("aluminum"),
    "carbon steel": mark("carbon steel"),
}


def metal_words(gauge: int, material: str) -> str:
    """“24 ga galvanized”; a metal of the shop's own by its name."""
    return say("{gauge} ga {metal}", gauge=gauge, metal=say(METALS.get(material, material)))


def day_words(due: date | None) -> str:
    return say("Due {day}", day=day_said(due)) if due else say("No due date")


# -- the sheet at hand ------------------------------------------------------------


def sheet_data(
    code: str, operations: Sequence[str], cautions: Callable[[], Sequence[dict[str, str]]]
) -> dict[str, Any]:
    """One sheet as a station needs it: pictures, the numbers that matter, the pieces as they come off the table.

    cautions  those of its operation, in the language in use
    raises    NotFound
    """
    here = sheet_at(code)
    row, sheet = here.row, here.row.sheet
    is_here = CUT in operations
    state = str(row.state) if row.open else str(TaskState.DONE)
    drawing = here.content.drawing

    def words() -> dict[str, Any]:
        return {
            **_names(row),
            "piece": pieces_words(row) if row.open else say("Nothing is left to cut."),
            "metal": metal_words(sheet.plan.gauge, sheet.plan.material),
            "due": day_words(row.due),
            "where": say("cut at another station"),
            "numbers": numbers_of(here),
            "cautions": list(cautions()),
            "pieces": [_piece(one) for one in here.pieces],
        }

    return {
        "kind": "sheet",
        "code": sheet.code,
        "operation": CUT if is_here else "",
        "state": state,
        "reason": "",
        "kit": None,
        "icon": "",
        "drawing": sheet_svg(drawing, is_done=here.done, small=True, width=WIDE),
        "picture": sheet_svg(drawing, is_done=here.done, width=LARGE),
        **in_languages(words),
    }


def numbers_of(here: SheetAt) -> list[Number]:
    sheet, row = here.row.sheet, here.row
    size = box(sheet.width_in, sheet.length_in)
    if sheet.form == StockItem.Form.COIL:
        found = [
            _number(say("Coil"), say("{size} in wide", size=fraction_text(sheet.width_in))),
            _number(say("Cut off"), inches(sheet.used_length_in), decimal_text(sheet.used_length_in)),
        ]
    elif sheet.form == StockItem.Form.REMNANT:
        found = [_number(say("Remnant"), size, sheet.stock_name.removeprefix("Remnant "))]
    else:
        found = [_number(say("Sheet"), size)]
    count = say("{n} of {of}", n=row.open, of=row.live) if 0 < row.open < row.live else str(row.live)
    found.append(_number(say("Pieces"), count))
    found.append(_number(say("Load"), say("{n} of {of}", n=sheet.load, of=row.loads)))
    place = inches(sheet.load_offset_in) if sheet.load_offset_in else say("the front")
    found.append(_number(say("Lay it from"), place))
    if here.content.drawing.remnant:
        wide, long = here.content.drawing.remnant[2:]
        found.append(_number(say("Keep"), box(wide, long), here.content.drawing.remnant_code))
    return found


def _number(label: str, value: str, exact: str = "") -> Number:
    return {"label": label, "value": value, "exact": exact}


def _piece(one: PieceOnSheet) -> dict[str, Any]:
    piece = one.piece
    return {
        "feed": piece.feed,
        "code": piece.code,
        "label": ", ".join((piece.label, *piece.notes)),
        "order": piece.order_number,
        "tag": piece.tag,
        "fitting": piece.fitting_number,
        "state": one.state,
        "word": say(STATE_WORDS.get(one.state, one.state)),
    }


__all__ = ["sheet_data", "sheets_of"]
