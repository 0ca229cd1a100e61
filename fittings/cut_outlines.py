"""The flat pattern that the table cuts for a piece: as ordered, or with its seam where a cut plan put it.

The patterns of a line are frozen at its release. Another seam place is developed from the same words with the order's
frozen versions of the shop tables, so that only the seam's place differs: stretch-out and area stay.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from fittings.developing import develop_for, development_answer, words_of
from fittings.models import OrderLine
from fittings.tables import all_rows

ELBOW = "gored_elbow"
USUAL_SEAM = "heel"
PLACES = ("throat", "heel")
OPPOSITE = {"throat": "heel", "heel": "throat"}


def seam_ordered(line: OrderLine) -> str:
    """Where the line's seams are ordered: throat, heel or side; blank where the kind leaves no choice."""
    return (line.params.get("seam_at") or USUAL_SEAM) if line.kind == ELBOW else ""


def seam_places(line: OrderLine, position: int, plate: int) -> tuple[str, ...]:
    """Other places that the seam of a piece may have where the shop leaves it to the cut plan.

    Only gores of an elbow whose order does not stagger its seams, and that are in one piece: plates of one segment
    begin where its seam is, so they could not be chosen one by one.
    """
    if line.kind != ELBOW or line.params.get("stagger_seams") or plate:
        return ()
    if line.development["segments"][position - 1].get("plates"):
        return ()
    return tuple(place for place in PLACES if place != seam_ordered(line))


def seam_choices(line: OrderLine, position: int, plate: int) -> dict[str, Mapping[str, Any]]:
    """The pattern of a piece for each other place of its seam that is allowed; those that are cut alike are left out.

    position  of the segment in its fitting, from 1
    plate     0 for the whole segment
    returns   'throat' or 'heel' to a pattern with `cut_outline`, `holes`, `marks` and the rest of a segment
    """
    found: dict[str, Mapping[str, Any]] = {}
    seen = [piece_pattern(line, position, plate, "")["cut_outline"]]
    for place in seam_places(line, position, plate):
        pattern = piece_pattern(line, position, plate, place)
        if pattern["cut_outline"] not in seen and not pattern.get("plates"):
            seen.append(pattern["cut_outline"])
            found[place] = pattern
    return found


def piece_pattern(line: OrderLine, position: int, plate: int, seam_at: str) -> Mapping[str, Any]:
    """What is cut for a piece: `cut_outline`, `holes`, `marks` and the rest of its segment or plate, in inches.

    line      with its order at hand, where `seam_at` is given
    position  of the segment in its fitting, from 1
    plate     0 for the whole segment, else the plate's number from 1
    seam_at   blank: as ordered
    """
    development = _developed_again(line, seam_at) if seam_at else line.development
    segment = development["segments"][position - 1]
    return segment["plates"][plate - 1] if plate else segment


def _developed_again(line: OrderLine, seam_at: str) -> Mapping[str, Any]:
    words = words_of(line)
    words["params"] = {**words["params"], "seam_at": seam_at}
    return _development(json.dumps(words, sort_keys=True), json.dumps(line.order.tables, sort_keys=True))


@lru_cache(maxsize=256)
def _development(words: str, versions: str) -> Mapping[str, Any]:
    """The development by words and table versions: both never change. A plan asks the same for each of its pieces."""
    return development_answer(develop_for(**json.loads(words), tables=all_rows(json.loads(versions))), "in")
