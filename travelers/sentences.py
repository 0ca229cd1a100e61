"""What the operator reads: one plain sentence, the piece first, one act. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from travelers.state import FINISH, HOLD, RESUME, SCRAP, START, Verdict

DONE_WORDS = {
    "cut": "cut",
    "roll": "rolled",
    "seam": "seamed",
    "assemble": "assembled",
    "ends": "ends done",
    "wrap": "wrapped",
}


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
    return code.replace("_", " ").replace("-", " ").capitalize()


def accepted(action: str, piece: str, verdict: Verdict, *, next_operation: str = "", reason: str = "") -> str:
    """The sentence of a recorded scan."""
    operation = operation_word(verdict.operation)
    if action == FINISH:
        done = DONE_WORDS.get(verdict.operation, f"{operation} done")
        text = f"{piece} {done}."
        if next_operation:
            text += f" Next: {operation_word(next_operation)}."
        if verdict.implied:
            text += f" {verdict.implied} missed before it."
        return text
    return {
        START: f"{piece} started at {operation}.",
        HOLD: f"{piece} is on hold at {operation}: {reason or 'no reason given'}.",
        RESUME: f"{piece} goes on at {operation}.",
        SCRAP: f"{piece} is scrapped and will be made again.",
    }.get(action, f"{piece}: undone.")


def refused(piece: str, verdict: Verdict, *, who: str, when: str, station: str) -> str:
    """The sentence of a refused scan."""
    operation = operation_word(verdict.operation)
    by = f" by {who}" if who else ""
    at = f" at {when}" if when else ""
    return {
        "already_done": f"{piece}: {operation} was finished{by}{at}.",
        "already_started": f"{piece}: {operation} was started{by}{at}.",
        "already_held": f"{piece} is on hold already. Ask the supervisor.",
        "held": f"{piece} is on hold at {operation}. Ask the supervisor.",
        "needs_own_scan": f"{piece} still needs its {operation} scan. Take it there first.",
        "no_work_here": f"{piece} has no work at {station or 'this station'}.",
        "scrapped": f"{piece} was scrapped{by}{at}. Set it aside.",
        "void": f"{piece} is void. Do not make it.",
        "fitting_done": f"{piece} is finished. Undo the last step first.",
        "later_done": f"{piece} went on to {operation}{by}. Undo that first.",
        "nothing_to_undo": f"{piece}: there is nothing to undo here.",
        "already_undone": f"{piece}: that scan is undone already.",
        "remade": f"{piece}: the new piece is begun. Ask the supervisor.",
        "undone": f"{piece}: that scan was undone before it arrived.",
    }[verdict.why]


def clock(at: datetime | None) -> str:
    """Wed 4 Mar, 13:02 (given in the shop's zone)."""
    return f"{at:%a} {at.day} {at:%b, %H:%M}" if at else ""
