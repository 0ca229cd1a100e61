"""Kept pieces that a released line can use: which fit where, and putting them there.

A kept fitting becomes one of the line's fittings, a kept segment one segment of one of them: where all computed facts
are equal (`kept_facts`) and what is done of the piece is how the line would have it done, step by step with the same
methods from the first on. The new fitting has all its tasks; those that are done of the piece came done with it
(`Task.came_done`), so that only the rest is work, and all of it again should the piece be scrapped.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q

from fittings.models import Fitting, KeptPiece, Order, OrderLine, PieceState, Segment
from shared.portions import in_portions
from shared.problems import FieldError, WrongInput
from shared.roles import Actor
from shared.texts import said_value
from travelers import pieces
from travelers.kept import LIVE, NOT_MADE, Made, Step, kept_use, made_of
from travelers.kept_facts import fitting_facts, segment_facts
from travelers.models import Task
from travelers.release_rows import LineWork, Timed, Work
from travelers.state import derive

MOST_USED = 5000
_AT_A_TIME = 200


@dataclass(frozen=True)
class LineFacts:
    """What a kept piece must equal to be a fitting of a line, or a segment of one.

    whole   the facts of the whole fitting; fitting_steps how it is made of its segments
    steps   of each position that has work: how it is made, and `places` of these steps in the flow
    alike   positions by the facts of their segments
    """

    whole: str
    fitting_steps: tuple[Step, ...]
    steps: Mapping[int, tuple[Step, ...]]
    places: Mapping[int, tuple[int, ...]]
    alike: Mapping[str, tuple[int, ...]]

    def is_made(self, piece: KeptPiece, made: Made) -> bool:
        """Whether a whole fitting was made as this line's would be."""
        return (
            piece.segment_id is None
            and made.steps == self.fitting_steps
            and dict(made.segments) == self.steps
        )

    def begins(self, position: int) -> Callable[[KeptPiece, Made], bool]:
        """Whether what is done of a segment is how this position's would begin: alike ones are routed alike."""
        steps = self.steps[position]

        def fits(piece: KeptPiece, made: Made) -> bool:
            return piece.segment_id is not None and made.steps == steps[: len(made.steps)]

        return fits


@dataclass(frozen=True)
class Wanted:
    """Fittings of a line that are to be made, by their numbers."""

    line: OrderLine
    numbers: Sequence[int]
    facts: LineFacts


@dataclass(frozen=True)
class Use:
    """A kept piece and where it goes: a line's fitting by its number, and of a segment its position there."""

    piece: KeptPiece
    wanted: Wanted
    number: int
    position: int | None
    made: Made


# -- which fit where -----------------------------------------------------------------


def line_facts(line: OrderLine, work: Work) -> LineFacts:
    """The facts of a line's fittings. It takes about as long as printing the development."""
    routed = {
        segment["position"]: timed
        for segment, timed in zip(work.segments, work.segment_steps, strict=True)
        if timed
    }
    alike: dict[str, list[int]] = defaultdict(list)
    for position in routed:
        alike[segment_facts(work.development, position)].append(position)
    return LineFacts(
        fitting_facts(work.development, line),
        _steps(work.fitting_steps),
        {position: _steps(timed) for position, timed in routed.items()},
        {position: tuple(step.position for step, _ in timed) for position, timed in routed.items()},
        {facts: tuple(positions) for facts, positions in alike.items()},
    )


def wanted_by(plans: Iterable[LineWork]) -> list[Wanted]:
    """The fittings of released lines; lines of equal work share their facts."""
    known: dict[int, LineFacts] = {}
    for plan in plans:
        if id(plan.work) not in known:
            known[id(plan.work)] = line_facts(plan.line, plan.work)
    return [Wanted(plan.line, plan.numbers, known[id(plan.work)]) for plan in plans]


