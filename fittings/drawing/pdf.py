"""A scene drawn on a reportlab canvas. Line weights are for black and white: what is cut is heaviest."""

from __future__ import annotations

from typing import Any

from fittings.drawing.scene import FILLED, Facet, Scene, Text, runs

# Role: line width [pt], dashes [pt]. The arrow and the picked segment are filled instead.
LINES: dict[str, tuple[float, tuple[float, ...]]] = {
    "outline": (1.6, ()),
    "joint": (0.9, ()),
    "hidden": (0.9, (4, 2.5)),
    "centre": (0.5, (8, 2, 2, 2)),
    "seam": (2.2, ()),
    "dimension": (0.5, ()),
    "cut": (1.6, ()),
    "net": (0.5, ()),
    "mark": (0.6, (5, 2.5)),
    "fold": (0.5, (2, 2)),
    "hole": (1.6, ()),
    "contour": (0.8, ()),
    "meet": (0.45, ()),
}
FILL_GREY = {"arrow": 0.0, "picked": 0.72}


def draw_scene(
    canvas: Any,
    scene: Scene,
    x: float,
    y: float,
    width: float,
    height: float,
    *,
    font: str,
    weight: float = 1.0,
) -> float:
    """Draws the scene centred in the rectangle whose lower left corner is (x, y) [pt]; returns the scale used.

    A scene laid out for this rectangle is drawn one to one; a larger one is shrunk whole, a smaller one not enlarged.
    font    name of a registered font for the numbers
    weight  factor of all line widths, below 1 for small drawings
    """
    scale = min(width / scene.width, height / scene.height, 1.0)
    left = x + (width - scale * scene.width) / 2
    bottom = y + (height - scale * scene.height) / 2
    canvas.saveState()
    canvas.setLineJoin(1)
    canvas.setLineCap(1)
    for role, paths in runs(scene):
        drawn = canvas.beginPath()
        for path in paths:
            for number, (px, py) in enumerate(path.points):
                place = drawn.lineTo if number else drawn.moveTo
                place(left + scale * px, bottom + scale * py)
            if isinstance(path, Facet) or path.closed:
                drawn.close()
        if isinstance(role, float):
            canvas.setFillGray(role)
            canvas.drawPath(drawn, stroke=0, fill=1)
        elif role in FILLED:
            canvas.setFillGray(FILL_GREY[role])
            canvas.drawPath(drawn, stroke=0, fill=1)
        else:
            line, dashes = LINES[role]
            canvas.setLineWidth(line * weight)
            canvas.setDash([part * weight for part in dashes] or ())
            canvas.drawPath(drawn, stroke=1, fill=0)
    canvas.setDash()
    canvas.setFillGray(0)
    draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
    for item in scene.items:
        if isinstance(item, Text):
            canvas.setFont(font, item.size * scale)
            draw[item.anchor](left + scale * item.x, bottom + scale * item.y, item.text)
    canvas.restoreState()
    return scale
