"""Good pieces that belong to no order: kept, moved, used for another order, ended. Each piece is kept once at a time.

A kept piece is a whole finished fitting, or one segment of a fitting that is not made any more (void), done up to some
operation. How far it is follows from its own tasks and is not stored. Its metal was counted when it was cut: a piece
that is used for another order costs its metal once, there where it was cut.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet

from fittings.geometry import KINDS
from fittings.models import Fitting, KeptPiece, Order, PieceState, Segment
from fittings.reading import Reading
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.texts import said_value, search_text
from shared.turn import write_turn
from shared.units import LengthNotUnderstood, read_length
from travelers.kept_facts import fitting_facts, segment_facts
from travelers.models import Task, TaskState

Piece = Fitting | Segment
Key = tuple[int, int | None]
"""A fitting's id and a segment's; None for the whole fitting."""
Step = tuple[str, str]
"""An operation and the method by which it was done."""

MOST_PLACE, MOST_NOTE = 60, 200
LIVE = Q(used_at=None, ended_at=None)
NOT_MADE = (PieceState.VOID, PieceState.SCRAPPED)
"""States of a fitting that is not made any more: its good segments can be kept."""


# -- how far a piece is --------------------------------------------------------


@dataclass(frozen=True)
class Made:
    """The steps that are done of a piece, in flow order: its own, and of a whole fitting those of each position.

    is_joined  of a segment: an operation of its fitting as a whole is done
    """

    steps: tuple[Step, ...]
    segments: tuple[tuple[int, tuple[Step, ...]], ...] = ()
    is_joined: bool = False


def made_of(pieces: Iterable[Key]) -> dict[Key, Made]:
    """How far pieces are. One query."""
    pieces = list(pieces)
    rows: dict[int, list[dict[str, Any]]] = {}
    found = Task.objects.filter(fitting_id__in={fitting for fitting, _ in pieces}).order_by("step", "id")
    for row in found.values(
        "fitting_id", "segment_id", "operation_id", "method", "state", "segment__position"
    ):
        rows.setdefault(row["fitting_id"], []).append(row)
    return {key: _made(rows.get(key[0], ()), key[1]) for key in pieces}


def _made(rows: Sequence[Mapping[str, Any]], segment: int | None) -> Made:
    if segment is not None:
        is_joined = any(row["segment_id"] is None and row["state"] == TaskState.DONE for row in rows)
        return Made(_begun(row for row in rows if row["segment_id"] == segment), is_joined=is_joined)
    by_position: dict[int, list[Mapping[str, Any]]] = {}
    for row in rows:
        if row["segment_id"] is not None and row["state"] == TaskState.DONE:
            by_position.setdefault(row["segment__position"], []).append(row)
    return Made(
        _begun(row for row in rows if row["segment_id"] is None),
        tuple((position, _begun(own)) for position, own in sorted(by_position.items())),
    )


def _begun(rows: Iterable[Mapping[str, Any]]) -> tuple[Step, ...]:
    """The steps that are done without a gap from the first."""
    steps: list[Step] = []
    for row in rows:
        if row["state"] != TaskState.DONE:
            break
        steps.append((row["operation_id"], row["method"]))
    return tuple(steps)


# -- changes --------------------------------------------------------------------


def kept_add(
    *, pieces: Sequence[Piece], why: str, place: str = "", note: str = "", actor: Actor, now: datetime
) -> list[KeptPiece]:
    """Keep good pieces that belong to no order: all of them or none.

    pieces  whole fittings, finished; segments of void fittings, with at least their first operation done. Where an
            order is changed or cancelled they are given in the same transaction, after their fittings are void
    why     one of KeptPiece.Why; a finished fitting of an order on the floor can only be kept as `changed`
    place   where they lie, at most 60 characters; note at most 200
    raises  WrongInput naming each piece that cannot be kept, in the order given
    """
    reading = Reading({"why": why or "", "place": place, "note": note})
    why = reading.choice("why", KeptPiece.Why.values, usual="")
    place, note = reading.text("place", MOST_PLACE), reading.text("note", MOST_NOTE)
    if not pieces:
        reading.wrong("pieces", 0, "1 or more", "Name at least one piece to keep.")
    if reading.errors:
        raise WrongInput(reading.errors)
    with write_turn(), transaction.atomic():
        keys = [_key(piece) for piece in pieces]
        fittings = _locked_fittings({fitting for fitting, _ in keys})
        segments = {one.pk: one for one in Segment.objects.filter(pk__in=[s for _, s in keys if s])}
        made = made_of(keys)
        earlier = _earlier(keys)
        errors, seen = [], set()
        for at, (fitting_id, segment_id) in enumerate(keys):
            fitting, segment = fittings[fitting_id], segments.get(segment_id)
            wrong = _why_not(fitting, segment, made[fitting_id, segment_id], earlier, why)
            if not wrong and (fitting_id, segment_id) in seen:
                wrong = "is named twice."
            seen.add((fitting_id, segment_id))
            if wrong:
                what = _said(fitting, segment)
                code = (segment or fitting).code
                limit = "a good piece without an order"
                errors.append(FieldError(f"pieces[{at}]", code, limit, f"{what} {wrong}"))
        if errors:
            raise WrongInput(errors)
        return KeptPiece.objects.bulk_create(
            KeptPiece(
                fitting=fittings[fitting_id],
                segment=segments.get(segment_id),
                facts=_facts(fittings[fitting_id], segments.get(segment_id)),
                place=place,
                why=why,
                note=note,
                kept_at=now,
                kept_by=actor.name,
            )
            for fitting_id, segment_id in keys
        )


def kept_change(*, pk: int, data: Mapping[str, Any], actor: Actor, now: datetime) -> KeptPiece:
    """Put a kept piece elsewhere, change its note, or end it.

    data    `place`, `note`, `ended` (scrapped or lost), `version`: the one that was seen, not checked where left out
    raises  NotFound; WrongInput; Conflict where it is used or ended already, or was changed meanwhile
    """
    reading = Reading(data)
    reading.only(("place", "note", "ended", "version"))
    values = {name: reading.text(name, most) for name, most in _TEXTS if name in data}
    ended = reading.choice("ended", KeptPiece.Ended.values, usual="") if data.get("ended") else ""
    seen = reading.whole("version", 1, 10**9) if data.get("version") is not None else None
    if reading.errors:
        raise WrongInput(reading.errors)
    with write_turn(), transaction.atomic():
        piece = _locked(pk)
        _check_live(piece)
        if seen is not None and seen != piece.version:
            message = f"{piece} was changed meanwhile: version {seen} was seen, it has {piece.version} now."
            raise Conflict(message, [FieldError("version", seen, str(piece.version), message)])
        for name, value in values.items():
            setattr(piece, name, value)
        if ended:
            piece.ended_at, piece.ended_by, piece.ended_why = now, actor.name, ended
        piece.version += 1
        piece.save()
        return piece


def kept_use(
    *, uses: Sequence[tuple[KeptPiece, Fitting, Segment | None]], actor: Actor, now: datetime
) -> None:
    """Kept pieces become fittings of another order, or segments of them; in the caller's transaction, locked."""
    for piece, fitting, segment in uses:
        _check_live(piece)
        piece.used_at, piece.used_by = now, actor.name
        piece.used_for, piece.used_segment = fitting, segment
        piece.version += 1
    KeptPiece.objects.bulk_update(
        [piece for piece, _, _ in uses],
        ["used_at", "used_by", "used_for", "used_segment", "version"],
        batch_size=200,
    )


