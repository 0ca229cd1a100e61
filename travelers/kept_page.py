"""Kept pieces as the office's pages show them: the list, one piece, adding some, and what an order was made of."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.paginator import Page, Paginator

from fittings.models import KeptPiece, Order
from fittings.preview import LineDrawing, line_drawing
from fittings.tables import versions_in_force
from shared.problems import WrongInput
from shared.texts import search_text
from travelers.kept import MOST_NOTE, MOST_PLACE, Made, kept_listed, made_of
from travelers.kept_offers import what_said
from travelers.kept_reading import MOST_CODES

ON_A_PAGE = 50
SHOWN = (("kept", "Kept now"), ("used", "Used since"), ("ended", "Scrapped or not found"))
WHY_BY_HAND = (
    (KeptPiece.Why.RETURNED, "It came back"),
    (KeptPiece.Why.SURPLUS, "It is surplus"),
    (KeptPiece.Why.CANCELLED, "Its order was cancelled"),
)


@dataclass(frozen=True)
class KeptRow:
    """A kept piece: its code, what it is in words, and the drawing of its fitting."""

    piece: KeptPiece
    drawing: LineDrawing
    what: str
    done: str

    @property
    def code(self) -> str:
        return (self.piece.segment or self.piece.fitting).code

    @property
    def new_code(self) -> str:
        """Of what it became; blank where it was not used."""
        used = self.piece.used_segment or self.piece.used_for
        return used.code if used else ""

    @property
    def became(self) -> str:
        """Which piece of another order it is now."""
        piece = self.piece
        if piece.used_segment:
            number = piece.used_for.number
            return f"position {piece.used_segment.position} of fitting {number} of line {piece.used_for.line.position}"
        return (
            f"fitting {piece.used_for.number} of line {piece.used_for.line.position}"
            if piece.used_for
            else ""
        )


@dataclass(frozen=True)
class KeptPage:
    page: Page
    rows: tuple[KeptRow, ...]
    q: str
    state: str

    @property
    def is_filtered(self) -> bool:
        return bool(self.q) or self.state != "kept"


def kept_page(query: Mapping[str, str]) -> KeptPage:
    """The pieces that a search finds; a state that there is not shows what is kept now."""
    q, state = search_text(query.get("q", "")), query.get("state", "kept")
    state = state if state in dict(SHOWN) else "kept"
    page = Paginator(kept_listed(state=state, q=q), ON_A_PAGE).get_page(query.get("page"))
    return KeptPage(page, tuple(kept_rows_shown(page.object_list)), q, state)


def kept_rows_shown(pieces: Iterable[KeptPiece]) -> list[KeptRow]:
    pieces = list(pieces)
    made = made_of((piece.fitting_id, piece.segment_id) for piece in pieces)
    return [kept_row(piece, made[piece.fitting_id, piece.segment_id]) for piece in pieces]


def kept_row(piece: KeptPiece, made: Made) -> KeptRow:
    line = piece.fitting.line
    drawing = line_drawing(line, line.tables or piece.fitting.order.tables or versions_in_force())
    what, done = what_said(piece, made)
    return KeptRow(piece, drawing, what, done)


def pieces_of_stock(order: Order) -> list[KeptRow]:
    """The kept pieces that an order's fittings were made of, line by line."""
    found = kept_listed(state="used").filter(used_for__order=order).select_related("used_for__line")
    pieces = found.order_by("used_for__line__position", "used_for__number", "used_segment__position", "pk")
    return kept_rows_shown(pieces)


# -- forms ---------------------------------------------------------------------------


class _KeptForm(forms.Form):
    """Texts only: what they say is judged by the services."""

    use_required_attribute = False

    def attach(self, wrong: WrongInput) -> None:
        for error in wrong.errors:
            field = error.field.partition("[")[0]
            self.add_error(field if field in self.fields else None, error.message)


def _place() -> forms.CharField:
    return forms.CharField(
        label="Where it lies",
        required=False,
        max_length=MOST_PLACE,
        help_text="As it is written there: rack A4.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )


def _note() -> forms.CharField:
    return forms.CharField(
        label="Note",
        required=False,
        max_length=MOST_NOTE,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


class KeepForm(_KeptForm):
    """Pieces to keep, by their codes."""

    codes = forms.CharField(
        label="Codes",
        help_text=f"Scan or type the labels, one a line, at most {MOST_CODES}. Any label of a finished fitting stands"
        " for the whole fitting.",
        widget=forms.Textarea(
            attrs={"rows": 5, "autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
        error_messages={"required": "Scan or type at least one code."},
    )
    why = forms.ChoiceField(label="Why", choices=WHY_BY_HAND)
    place, note = _place(), _note()

    def values(self) -> dict[str, Any]:
        codes = [code for code in re.split(r"[\n,;]+", self.cleaned_data["codes"]) if code.strip()]
        return {**self.cleaned_data, "codes": [code.strip() for code in codes]}


class PlaceForm(_KeptForm):
    """Where a kept piece lies."""

    place, note = _place(), _note()

    def __init__(self, data=None, *, piece: KeptPiece):
        super().__init__(data, initial={"place": piece.place, "note": piece.note})