def kept_places(wanted: Sequence[Wanted], *, only: Collection[int] | None = None) -> list[Use]:
    """Where kept pieces fit, each once: whole fittings first, then segments where most is done of them, the oldest
    first. Two queries, whatever the number of lines.

    only  ids of the pieces that may be used; None is all that are kept
    """
    asked = {facts for one in wanted for facts in (one.facts.whole, *one.facts.alike)}
    by_facts = _kept(asked, only)
    uses: list[Use] = []
    for one in wanted if by_facts else ():
        whole = _taken(by_facts[one.facts.whole], one.facts.is_made, one.numbers)
        uses += [Use(piece, one, number, None, made) for number, (piece, made) in whole]
        for facts, positions in one.facts.alike.items():
            places = [(number, position) for number in one.numbers[len(whole) :] for position in positions]
            parts = _taken(by_facts[facts], one.facts.begins(positions[0]), places)
            uses += [Use(piece, one, number, position, made) for (number, position), (piece, made) in parts]
    return uses


def _steps(timed: Timed) -> tuple[Step, ...]:
    return tuple((step.operation, step.method) for step, _ in timed)


Kept = tuple[KeptPiece, Made]


def _kept(wanted: Collection[str], only: Collection[int] | None) -> dict[str, list[Kept]]:
    """Kept pieces by their facts, in the order in which they are used."""
    found = KeptPiece.objects.filter(LIVE).select_related("fitting__order", "segment")
    if only is not None:
        found = found.filter(pk__in=only)
    here = [piece for piece in found if piece.facts in wanted and _is_still_good(piece)]
    made = made_of((piece.fitting_id, piece.segment_id) for piece in here) if here else {}
    by_facts: dict[str, list[Kept]] = defaultdict(list)
    for piece in here:
        by_facts[piece.facts].append((piece, made[piece.fitting_id, piece.segment_id]))
    for kept in by_facts.values():
        kept.sort(key=lambda one: (-len(one[1].steps), one[0].kept_at, one[0].pk))
    return by_facts


def _is_still_good(piece: KeptPiece) -> bool:
    """A scan that was undone, or that came late, may have made of it what cannot be used."""
    if piece.segment is None:
        return piece.fitting.state == PieceState.DONE
    return piece.fitting.state in NOT_MADE and piece.segment.state != PieceState.SCRAPPED


def _taken(
    kept: list[Kept], fits: Callable[[KeptPiece, Made], bool], places: Sequence[Any]
) -> list[tuple[Any, Kept]]:
    """Of these the first that fit, one a place, taken out of the list."""
    taken, rest, left = [], [], iter(places)
    for one in kept:
        place = next(left, None) if one[1].steps and fits(*one) else None
        if place is None:
            rest.append(one)
        else:
            taken.append((place, one))
    kept[:] = rest
    return taken


# -- putting them there --------------------------------------------------------------


def kept_ids_read(value: Any) -> list[int]:
    """`use_kept` of a request: ids of kept pieces. raises WrongInput naming each that is none"""
    if value is None:
        return []
    if not isinstance(value, list) or len(value) > MOST_USED:
        limit = f"a list of at most {MOST_USED} ids of kept pieces"
        given = len(value) if isinstance(value, list) else value
        raise WrongInput([FieldError("use_kept", given, limit, f"Use kept can be {limit}.")])
    errors = []
    for at, one in enumerate(value):
        is_id = isinstance(one, int) and not isinstance(one, bool) and 1 <= one < 2**63
        if not is_id or one in value[:at]:
            message = f"Kept piece {said_value(one)} is " + ("named twice." if is_id else "no id.")
            errors.append(FieldError(f"use_kept[{at}]", one, "the id of a kept piece, once", message))
    if errors:
        raise WrongInput(errors)
    return value


def kept_fittings(ids: Sequence[int]) -> list[int]:
    """The fittings that kept pieces are, or are of."""
    return list(KeptPiece.objects.filter(pk__in=ids).values_list("fitting", flat=True)) if ids else []