_TEXTS = (("place", MOST_PLACE), ("note", MOST_NOTE))


def _locked(pk: int) -> KeptPiece:
    found = KeptPiece.objects.select_for_update(of=("self",)).select_related("fitting", "segment")
    piece = found.filter(pk=pk).first()
    if piece is None:
        raise NotFound("There is no such kept piece.")
    return piece


def _check_live(piece: KeptPiece) -> None:
    if piece.used_at:
        raise Conflict(f"{piece} is used already: it is now fitting {piece.used_for.code}.")
    if piece.ended_at:
        raise Conflict(f"{piece} is not kept any more: {piece.get_ended_why_display().lower()}.")


def _locked_fittings(ids: Iterable[int]) -> dict[int, Fitting]:
    """Fittings with their lines and orders, locked in primary-key order as scans lock them."""
    found = Fitting.objects.filter(pk__in=ids).select_related("line", "order").order_by("pk")
    return {one.pk: one for one in found.select_for_update(no_key=True, of=("self",))}


def _key(piece: Piece) -> Key:
    return (piece.fitting_id, piece.pk) if isinstance(piece, Segment) else (piece.pk, None)


def _earlier(keys: Sequence[Key]) -> list[KeptPiece]:
    """Rows of these fittings that tell where the pieces are now: kept, used, or scrapped."""
    found = KeptPiece.objects.filter(fitting_id__in={fitting for fitting, _ in keys})
    return list(found.exclude(ended_why=KeptPiece.Ended.LOST).select_related("used_for"))


