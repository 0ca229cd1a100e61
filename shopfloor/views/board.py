"""The board on the wall: the line as bays with piles, what piles up in words, kits short of a piece, orders at risk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from textwrap import wrap

from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.timezone import get_default_timezone
from django.views.decorators.http import require_safe

from fittings.drawing import icon_svg
from fittings.models import Fitting
from shared.roles import DISPLAY, OFFICE, SUPERVISOR, role_required
from shared.units import NO_BREAK
from shopfloor.api.board import answer_edition, stream_of
from shopfloor.attention import LateRisk, ShortKit
from shopfloor.board import Board, BoardOperation, DownHere
from shopfloor.flow.pile import Pile, pile, scale_top
from shopfloor.live import Edition, etag, live
from travelers.sentences import piece_word_of

ROLES = (OFFICE, SUPERVISOR, DISPLAY)
STALE_AFTER_SECONDS = 30
WHY_ROOM = 128
"""Letters of the sentence under the headline: two lines on a 16:9 screen."""
NOTE_ROOM = 46
"""Letters of a kit or an order in its line."""
HEADLINE_ROOM = (19, 28)
"""Letters of the headline at its full height, and at the lesser one; more stand in two lines."""
NAME_ROOM = {3: (13, 23), 4: (10, 17), 5: (8, 14), 6: (8, 11), 7: (8, 10), 8: (8, 9), 9: (8, 10), 10: (8, 9)}
"""Letters of a name by the number of bays: at its full height, and in each of two lines."""
LEAST_NAME_ROOM = (8, 7)
CLEARS_WORDS = {"in the next hour": "in 1 h"}
"""Beside the line of the piles, where there is less room."""
NOTES_DRAWN = 9


@dataclass(frozen=True)
class Bay:
    """A bay as drawn: its numbers, its pile on the scale of all bays, the letters that its name may have."""

    at: BoardOperation
    pile: Pile
    name_room: tuple[int, int]

    @property
    def is_long(self) -> bool:
        return len(self.at.name) > self.name_room[0]

    @property
    def name_lines(self) -> list[str]:
        if not self.is_long:
            return [self.at.name]
        room = self.name_room[1]
        words = " ".join(shortened(word, room) for word in self.at.name.split())
        return wrap(words, room, max_lines=2, placeholder="…")

    @property
    def hours(self) -> str:
        return amount(self.at.hours_queued, whole_from=100, thousands_from=10_000)

    @property
    def ready(self) -> str:
        return amount(self.at.ready)

    @property
    def running(self) -> str:
        return amount(self.at.running)

    @property
    def held(self) -> str:
        return amount(self.at.held)

    @property
    def waiting(self) -> str:
        return amount(self.at.waiting)

    @property
    def arrivals(self) -> str:
        return amount(self.at.arrivals_per_hour, thousands_from=1000)

    @property
    def finishes(self) -> str:
        return amount(self.at.finishes_per_hour, thousands_from=1000)

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


@dataclass(frozen=True)
class Note:
    """A kit or an order in its line on the wall."""

    name: str
    words: str
    icon: str = ""


def amount(value: float, *, whole_from: int = 10, thousands_from: int = 10_000) -> str:
    """A number that fits its bay: at most four digits.

    >>> [amount(one) for one in (7, 9.5, 12.4, 9999, 12345, 2345678)]
    ['7', '9.5', '12', '9999', '12k', '2M']
    """
    if isinstance(value, int) or value >= whole_from:
        value = round(value)
        if value >= 1_000_000:
            return f"{value // 1_000_000}M"
        return f"{value // 1000}k" if value >= thousands_from else f"{value}"
    return f"{value:.1f}"


def shortened(text: str, room: int) -> str:
    """
    >>> shortened("Inspection and leak test", 16)
    'Inspection and…'
    """
    return text if len(text) <= room else f"{text[: room - 1].rstrip()}…"


@require_safe
@role_required(*ROLES)
def board(request):
    """The page. Everything on it is there without a script; the script keeps it current."""
    edition = live.edition()
    return render(
        request, "shopfloor/board.html", board_context(edition.board) | {"stale_after": STALE_AFTER_SECONDS}
    )


@require_safe
@role_required(*ROLES)
def board_part(request):
    """The board alone, for the page's script: 304 while nothing changed."""
    return answer_edition(request, lambda: (board_html(live.edition()), "text/html; charset=utf-8"))


@require_safe
@role_required(*ROLES)
def board_stream(request):
    """The drawn board at once and after every change. Drawn once for all: hundreds of displays need not ask for it."""
    return stream_of(request, request.actor, drawn_event)


def drawn_event(edition: Edition) -> bytes:
    """The board of an edition as a server-sent event. Its id is the tag that `board_part` would answer with."""
    tag = etag(edition.epoch, edition.version, edition.minute).encode()
    data = b"".join(b"data: %b\n" % line for line in board_html(edition).splitlines())
    return b"id: %b\nevent: drawn\n%b\n" % (tag, data)


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
    piling = found.piling
    top = piling[0] if piling else None
    headline = f"{top.name} piles up" if top else "Nothing piles up"
    return {
        "board": found,
        "bays": bays(found),
        "top": top,
        "headline": headline,
        "headline_size": sum(len(headline) > room for room in HEADLINE_ROOM),
        "why": piling_words(piling) or calm_words(found),
        "clears": CLEARS_WORDS.get(found.look.words, found.look.words),
        "kits": kit_notes(found.short_kits[:NOTES_DRAWN]),
        "kits_count": amount(len(found.short_kits) + found.short_kits_more),
        "late": [late_note(one) for one in found.late_risk[:NOTES_DRAWN]],
        "down": [down_note(one, found.as_of) for one in found.down[:NOTES_DRAWN]],
        "late_count": amount(len(found.late_risk) + found.late_risk_more),
    }


