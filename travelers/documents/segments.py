"""The table of segments, from the development only: nothing is typed again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fittings.drawing import patterns, role_title, seam_text
from travelers.documents.data import SegmentRow


def segment_rows(development: Mapping[str, Any]) -> tuple[SegmentRow, ...]:
    """Equal patterns together, in order of first position; lengths [in]."""
    rows = []
    for group in patterns(development):
        segment = group.segment
        blank = segment["blank"]
        rows.append(
            SegmentRow(
                positions=group.positions,
                role=role_title(segment["role"]),
                stretch_out=segment.get("stretch_out"),
                throat=segment.get("throat"),
                heel=segment.get("heel"),
                lap=segment.get("lap"),
                blank_width=blank["width"],
                blank_height=blank["height"],
                seam_at=segment.get("seam_at") or seam_text(segment),
                plates=len(segment.get("plates") or ()) or 1,
            )
        )
    return tuple(rows)


def warning_texts(development: Mapping[str, Any]) -> list[str]:
    """The development's warnings as sentences."""
    return [
        str(warned.get("message", "")) if isinstance(warned, Mapping) else str(warned)
        for warned in development.get("warnings") or ()
    ]