def _why_not(
    fitting: Fitting, segment: Segment | None, made: Made, earlier: Sequence[KeptPiece], why: str
) -> str:
    """Why a piece cannot be kept, as the end of a sentence; blank where it can."""
    for row in earlier:
        is_same = row.fitting_id == fitting.pk and (
            row.segment_id is None or segment is None or row.segment_id == segment.pk
        )
        if is_same:
            return _where_it_is(row)
    order = fitting.order
    if segment is not None:
        if segment.state == PieceState.SCRAPPED:
            return "is scrapped. Only good pieces are kept."
        if fitting.state not in NOT_MADE:
            return f"belongs to fitting {fitting.code} of order {order.number}, which is {fitting.state}."
        if made.is_joined:
            return "was put together with others. It cannot be kept by itself."
        if not made.steps:
            return "was not begun: there is nothing to keep."
        return ""
    if fitting.state != PieceState.DONE:
        return f"is {fitting.state}, not finished. Of a fitting that is not made any more keep the segments."
    if order.state == Order.State.RELEASED and why != KeptPiece.Why.CHANGED:
        return (
            f"belongs to order {order.number}, which is on the floor. It can be kept once the order is done."
        )
    return ""


def _where_it_is(row: KeptPiece) -> str:
    if row.used_for:
        return f"is used already: it is now fitting {row.used_for.code}."
    if row.ended_at:
        return "was kept and is scrapped."
    return "is kept already" + (f": {row.place}." if row.place else ".")


def _said(fitting: Fitting, segment: Segment | None) -> str:
    return f"Segment {segment.code}" if segment else f"Fitting {fitting.code}"


def _facts(fitting: Fitting, segment: Segment | None) -> str:
    development = fitting.line.development
    if segment is None:
        return fitting_facts(development, fitting.line)
    return segment_facts(development, segment.position)


# -- reads ------------------------------------------------------------------------


STATES = ("kept", "used", "ended")


def kept_by_id(pk: int) -> KeptPiece:
    """raises NotFound"""
    piece = _with_all().filter(pk=pk).first()
    if piece is None:
        raise NotFound(f"There is no kept piece {pk}.")
    return piece


def kept_listed(*, state: str = "kept", q: str = "") -> QuerySet[KeptPiece]:
    """Pieces that are kept, were used, or ended, the newest first.

    q       words that must all fit: kind, size in inches, gauge, metal, place, order's number, code, tag
    raises  WrongInput for another state
    """
    by_state = {
        "kept": LIVE,
        "used": Q(used_at__isnull=False),
        "ended": Q(ended_at__isnull=False),
    }
    if state not in by_state:
        limit = ", ".join(STATES)
        raise WrongInput(
            [FieldError("state", state[:20], limit, f"State is {said_value(state)}; it can be {limit}.")]
        )
    found = _with_all().filter(by_state[state]).order_by("-kept_at", "-id")
    for word in search_text(q).split():
        found = found.filter(_fits_word(word))
    return found


def _with_all() -> QuerySet[KeptPiece]:
    return KeptPiece.objects.select_related(
        "fitting__line", "fitting__order", "segment", "used_for__order", "used_segment"
    ).defer("fitting__line__development")


def _fits_word(word: str) -> Q:
    low = word.lower()
    fits = Q(place__icontains=word) | Q(note__icontains=word) | Q(fitting__line__tag__icontains=word)
    fits |= Q(fitting__order__number__iexact=word) | Q(fitting__line__material__icontains=word)
    fits |= Q(fitting__code__istartswith=word) | Q(segment__code__istartswith=word)
    kinds = [kind for kind, about in KINDS.items() if low in about.title.lower()]
    if kinds:
        fits |= Q(fitting__line__kind__in=kinds)
    gauge = low.removesuffix("ga")
    if gauge.isdecimal() and len(gauge) <= 2:
        fits |= Q(fitting__line__gauge=int(gauge))
    try:
        size = round(read_length(low.removesuffix("in"), unit="in"), 6)
    except LengthNotUnderstood:
        return fits
    for name in SIZES:
        fits |= Q(**{f"fitting__line__params__{name}": size})
    return fits


SIZES = ("diameter", "diameter_a", "diameter_b", "branch_diameter", "width", "height", "angle")
"""Parameters by which people know a fitting."""
