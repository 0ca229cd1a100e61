"""A delivered scan, read: whatever a tablet or a script sends becomes plain values, or a sentence for what is wrong."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from django.utils.dateparse import parse_datetime

from shared.api import body_digest
from shared.codes import CodeNotUnderstood, read_code
from travelers.state import ACTIONS

AHEAD = timedelta(minutes=2)
BEHIND = timedelta(days=30)
FIRST = datetime.min.replace(tzinfo=UTC) + timedelta(days=2)  # from here to there a time exists in every zone
LAST = datetime.max.replace(tzinfo=UTC) - timedelta(days=2)
MOST_PIECES = 100_000
LAST_NUMBER = 1_000_000_000
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.:\-]{0,63}")
_FIELDS = ("id", "code", "action", "count", "badge", "reason", "scanned_at", "undoes", "station")


@dataclass(frozen=True)
class DeliveredScan:
    """A delivered scan, read. `wrong` is the sentence for input that cannot be used.

    number  the tablet's own running number; it stands beside the scan and is no part of its body
    """

    id: str
    digest: str
    given: Mapping[str, Any]
    code: str
    action: str
    count: int | None
    badge: str
    reason: str
    undoes: str
    station: str
    scanned_at: datetime | None
    number: int | None = None
    wrong: str = ""
    wrong_code: str = "wrong_input"

    @property
    def body(self) -> dict:
        """What was given, as it can be kept: short and printable."""
        return {name: _short(value) for name, value in self.given.items()}

    @property
    def has_usable_id(self) -> bool:
        return bool(_ID.fullmatch(self.id))

    @property
    def has_code(self) -> bool:
        """The code can be one of ours; whether it is, the database says."""
        return not self.wrong_code.startswith("code_")

    def effective(self, now: datetime) -> tuple[datetime, bool]:
        """The time that counts, and whether the tablet's own is doubtful: over 2 minutes ahead or 30 days behind."""
        if self.scanned_at is None or self.scanned_at > now + AHEAD or self.scanned_at < now - BEHIND:
            return now, True
        return min(self.scanned_at, now), False


def read_scan(delivery: Any) -> DeliveredScan:
    """Read one scan of a batch. Nothing is raised: one bad scan never stops the others."""
    body = delivery if isinstance(delivery, Mapping) else {}
    text = {name: body.get(name) if isinstance(body.get(name), str) else "" for name in _FIELDS}
    known = {name: body[name] for name in _FIELDS if name in body}
    wrong, wrong_code, code = "", "", ""
    try:
        code = read_code(text["code"])
    except CodeNotUnderstood as error:
        wrong, wrong_code = error.sentence, f"code_{error.reason}"
    count = body.get("count")
    if count is not None and (
        isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= MOST_PIECES
    ):
        wrong, wrong_code = (
            f"Count is {_printable(str(count))[:20]}; it can be 1 to {MOST_PIECES}.",
            "wrong_input",
        )
    if text["action"] not in ACTIONS:
        shown = _printable(str(body.get("action")))[:20]
        wrong, wrong_code = f"Action is {shown}; it can be {', '.join(ACTIONS)}.", "wrong_input"
    number = read_number(body)
    if number is None and body.get("number") is not None:
        shown = _printable(str(body["number"]))[:20]
        wrong, wrong_code = f"Number is {shown}; it can be 1 to {LAST_NUMBER}.", "wrong_input"
    if len(text["reason"]) > 200:
        wrong, wrong_code = "The reason is longer than 200 characters. Shorten it.", "wrong_input"
    scanned_at = None
    try:
        found = parse_datetime(text["scanned_at"]) if len(text["scanned_at"]) <= 40 else None
        scanned_at = found if found and found.tzinfo and FIRST <= found <= LAST else None
    except ValueError:
        scanned_at = None
    return DeliveredScan(
        id=text["id"][:65],  # one too many stays too long: cut to 64 it could be another scan's
        digest=body_digest(known),
        given=known,
        code=code or _printable(text["code"])[:80],
        action=text["action"] if text["action"] in ACTIONS else _printable(str(body.get("action")))[:20],
        count=count if not wrong else None,
        badge=_badge(text["badge"]),
        reason=_printable(text["reason"])[:200],
        undoes=_printable(text["undoes"])[:64],
        station=_printable(text["station"])[:20],
        scanned_at=scanned_at,
        number=number,
        wrong=wrong,
        wrong_code=wrong_code or "wrong_input",
    )


def read_number(delivery: Any) -> int | None:
    """The running number of a delivered scan; None where it has none that can be used."""
    number = delivery.get("number") if isinstance(delivery, Mapping) else None
    if isinstance(number, bool) or not isinstance(number, int):
        return None
    return number if 1 <= number <= LAST_NUMBER else None


def _printable(text: str) -> str:
    if not text.isprintable():
        text = "".join(character for character in text if character.isprintable())
    return text.strip()


def _short(value: Any) -> Any:
    return value if isinstance(value, int | float) or value is None else _printable(str(value))[:200]


def _badge(text: str) -> str:
    try:
        return read_code(text)
    except CodeNotUnderstood:
        return _printable(text)[:40]
