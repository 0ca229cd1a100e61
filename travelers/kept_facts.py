"""All that two pieces must share to be one and the same, from their frozen developments. Pure: no Django, no database.

Computed facts only: metal, outlines with their allowances, seam, form, marks, and for a whole fitting how its segments
lie in it and how its ends are finished. No word that somebody typed (tag, order, customer) is among them.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from travelers.forms import Finished, ends_of, finishes_of

PLACES = 3  # of an inch: developments are rounded to four, so that a last digit does not part equal pieces
_OF_PLACE = (
    "position",
    "space",
)  # where a segment lies in its fitting: says nothing of the segment by itself
_METAL = ("material", "gauge", "thickness")


def segment_facts(development: Mapping[str, Any], position: int) -> str:
    """The digest of one segment of a development, wherever it lies in its fitting.

    >>> gore = dict(role="middle_gore", pattern="k", net_outline=[[0.0, 0.0], [44.07, 0.0]])
    >>> dev = dict(material="galvanized", gauge=24, thickness=0.0276, unit="in",
    ...            segments=[gore | dict(position=1), gore | dict(position=2)])
    >>> segment_facts(dev, 1) == segment_facts(dev, 2), segment_facts(dev | dict(gauge=22), 1) == segment_facts(dev, 1)
    (True, False)
    """
    segment = development["segments"][position - 1]
    own = {name: value for name, value in segment.items() if name not in _OF_PLACE}
    return _digest("segment", {**_metal(development), "piece": own})


def fitting_facts(development: Mapping[str, Any], line: Finished) -> str:
    """The digest of a whole fitting: its segments, how they lie in it, and the finish of each of its ends."""
    whole = {
        "kind": development["kind"],
        "dimensions": development["dimensions"],
        "segments": development["segments"],
        "ends": finishes_of(line, ends_of(development)),
    }
    return _digest("fitting", {**_metal(development), **whole})


def _metal(development: Mapping[str, Any]) -> dict[str, Any]:
    return {name: development.get(name) for name in _METAL}


def _digest(what: str, facts: Any) -> str:
    text = json.dumps([what, _rounded(facts)], sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _rounded(value: Any) -> Any:
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    if isinstance(value, int | float):
        return round(float(value), PLACES) + 0.0
    if isinstance(value, Mapping):
        return {name: _rounded(one) for name, one in value.items()}
    if isinstance(value, Sequence):
        return [_rounded(one) for one in value]
    return str(value)
