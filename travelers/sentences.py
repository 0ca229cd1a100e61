"""What the operator reads: one plain sentence, the piece first, one act. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from shared.words import day_said, mark, say, say_count
from travelers.readiness import HELD, Lacking
from travelers.state import FINISH, HOLD, RESUME, SCRAP, START, UNDO, Verdict

DONE_WORDS = {
    "cut": mark("cut"),
    "roll": mark("rolled"),
    "seam": mark("seamed"),
    "assemble": mark("assembled"),
    "ends": mark("ends done"),
    "wrap": mark("wrapped"),
}
OPERATION_WORDS = {
    "cut": mark("Cut"),
    "roll": mark("Roll"),
    "seam": mark("Seam"),
    "assemble": mark("Assemble"),
    "ends": mark("Ends"),
    "wrap": mark("Wrap"),
}
PIECE_WORDS = {"gore": mark("Gore"), "piece": mark("Piece")}

GORED_KINDS = ("gored_elbow", "offset")  # every segment of theirs is a gore, whatever their parameters


def piece_word(roles: Iterable[str]) -> str:
    """What a fitting's segments are called: gores where all are, else pieces.

    >>> piece_word(["end_gore", "middle_gore"]), piece_word(["end_gore", "collar"])
    ('gore', 'piece')
    """
    roles = list(roles)
    return "gore" if roles and all("gore" in role for role in roles) else "piece"


def piece_word_of(kind: str) -> str:
    """The same where only the kind of the fitting is at hand."""
    return "gore" if kind in GORED_KINDS else "piece"


def operation_word(code: str) -> str:
    """An operation in a sentence; one of the shop's own by its code."""
    return say(OPERATION_WORDS.get(code) or code.replace("_", " ").replace("-", " ").capitalize())


def place_said(code: str) -> str:
    """An operation as the place where something is; one of the shop's own by its code."""
    return operation_word(code).lower() if code in OPERATION_WORDS else code


def pieces_said(word: str, count: int) -> str:
    """
    >>> pieces_said("gore", 3)
    '3 gores'
    """
    if word == "gore":
        return say_count("{n} gore", "{n} gores", count)
    return say_count("{n} piece", "{n} pieces", count)


def done_said(code: str) -> str:
    """What is said of a piece of which this operation is finished."""
    if code in DONE_WORDS:
        return say(DONE_WORDS[code])
    return say("{operation} done", operation=operation_word(code))


def part_said(word: str, position: int, of: int) -> str:
    """
    >>> part_said("gore", 2, 5)
    'Gore 2 of 5'
    """
    return say("{piece} {position} of {of}", piece=say(PIECE_WORDS[word]), position=position, of=of)


def fitting_said(number: int) -> str:
    return say("Fitting {number}", number=number)


def accepted(action: str, piece: str, verdict: Verdict, *, next_operation: str = "", reason: str = "") -> str:
    """The sentence of a recorded scan."""
    operation = operation_word(verdict.operation)
    if action == FINISH:
        parts = [say("{piece} {done}.", piece=piece, done=done_said(verdict.operation))]
        if next_operation:
            parts.append(say("Next: {operation}.", operation=operation_word(next_operation)))
        if verdict.implied:
            parts.append(say_count("{n} missed before it.", "{n} missed before it.", verdict.implied))
        return " ".join(parts)
    if action == START:
        return say("{piece} started at {operation}.", piece=piece, operation=operation)
    if action == HOLD:
        why = reason or say("no reason given")
        return say(
            "{piece} is on hold at {operation}: {reason}.", piece=piece, operation=operation, reason=why
        )
    if action == RESUME:
        return say("{piece} goes on at {operation}.", piece=piece, operation=operation)
    return say("{piece} is scrapped and will be made again.", piece=piece)


def undone(action: str, piece: str, operation: str) -> str:
    """The sentence of a recorded undo, by what the scan that it cancels had done."""
    if action == UNDO:
        return say("{piece}: undone.", piece=piece)
    return say(_UNDONE[action], piece=piece, operation=operation_word(operation))


