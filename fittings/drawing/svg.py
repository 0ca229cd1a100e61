"""A scene as SVG: classes and presentation attributes only, so that a strict content policy lets it through."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from fittings.drawing.scene import FILLED, Facet, Path, Scene, Text, runs

CLASSES = {
    "outline": "line",
    "joint": "line joint",
    "hidden": "hidden",
    "centre": "centre",
    "seam": "seam",
    "dimension": "dim",
    "arrow": "arrow",
    "text": "dimtext",
    "label": "label",
    "picked": "picked",
    "cut": "cut",
    "net": "net",
    "mark": "mark",
    "fold": "fold",
    "hole": "cut",
    "contour": "joint",
    "meet": "net",
}
# How a drawing looks without any style sheet; classes override presentation attributes.
ATTRIBUTES = {
    "outline": 'stroke-width="2"',
    "joint": 'stroke-width="1.25"',
    "hidden": 'stroke-width="1.25" stroke-dasharray="5 3"',
    "centre": 'stroke-width="0.75" stroke-dasharray="9 2 2 2"',
    "seam": 'stroke-width="2.5"',
    "dimension": 'stroke-width="0.75"',
    "arrow": 'fill="currentColor" stroke="none"',
    "picked": 'fill="currentColor" fill-opacity="0.28" stroke="none"',
    "cut": 'stroke-width="2"',
    "net": 'stroke-width="0.75"',
    "mark": 'stroke-width="0.75" stroke-dasharray="6 3"',
    "fold": 'stroke-width="0.75" stroke-dasharray="2 2"',
    "hole": 'stroke-width="2"',
    "contour": 'stroke-width="1.25"',
    "meet": 'stroke-width="0.75"',
}
BODY_INK = "#1c1c1c"  # of lines on a shaded body, which is as light on a dark screen as on a light one
DRAWN_AS_GROUP = "fitting-drawing"


def svg_text(scene: Scene, *, icon: bool = False) -> str:
    """SVG text of a scene: `viewBox`, `role="img"`, a title; coordinates to a twentieth of a unit."""
    high = scene.height
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{DRAWN_AS_GROUP}{" icon" if icon else ""}" role="img" '
        f'viewBox="0 0 {number(scene.width)} {number(high)}" aria-label={quoteattr(clean(scene.title))}>'
        f"<title>{escape(clean(scene.title))}</title>"
        '<g fill="none" stroke="currentColor" stroke-linejoin="round" stroke-linecap="round">'
    ]
    drawn = runs(scene)
    is_shaded = any(isinstance(role, float) for role, _ in drawn)
    if is_shaded:
        parts.append(f'<g color="{BODY_INK}">')
    for role, paths in drawn:
        if isinstance(role, float):
            parts.append(f'<path class="solid" color="{_grey(role)}" fill="currentColor" stroke="none" ')
        else:
            effect = "" if is_shaded or role in FILLED else ' vector-effect="non-scaling-stroke"'
            parts.append(f'<path class="{CLASSES[role]}" {ATTRIBUTES[role]}{effect} ')
        data = "".join(_data(path, high, 1 if is_shaded else 2) for path in paths)
        parts.append(f'd="{data}"/>')
    if is_shaded:
        parts.append("</g>")
    parts.append("</g>")
    texts = [item for item in scene.items if isinstance(item, Text)]
    if texts:
        parts.append('<g fill="currentColor" stroke="none" font-family="\'B612 Mono\', monospace">')
        for text in texts:
            parts.append(
                f'<text class="{CLASSES[text.role]}" x="{number(text.x)}" y="{number(high - text.y)}" '
                f'font-size="{number(text.size)}" text-anchor="{text.anchor}">{escape(clean(text.text))}</text>'
            )
        parts.append("</g>")
    parts.append("</svg>")
    return "".join(parts)


def _grey(shade: float) -> str:
    """Style sheets give the class `solid` the colour of its ink, so a facet's ink is its grey."""
    return "#" + 3 * f"{round(255 * min(max(shade, 0.0), 1.0)):02x}"


def _data(path: Path | Facet, high: float, places: int) -> str:
    if places == 1:  # a shaded body has thousands of points
        points = " ".join([f"{x:.1f} {high - y:.1f}" for x, y in path.points]).replace(".0", "")
    else:
        points = " ".join(f"{number(x, places)} {number(high - y, places)}" for x, y in path.points)
    return f"M{points}{'Z' if isinstance(path, Facet) or path.closed else ''}"


def number(value: float, places: int = 2) -> str:
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def clean(text: str) -> str:
    """Without characters that XML cannot hold."""
    return "".join(
        c
        for c in text
        if c in "\t\n" or (c >= " " and not 0xD800 <= ord(c) <= 0xDFFF and c not in "\ufffe\uffff")
    )
