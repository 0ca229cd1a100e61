"""What standard times go by, read from a frozen development. Pure: no Django, no database."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from travelers.forms import bends_of, length_of

RAW = "raw"
ALWAYS_WORKED = ("end_cap",)  # its edge is turned whatever the finish: it is what holds the cap


def segment_measures(segment: Mapping[str, Any]) -> dict[str, float]:
    """What a segment's standard times go by [in]: the length cut, holes too; stretch-out, bend lines, seams."""
    plates = segment.get("plates") or ()
    cut = [plate["cut_outline"] for plate in plates] or [segment["cut_outline"]]
    holes = [hole for part in plates or (segment,) for hole in part.get("holes") or ()]
    seam = segment.get("seam_length")
    if seam is None:
        seam = ((segment.get("throat") or 0.0) + (segment.get("heel") or 0.0)) / 2
    return {
        "cut_length": sum(_perimeter(outline) for outline in (*cut, *holes)),
        "stretch_out": segment.get("stretch_out") or 0.0,
        "bend_length": sum(length_of(mark["line"]) for mark in bends_of(segment)),
        "seam_length": seam * len(cut),
    }


def fitting_measures(development: Mapping[str, Any], finishes: Mapping[str, str]) -> dict[str, float]:
    """What a fitting's standard times go by [in]: the length of all joints, and of the ends that are worked."""
    segments = development["segments"]
    joints = development.get("joint_length")
    if joints is None:
        joints = sum(length_of(segment["edge_b"]) for segment in segments[:-1])
    free = development.get("free_ends")
    if free is None:
        lengths = {"a": length_of(segments[0]["edge_a"]), "b": length_of(segments[-1]["edge_b"])}
    else:
        lengths = {one["end"]: one["edge_length"] for one in free}
    always = development.get("kind") in ALWAYS_WORKED
    worked = sum(lengths[end] for end, finish in finishes.items() if always or finish != RAW)
    return {"joint_length": joints, "end_length": worked}


def _perimeter(outline: Sequence) -> float:
    return length_of([*outline, outline[0]])