def kept_lock(ids: Sequence[int]) -> None:
    """Their fittings, then themselves, locked as scans and `kept_add` lock them; in the caller's transaction."""
    fittings = Fitting.objects.filter(kept__in=ids).order_by("pk")
    list(fittings.select_for_update(no_key=True, of=("self",)).values_list("pk", flat=True))
    list(KeptPiece.objects.filter(pk__in=ids).order_by("pk").select_for_update(of=("self",)))


def kept_put_in(
    *, order: Order, plans: Sequence[LineWork], ids: Sequence[int], actor: Actor, now: datetime
) -> list[Use]:
    """Use these kept pieces for fittings that were just written and that nobody has scanned yet.

    order   released, its fittings counted; where all of them are kept ones it is done. In the caller's transaction,
            which has called `kept_lock` before all else
    raises  WrongInput naming each piece that is not kept any more, or fits nowhere
    """
    if not ids:
        return []
    uses = kept_places(wanted_by(plans), only=ids)
    placed = {use.piece.pk for use in uses}
    errors = [_does_not_fit(at, pk, order.number) for at, pk in enumerate(ids) if pk not in placed]
    if errors:
        raise WrongInput(errors)
    fittings = _fittings(uses)
    segments = {
        (one.fitting_id, one.position): one
        for one in Segment.objects.filter(fitting__in=fittings.values(), generation=1)
    }
    _mark_tasks(uses, fittings, segments)
    kept_use(
        uses=[
            (
                use.piece,
                fittings[use.wanted.line.pk, use.number],
                segments[fittings[use.wanted.line.pk, use.number].pk, use.position] if use.position else None,
            )
            for use in uses
        ],
        actor=actor,
        now=now,
    )
    for part in in_portions(sorted(one.pk for one in set(fittings.values())), _AT_A_TIME):
        for one in pieces.load(part, lock=False):
            pieces.store(one, derive(one.spec, one.events), at=now)
    return uses


def _does_not_fit(at: int, pk: int, number: str) -> FieldError:
    piece = KeptPiece.objects.filter(pk=pk).select_related("fitting", "segment", "used_for").first()
    if piece is None:
        message = f"There is no kept piece {pk}."
    elif piece.used_for:
        message = f"Kept piece {piece} is used already: it is now fitting {piece.used_for.code}."
    elif piece.ended_at:
        message = f"Kept piece {piece} is not kept any more: {piece.get_ended_why_display().lower()}."
    else:
        message = f"Kept piece {piece} fits no place that is left in order {number}."
    return FieldError(f"use_kept[{at}]", pk, "a kept piece that fits a line of the order", message)


def _fittings(uses: Iterable[Use]) -> dict[tuple[int, int], Fitting]:
    wanted = {(use.wanted.line.pk, use.number) for use in uses}
    found = {}
    for part in in_portions(sorted({line for line, _ in wanted}), _AT_A_TIME):
        for one in Fitting.objects.filter(line__in=part):
            if (one.line_id, one.number) in wanted:
                found[one.line_id, one.number] = one
    return found


def _mark_tasks(uses: Sequence[Use], fittings, segments) -> None:
    """The tasks that are done of the pieces came done with them."""
    whole, first = [], defaultdict(list)
    for use in uses:
        fitting = fittings[use.wanted.line.pk, use.number]
        if use.position is None:
            whole.append(fitting.pk)
        else:
            last = use.wanted.facts.places[use.position][len(use.made.steps) - 1]
            first[last].append(segments[fitting.pk, use.position].pk)
    for part in in_portions(whole, _AT_A_TIME):
        Task.objects.filter(fitting__in=part).update(came_done=True)
    for last, ids in first.items():
        for part in in_portions(ids, _AT_A_TIME):
            Task.objects.filter(Q(segment__in=part), step__lte=last).update(came_done=True)
