"""Drawings of fittings, from a development in inches: SVG for screens, scenes for paper, DXF for the table. Pure.

Every drawing is made from the same development as the numbers beside it, so none can say something else.
"""

from __future__ import annotations

from fittings.drawing.dxf import pattern_dxf, patterns_dxf, patterns_svg
from fittings.drawing.elevation import elbow_icon, elbow_scene
from fittings.drawing.facts import (
    Development,
    PatternGroup,
    fitting_text,
    patterns,
    positions_text,
    role_title,
    seam_text,
    short_text,
)
from fittings.drawing.full_scale import patterns_pdf
from fittings.drawing.pattern import pattern_icon, pattern_scene
from fittings.drawing.scene import Scene, trimmed
from fittings.drawing.side import side_icon, side_scene
from fittings.drawing.space import space_scene
from fittings.drawing.svg import svg_text

__all__ = [
    "Development",
    "PatternGroup",
    "Scene",
    "fitting_scene",
    "fitting_svg",
    "fitting_text",
    "icon_scene",
    "icon_svg",
    "pattern_dxf",
    "pattern_icon",
    "pattern_scene",
    "pattern_svg",
    "patterns",
    "patterns_dxf",
    "patterns_pdf",
    "patterns_svg",
    "positions_text",
    "role_title",
    "seam_text",
    "short_text",
    "space_scene",
    "space_svg",
]


def fitting_scene(
    development: Development,
    *,
    width: float = 480,
    height: float = 400,
    text_size: float = 15,
    highlight: int | None = None,
) -> Scene:
    """The fitting from its side with its dimensions, laid out for width × height paper units.

    A kind that this package cannot draw from its side is shown by the flat pattern of a segment.
    """
    if development["kind"] == "gored_elbow":
        return elbow_scene(development, width=width, height=height, text_size=text_size, highlight=highlight)
    try:
        return side_scene(development, width=width, height=height, text_size=text_size, highlight=highlight)
    except KeyError:
        return pattern_scene(development, highlight or 1, width=width, height=height, text_size=text_size)


def icon_scene(
    development: Development, *, width: float = 96, height: float = 96, highlight: int | None = None
) -> Scene:
    """The fitting as a small line drawing; `highlight` fills the segment at that position."""
    if development["kind"] == "gored_elbow":
        return elbow_icon(development, width=width, height=height, highlight=highlight)
    try:
        return side_icon(development, width=width, height=height, highlight=highlight)
    except KeyError:
        is_meant = highlight is not None
        return pattern_icon(development, highlight or 1, width=width, height=height, highlight=is_meant)


def fitting_svg(development: Development, *, highlight: int | None = None, dimensions: bool = True) -> str:
    """SVG of the fitting from its side.

    highlight   position of the segment that is meant, from 1, or None
    dimensions  False leaves them out: the larger icon
    """
    if not dimensions:
        return svg_text(icon_scene(development, width=480, height=400, highlight=highlight))
    return svg_text(fitting_scene(development, highlight=highlight))


def icon_svg(development: Development, *, highlight: int | None = None) -> str:
    """SVG of the fitting for lists: 96 × 96 units, lines only."""
    return svg_text(icon_scene(development, highlight=highlight), icon=True)


def space_svg(
    development: Development, *, width: float = 480, height: float = 400, highlight: int | None = None
) -> str:
    """SVG of the fitting shaded in greys, its free ends named.

    highlight   position of the segment that is meant, from 1, or None
    raises      KeyError where the development has no strips in space (frozen before there were any)
    """
    return svg_text(space_scene(development, width=width, height=height, highlight=highlight))


WIDE = {"width": 760, "height": 400, "text_size": 15}
NARROW = {"width": 420, "height": 400, "text_size": 13}


def pattern_svg(development: Development, position: int, *, is_narrow: bool = False) -> str:
    """SVG of the flat pattern of the segment at a position from 1, with its dimensions, as high as it needs to be.

    is_narrow  for a column of some 400 px: its texts stay as large as they are in a wide one
    """
    size = NARROW if is_narrow else WIDE
    return svg_text(trimmed(pattern_scene(development, position, **size), size["text_size"] * 0.5))
