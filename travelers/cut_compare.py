"""What a rule of a cut plan costs: the same pieces laid out by another rule, both at quick effort.

A sentence and the figures that it was made of, for each rule that applies: where seams lie, how pieces are turned, the
gap, coil in place of sheets, other sizes of sheets. Nothing is estimated: what was not computed is not said.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from fittings.cut_settings import FREE, ORDERED, CutSettings
from fittings.cutting import ANY, QUICK, Layout, Progress, Stock, Work, WorkError, nest, stock_used
from fittings.cutting.work import area_of
from fittings.models import CutPlan, StockItem
from fittings.stock import stock_for
from fittings.tables import rows
from shared.problems import Problem
from travelers.cut_choices import stock_chosen
from travelers.cut_parts import (
    ALTERNATING,
    PlanPiece,
    may_alternate,
    parts_of,
    plan_pieces,
    stock_of,
    work_of,
)

MOST_PIECES = 800
MOST_SECONDS = 90.0
MOST_SIZES = 2
ASSUMED_COIL_IN = 60.0
LEAST_GAP_IN = 0.1
SAME_EFFORT = "Both sides of each comparison were computed at quick effort."
TOO_LONG = "Other rules were not compared: it takes too long for this plan."
MUCH_TOO_LONG = "What the rules cost was not computed: it takes too long for this plan."
SAME = 0.005
"""Differences of metal below this share are said to be none."""
Tell = Callable[[float, str], bool]


@dataclass(frozen=True)
class _Ask:
    """Another rule: its kind, how a sentence about it begins, and the work by it."""

    rule: str
    begins: str
    work: Callable[[], Work]
    is_of_sheets: bool = True


@dataclass(frozen=True)
class _Side:
    """The figures of a layout by one rule; `is_whole`: every piece has a place."""

    stock: float
    sheets: int
    utilisation: float
    is_whole: bool = True


def _side(work: Work, layout: Layout) -> _Side:
    """Pieces count with the outline that was chosen for them."""
    areas = {
        (part.id, number): abs(area_of(outline))
        for part in work.parts
        for number, outline in enumerate(part.outlines)
    }
    placed = sum(areas[one.part, one.alternative] for sheet in layout.sheets for one in sheet.placements)
    stock = stock_used(layout.sheets)
    return _Side(stock, len(layout.sheets), placed / stock if stock else 0.0, not layout.unplaced)


class _Stopped(Exception):
    """Somebody wants it to stop, or the time is spent: an unfinished search is no figure."""


def comparisons_of(
    plan: CutPlan, settings: CutSettings, tell: Tell, *, lay: Callable[..., Layout] = nest
) -> list[dict[str, Any]]:
    """What the rules of a made plan cost, an entry each: `rule`, `words`, and the figures.

    lay      what lays out a work, as `fittings.cutting.nest` does
    tell     share and words of the progress; its False stops, and what is computed by then is the answer
    returns  entries with `utilisation`, `utilisation_now`, `sheets`, `sheets_now`, `metal` (of that used now, 1 is the
             same); the last entry has no rule and says by what effort, or why something was not computed.
    """
    pieces = plan_pieces(plan)
    if len(pieces) > MOST_PIECES:
        sentence = f"What the rules cost is computed for plans of at most {MOST_PIECES} pieces."
        return [{"rule": "", "words": sentence}]
    try:
        items = stock_chosen(plan)
    except Problem:  # taken by another plan meanwhile: there is nothing to compare with
        return []
    stock = [one for one, _ in stock_of(items, settings.table_length_in).values()]
    asks = list(_asks(plan, pieces, items, stock, settings))
    until = time.monotonic() + MOST_SECONDS
    found: list[dict[str, Any]] = []

    def search(work: Work, at: int) -> _Side:
        def watch(progress: Progress) -> bool:
            share = (at + progress.share) / (len(asks) + 1)
            return tell(share, "The plan is made. What its rules cost is being computed.") and (
                time.monotonic() < until
            )

        if not watch(Progress(0.0, 0.0, 0)):
            raise _Stopped
        layout = lay(work, effort=QUICK, seed=plan.seed, watch=watch)
        if time.monotonic() >= until or not watch(Progress(1.0, layout.utilisation, len(layout.sheets))):
            raise _Stopped
        return _side(work, layout)

    is_cut_short = False
    try:
        if not asks:
            return []
        if plan.effort == QUICK:
            now = _Side(plan.stock_area, plan.sheets.count(), plan.utilisation)
        else:
            now = search(work_of(parts_of(pieces, seams=plan.seams), stock, plan), 0)
        if not now.is_whole:
            return []
        for at, ask in enumerate(asks, start=1):
            try:
                other = search(ask.work(), at)
            except WorkError:  # pieces larger than that stock, or a margin that leaves nothing of it
                continue
            if other.is_whole:
                found.append(_entry(ask, now, other))
    except _Stopped:
        is_cut_short = time.monotonic() >= until
    remarks = [SAME_EFFORT] if found else []
    if is_cut_short:
        remarks.append(TOO_LONG if found else MUCH_TOO_LONG)
    return [*found, {"rule": "", "words": " ".join(remarks)}] if remarks else found


def _asks(
    plan: CutPlan,
    pieces: Sequence[PlanPiece],
    items: Sequence[StockItem],
    stock: Sequence[Stock],
    settings: CutSettings,
) -> Iterator[_Ask]:
    """The rules that apply to a plan, those first that mostly cost most."""

    def by(stock: Sequence[Stock] = stock, seams: str = plan.seams, **rules: Any) -> Callable[[], Work]:
        return lambda: work_of(parts_of(pieces, seams=seams), stock, plan, **rules)

    free = parts_of(pieces, seams=FREE)
    if any(len(shape.outlines) > 1 for shape in free.shapes.values()):
        if plan.seams == FREE:
            yield _Ask("seams", "Seams as ordered", by(seams=ORDERED))
        else:
            yield _Ask("seams", "Seams free (throat or heel)", by(seams=FREE))
            if any(may_alternate(piece) for piece in pieces):
                yield _Ask("seams", "Seams alternating", by(seams=ALTERNATING))
    if not any(one.is_coil for one in stock):
        coil, words = _coil(plan, settings)
        yield _Ask("coil", f"From {coil.width:g} in coil{words}", by([coil]), is_of_sheets=False)
    for size in _sizes(plan, items):
        yield _Ask("size", f"All on {size.name}", by([size]))
    if plan.turns != ANY:
        yield _Ask("turns", "Turned any way", by(turns=ANY))
    if plan.gap_in >= LEAST_GAP_IN:
        half = plan.gap_in / 2
        yield _Ask("gap", f"Gap {half:g} in instead of {plan.gap_in:g} in", by(gap=half))


def _coil(plan: CutPlan, settings: CutSettings) -> tuple[Stock, str]:
    """The widest coil of the metal that the shop has; else the usual width, said so."""
    coils = [item for item in stock_for(plan.material, plan.gauge) if item.form == StockItem.Form.COIL]
    if coils:
        widest = max(coils, key=lambda item: (item.width_in, item.length_in))
        return next(one for one, _ in stock_of([widest], settings.table_length_in).values()), ""
    return (
        Stock("coil", ASSUMED_COIL_IN, settings.table_length_in, None, is_coil=True),
        " (none in stock; the width is assumed)",
    )


def _sizes(plan: CutPlan, items: Sequence[StockItem]) -> list[Stock]:
    """Sheet sizes that the plan may not use: of the shop's stock and of its table of stock sizes, the largest first."""
    own = {(item.width_in, item.length_in) for item in items}
    known = {
        (item.width_in, item.length_in): item.name
        for item in stock_for(plan.material, plan.gauge)
        if item.form == StockItem.Form.SHEET
    }
    for row in rows("stock"):
        if row["form"] == StockItem.Form.SHEET:
            known.setdefault((row["width_in"], row["length_in"]), row["name"])
    others = sorted((size for size in known if size not in own), key=lambda size: (-size[0] * size[1], size))
    return [Stock(known[size], *size) for size in others[:MOST_SIZES]]


def _entry(ask: _Ask, now: _Side, other: _Side) -> dict[str, Any]:
    metal = other.stock / now.stock
    said = []
    difference = other.sheets - now.sheets
    if ask.is_of_sheets and difference and ask.rule != "size":
        number = abs(difference)
        said.append(f"{number} sheet{'s' if number > 1 else ''} {'fewer' if difference < 0 else 'more'}")
    said.append(_metal_text(metal))
    figures = f"{100 * other.utilisation:.0f} % of the metal used instead of {100 * now.utilisation:.0f} %"
    return {
        "rule": ask.rule,
        "words": f"{ask.begins}: {', '.join(said)} ({figures}).",
        "utilisation": round(other.utilisation, 4),
        "utilisation_now": round(now.utilisation, 4),
        "sheets": other.sheets,
        "sheets_now": now.sheets,
        "metal": round(metal, 4),
    }


def _metal_text(metal: float) -> str:
    change = abs(metal - 1)
    if change < SAME:
        return "no difference"
    share = f"{100 * change:.1f}" if change < 0.02 else f"{100 * change:.0f}"
    return f"{share} % {'less' if metal < 1 else 'more'} metal"
