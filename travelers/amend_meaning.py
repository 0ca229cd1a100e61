"""What a change of a released order means, line by line: what stays, goes, is made, and what the started work is worth.

Worked out twice by the same function: to be shown, and again when the change is made; where the two differ, the floor
went on meanwhile and it is shown again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from fittings.drawing.facts import fitting_text
from fittings.models import CutPiece, CutPlan, Order, OrderLine
from travelers.amend_reading import (
    ADD,
    CANCEL,
    GO_ON,
    KEEP,
    REPLACE,
    SAME,
    WORDING,
    Change,
    LineWish,
)
from travelers.amend_started import Metal, One, Step, fittings_in, metal_of, operation_names, steps_of
from travelers.sheets import CUT, sheet_word
from travelers.state import DONE, RUNNING, SCRAPPED


@dataclass(frozen=True)
class Sheets:
    """Where pieces that go lie on cut plans: rows to take off, in words."""

    pieces: tuple[int, ...] = ()
    plans: tuple[int, ...] = ()
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Meaning:
    """What a change does to one line.

    made       new fittings; stays: fittings that stay in the order as they are, those that go on by choice too
    go         fittings that are taken out, unstarted ones first
    delivered  fittings that are not wanted any more and stay because they left or are on a delivery
    begun      of those that would go, how many are started; finished: of these, how many are finished
    so_far     how far the line is now; going: how far what goes is
    scrap, kept  segments that become scrap or are kept; kept_whole, scrap_whole: finished fittings
    minutes    standard work that is in what becomes scrap or is kept
    """

    wish: LineWish
    before: str
    after: str
    so_far: tuple[Step, ...] = ()
    going: tuple[Step, ...] = ()
    made: int = 0
    stays: int = 0
    over: int = 0
    delivered: int = 0
    go: tuple[One, ...] = ()
    begun: int = 0
    finished: int = 0
    started: str = ""
    scrap: Metal = Metal()
    kept: Metal = Metal()
    kept_whole: int = 0
    scrap_whole: int = 0
    minutes: float = 0.0
    sheets: Sheets = Sheets()
    travelers: tuple[str, ...] = ()

    @property
    def void(self) -> int:
        """Fittings that go and were never started."""
        return sum(1 for one in self.go if not one.is_begun)

    @property
    def kept_loose(self) -> int:
        """Segments that are kept one by one, not in a finished fitting."""
        whole = {id_ for one in self.go if one.is_done for id_ in one.state.segments}
        return sum(1 for id_ in self.kept.segments if id_ not in whole)

    @property
    def hours(self) -> float:
        return self.minutes / 60


@dataclass(frozen=True)
class Shown:
    """A change with what it means. `seen` is its mark: equal as long as nothing that is shown has moved.

    fittings_after  how many fittings the order has afterwards, untouched lines too
    """

    order: Order
    change: Change
    lines: tuple[Meaning, ...]
    seen: str
    fittings_after: int


def meaning_of(order: Order, change: Change, *, now: datetime) -> Shown:
    """What a change means as the floor stands."""
    touched = [wish.line for wish in change.wishes if wish.line]
    fittings = fittings_in(touched)
    names = operation_names()
    lines = tuple(
        _meaning(wish, fittings[wish.line.pk] if wish.line else (), names, now) for wish in change.wishes
    )
    untouched = order.fittings.filter(taken_out_at=None).exclude(line__in=touched).count()
    after = untouched + sum(line.made + line.stays for line in lines)
    return Shown(order, change, lines, _mark(order, lines), after)


def line_text(quantity: int, line: OrderLine | Any, development: Mapping[str, Any] | None = None) -> str:
    """A line in words: how many of what, of which metal, for where."""
    dev = development or getattr(line, "development", None)
    what = fitting_text(dev) if dev else line.kind.replace("_", " ")
    tag = f", tag {line.tag}" if line.tag else ""
    return f"{quantity} × {what}, {line.gauge} ga {line.material}{tag}"


# -- one line ----------------------------------------------------------------


def _meaning(
    wish: LineWish, fittings: Sequence[One], names: Sequence[tuple[str, str]], now: datetime
) -> Meaning:
    line, given = wish.line, wish.given
    before = line_text(line.quantity, line) if line else ""
    after = line_text(given.quantity, given, _development(wish)) if given else ""
    if line is None:
        return Meaning(wish, "", after, made=given.quantity)
    if wish.kind in (SAME, WORDING):
        return Meaning(wish, before, after, so_far=steps_of(fittings, names), stays=len(fittings))
    wanted = {CANCEL: 0, REPLACE: 0}.get(wish.kind, given.quantity if given else 0)
    over = max(0, len(fittings) - wanted)
    candidates = _going_first([one for one in fittings if not one.is_delivered])[:over]
    begun = [one for one in candidates if one.is_begun]
    started = (wish.started or KEEP) if begun else ""
    go = [one for one in candidates if not (started == GO_ON and one.is_begun)]
    made = given.quantity if wish.kind == REPLACE else max(0, wanted - len(fittings))
    fate = "" if started == GO_ON else started or KEEP
    left = [one for one in go if one.is_begun]
    scrap, kept, kept_whole, scrap_whole = _left(line, left, fate, now)
    return Meaning(
        wish,
        before,
        after,
        so_far=steps_of(fittings, names),
        going=steps_of(begun, names),
        made=made,
        stays=len(fittings) - len(go),
        over=len(fittings) - len(go) - min(wanted, len(fittings)),
        delivered=max(0, over - len(candidates)),
        go=tuple(go),
        begun=len(begun),
        finished=sum(one.is_done for one in begun),
        started=started,
        scrap=scrap,
        kept=kept,
        kept_whole=kept_whole,
        scrap_whole=scrap_whole,
        minutes=sum(one.minutes for one in left),
        sheets=sheets_of(go),
        travelers=_travelers(fittings, go),
    )


def _development(wish: LineWish) -> Mapping[str, Any] | None:
    """The frozen development, where the fitting stays the same; else words are made of the new one."""
    if wish.kind in (ADD, REPLACE):
        return wish.work.development if wish.work else None
    return wish.line.development if wish.line else None


def _going_first(fittings: Sequence[One]) -> list[One]:
    """In which order fittings leave: what is not started, then what has least work in it; the highest number first."""
    return sorted(fittings, key=lambda one: (one.is_done, one.is_begun, one.minutes, -one.number))


def _left(line: OrderLine, going: Sequence[One], fate: str, now: datetime) -> tuple[Metal, Metal, int, int]:
    """Started work that goes: segments to scrap, segments to keep, and finished fittings kept and scrapped whole."""
    scrap: list[int] = []
    kept: list[int] = []
    kept_whole = scrap_whole = 0
    for one in going:
        state = one.left(fate, now)
        before = one.state.segments
        if one.is_done:
            kept_whole += state.fitting == DONE
            scrap_whole += state.fitting == SCRAPPED
        for segment, after in state.segments.items():
            if before[segment] == SCRAPPED:
                continue
            if after == SCRAPPED:
                scrap.append(segment)
            elif after == DONE or _is_done(one, segment):
                kept.append(segment)
    return metal_of(line, scrap), metal_of(line, kept), kept_whole, scrap_whole


def _is_done(one: One, segment: int) -> bool:
    """An operation of the segment is finished."""
    return any(
        task.segment == segment and one.state.tasks[task.id].state == DONE for task in one.loaded.spec.tasks
    )


# -- papers and plans ----------------------------------------------------------


def _travelers(fittings: Sequence[One], go: Sequence[One]) -> tuple[str, ...]:
    """The travelers that become void: those of fittings that go, whoever else they stand for."""
    return tuple(sorted({one.traveler for one in go}))


def sheets_of(go: Sequence[One]) -> Sheets:
    """Pieces that go and lie on plans, but for what is cut or being cut already: that stays on its sheet."""
    ids = [one.id for one in go]
    rows = (
        list(
            CutPiece.objects.filter(segment__fitting__in=ids, is_live=True)
            .exclude(plan__state__in=(CutPlan.State.DROPPED, CutPlan.State.FAILED))
            .order_by("plan__number", "sheet__position", "pk")
            .values_list(
                "pk",
                "segment_id",
                "plate",
                "plan__number",
                "plan__state",
                "sheet__position",
                "segment__fitting",
            )
        )
        if ids
        else []
    )
    begun = _cut_already(go)
    off = [row for row in rows if not begun.get(row[1]) or (row[2] and row[2] not in begun[row[1]])]
    words: dict[str, int] = {}
    for _, _, _, plan, state, sheet, _ in off:
        is_sent = state == CutPlan.State.SENT and sheet is not None
        word = sheet_word(sheet, plan) if is_sent else f"Cut plan {plan} (not sent)"
        words[word] = words.get(word, 0) + 1
    return Sheets(
        tuple(row[0] for row in off),
        tuple(dict.fromkeys(row[3] for row in off)),
        tuple(f"{word}: {count} {'piece' if count == 1 else 'pieces'}" for word, count in words.items()),
    )


def _cut_already(go: Sequence[One]) -> dict[int, frozenset[int]]:
    """By segment that is cut or being cut: its plates that are; (0,) where it is the whole of it."""
    found: dict[int, frozenset[int]] = {}
    for one in go:
        if one.state is None:
            continue
        for task in one.loaded.spec.tasks:
            if task.operation != CUT or task.segment is None:
                continue
            if one.state.tasks[task.id].state in (DONE, RUNNING):
                found[task.segment] = frozenset(range(100))
            elif task.id in one.state.plates:
                found[task.segment] = one.state.plates[task.id]
    return found


# -- its mark ------------------------------------------------------------------


def _mark(order: Order, lines: Iterable[Meaning]) -> str:
    facts: list[Any] = [order.number, order.version]
    for one in lines:
        given = one.wish.given.values() if one.wish.given else None
        facts.append([one.wish.kind, one.wish.line.pk if one.wish.line else None, given, one.started])
        facts.append([one.made, one.stays, [fitting.id for fitting in one.go], one.begun, one.finished])
        facts.append([[step.operation, step.done, step.running] for step in one.going])
        facts.append([one.scrap.segments, one.kept.segments, one.kept_whole, one.scrap_whole])
        facts.append([_text(one.scrap.cost), _text(one.kept.cost), list(one.sheets.words)])
    return hashlib.sha256(json.dumps(facts, sort_keys=True, default=str).encode()).hexdigest()[:32]


def _text(cost: Decimal | None) -> str:
    return "" if cost is None else str(cost)
