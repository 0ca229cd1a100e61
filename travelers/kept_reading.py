"""Kept pieces as people and programs name them: by scanned codes; and as answers show them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from fittings.models import Fitting, KeptPiece, PieceState, Segment
from fittings.reading import Reading
from shared.codes import CodeNotUnderstood, read_code
from shared.problems import FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.texts import printable, said_value
from travelers.kept import MOST_NOTE, MOST_PLACE, Made, Piece, kept_add, made_of
from travelers.kept_codes import LAST, became

MOST_CODES = 200
BY_HAND = (KeptPiece.Why.RETURNED, KeptPiece.Why.SURPLUS, KeptPiece.Why.CANCELLED)
"""Why somebody keeps a piece. Changes of orders keep their pieces themselves."""


def kept_add_codes(*, data: Mapping[str, Any], actor: Actor, now: datetime) -> list[KeptPiece]:
    """Keep the pieces of scanned or typed codes: all or none.

    data    `codes` (1 to 200), `why` (returned, surplus, cancelled), `place`, `note`. The code of any label on a
            finished fitting stands for the whole fitting
    raises  WrongInput naming each code that is none, or whose piece cannot be kept
    """
    reading = Reading(data)
    reading.only(("codes", "why", "place", "note"))
    why = reading.choice("why", BY_HAND, usual="")
    if not why and "why" not in {error.field for error in reading.errors}:
        reading.wrong("why", None, ", ".join(BY_HAND))
    place, note = reading.text("place", MOST_PLACE), reading.text("note", MOST_NOTE)
    codes = data.get("codes")
    limit = f"1 to {MOST_CODES} codes"
    if not isinstance(codes, list) or not 1 <= len(codes) <= MOST_CODES:
        given = len(codes) if isinstance(codes, list) else codes
        reading.wrong("codes", given, limit, f"Codes can be {limit}; there are {given or 'none'}.")
        codes = []
    pieces: list[Piece] = []
    for at, code in enumerate(codes):
        try:
            pieces.append(_piece(code))
        except NotFound as problem:
            shown = printable(code) if isinstance(code, str) else None
            reading.errors.append(
                FieldError(f"codes[{at}]", shown, "the code of a fitting or label", problem.detail)
            )
    if reading.errors:
        raise WrongInput(reading.errors)
    try:
        return kept_add(pieces=pieces, why=why, place=place, note=note, actor=actor, now=now)
    except WrongInput as wrong:
        raise WrongInput(
            FieldError(error.field.replace("pieces[", "codes["), error.value, error.limit, error.message)
            for error in wrong.errors
        ) from None


def _piece(text: Any) -> Piece:
    """The piece of a code, as it is now. raises NotFound"""
    try:
        code = read_code(text) if isinstance(text, str) else ""
    except CodeNotUnderstood as error:
        raise NotFound(f"{said_value(text)}: {error.sentence}") from None
    segment = Segment.objects.filter(code=code).select_related("fitting").first()
    fitting = segment.fitting if segment else Fitting.objects.filter(code=code).first()
    if fitting is None:
        raise NotFound(
            f"No fitting and no label has the code {said_value(text)}. Scan a label that is on the piece."
        )
    now = became(fitting.pk, segment.pk if segment else None, LAST)
    if now:
        fitting = Fitting.objects.get(pk=now.fitting)
        segment = Segment.objects.get(pk=now.segment) if now.segment else None
    if segment is None or fitting.state == PieceState.DONE:
        return fitting
    return segment


# -- answers -----------------------------------------------------------------------


def kept_rows(pieces: Iterable[KeptPiece]) -> list[dict[str, Any]]:
    """Kept pieces as answers show them. One more query, however many they are."""
    pieces = list(pieces)
    made = made_of((piece.fitting_id, piece.segment_id) for piece in pieces)
    return [_row(piece, made[piece.fitting_id, piece.segment_id]) for piece in pieces]


def _row(piece: KeptPiece, made: Made) -> dict[str, Any]:
    line = piece.fitting.line
    segment, used = piece.segment, piece.used_for
    steps = (
        made.steps
        if segment
        else tuple(dict.fromkeys(step for _, own in made.segments for step in own)) + made.steps
    )
    return {
        "id": piece.pk,
        "code": (segment or piece.fitting).code,
        "is_fitting": segment is None,
        "fitting": piece.fitting.code,
        "position": segment.position if segment else None,
        "role": segment.role if segment else None,
        "order": piece.fitting.order.number,
        "kind": line.kind,
        "material": line.material,
        "gauge": line.gauge,
        "done": list(dict.fromkeys(operation for operation, _ in steps)),
        "place": piece.place,
        "why": piece.why,
        "note": piece.note,
        "version": piece.version,
        "kept_at": piece.kept_at,
        "kept_by": piece.kept_by,
        "used_at": piece.used_at,
        "used_by": piece.used_by,
        "used_for": None
        if used is None
        else {
            "order": used.order.number,
            "fitting": used.code,
            "segment": piece.used_segment.code if piece.used_segment else None,
        },
        "ended_at": piece.ended_at,
        "ended_by": piece.ended_by,
        "ended_why": piece.ended_why,
    }