_UNDONE = {
    FINISH: mark("{piece}: {operation} is undone."),
    START: mark("{piece}: the start at {operation} is undone."),
    HOLD: mark("{piece}: the hold is undone."),
    RESUME: mark("{piece} is on hold again."),
    SCRAP: mark("{piece} is not scrapped any more."),
}


MOST_LACKING = 3


def not_ready(operation: str, lacks: Sequence[Lacking], word: str) -> str:
    """Where a piece is that is not ready for an operation, and what it lacks; blank where it lacks nothing.

    word  what its segments are called
    """
    if not lacks:
        return ""
    here, first = operation_word(operation), lacks[0]
    if first.position is None:
        place = operation_word(first.operation)
        steps = ", ".join(operation_word(one.operation) for one in lacks)
        if first.state == HELD:
            text = mark("Not ready for {operation}. It is on hold at {place} and lacks {steps}.")
        else:
            text = mark("Not ready for {operation}. It is at {place} and lacks {steps}.")
        return say(text, operation=here, place=place, steps=steps)
    named = [_lacking_said(one) for one in lacks[:MOST_LACKING]]
    if len(lacks) > MOST_LACKING:
        named.append(say("{n} more", n=len(lacks) - MOST_LACKING))
    if word == "gore":
        text = mark("Not ready for {operation}. It lacks gore {pieces}.")
    else:
        text = mark("Not ready for {operation}. It lacks piece {pieces}.")
    return say(text, operation=here, pieces=", ".join(named))


def _lacking_said(one: Lacking) -> str:
    place = operation_word(one.operation)
    if one.state == HELD:
        return say("{position} (on hold at {place})", position=one.position, place=place)
    return say("{position} (at {place})", position=one.position, place=place)


def is_at(place: str) -> str:
    """Where a piece is that has no work here."""
    return say("It is at {place}.", place=operation_word(place))


def sheet_accepted(action: str, count: str, *, reason: str = "") -> str:
    """What a recorded scan of a sheet did, without the stop: “41 pieces cut”."""
    if action == HOLD:
        why = reason or say("no reason given")
        return say("{count} on hold ({reason})", count=count, reason=why)
    return say(_OF_SHEET[action], count=count)


_OF_SHEET = {
    FINISH: mark("{count} cut"),
    START: mark("{count} started"),
    RESUME: mark("{count} on again"),
    SCRAP: mark("{count} scrapped, to be made again"),
}


def refused(piece: str, verdict: Verdict, *, who: str, when: str, station: str) -> str:
    """The sentence of a refused scan."""
    return say(
        _REFUSED[verdict.why],
        piece=piece,
        operation=operation_word(verdict.operation),
        by=say(" by {who}", who=who) if who else "",
        at=say(" at {when}", when=when) if when else "",
        station=station or say("this station"),
    )


_REFUSED = {
    "already_done": mark("{piece}: {operation} was finished{by}{at}."),
    "came_done": mark("{piece} came from stock with {operation} done."),
    "already_started": mark("{piece}: {operation} was started{by}{at}."),
    "already_held": mark("{piece} is on hold already. Ask the supervisor."),
    "held": mark("{piece} is on hold at {operation}. Ask the supervisor."),
    "needs_own_scan": mark("{piece} still needs its {operation} scan. Take it there first."),
    "no_work_here": mark("{piece} has no work at {station}."),
    "scrapped": mark("{piece} was scrapped{by}{at}. Set it aside."),
    "void": mark("{piece} is void. Do not make it."),
    "fitting_done": mark("{piece} is finished. Undo the last step first."),
    "later_done": mark("{piece} went on to {operation}{by}. Undo that first."),
    "nothing_to_undo": mark("{piece}: there is nothing to undo here."),
    "already_undone": mark("{piece}: that scan is undone already."),
    "remade": mark("{piece}: the new piece is begun. Ask the supervisor."),
    "undone": mark("{piece}: that scan was undone before it arrived."),
}


def clock(at: datetime | None) -> str:
    """Wed 4 Mar, 13:02 (given in the shop's zone)."""
    return f"{day_said(at)}, {at:%H:%M}" if at else ""