def calm_words(found: Board) -> str:
    """Where nothing piles up: because all flows, or because there is nothing yet that could."""
    operations = found.operations
    if not found.down and not any(one.stations for one in operations):
        return "No station is in use yet. Add the first on the page Stations."
    if not any(one.waiting + one.ready + one.running + one.held for one in operations):
        return "No work is on the floor."
    return f"Every bay clears its queue {found.look.words}."


def piling_words(piling: Sequence[BoardOperation]) -> str:
    """Why the worst bay piles up, what follows, what to do, and which others pile up: what fits two lines on the wall.

    What the pile is of is left out first, then the others' names.
    """
    if not piling:
        return ""
    said = piling[0].said
    others = [one.name for one in piling[1:]]
    named = f"Also: {', '.join(others)}." if others else ""
    counted = f"Also: {len(others)} more." if others else ""
    for one in (
        (*said, named),
        (*said, counted),
        (said[0], *said[2:], named),
        (said[0], *said[2:], counted),
        (said[0], counted),
    ):
        words = " ".join(filter(None, one))
        if len(words) <= WHY_ROOM:
            return words
    return said[0]


def bays(found: Board) -> list[Bay]:
    operations = found.operations
    heights = [sum(slat.hours for slat in one.slats) for one in operations]
    top = scale_top(heights, [one.hours_clear for one in operations])
    room = NAME_ROOM.get(max(3, len(operations)), LEAST_NAME_ROOM)
    return [
        Bay(one, pile(one.slats, clears_hours=one.hours_clear, top_hours=top), room) for one in operations
    ]


def kit_notes(kits: Sequence[ShortKit]) -> list[Note]:
    """Kits with their line drawings, the first missing segment filled. One query."""
    developments = dict(
        Fitting.objects.filter(code__in=[kit.fitting for kit in kits]).values_list(
            "code", "line__development"
        )
    )
    notes = []
    for kit in kits:
        words = kit_words(kit)
        name, order = kit.tag or kit.fitting, kit.order
        room = NOTE_ROOM - len(words) - len(" of : ")
        order = shortened(order, max(5, room - len(name), room // 2))
        name = shortened(name, max(5, room - len(order)))
        development = developments.get(kit.fitting)
        highlight = kit.missing[0].position if kit.missing else None
        icon = icon_svg(development, highlight=highlight) if development else ""
        notes.append(Note(name, f"of {order}: {words}", icon))
    return notes


def kit_words(kit: ShortKit) -> str:
    """What a fitting lacks, and where it is: "gore 2 is at roll"; of much only how much, and where most of it is."""
    word = piece_word_of(kit.kind)
    places: dict[str, list[str]] = {}
    for one in kit.missing:
        held = ", on hold" if one.state == "held" else ""
        places.setdefault(f"{one.operation}{held}", []).append(str(one.position))
    parts = []
    for place, positions in places.items():
        plural = len(positions) > 1
        parts.append(f"{word}{'s' * plural} {_listed(positions)} {'are' if plural else 'is'} at {place}")
    words = "; ".join(parts)
    if len(words) <= NOTE_ROOM - 18:
        return words
    most = max(places, key=lambda place: len(places[place]))
    count = len(kit.missing)
    return f"{count} {word}{'s' * (count > 1)}, {'most ' * (len(places) > 1)}at {shortened(most, 12)}"


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def late_note(late: LateRisk) -> Note:
    words = late_words(late)
    return Note(f"Order {shortened(late.order, max(4, NOTE_ROOM - len(words) - len('Order , ')))}", words)


def late_words(late: LateRisk) -> str:
    """Why an order is at risk, short enough for one line on the wall. It is due within days: the weekday says which.

    Where the simulation has said lately when it will be finished, that stands for the hours.
    """
    due = date.fromisoformat(late.due)
    if late.hours_left <= 0:
        days = late.days_overdue
        when = f"{days} {'day' if days == 1 else 'days'} overdue" if days else "due today"
    else:
        when = f"due {due:%a}"
    if late.likely_at and late.sure_at:
        likely, sure = (datetime.fromisoformat(one).date() for one in (late.likely_at, late.sure_at))
        said = f"expected {_day(likely, due)}"
        return f"{when}, {said}" + (f", 90{NO_BREAK}% {_day(sure, due)}" if sure != likely else "")
    left = "" if late.hours_left <= 0 else f", {late.hours_left:.1f} h left"
    return f"{when}{':' if left else ','} {late.hours_of_work:.1f} h to do{left}"


def down_note(one: DownHere, now: datetime) -> Note:
    """“ROLL-1 down, back 11:30: Machine fault”, the reason as far as there is room."""
    zone = get_default_timezone()
    words = "down"
    if one.until:
        words = f"down, {'back' if one.until > now else 'was due'} {one.until.astimezone(zone):%H:%M}"
    reason = shortened(one.reason, max(5, NOTE_ROOM - len(one.station) - len(words)))
    return Note(one.station, f"{words}: {reason}" if reason else words)


def _day(day: date, due: date) -> str:
    """The weekday alone where no other could be meant beside the due day's."""
    return f"{day:%a}" if abs((day - due).days) < 4 else f"{day.day} {day:%b}"
