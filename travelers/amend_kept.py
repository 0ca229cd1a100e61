"""What is kept already of the fittings that a change of a released order makes. Only reads."""

from __future__ import annotations

from fittings.tables import all_rows
from travelers.amend_meaning import Meaning, Shown
from travelers.kept_offers import Offer, kept_metals, offers_of
from travelers.release import operation_rows, work_of
from travelers.release_kept import Wanted, kept_places, line_facts
from travelers.release_rows import Work


def change_offers(shown: Shown) -> list[Offer]:
    """Kept pieces that fit the new fittings, line by line. One query where nothing of their metals is kept."""
    making = [line for line in shown.lines if line.made]
    metals = kept_metals() if making else set()
    wanted = [_wanted(line) for line in making if _metal(line) in metals]
    return offers_of(kept_places([one for one in wanted if one is not None]))


def _metal(line: Meaning) -> tuple[str, int]:
    given = line.wish.given
    return given.material, given.gauge


def _wanted(line: Meaning) -> Wanted | None:
    wish = line.wish
    of = wish.made or wish.line
    work = wish.work or work_of(of, operation_rows(), all_rows(of.tables_used))
    if not isinstance(work, Work):
        return None
    return Wanted(of, range(1, line.made + 1), line_facts(of, work))
