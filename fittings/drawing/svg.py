"""A scene as SVG: classes and presentation attributes only, so that a strict content policy lets it through."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from fittings.drawing.scene import Path, Scene, Text

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
}
DRAWN_AS_GROUP = "fitting-drawing"


def svg_text(scene: Scene, *, icon: bool = False) -> str:
    """SVG text of a scene: `viewBox`, `role="img"`, a title; coordinates to a twentieth of a unit."""
    high = scene.height
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{DRAWN_AS_GROUP}{" icon" if icon else ""}" role="img" '
        f'viewBox="0 0 {_number(scene.width)} {_number(high)}" aria-label={quoteattr(_clean(scene.title))}>'
        f"<title>{escape(_clean(scene.title))}</title>"
        '<g fill="none" stroke="currentColor" stroke-linejoin="round" stroke-linecap="round">'
    ]
    for role, paths in _by_role(scene).items():
        data = "".join(_data(path, high) for path in paths)
        effect = "" if role in ("arrow", "picked") else ' vector-effect="non-scaling-stroke"'
        parts.append(f'<path class="{CLASSES[role]}" {ATTRIBUTES[role]}{effect} d="{data}"/>')
    parts.append("</g>")
    texts = [item for item in scene.items if isinstance(item, Text)]
    if texts:
        parts.append('<g fill="currentColor" stroke="none" font-family="\'B612 Mono\', monospace">')
        for text in texts:
            parts.append(
                f'<text class="{CLASSES[text.role]}" x="{_number(text.x)}" y="{_number(high - text.y)}" '
                f'font-size="{_number(text.size)}" text-anchor="{text.anchor}">{escape(_clean(text.text))}</text>'
            )
        parts.append("</g>")
    parts.append("</svg>")
    return "".join(parts)


def _by_role(scene: Scene) -> dict[str, list[Path]]:
    """Paths of one role that follow each other become one element; the order of first appearance stays."""
    found: dict[str, list[Path]] = {}
    for item in scene.items:
        if isinstance(item, Path):
            found.setdefault(item.role, []).append(item)
    return found


def _data(path: Path, high: float) -> str:
    points = " ".join(f"{_number(x)} {_number(high - y)}" for x, y in path.points)
    return f"M{points}{'Z' if path.closed else ''}"


def _number(value: float) -> str:
    text = f"{value:.2f}"
    return text.rstrip("0").rstrip(".") if text != "-0.00" else "0"


def _clean(text: str) -> str:
    """Without characters that XML cannot hold."""
    return "".join(
        c
        for c in text
        if c in "\t\n" or (c >= " " and not 0xD800 <= ord(c) <= 0xDFFF and c not in "\ufffe\uffff")
    )
