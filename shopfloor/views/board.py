"""The board on the wall: the line as bays with piles, what piles up in words, kits short of a piece, orders at risk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.shortcuts import render
from django.template.loader import render_to_string

from fittings.drawing import icon_svg
from fittings.models import Fitting
from shared.roles import DISPLAY, OFFICE, SUPERVISOR, role_required
from shared.units import NO_BREAK
from shopfloor.api.board import answer_edition
from shopfloor.attention import LateRisk, ShortKit
from shopfloor.board import Board, BoardOperation
from shopfloor.flow.pile import Pile, pile, scale_top
from shopfloor.live import Edition, live
from travelers.sentences import piece_word_of

ROLES = (OFFICE, SUPERVISOR, DISPLAY)
STALE_AFTER_SECONDS = 30


@dataclass(frozen=True)
class Bay:
    """A bay as drawn: its numbers, its pile on the scale of all bays."""

    at: BoardOperation
    pile: Pile

    @property
    def oldest(self) -> str:
        """The age of what has been ready longest, in one unit: read from across the room, not subtracted from."""
        minutes = self.at.oldest_ready_minutes
        if minutes is None:
            return "–"
        if minutes < 100:
            return f"{minutes}{NO_BREAK}min"
        hours = round(minutes / 60)
        return f"{hours}{NO_BREAK}h" if hours < 48 else f"{round(hours / 24)}{NO_BREAK}d"


@role_required(*ROLES)
def board(request):
    """The page. Everything on it is there without a script; the script keeps it current."""
    edition = live.edition()
    return render(
        request, "shopfloor/board.html", board_context(edition.board) | {"stale_after": STALE_AFTER_SECONDS}
    )


@role_required(*ROLES)
def board_part(request):
    """The board alone, for the page's script: 304 while nothing changed."""
    return answer_edition(request, lambda: (board_html(live.edition()), "text/html; charset=utf-8"))


_drawn: tuple[Edition, bytes] | None = None


def board_html(edition: Edition) -> bytes:
    """The board of an edition as HTML. Drawn once for all displays of this process."""
    global _drawn
    drawn = _drawn
    if drawn is None or drawn[0] is not edition:
        drawn = _drawn = (
            edition,
            render_to_string("shopfloor/_board.html", board_context(edition.board)).encode(),
        )
    return drawn[1]


def board_context(found: Board) -> dict:
    kit = found.short_kits[0] if found.short_kits else None
    late = found.late_risk[0] if found.late_risk else None
    piling = found.piling
    return {
        "board": found,
        "bays": bays(found),
        "top": piling[0] if piling else None,
        "why": piling_words(piling),
        "kit": kit,
        "kit_words": kit_words(kit) if kit else "",
        "kit_icon": kit_icon(kit) if kit else "",
        "kits_more": max(0, len(found.short_kits) - 1) + found.short_kits_more,
        "late": late,
        "late_words": late_words(late) if late else "",
        "late_more": max(0, len(found.late_risk) - 1) + found.late_risk_more,
    }


def piling_words(piling: Sequence[BoardOperation]) -> str:
    """Why the worst bay piles up, and which others do, short enough for one line on the wall."""
    if len(piling) < 2:
        return piling[0].why if piling else ""
    others = [one.name for one in piling[1:]]
    named = ", ".join(others) if len(others) < 3 else f"{others[0]} and {len(others) - 1} more"
    return f"{piling[0].why.partition(';')[0]}. Also: {named}"


def bays(found: Board) -> list[Bay]:
    operations = found.operations
    heights = [sum(slat.hours for slat in one.slats) for one in operations]
    top = scale_top(heights, [one.hours_clear for one in operations])
    return [Bay(one, pile(one.slats, clears_hours=one.hours_clear, top_hours=top)) for one in operations]


def kit_words(kit: ShortKit) -> str:
    """What a fitting lacks, and where it is: "gore 2 is at roll"."""
    word = piece_word_of(kit.kind)
    places: dict[str, list[str]] = {}
    for one in kit.missing:
        held = ", on hold" if one.state == "held" else ""
        places.setdefault(f"{one.operation}{held}", []).append(str(one.position))
    parts = []
    for place, positions in places.items():
        plural = len(positions) > 1
        parts.append(f"{word}{'s' * plural} {_listed(positions)} {'are' if plural else 'is'} at {place}")
    return "; ".join(parts)


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def kit_icon(kit: ShortKit) -> str:
    """The fitting's line drawing with the first missing segment filled."""
    development = Fitting.objects.filter(code=kit.fitting).values_list("line__development", flat=True).first()
    if not development:
        return ""
    return icon_svg(development, highlight=kit.missing[0].position if kit.missing else None)


def late_words(late: LateRisk) -> str:
    """Why an order is at risk, short enough for one line on the wall. It is due within days: the weekday says which."""
    due = date.fromisoformat(late.due)
    if late.hours_left <= 0:
        days = late.days_overdue
        when = f"{days} {'day' if days == 1 else 'days'} overdue" if days else "due today"
        return f"{when}, {late.hours_of_work:.1f} h to do"
    return f"due {due:%a}: {late.hours_of_work:.1f} h to do, {late.hours_left:.1f} h left"
