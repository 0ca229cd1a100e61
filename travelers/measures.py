"""What standard times go by, and which ends there are: read from a frozen development. Pure: no Django, no database.

Developments frozen before there were several kinds lack `form`, `seam_length`, `holes`, `joint_length` and
`free_ends`; they are elbows, and everything follows from their edges.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from math import dist
from typing import Any, Protocol

from travelers.routing import CYLINDER

RAW = "raw"
ALWAYS_WORKED = ("end_cap",)  # its edge is turned whatever the finish: it is what holds the cap


class Finished(Protocol):
    """Something whose ends have finishes: an order line."""

    end_a: str
    end_b: str


def form_of(segment: Mapping[str, Any]) -> str:
    """How a segment is formed."""
    return segment.get("form") or CYLINDER


def forms_of(development: Mapping[str, Any]) -> tuple[str, ...]:
    """The different forms of a fitting's segments, in order."""
    return tuple(dict.fromkeys(form_of(segment) for segment in development["segments"]))


def ends_of(development: Mapping[str, Any]) -> tuple[str, ...]:
    """The letters of a fitting's free ends, in order.

    >>> ends_of({"free_ends": [{"end": "b"}]}), ends_of({})
    (('b',), ('a', 'b'))
    """
    free = development.get("free_ends")
    return ("a", "b") if free is None else tuple(one["end"] for one in free)


def finishes_of(line: Finished, development: Mapping[str, Any]) -> dict[str, str]:
    """The finish of each free end by its letter, as an order line names them. End C is as end B where it is blank."""
    given = {"a": line.end_a, "b": line.end_b, "c": line.end_b}
    return {letter: given[letter] for letter in ends_of(development)}


def segment_measures(segment: Mapping[str, Any]) -> dict[str, float]:
    """What a segment's standard times go by [in]: the length cut, holes too; stretch-out, bend lines, seams."""
    plates = segment.get("plates") or ()
    outlines = [plate["cut_outline"] for plate in plates] or [segment["cut_outline"]]
    seam = segment.get("seam_length")
    if seam is None:
        seam = ((segment.get("throat") or 0.0) + (segment.get("heel") or 0.0)) / 2
    return {
        "cut_length": sum(_perimeter(outline) for outline in (*outlines, *(segment.get("holes") or ()))),
        "stretch_out": segment.get("stretch_out") or 0.0,
        "bend_length": sum(_length(mark["line"]) for mark in bends_of(segment)),
        "seam_length": seam * len(outlines),
    }


def bends_of(segment: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The bend lines of a braked segment."""
    return [mark for mark in segment.get("marks") or () if mark["name"] == "bend"]


def fitting_measures(development: Mapping[str, Any], finishes: Mapping[str, str]) -> dict[str, float]:
    """What a fitting's standard times go by [in]: the length of all joints, and of the ends that are worked."""
    segments = development["segments"]
    joints = development.get("joint_length")
    if joints is None:
        joints = sum(_length(segment["edge_b"]) for segment in segments[:-1])
    free = development.get("free_ends")
    if free is None:
        lengths = {"a": _length(segments[0]["edge_a"]), "b": _length(segments[-1]["edge_b"])}
    else:
        lengths = {one["end"]: one["edge_length"] or 0.0 for one in free}
    always = development.get("kind") in ALWAYS_WORKED
    worked = sum(lengths[end] for end, finish in finishes.items() if always or finish != RAW)
    return {"joint_length": joints, "end_length": worked}


def _perimeter(outline: Sequence) -> float:
    return _length([*outline, outline[0]])


def _length(points: Sequence) -> float:
    return sum(dist(one, other) for one, other in pairwise(points))
