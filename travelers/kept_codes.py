"""The old code on a kept piece: which piece it is now. Only reads.

From the moment of its use on, the old code (its label's, or of a whole fitting its own and those of its segments)
stands for the piece that it became, however often it was kept and used again. The new code stands for it too. A scan
of an earlier time is about the piece that it was then.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import NamedTuple

from django.db.models import Q

from fittings.models import Fitting, KeptPiece, Segment
from shared import rows

LAST = datetime(9999, 1, 1, tzinfo=UTC)
_BECAME = (
    "SELECT k.used_for_id, k.used_segment_id, s.id FROM fittings_keptpiece k"
    " LEFT JOIN fittings_segment o ON o.id = %s"
    " LEFT JOIN fittings_segment s ON s.fitting_id = k.used_for_id AND s.position = o.position AND s.generation = 1"
    " WHERE k.fitting_id = %s AND k.used_at <= %s AND {which} ORDER BY k.used_at DESC, k.id DESC LIMIT 1"
)
_OF_FITTING = _BECAME.format(which="k.segment_id IS NULL")
_OF_SEGMENT = _BECAME.format(which="(k.segment_id IS NULL OR k.segment_id = %s)")


class PieceNow(NamedTuple):
    """Ids of a fitting, and of a segment of it where one is meant."""

    fitting: int
    segment: int | None


def became(fitting: int, segment: int | None, at: datetime) -> PieceNow | None:
    """What a piece was by a time; None where it is still itself. A query, and one more each time it was used."""
    found, piece = None, PieceNow(fitting, segment)
    while True:
        asked = [piece.segment, piece.fitting, rows.stored(at)]
        if piece.segment is None:
            row = rows.select(_OF_FITTING, asked)
        else:
            row = rows.select(_OF_SEGMENT, [*asked, piece.segment])
        if not row:
            return found
        new_fitting, own, of_whole = row[0]
        found = piece = PieceNow(new_fitting, None if piece.segment is None else own or of_whole)


@dataclass(frozen=True)
class KeptFound:
    """A kept piece that its old code was asked for, or what became of it, in words: `said`.

    fitting, segment  of the piece that it is now; code: its code, blank where it is still itself
    """

    said: str
    fitting: int
    segment: int | None
    code: str


def kept_found(fitting: int, segment: int | None, word: str) -> KeptFound | None:
    """What is to say of a piece that is kept, or was kept and is used now; None of any other. One query, or a few.

    word  what the piece is called
    """
    of_piece = KeptPiece.objects.filter(Q(segment=None) | Q(segment=segment), fitting=fitting)
    last = of_piece.order_by("-pk").first()
    if last is None or last.ended_at:
        return None
    if last.used_at is None:
        lies = f"kept at {last.place}" if last.place else "kept"
        return KeptFound(f"{word}, {lies}", fitting, segment, "")
    now = became(fitting, segment, LAST)
    if now.segment is None:
        new = Fitting.objects.get(pk=now.fitting)
        said = f"{word}, kept and used: it is now fitting {new.code}"
    else:
        new = Segment.objects.select_related("fitting").get(pk=now.segment)
        said = f"{word}, kept and used: it is now {new.code}, position {new.position} of fitting {new.fitting.code}"
    return KeptFound(said, now.fitting, now.segment, new.code)
