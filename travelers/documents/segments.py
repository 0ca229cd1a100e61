"""The table of segments, from the development only: nothing is typed again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fittings.drawing import patterns, role_title
from travelers.documents.data import SegmentRow
from travelers.forms import bends_of, form_of, form_words, has_throat, round_sizes, seam_place, side_lengths
from travelers.routing import FLAT


def segment_rows(development: Mapping[str, Any]) -> tuple[SegmentRow, ...]:
    """Equal patterns together, in order of first position; lengths [in]."""
    rows = []
    thickness = float(development.get("thickness") or 0)
    for group in patterns(development):
        segment = group.segment
        blank = segment["blank"]
        rows.append(
            SegmentRow(
                positions=group.positions,
                role=role_title(segment["role"]),
                form=form_words(segment),
                sizes=tuple(dict.fromkeys(size for size in round_sizes(segment, thickness) if size)),
                stretch_out=segment.get("stretch_out"),
                throat=segment.get("throat"),
                heel=segment.get("heel"),
                sides=side_lengths(segment),
                lap=segment.get("lap"),
                blank_width=blank["width"],
                blank_height=blank["height"],
                seam_at=seam_place(segment),
                has_throat=has_throat(segment),
                edge_bends=len(bends_of(segment)) if form_of(segment) == FLAT else 0,
                holes=len(segment.get("holes") or ()),
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
