"""What of a draft's fittings is kept already, offered before it is released. Only reads.

Only lines of a metal of which something is kept are looked at, and the facts of a fitting once for all pages.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass
from functools import lru_cache

from fittings.developing import words_of
from fittings.drawing import role_title
from fittings.models import KeptPiece, Order, OrderLine
from fittings.tables import all_rows, versions_in_force
from travelers.kept import LIVE, Made
from travelers.release import operation_rows, work_of
from travelers.release_kept import LineFacts, Use, Wanted, kept_places, line_facts
from travelers.release_rows import Work
from travelers.routing import OperationRow
from travelers.sentences import done_said


@dataclass(frozen=True)
class Offer:
    """Equal kept pieces that fit one line, lying at one place.

    what   "fittings" or what a segment is called; done: what is done of them
    of     how many the line needs of them
    """

    line: int
    what: str
    done: str
    place: str
    of: int
    ids: tuple[int, ...]

    @property
    def count(self) -> int:
        return len(self.ids)

    @property
    def value(self) -> str:
        return ",".join(map(str, self.ids))

    @property
    def text(self) -> str:
        """`3 of 12 fittings are kept, finished: bin A4`"""
        is_one = self.count == 1
        place = self.place or "place not told"
        return f"{self.count} of {self.of} {self.what} {'is' if is_one else 'are'} kept, {self.done}: {place}"


def kept_offers(order: Order) -> list[Offer]:
    """What fits the order, line by line: whole fittings first. One query where nothing of its metals is kept."""
    return offers_of(kept_uses(order))


def kept_uses(order: Order) -> list[Use]:
    """Which kept piece would go where, were all of them used."""
    if order.state != Order.State.DRAFT:
        return []
    metals = kept_metals()
    if not metals:
        return []
    versions, operations = versions_in_force(), operation_rows()
    wanted = []
    for line in order.lines.order_by("position"):
        facts = _facts_of(line, versions, operations) if (line.material, line.gauge) in metals else None
        if facts:
            wanted.append(Wanted(line, range(1, line.quantity + 1), facts))
    return kept_places(wanted)


def kept_metals() -> set[tuple[str, int]]:
    """Materials and gauges of which something is kept."""
    kept = KeptPiece.objects.filter(LIVE).order_by()
    return set(kept.values_list("fitting__line__material", "fitting__line__gauge").distinct())


def offers_of(uses: Iterable[Use]) -> list[Offer]:
    groups: dict[tuple, list[Use]] = {}
    for use in uses:
        what, done = what_said(use.piece, use.made)
        groups.setdefault((use.wanted.line.position, what, done, use.piece.place), []).append(use)
    return [
        Offer(
            line=own[0].wanted.line.position,
            what=f"{what}s",
            done=done,
            place=place,
            of=_needed(own[0]),
            ids=tuple(use.piece.pk for use in own),
        )
        for (_, what, done, place), own in groups.items()
    ]


def what_said(piece: KeptPiece, made: Made) -> tuple[str, str]:
    """What a kept piece is, and what is done of it: ("middle gore", "cut and rolled")."""
    if piece.segment is None:
        return "fitting", "finished"
    return role_title(piece.segment.role).lower(), listed([done_said(code) for code, _ in made.steps])


def _needed(use: Use) -> int:
    quantity = len(use.wanted.numbers)
    if use.position is None:
        return quantity
    alike = next(positions for positions in use.wanted.facts.alike.values() if use.position in positions)
    return quantity * len(alike)


def listed(words: list[str]) -> str:
    """
    >>> listed(["cut", "rolled", "seamed"])
    'cut, rolled and seamed'
    """
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _facts_of(
    line: OrderLine, versions: Mapping[str, int], operations: Sequence[OperationRow]
) -> LineFacts | None:
    known = [words_of(line), versions, [astuple(row) for row in operations]]
    return _facts(json.dumps(known, sort_keys=True))


@lru_cache(maxsize=4096)
def _facts(known: str) -> LineFacts | None:
    """The facts of a fitting by its words, the tables' versions and the operations; None where it cannot be made."""
    words, versions, operations = json.loads(known)
    line = OrderLine(**words)
    work = work_of(line, [OperationRow(*row) for row in operations], all_rows(versions))
    return line_facts(line, work) if isinstance(work, Work) else None
