"""The drawings of a traveler after its steps: each different pattern with its numbers, and the fitting shaded where its
side view does not say all."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from fittings.drawing import Scene, pattern_scene, patterns, positions_text, role_title, space_scene
from fittings.drawing.pdf import draw_scene
from travelers.documents.blocks import HEADING, heading
from travelers.documents.data import TravelerSheet
from travelers.documents.page import INNER, MARGIN, SMALL, Paper
from travelers.documents.text import MONO

GAP = 14.0
CELL_WIDTH = (INNER - GAP) / 2
CELL_HEIGHT = 160.0
CAPTION = 15.0
TEXT_SIZE = 9.0
SIDE_SAYS_ALL = (
    "gored_elbow",
    "pipe",
)  # and a shaded view takes as long to print as the rest of the traveler


def drawings(flow: Any, paper: Paper, sheet: TravelerSheet) -> None:
    """Two a row: how it looks, if that needs saying, then each different pattern once.

    Scenes are made when drawn, so that a stamped page pays once.
    """
    development = sheet.development
    count = len(development["segments"])
    cells: list[tuple[str, Callable[[float, float], Scene]]] = []
    has_space = all(segment.get("space") for segment in development["segments"])
    if has_space and development["kind"] not in SIDE_SAYS_ALL:
        cells.append(
            ("The fitting", lambda width, height: space_scene(development, width=width, height=height))
        )
    for group in patterns(development):
        caption = (
            f"{role_title(group.segment.get('role', 'segment'))} {positions_text(group.positions)} of {count}"
        )
        position = group.positions[0]

        def pattern(width: float, height: float, position: int = position) -> Scene:
            return pattern_scene(development, position, width=width, height=height, text_size=TEXT_SIZE)

        cells.append((caption, pattern))
    title = "Patterns, seen on the face that becomes the outside"
    for start in range(0, len(cells), 2):
        row = cells[start : start + 2]
        if not start or flow.room() < CELL_HEIGHT:
            flow.need(HEADING + CELL_HEIGHT)
        if not start or flow.is_fresh():
            flow.place(HEADING, partial(heading, paper, title), is_shared=True)
        flow.place(CELL_HEIGHT, partial(_row, paper, row, id(development)), is_shared=True)


def _row(paper: Paper, row, stamp: int, top: float) -> None:
    height = CELL_HEIGHT - CAPTION - 8
    for column, (caption, scene) in enumerate(row):
        left = MARGIN + column * (CELL_WIDTH + GAP)
        paper.line(caption, left, top - 11, CELL_WIDTH, SMALL)
        key = (stamp, caption, column, top)
        with paper.tag("Figure", alt=f"{caption}, with its numbers"), paper.form(key) as is_new:
            if is_new:
                bottom = top - CAPTION - height
                drawn = scene(CELL_WIDTH, height)
                draw_scene(paper.canvas, drawn, left, bottom, CELL_WIDTH, height, font=MONO)
